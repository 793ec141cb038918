"""Editions of the rules: loaded, put in force for all or for an owner, taken back, and what they move."""

from dataclasses import replace
from datetime import date
from decimal import Decimal

import pytest
from sqlalchemy import func, select, text
from sqlalchemy.exc import IntegrityError

from app.actions import cars, events, rulebook_effect, rulebooks
from app.actions import due as rebuild
from app.actions.changes import NewApproval, NewOwnership, NewReading, NewService, NewStanding
from app.errors import Refused
from app.rules.reader import default_rulebook
from app.store import due, facts
from app.store import rulebooks as stored
from app.store.db import sessions, write_session
from app.store.derived import DueRow, RulebookEdition, RulebookInForce
from tests.actions.test_together import at_once
from tests.store.cast import NOON, OWNER, TODAY, add_car, stamp, visual

OTHER = "Marrowfen Invented Cars"
WORDS = 'text = "In other words"\ncitation = "Invented rule 4"\n'


def edition(
    code: str = "zq-2027", owner: str = "", base: str = "us-49cfr", more: str = "", **months: int
) -> str:
    whose = f'owner = "{owner}"\n' if owner else ""
    rules = "".join(
        f"[rules.{rule}]\ninterval_months = {number}\n{WORDS}" for rule, number in months.items()
    )
    return f'id = "{code}"\nedition = "Invented"\nbase = "{base}"\n{whose}{more}{rules}'


def put(db, edition_id, owner_id=None, minutes=0):
    rulebooks.put_in_force(db, edition_id, owner_id, stamp(minutes))
    rebuild.refresh_all(db, TODAY, owner_id=owner_id)


def in_force(db, source, minutes=0):
    row = rulebooks.load(db, source, stamp())
    put(db, row.id, row.owner_id, minutes)
    return row


def dates(db, car, item="visual"):
    return next(row.due_on for row in due.for_car(db, car.id, TODAY) if row.item == item)


@pytest.fixture
def fleet(any_db):
    """A car of each of two owners, both visited on 2020-03-15."""
    mine, other = add_car(any_db), add_car(any_db, 2, owner=OTHER)
    for car in (mine, other):
        events.record_event(any_db, car.id, visual(), stamp())
    return any_db, mine, other


def test_loading_changes_no_date(fleet):
    db, mine, _ = fleet
    row = rulebooks.load(db, edition(visual=84), stamp())
    rebuild.refresh_all(db, TODAY)
    assert dates(db, mine) == date(2030, 3, 15)
    assert (row.code, row.base, row.recorded_by, row.owner_id) == (
        "zq-2027",
        "us-49cfr",
        "Alba Testwell",
        None,
    )
    assert stored.in_force(db) == {}


def test_an_edition_in_force_for_all_moves_every_car_and_going_back_moves_them_back(fleet):
    db, mine, other = fleet
    in_force(db, edition(visual=84))
    assert (dates(db, mine), dates(db, other)) == (date(2027, 3, 15), date(2027, 3, 15))
    put(db, None, minutes=5)
    assert (dates(db, mine), dates(db, other)) == (date(2030, 3, 15), date(2030, 3, 15))
    assert [(each.code, each.by, each.at) for each in stored.history(db)] == [
        (None, "Alba Testwell", stamp(5).at),
        ("zq-2027", "Alba Testwell", NOON),
    ]


def test_a_programme_moves_its_owners_cars_alone(fleet):
    db, mine, other = fleet
    in_force(db, edition(owner=OWNER, visual=84))
    assert (dates(db, mine), dates(db, other)) == (date(2027, 3, 15), date(2030, 3, 15))
    row = db.scalars(select(DueRow).where(DueRow.car_id == mine.id, DueRow.item == "visual")).one()
    assert (row.interval_months, row.citation, row.confidence) == (84, "Invented rule 4", "memory")


def test_a_car_recorded_or_sold_later_goes_by_its_owners_programme(fleet):
    db, mine, other = fleet
    in_force(db, edition(owner=OWNER, visual=84))
    late = add_car(db, 3)
    assert dates(db, late) == date(
        2022, 6, 1
    )  # built on 2015-06-01, counted as the first qualification
    cars.change_ownership(db, other.id, NewOwnership(OWNER, "north", from_on=TODAY), stamp(1))
    cars.change_ownership(db, mine.id, NewOwnership(OTHER, "north", from_on=TODAY), stamp(1))
    assert (dates(db, other), dates(db, mine)) == (date(2027, 3, 15), date(2030, 3, 15))


