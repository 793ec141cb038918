"""Sending a car to a shop, and what the shop reaches meanwhile."""

from dataclasses import replace
from datetime import date, timedelta

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from app.actions import cars as car_actions
from app.actions import events, visits
from app.actions.changes import NewEvent, NewStanding
from app.actions.visits import Sending
from app.errors import Conflict, NotFound, Refused
from app.store import cars, reach, visiting
from app.store.tables import Party
from app.store.visits import CarReach
from tests.access.parties import (
    NUMBER,
    OTHER_SHOP,
    OWNER,
    SHOP,
    STAMP,
    asks,
    lined_car,
    viewer,
)
from tests.actions.visits_cast import ARRIVED, RELEASED, SENT, Away


@pytest.fixture
def away(any_db: Session) -> Away:
    return Away(any_db)


def test_a_shop_reaches_the_car_from_sent_until_released(away):
    assert not away.reaches(SHOP)
    visit = away.send()
    assert away.reaches(SHOP)
    assert not away.reaches(OTHER_SHOP)
    visits.step(away.shop(), visit, "arrived", ARRIVED, STAMP)
    assert away.reaches(SHOP)
    visits.step(away.shop(), visit, "released", RELEASED, STAMP)
    assert not away.reaches(SHOP)
    [shown] = visiting.of_car(away.owner(), away.car.id)
    assert shown.days == {"sent": SENT, "arrived": ARRIVED, "released": RELEASED}
    assert not shown.open


def test_a_shop_that_has_a_car_again_has_it_since_it_was_sent_again(away):
    """What it did the time before is the owner's to change by now."""
    again = RELEASED + timedelta(days=1)
    visits.step(away.shop(), away.send(), "released", RELEASED, STAMP)
    away.send(on=again)
    assert reach.since_sent(away.shop(), away.car.id) == again


def test_the_owner_can_release_a_car_that_a_shop_forgot(away):
    visit = away.send()
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    assert not away.reaches(SHOP)


def test_a_shop_of_which_nobody_heard_is_kept_by_whoever_sends_the_car(away):
    away.send("A Shed by the River (invented)")
    made = away.db.scalars(select(Party).where(Party.name.startswith("A Shed"))).one()
    assert made.kept_by == away.party[OWNER].id
    assert visiting.shops(away.owner()) == ["A Shed by the River (invented)"]
    # Nobody stands for it, so nobody but the sender's own people looks in.
    assert not away.reaches(SHOP)
    assert not away.reaches(OTHER_SHOP)


def test_a_company_goes_before_a_shop_of_the_same_name_that_the_sender_keeps(away):
    """So a name means the same company whether or not the sender wrote it down before it joined."""
    kept = Party(name=SHOP, kept_by=away.party[OWNER].id)
    away.db.add(kept)
    away.db.flush()
    away.send(SHOP)
    assert away.reaches(SHOP)
    row = away.db.scalars(select(CarReach)).one()
    assert (row.party_id, row.kind) == (away.party[SHOP].id, "shop")


# What is sent, and the field and words of the refusal.
WRONG_SENDINGS = [
    (Sending("", SENT), "shop", "want the name"),
    (Sending("  ", SENT), "shop", "want the name"),
    (Sending("x" * 201, SENT), "shop", "at most 200"),
    (Sending(SHOP, date(2026, 11, 26)), "sent_on", "lies in the future"),
    # Before the car was built in 2012.
    (Sending(SHOP, date(2011, 1, 1)), "sent_on", "before the car was built"),
]


@pytest.mark.parametrize(("sending", "path", "words"), WRONG_SENDINGS)
def test_a_wrong_sending_is_refused_by_field(away, sending, path, words):
    with pytest.raises(Refused) as refused:
        visits.send(away.owner(), away.car.id, sending, STAMP)
    [fault] = refused.value.faults
    assert fault.path == path
    assert words in fault.problem
    assert visiting.of_car(away.owner(), away.car.id) == []


