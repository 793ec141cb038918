"""Directives go along with a car as information: told, never a due item, and before people's eyes until one decides."""

import json
from datetime import date, timedelta
from hashlib import sha256

import pytest
from sqlalchemy import select

from app.actions import directives, hand_over, may_load, told_orders
from app.actions.directives import NewClosing, NewDirective, Term
from app.actions.may_load import Asked, When
from app.actions.take_over import take_over
from app.errors import NotFound, Refused
from app.files import archive
from app.files.archive import MANIFEST
from app.files.hand_overs import HandOverManifest, must_be_whole
from app.pictures import Attachments
from app.store import directive_list, due, facts, handing_over
from app.store import told_orders as rows
from app.store.directive_list import MatchFilter
from app.store.tables import Car, Party
from tests.actions.test_hand_over import BUYER, HANDED, ON, TAKEN, register_at, rewritten
from tests.store.cast import OWNER, TODAY, add_car, stamp

BY_THEN = date(2027, 2, 1)


def ordered(db, number, **more):
    """A directive about all cars of whoever has the first car."""
    party = db.scalars(select(Party)).first()
    new = NewDirective(
        party.id, "authority", "Invented Office", number, f"Look at weld {number}",
        "Look at the weld.", date(2026, 11, 1), TODAY, Term(BY_THEN, forbids_loading=True),
        {"specification": "DOT 111"}, **more,
    )  # fmt: skip
    return directives.freeze(db, new, stamp(1))


@pytest.fixture
def there(sqlite_template, tmp_path):
    """A car under an open directive, a closed one and one that was withdrawn."""
    with register_at(sqlite_template, tmp_path / "there.db") as db:
        car = add_car(db)
        ordered(db, "1", caution="Mind the step.")
        shut = ordered(db, "2")
        [match] = directive_list.matches_of(db, shut.id, MatchFilter(TODAY))
        done = NewClosing(TODAY, "mended", "Report 7", "A crack.")
        directives.close(db, [match.row.id], done, stamp(2))
        directives.withdraw(db, ordered(db, "3").id, "by mistake", stamp(3))
        db.commit()
        yield db, car.id


def handed(db, car_id, path, to=BUYER, at=HANDED):
    made = hand_over.hand_over(db, car_id, to, ON, at)
    hand_over.write_file(db, Attachments(path.parent / "there"), made, path)
    db.commit()
    return path


@pytest.fixture
def file(there, tmp_path):
    return handed(*there, tmp_path / "car.zip")


@pytest.fixture
def taken(any_db, file):
    return take_over(any_db, None, file, TAKEN)


def test_open_and_closed_directives_are_told_and_withdrawn_ones_are_not(any_db, taken):
    first, second = rows.of_car(any_db, taken.car_id)
    assert (first.row.name, first.row.title) == ("Invented Office 1", "Look at weld 1")
    assert (first.row.company, first.row.ordered_by) == (OWNER, "authority")
    assert (first.row.what, first.row.caution) == ("Look at the weld.", "Mind the step.")
    assert (first.row.due_on, first.row.forbids_loading) == (BY_THEN, True)
    assert (first.row.closed_on, first.waits) == (None, True)
    told = second.row
    assert (told.name, told.closed_on, told.outcome) == ("Invented Office 2", TODAY, "mended")
    assert (told.reference, told.finding, second.waits) == ("Report 7", "A crack.", False)


def test_no_due_item_and_no_directive_comes_of_it_and_the_difference_is_told(any_db, taken):
    items = due.for_car(any_db, taken.car_id, TODAY)
    assert items
    assert "directive" not in {each.item for each in items}
    assert directive_list.of_car(any_db, taken.car_id, MatchFilter(TODAY)) == []
    [difference] = taken.differences
    assert (difference.item, difference.here) == ("directive", None)
    assert difference.there.due_on == BY_THEN


def open_orders(db, car_id, as_of=TODAY, known_at=None):
    """What the calculator, and so the loading answer, is told of them."""
    record = facts.load(db, [car_id], as_of, known_at)[car_id]
    return [(each.name, each.due_on, each.forbids_loading) for each in record.car.told_orders]


OPEN = [("Invented Office 1", BY_THEN, True)]


@pytest.mark.parametrize(
    ("answers", "still"),
    [
        ((), OPEN),
        (("seen_to",), []),
        (("undecided",), OPEN),
        (("seen_to", "undecided"), OPEN),
        (("undecided", "not_needed"), []),
    ],
)
def test_the_calculator_is_told_of_it_until_somebody_decides(any_db, taken, answers, still):
    [told] = rows.waiting(any_db)
    for at, answer in enumerate(answers):
        told_orders.answer(any_db, told.row.id, answer, "So.", stamp(1000 + at))
    assert open_orders(any_db, taken.car_id) == still
    assert open_orders(any_db, taken.car_id, told.row.ordered_on - timedelta(days=1)) == []


def test_the_loading_answer_speaks_of_it(any_db, taken):
    [found] = may_load.answers(any_db, [Asked("ZQKX 1045")], When(BY_THEN))
    assert "nobody has decided about it" in " ".join(each.text for each in found.loading.reasons)