def test_a_programme_lies_over_what_holds_for_all_and_never_lengthens_it(fleet):
    db, mine, other = fleet
    in_force(db, edition("zq-own", OWNER, visual=84, safety_systems=84))
    in_force(db, edition("zq-all", visual=60, safety_systems=96), minutes=1)
    assert (dates(db, mine), dates(db, other)) == (date(2025, 3, 15), date(2025, 3, 15))
    assert dates(db, mine, "safety_systems") == date(2022, 6, 1)
    assert dates(db, other, "safety_systems") == date(2023, 6, 1)


def test_an_edition_can_be_laid_over_another(fleet):
    db, mine, _ = fleet
    rulebooks.load(db, edition("zq-first", visual=84), stamp())
    in_force(db, edition("zq-second", base="zq-first", safety_systems=60))
    assert dates(db, mine) == date(2027, 3, 15)
    assert dates(db, mine, "safety_systems") == date(2020, 6, 1)


def test_readings_of_open_questions_hold_for_all_and_an_owner_may_be_stricter(fleet):
    db, mine, other = fleet
    in_force(db, edition("zq-all", more='[settings]\ndue_precision = "month_end"\n'))
    in_force(db, edition(owner=OWNER, more='[settings]\ndue_precision = "day"\n', visual=119), 1)
    assert dates(db, other) == date(2030, 3, 31)
    assert dates(db, mine) == date(2030, 2, 15)
    programme = rulebooks.in_force(db)
    record = facts.load(db, [mine.id], TODAY)[mine.id]
    assert programme.read(record).settings.due_precision == "day"
    assert programme.read(record).settings.soon_days == record.settings.soon_days


def test_the_newest_put_in_force_counts(fleet):
    db, mine, _ = fleet
    first, second = (
        rulebooks.load(db, edition(code, visual=n), stamp())
        for code, n in (("zq-a", 84), ("zq-b", 60))
    )
    for minutes, row in enumerate((first, second, first)):
        put(db, row.id, minutes=minutes)
    assert dates(db, mine) == date(2027, 3, 15)
    assert stored.in_force(db) == {None: first.id}


def test_without_an_edition_it_is_the_built_in_rulebook(db):
    assert rulebooks.in_force(db).everyone.rulebook.rules.keys() == default_rulebook().rules.keys()
    assert (
        rulebooks.in_force(db).everyone is rulebooks.in_force(db).everyone
    )  # answers are kept by it


@pytest.mark.parametrize(
    ("source", "place", "sentence"),
    [
        (edition("us-49cfr", visual=84), "id", "loaded already"),
        (edition("zq-there", visual=84), "id", "loaded already"),
        (edition(owner="Nobody Invented", visual=84), "owner", "no owner named 'Nobody Invented'"),
        (edition(base="zq-not-there", visual=84), "base", "no rulebook zq-not-there"),
        (edition(base="zq-own", visual=60), "base", "an owner's programme"),
        (edition(owner=OWNER, visual=121), "rules.visual.interval_months", "at most 120 months"),
        # against the edition it is laid over, not against the built-in
        (edition(owner=OWNER, base="zq-there", visual=85), "rules.visual.interval_months", "at most 84 months"),
        (edition(), "", "nothing in it differs from us-49cfr"),
        (edition(more='[settings]\nstencil_year = "start"\n'), "", "nothing in it differs"),
        (edition(base="zq-there", more='[settings]\nstencil_year = "start"\n'), "", "differs from zq-there"),
        ("id =", "", "not TOML"),
    ],
)  # fmt: skip
def test_what_cannot_be_loaded_is_refused_with_its_place(any_db, source, place, sentence):
    add_car(any_db)
    rulebooks.load(any_db, edition("zq-there", visual=84), stamp())
    rulebooks.load(any_db, edition("zq-own", OWNER, visual=84), stamp())
    with pytest.raises(Refused) as refused:
        rulebooks.load(any_db, source, stamp())
    assert any(fault.path == place and sentence in fault.problem for fault in refused.value.faults)
    assert any_db.scalar(select(func.count()).select_from(RulebookEdition)) == 2