# The step, its day, and what is said of it; the car was sent on 2 and arrived on 5 November.
WRONG_STEPS = [
    ("released", date(2026, 11, 26), Refused, "lies in the future"),
    ("released", date(2026, 11, 1), Refused, "before the car was sent on 2026-11-02"),
    ("released", date(2026, 11, 4), Refused, "before the car was noted as arrived on 2026-11-05"),
    ("arrived", date(2026, 11, 6), Conflict, "noted already, for 2026-11-05"),
    ("sent", date(2026, 11, 6), Conflict, "noted already, for 2026-11-02"),
    ("planned", date(2026, 11, 6), Refused, "'planned' is not known"),
    ("cancelled", date(2026, 11, 6), Refused, "'cancelled' is not known"),
]


@pytest.mark.parametrize(("step", "day", "kind", "words"), WRONG_STEPS)
def test_a_wrong_step_is_refused(away, step, day, kind, words):
    visit = away.send()
    visits.step(away.shop(), visit, "arrived", ARRIVED, STAMP)
    with pytest.raises(kind) as refused:
        visits.step(away.shop(), visit, step, day, STAMP)
    assert words in str(refused.value)
    assert away.reaches(SHOP)


def test_the_day_of_sending_will_do_for_arriving_and_releasing(away):
    visit = away.send()
    for step in ("arrived", "released"):
        visits.step(away.owner(), visit, step, SENT, STAMP)
    assert not away.reaches(SHOP)


def test_a_car_is_on_one_visit_at_a_time(away):
    visit = away.send()
    with pytest.raises(Conflict, match=f"was sent to {SHOP} on 2026-11-02 and is not released"):
        away.send(OTHER_SHOP)
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    with pytest.raises(Refused, match="before the car was last released, on 2026-11-20"):
        away.send(OTHER_SHOP, date(2026, 11, 19))
    away.send(OTHER_SHOP, RELEASED)
    assert (away.reaches(SHOP), away.reaches(OTHER_SHOP)) == (False, True)


def test_nothing_is_noted_after_a_release(away):
    visit = away.send()
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    for step in ("arrived", "released"):
        with pytest.raises(Conflict, match=r"already"):
            visits.step(away.owner(), visit, step, RELEASED, STAMP)


def test_a_car_out_of_record_is_sent_nowhere(away):
    gone = NewStanding("scrapped", from_on=date(2026, 10, 1))
    car_actions.change_standing(away.owner(), away.car.id, gone, STAMP)
    with pytest.raises(Conflict, match="is scrapped, so it cannot be sent"):
        away.send()


def test_an_undone_sending_shares_the_car_no_longer_and_stays_on_record(away):
    visit = away.send()
    visits.undo(away.owner(), visit, "sent", "Sent another car.", STAMP)
    assert not away.reaches(SHOP)
    assert visiting.of_car(away.owner(), away.car.id) == []
    [noted] = visiting.history(away.owner(), away.car.id)
    [step] = noted.steps
    assert step.withdrawal.reason == "Sent another car."
    with pytest.raises(Conflict, match="was undone"):
        visits.step(away.owner(), visit, "arrived", ARRIVED, STAMP)
    assert away.send(OTHER_SHOP)


def test_an_undone_release_shares_the_car_again(away):
    visit = away.send()
    visits.step(away.shop(), visit, "released", RELEASED, STAMP)
    visits.undo(away.owner(), visit, "released", "Still there.", STAMP)
    assert away.reaches(SHOP)
    visits.step(away.shop(), visit, "released", RELEASED, STAMP)
    assert not away.reaches(SHOP)


def test_a_release_stays_once_the_car_went_elsewhere(away):
    visit = away.send()
    visits.step(away.owner(), visit, "released", RELEASED, STAMP)
    away.send(OTHER_SHOP, RELEASED)
    with pytest.raises(Conflict, match="sent to a shop again since"):
        visits.undo(away.owner(), visit, "released", "Still there.", STAMP)
    assert not away.reaches(SHOP)


# What was noted, what is undone, and what is said.
WRONG_UNDOINGS = [
    ((), "arrived", "nothing to undo"),
    ((), "planned", "nothing to undo"),
    (("arrived",), "sent", "after the sending first"),
]


