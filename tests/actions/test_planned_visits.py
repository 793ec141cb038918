"""Planning visits, cancelling them, sending cars on them, and what of their work is done."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy.orm import Session

from app.actions import cars as car_actions
from app.actions import directives, events, visits
from app.actions.changes import NewEvent, NewStanding
from app.actions.directives import NewClosing, NewDirective, Term
from app.actions.visits import Planning, Sending
from app.errors import Conflict, Refused
from app.store import directive_list, visit_work, visiting
from app.store.directive_list import MatchFilter
from tests.access.parties import (
    OTHER_SHOP,
    OWNER,
    SHOP,
    STAMP,
    asks,
)
from tests.actions.visits_cast import ARRIVED, RELEASED, SENT, Away


@pytest.fixture
def away(any_db: Session) -> Away:
    return Away(any_db)


MONTH = date(2027, 2, 1)
ITEMS = ("visual", "lining")


def plan(away: Away, shop: str = SHOP, month: date = MONTH, **more: object) -> int:
    planning = replace(Planning(shop, month, ITEMS, 20, "Mind the lining."), **more)
    db = asks(away.db, away.party[OWNER], "planner", "plan")
    return visits.plan(db, away.car.id, planning, STAMP).id


def shown(away: Away, visit: int) -> visiting.VisitShown:
    return visiting.one(away.owner(), visit)


def work(away: Away, visit: int) -> dict[str, date | None]:
    return {each.item: each.done_on for each in visit_work.work_of(away.db, [visit])[visit]}


def passes(away: Away, on: date, items: tuple[str, ...], outcome: str = "pass") -> int:
    event = NewEvent(on, items, outcome=outcome, facility="The Shop")
    return events.record_event(away.owner(), away.car.id, event, STAMP).id


def test_a_planned_visit_keeps_month_work_and_due_days_and_shares_nothing(away):
    visit = plan(away)
    seen = shown(away, visit)
    assert (seen.state, seen.month, seen.days_out) == ("planned", MONTH, 20)
    assert (seen.shop, seen.instructions, seen.days) == (
        SHOP, "Mind the lining.", {"planned": STAMP.today},
    )  # fmt: skip
    due = visiting.due_days(away.db, away.car.id)
    kept = {each.item: each.due_on for each in visit_work.work_of(away.db, [visit])[visit]}
    assert kept == {item: due[item] for item in ITEMS}
    assert None not in kept.values()
    assert not away.reaches(SHOP)
    assert visiting.open_of(away.owner(), away.car.id) is None


# What is planned otherwise, and the field of the refusal.
WRONG_PLANS = [
    ({"shop": " "}, "shop"),
    ({"month": date(2027, 2, 2)}, "month"),
    ({"items": ()}, "items"),
    ({"items": ("visual", "age_limit")}, "items"),
    ({"days_out": -1}, "days_out"),
]


@pytest.mark.parametrize(("otherwise", "path"), WRONG_PLANS)
def test_a_wrong_plan_is_refused_by_field(away, otherwise, path):
    with pytest.raises(Refused) as refused:
        plan(away, **otherwise)
    assert [fault.path for fault in refused.value.faults] == [path]
    assert visiting.of_car(away.owner(), away.car.id) == []


def test_a_car_has_one_visit_in_a_month_until_that_is_cancelled_or_over(away):
    first = plan(away)
    with pytest.raises(Conflict, match=f"has a visit to {SHOP} in 2027-02 already"):
        plan(away, OTHER_SHOP)
    plan(away, OTHER_SHOP, date(2027, 3, 1))
    visits.cancel(away.owner(), first, "No room there.", STAMP)
    second = plan(away, OTHER_SHOP)
    visits.step(away.owner(), second, "sent", SENT, STAMP)
    with pytest.raises(Conflict, match="already"):
        plan(away)
    visits.step(away.owner(), second, "released", RELEASED, STAMP)
    assert shown(away, plan(away)).planned


def test_a_car_out_of_record_is_not_planned(away):
    car_actions.change_standing(
        away.owner(), away.car.id, NewStanding("scrapped", "x", date(2026, 11, 1)), STAMP
    )
    with pytest.raises(Conflict, match="is scrapped, so it cannot be sent"):
        plan(away)


def test_a_cancelled_visit_keeps_why_and_takes_no_steps(away):
    visit = plan(away)
    visits.cancel(away.owner(), visit, "No room there.", STAMP)
    assert shown(away, visit).state == "cancelled"
    [noted] = visiting.history(away.owner(), away.car.id)
    assert [each.row.step for each in noted.steps] == ["planned", "cancelled"]
    assert noted.steps[0].withdrawal.reason == "No room there."
    with pytest.raises(Conflict, match="was cancelled already"):
        visits.cancel(away.owner(), visit, "Twice.", STAMP)
    with pytest.raises(Conflict, match="was cancelled, so nothing more"):
        visits.step(away.owner(), visit, "sent", SENT, STAMP)


def test_a_cancelling_by_mistake_is_undone_unless_the_month_is_taken_since(away):
    visit = plan(away)
    visits.cancel(away.owner(), visit, "x", STAMP)
    visits.undo(away.owner(), visit, "cancelled", "Wrong car.", STAMP)
    assert shown(away, visit).planned
    visits.cancel(away.owner(), visit, "x", STAMP)
    plan(away)
    with pytest.raises(Conflict, match="already"):
        visits.undo(away.owner(), visit, "cancelled", "Wrong car.", STAMP)


def test_a_visit_that_was_sent_is_not_cancelled_but_its_sending_undone(away):
    visit = plan(away)
    visits.step(away.owner(), visit, "sent", SENT, STAMP)
    with pytest.raises(Conflict, match="to which the car was not sent"):
        visits.cancel(away.owner(), visit, "x", STAMP)
    with pytest.raises(Conflict, match="not undone but cancelled"):
        visits.undo(away.owner(), visit, "planned", "x", STAMP)
    visits.undo(away.owner(), visit, "sent", "Still here.", STAMP)
    assert shown(away, visit).planned
    assert not away.reaches(SHOP)


def test_the_shop_reaches_the_car_of_a_planned_visit_once_it_is_sent(away):
    visit = plan(away)
    for name in ("arrived", "released"):
        with pytest.raises(Conflict, match="was not sent on this visit yet"):
            visits.step(away.owner(), visit, name, ARRIVED, STAMP)
    visits.step(away.owner(), visit, "sent", SENT, STAMP)
    assert away.reaches(SHOP)
    visits.step(away.shop(), visit, "arrived", ARRIVED, STAMP)
    visits.step(away.shop(), visit, "released", RELEASED, STAMP)
    assert shown(away, visit).real_days_out == 18


def test_a_car_on_another_visit_is_not_sent_on_a_planned_one(away):
    visit = plan(away)
    away.send(OTHER_SHOP)
    with pytest.raises(Conflict, match="Release it first"):
        visits.step(away.owner(), visit, "sent", SENT, STAMP)


def test_sending_a_car_to_the_shop_that_it_is_planned_for_uses_the_soonest_plan(away):
    later, soonest = plan(away, month=date(2027, 5, 1)), plan(away)
    other = plan(away, OTHER_SHOP, date(2027, 1, 1))
    with pytest.raises(Refused, match="planned for 2027-02; leave it empty"):
        away.send()
    sending = Sending(SHOP, SENT, "Mind the lining.")
    assert visits.send(away.owner(), away.car.id, sending, STAMP).id == soonest
    assert {shown(away, each).state for each in (later, other)} == {"planned"}


def test_an_inspection_that_passes_between_sent_and_released_does_its_work(away):
    visit = plan(away)
    passes(away, date(2026, 11, 1), ("visual",))
    visits.step(away.owner(), visit, "sent", SENT, STAMP)
    assert work(away, visit) == {"visual": None, "lining": None}
    done = passes(away, date(2026, 11, 10), ("visual", "thickness"))
    assert work(away, visit) == {"visual": date(2026, 11, 10), "lining": None}
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    passes(away, date(2026, 11, 21), ("lining",))
    assert work(away, visit)["lining"] is None
    events.withdraw_event(away.owner(), done, "Another car.", STAMP)
    assert work(away, visit)["visual"] is None


def ordered(away: Away, number: str) -> int:
    """A directive about the car; gives the key of its match."""
    new = NewDirective(
        away.party[OWNER].id, "authority", "Invented Office", number, "Look at the weld", "Look.",
        date(2026, 11, 1), STAMP.today, Term(MONTH), {"specification": "DOT"},
    )  # fmt: skip
    db = asks(away.db, away.party[OWNER], "compliance", "record_facts")
    frozen = directives.freeze(db, new, STAMP)
    [match] = directive_list.matches_of(db, frozen.id, MatchFilter(STAMP.today))
    return match.row.id


def test_directives_are_done_in_a_visit_once_none_is_open_on_the_car(away):
    first, second = ordered(away, "1"), ordered(away, "2")
    visit = plan(away, items=("directive",))
    visits.step(away.owner(), visit, "sent", SENT, STAMP)
    directives.close(away.owner(), [first], NewClosing(SENT, "nothing_found"), STAMP)
    assert work(away, visit) == {"directive": None}
    day = SENT + timedelta(days=2)
    directives.close(away.owner(), [second], NewClosing(day, "nothing_found"), STAMP)
    assert work(away, visit) == {"directive": day}


def test_what_failed_after_it_had_passed_is_not_done(away):
    visit = away.send()
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    visit = plan(away)
    visits.step(away.owner(), visit, "sent", RELEASED, STAMP)
    passes(away, date(2026, 11, 21), ("visual",))
    passes(away, date(2026, 11, 22), ("visual",), "fail")
    assert work(away, visit)["visual"] is None
    passes(away, date(2026, 11, 23), ("visual",))
    assert work(away, visit)["visual"] == date(2026, 11, 23)


def test_a_new_lining_does_the_lining_s_work(away):
    visit = plan(away)
    visits.step(away.owner(), visit, "sent", SENT, STAMP)
    passes(away, date(2026, 11, 10), ("lining_applied",))
    assert work(away, visit)["lining"] == date(2026, 11, 10)


# Today, whether the visit is planned still, and whether that is late; planned for February and 20 days.
LATE = [
    (date(2027, 2, 28), False, False),
    (date(2027, 3, 1), False, True),
    (date(2026, 11, 22), True, False),
    (date(2026, 11, 23), True, True),
]


@pytest.mark.parametrize(("today", "sent", "late"), LATE)
def test_a_visit_is_late_when_its_month_or_its_days_are_over(away, today, sent, late):
    visit = plan(away)
    if sent:
        visits.step(away.owner(), visit, "sent", SENT, STAMP)
    assert shown(away, visit).late(today) is late