def test_what_nobody_had_decided_then_was_open_as_known_then(any_db, taken):
    [told] = rows.waiting(any_db)
    told_orders.answer(any_db, told.row.id, "seen_to", "So.", stamp(1000))

    assert open_orders(any_db, taken.car_id, known_at=stamp(999).at) == OPEN
    assert open_orders(any_db, taken.car_id, known_at=stamp(1000).at) == []


def test_it_waits_until_somebody_decides_and_waits_again_when_that_is_undone(any_db, taken):
    [told] = rows.waiting(any_db)
    assert (told.row.name, told.car) == ("Invented Office 1", "ZQKX 1045")
    for answer, waits in (("seen_to", False), ("undecided", True), ("not_needed", False)):
        told_orders.answer(any_db, told.row.id, answer, "As the letter says.", stamp(1000))
        assert bool(rows.waiting(any_db)) == waits, answer
    answers = rows.one_or_raise(any_db, told.row.id).answers
    assert [each.answer for each in answers] == ["seen_to", "undecided", "not_needed"]


@pytest.mark.parametrize(
    ("answer", "reason", "said"),
    [
        (
            "issued",
            "So it is.",
            "no directive Invented Office 1 of this register is about ZQKX 1045",
        ),
        ("seen_to", " ", "say why"),
        ("forgotten", "So it is.", "answer"),
    ],
)
def test_an_answer_that_does_not_hold_is_refused(any_db, taken, answer, reason, said):
    [told] = rows.waiting(any_db)
    with pytest.raises(Refused, match=said):
        told_orders.answer(any_db, told.row.id, answer, reason, stamp(1000))
    assert len(rows.waiting(any_db)) == 1


def test_that_it_is_issued_here_is_taken_once_it_is(any_db, taken):
    [told] = rows.waiting(any_db)
    car = any_db.get_one(Car, taken.car_id)
    new = NewDirective(
        car.owner_id, "authority", "Invented Office", "1", "Look at weld 1", "Look.",
        date(2026, 11, 1), TODAY, Term(BY_THEN), {"specification": "DOT 111"},
    )  # fmt: skip
    directives.freeze(any_db, new, stamp(1000))
    told_orders.answer(any_db, told.row.id, "issued", "As directive 1.", stamp(1001))
    assert rows.waiting(any_db) == []
    assert "directive" in {each.item for each in due.for_car(any_db, taken.car_id, TODAY)}


def test_a_third_register_is_told_of_it_as_open_with_what_was_answered(
    any_db, taken, tmp_path, sqlite_template
):
    [told] = rows.waiting(any_db)
    told_orders.answer(any_db, told.row.id, "not_needed", "Not ours.", stamp(1000, "Nobody Two"))
    onward = handed(any_db, taken.car_id, tmp_path / "on.zip", "Third Invented Cars", stamp(1200))
    told_orders.answer(any_db, told.row.id, "undecided", "After all.", stamp(1300))
    again = tmp_path / "again.zip"
    [made] = handing_over.of_car(any_db, taken.car_id)
    hand_over.write_file(any_db, Attachments(tmp_path / "there"), made, again)
    with register_at(sqlite_template, tmp_path / "third.db") as db:
        third = take_over(db, None, onward, stamp(1500))
        first, _ = rows.of_car(db, third.car_id)
        assert (first.row.company, first.waits) == (OWNER, True)
        assert first.row.said == "not_needed, by Nobody Two: Not ours."
    with archive.opened_as(HandOverManifest, again) as opened:
        assert opened.manifest == third.manifest


def test_a_car_that_left_waits_for_nobody_here(any_db, taken, tmp_path):
    handed(any_db, taken.car_id, tmp_path / "on.zip", "Third Invented Cars", stamp(1200))
    assert rows.waiting(any_db) == []


def test_one_that_there_is_not_is_not_found(any_db):
    with pytest.raises(NotFound, match="No directive with the number 7"):
        told_orders.answer(any_db, 7, "seen_to", "So.", stamp())


def test_a_file_that_knows_nothing_of_directives_is_whole(sqlite_template, tmp_path):
    """So they were before they told of any."""
    with register_at(sqlite_template, tmp_path / "there.db") as db:
        path = handed(db, add_car(db).id, tmp_path / "car.zip")

    def as_before(held):
        told = json.loads(held[MANIFEST])
        assert told.pop("orders") == []
        held[MANIFEST] = json.dumps(told).encode()

    with archive.opened_as(HandOverManifest, rewritten(path, as_before)) as opened:
        must_be_whole(opened, "car.zip")
        sealed_then = opened.manifest.model_dump_json(exclude={"seal", "orders"})
        assert opened.manifest.seal == sha256(sealed_then.encode()).hexdigest()


def test_a_directive_that_is_left_out_of_the_file_is_noticed(file):
    def without(held):
        told = json.loads(held[MANIFEST])
        del told["orders"]
        held[MANIFEST] = json.dumps(told).encode()

    with (
        archive.opened_as(HandOverManifest, rewritten(file, without)) as opened,
        pytest.raises(Refused, match="its manifest is not what was written"),
    ):
        must_be_whole(opened, "car.zip")