def test_what_is_in_force_already_or_meant_for_others_is_not_put_in_force(fleet):
    db, mine, other = fleet
    row = rulebooks.load(db, edition(owner=OWNER, visual=84), stamp())
    for owner_id in (None, other.owner_id):
        with pytest.raises(Refused, match="for that owner's cars"):
            rulebooks.put_in_force(db, row.id, owner_id, stamp())
    put(db, row.id, mine.owner_id)
    for edition_id, owner_id in ((row.id, mine.owner_id), (None, None), (None, other.owner_id)):
        with pytest.raises(Refused, match="in force already"):
            rulebooks.put_in_force(db, edition_id, owner_id, stamp())


def test_the_rule_that_governs_is_stored_and_counted(fleet):
    db, mine, _ = fleet
    governed = stored.governed(db)
    assert governed["visual"] == {"dated": 2}
    assert governed["thickness"] == {"dated": 2}
    assert governed["air_brake_first"] == {"dated": 2}
    assert "" not in governed
    acid = NewService("Invented acid", corrosive_or_reactive=True, from_on=TODAY)
    cars.put_into_service(db, mine.id, acid, stamp())
    assert stored.governed(db)["thickness_thin"] == {"dated": 1}  # never measured
    approved = NewApproval("visual", 60, "Invented 7", stenciled=True, from_on=TODAY)
    cars.change_approval(db, mine.id, approved, stamp())
    assert stored.governed(db)["visual"] == {"dated": 1}
    assert stored.governed(db)["approval"] == {"dated": 1}


@pytest.mark.parametrize(
    "statement",
    [
        "DELETE FROM rulebook_edition",
        "UPDATE rulebook_edition SET source = 'another'",
        "DELETE FROM rulebook_in_force",
        "UPDATE rulebook_in_force SET recorded_by = 'nobody'",
    ],
)
def test_no_edition_and_nothing_put_in_force_is_changed_or_deleted(fleet, statement):
    db, *_ = fleet
    in_force(db, edition(visual=84))
    db.commit()
    with pytest.raises(IntegrityError, match="the record is kept"):
        db.execute(text(statement))


def test_an_inspection_recorded_while_an_edition_is_put_in_force_goes_by_it(any_engine):
    """Whichever comes first: no date is stored by rules that hold no longer."""
    factory = sessions(any_engine)
    with write_session(factory) as db:
        ids = [add_car(db, number).id for number in range(1, 6)]
        row = rulebooks.load(db, edition(visual=84), stamp()).id
    raised = at_once(
        any_engine,
        lambda db: put(db, row),
        *[lambda db, car=car: events.record_event(db, car, visual(), stamp()) for car in ids],
    )
    assert raised == [None] * 6
    with factory() as db:
        rows = db.execute(
            select(DueRow.interval_months, DueRow.due_on).where(DueRow.item == "visual")
        )
        assert rows.all() == [(84, date(2027, 3, 15))] * 5


# The effect -------------------------------------------------------------------------------------------------------


def everything(db):
    columns = DueRow.__table__.c
    rows = db.execute(select(columns.car_id, columns.item, columns.state, columns.due_on))
    return {(row.car_id, row.item): (row.state, row.due_on) for row in rows}


CHANGES = [
    edition(visual=84),
    edition(visual=180, thickness=108, air_brake_first=60, age_limit=480),
    edition(owner=OWNER, visual=84, service_equipment=60),
    edition(more='[settings]\ndue_precision = "year_end"\n'),
    edition(
        more='[[flammable_bans]]\nname = "ethanol"\njacketed = 2020-01-01\ncitation = "Invented"\n',
        visual=119,
    ),
    edition(more='[corrosive]\nnames = ["Invented mild"]\n'),
]


@pytest.mark.parametrize("source", CHANGES, ids=range(len(CHANGES)))
@pytest.mark.parametrize("fleet_of", [2, 60])  # few are answered one by one, many as columns
def test_what_an_effect_foretells_is_what_putting_it_in_force_does(db, source, fleet_of):
    for number in range(1, fleet_of + 1):
        car = add_car(db, number, owner=OWNER if number % 2 else OTHER)
        events.record_event(db, car.id, visual(date(2016 + number % 10, 3, 15)), stamp())
    row = rulebooks.load(db, source, stamp())
    before = everything(db)
    found = rulebook_effect.effect(db, row.id, row.owner_id, TODAY)
    assert everything(db) == before  # nothing is stored by it
    put(db, row.id, row.owner_id)
    after = everything(db)
    moved = {key: after[key] for key in after if after[key] != before[key]}
    assert {
        (each.car_id, each.item): (each.new_state, each.new_due_on) for each in found.shifts
    } == moved
    assert {(each.car_id, each.item): (each.state, each.due_on) for each in found.shifts} == {
        key: before[key] for key in moved
    }
    assert moved
    back = rulebook_effect.effect(db, None, row.owner_id, TODAY)
    assert [(each.car_id, each.item, each.new_due_on) for each in back.shifts] == [
        (each.car_id, each.item, each.due_on) for each in found.shifts
    ]