@pytest.mark.parametrize(("noted", "step", "words"), WRONG_UNDOINGS)
def test_a_wrong_undoing_is_refused(away, noted, step, words):
    visit = away.send()
    for each in noted:
        visits.step(away.owner(), visit, each, ARRIVED, STAMP)
    with pytest.raises(Conflict, match=words):
        visits.undo(away.owner(), visit, step, "Why not.", STAMP)


def test_a_shop_undoes_what_it_noted_and_not_the_sending(away):
    visit = away.send()
    visits.step(away.shop(), visit, "arrived", ARRIVED, STAMP)
    visits.undo(away.shop(), visit, "arrived", "Another car.", STAMP)
    with pytest.raises(Conflict, match="Whoever owns the car undoes its sending"):
        visits.undo(away.shop(), visit, "sent", "Not ours.", STAMP)
    assert away.reaches(SHOP)


def test_a_shop_changes_nothing_of_before_the_car_was_sent(away):
    before = NewEvent(SENT - timedelta(days=1), ("visual",))
    event = events.record_event(away.owner(), away.car.id, before, STAMP)
    away.send()
    with pytest.raises(Refused, match="before the car was sent to you"):
        events.correct_event(away.shop(), event.id, replace(before, outcome="fail"), STAMP)
    with pytest.raises(Refused, match="before the car was sent to you"):
        events.withdraw_event(away.shop(), event.id, "Not ours.", STAMP)
    events.withdraw_event(away.owner(), event.id, "Never was.", STAMP)


def test_a_shop_corrects_and_withdraws_what_was_done_since_the_car_was_sent(away):
    away.send()
    done = NewEvent(SENT, ("visual",))
    event = events.record_event(away.shop(), away.car.id, done, STAMP)
    failed = events.correct_event(away.shop(), event.id, replace(done, outcome="fail"), STAMP)
    assert events.withdraw_event(away.shop(), failed.id, "Another car.", STAMP).superseded_at


def test_who_does_not_reach_the_car_hears_what_is_said_of_no_visit(away):
    visit = away.send()
    nobody = away.shop(OTHER_SHOP)
    for act in (
        lambda key: visits.step(nobody, key, "arrived", ARRIVED, STAMP),
        lambda key: visits.undo(nobody, key, "sent", "x", STAMP),
    ):
        said = []
        for key in (visit, 987654):
            with pytest.raises(NotFound) as missing:
                act(key)
            said.append(str(missing.value).replace(str(key), "KEY"))
        assert said[0] == said[1]
    with pytest.raises(NotFound, match="no car with the key"):
        visits.send(nobody, away.car.id, Sending(OTHER_SHOP, SENT), STAMP)


def test_a_shop_may_not_send_the_car_on_nor_change_what_it_is(away):
    away.send()
    for capability in ("record_facts", "bring_in"):
        db = asks(away.db, away.party[SHOP], "planner", capability)
        assert not cars.reached(db, away.car.id)
    db = asks(away.db, away.party[SHOP], "planner", "record_facts")
    with pytest.raises(NotFound):
        visits.send(db, away.car.id, Sending(OTHER_SHOP, SENT), STAMP)


def test_only_the_visits_of_cars_that_are_reached_are_listed(away):
    away.send()
    lined_car(away.db, away.party[OTHER_SHOP], NUMBER + 1)
    [seen] = visiting.going_on(away.shop())
    assert (seen.mark, seen.number, seen.own) == ("ZQAX", NUMBER, False)
    assert visiting.going_on(away.shop(OTHER_SHOP)) == []
    [own] = visiting.going_on(away.owner())
    assert own.own


def test_a_shop_that_is_reached_in_no_other_way_is_found_by_its_capability(away):
    away.send()
    shares = reach.of_viewer(away.db, viewer(away.party[SHOP], "shop"), "read").foreign
    assert shares == {"shop"}
    assert reach.of_viewer(away.db, viewer(away.party[OTHER_SHOP], "shop"), "read").foreign == set()