def test_an_effect_is_summed_item_by_item(fleet):
    db, *_ = fleet
    row = rulebooks.load(db, edition(visual=60, air_brake_first=97), stamp())
    told = []
    found = rulebook_effect.effect(
        db, row.id, None, TODAY, lambda done, of: told.append((done, of))
    )
    assert (found.looked_at, found.cars, found.shift_count, told) == (2, 2, 4, [(2, 2)])
    seen, brake = found.by_item
    # 2020-03-15 plus 60 months is 2025-03-15, five years of 1826 days before 2030-03-15 and past.
    assert (seen.item, seen.earlier, seen.later, seen.most_earlier, seen.past, seen.cars) == (
        "visual",
        2,
        0,
        1826,
        2,
        2,
    )
    # 2015-06-01 plus 97 months is a month of 30 days after plus 96; past before and after, so not newly.
    assert (brake.item, brake.earlier, brake.later, brake.most_later, brake.past) == (
        "air_brake",
        0,
        2,
        30,
        0,
    )


def test_an_effect_says_which_cars_would_be_stopped(db):
    for number in (1, 2):
        car = add_car(db, number)
        items = (
            "visual",
            "structural_integrity",
            "safety_systems",
            "service_equipment",
            "relief_device",
            "thickness",
            "leakage",
        )
        events.record_event(db, car.id, visual(date(2020 + number, 3, 15), items=items), stamp())
    row = rulebooks.load(db, edition(visual=60), stamp())
    found = rulebook_effect.effect(db, row.id, None, TODAY)
    # Due on 2026-03-15, which is past, and on 2027-03-15.
    assert [(each.number, each.past(TODAY), each.stops) for each in found.shifts] == [
        (1, True, True),
        (2, False, False),
    ]
    assert found.stopped == 1


def test_an_effect_counts_cars_whose_loading_answer_changes_though_no_date_moves(db):
    car = add_car(db, 1)
    everything = ("visual", "structural_integrity", "safety_systems", "service_equipment",
                  "relief_device", "thickness", "leakage")  # fmt: skip
    readings = tuple(
        NewReading(zone, Decimal("0.40"))
        for zone in ("shell_top", "shell_bottom", "head_a", "head_b")
    )
    event = replace(visual(date(2024, 3, 15), items=everything), readings=readings)
    events.record_event(db, car.id, event, stamp())
    thin = '[[allowances]]\nfrom_psig = "60"\ntop_and_heads_in = "1/64"\nbottom_in = "1/64"\n'
    row = rulebooks.load(db, edition(more=thin), stamp())
    found = rulebook_effect.effect(db, row.id, None, TODAY)
    assert (found.stopped, found.freed) == (1, 0)
    rulebooks.put_in_force(db, row.id, None, stamp())
    back = rulebook_effect.effect(db, None, None, TODAY)
    assert (back.stopped, back.freed) == (0, 1)


def test_cars_out_of_the_record_are_not_looked_at(fleet):
    db, mine, _ = fleet
    cars.change_standing(db, mine.id, NewStanding("sold", from_on=TODAY), stamp())
    row = rulebooks.load(db, edition(visual=84), stamp())
    assert rulebook_effect.effect(db, row.id, None, TODAY).looked_at == 1


def test_an_effect_kept_with_a_job_reads_as_it_was(fleet, monkeypatch):
    db, *_ = fleet
    row = rulebooks.load(db, edition(visual=60), stamp())
    found = rulebook_effect.effect(db, row.id, None, TODAY)
    assert rulebook_effect.from_kept(rulebook_effect.as_kept(found)) == found
    monkeypatch.setattr(rulebook_effect, "KEPT", 1)
    kept = rulebook_effect.from_kept(rulebook_effect.as_kept(found))
    assert (len(kept.shifts), kept.shift_count, kept.by_item) == (1, 2, found.by_item)


def test_nothing_put_in_force_is_recorded_when_it_was_refused(fleet):
    db, *_ = fleet
    with pytest.raises(Refused):
        rulebooks.put_in_force(db, None, None, stamp())
    assert db.scalar(select(func.count()).select_from(RulebookInForce)) == 0
