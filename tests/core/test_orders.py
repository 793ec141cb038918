"""Directives that are open on a car: its due item and its loading answer.

What a directive means is what it says itself; that an overdue one asks for a look before loading is a choice of ours
on the safe side (no source).
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from app.answers.request import Request
from app.core.due import due_dates
from app.core.facts import Facts, Order
from app.core.orders import due_day
from app.rules.reader import default_rulebook
from tests.core.cars import AS_OF, mechanically_sound, qualified

DAY = date.fromisoformat(AS_OF)
BOOK = default_rulebook()
FIRST = Order("Invented Authority 7", "Relief valves of lot L12", DAY + timedelta(days=30))
SECOND = Order("Invented Works 3", "Look at the skids", DAY + timedelta(days=10))


def sound(*orders: Order, hazardous: bool = True) -> Facts:
    plain = Request.model_validate(mechanically_sound(qualified())).as_core()
    service = replace(plain.car.service, hazardous=hazardous)
    return replace(plain, car=replace(plain.car, orders=orders, service=service))


def asked(*orders: Order):
    return due_dates(sound(*orders), BOOK)


def test_a_car_without_an_order_has_no_such_item():
    assert asked().item("directive") is None


def test_the_order_that_falls_due_first_speaks_for_the_car_and_the_reasons_name_each():
    due = asked(FIRST, SECOND).item("directive")
    assert (due.state, due.due_on) == ("dated", SECOND.due_on)
    told = [reason.text for reason in due.reasons]
    assert [SECOND.title in told[0], FIRST.title in told[1]] == [True, True]
    assert due.reasons[0].citation == "Invented Works 3"


def test_among_orders_of_one_day_the_one_given_first_speaks():
    same = replace(SECOND, due_on=FIRST.due_on)
    assert asked(FIRST, same).item("directive").reasons[0].citation == FIRST.name


def test_it_comes_last_and_can_be_what_falls_due_first():
    answer = asked(replace(SECOND, due_on=date(2000, 1, 1)))
    assert answer.items[-1].item == "directive"
    assert answer.next.item == "directive"


@pytest.mark.parametrize(
    ("days", "forbids", "verdict"),
    [
        (0, True, "may_load"),  # on its due day it is in time
        (-1, False, "check"),
        (-1, True, "may_not_load"),
        (30, True, "may_load"),
    ],
)
@pytest.mark.parametrize("hazardous", [True, False])
def test_an_overdue_order_asks_for_a_look_or_forbids_loading_whatever_the_lading(
    days, forbids, verdict, hazardous
):
    order = Order("Invented Authority 7", "Valves", DAY + timedelta(days=days), forbids)
    assert due_dates(sound(hazardous=hazardous), BOOK).loading.verdict == "may_load"
    loading = due_dates(sound(order, hazardous=hazardous), BOOK).loading
    assert loading.verdict == verdict
    assert any(reason.citation == order.name for reason in loading.reasons)


@pytest.mark.parametrize(("days", "verdict"), [(0, "may_load"), (-1, "check")])
@pytest.mark.parametrize("hazardous", [True, False])
def test_one_that_came_with_the_car_is_no_due_item_and_asks_for_a_look_once_it_is_past(
    days, verdict, hazardous
):
    """The word of another register is a doubt, not a ban, whatever it says of loading."""
    told = Order("Invented Authority 7", "Valves", DAY + timedelta(days=days), forbids_loading=True)
    plain = sound(hazardous=hazardous)
    answer = due_dates(replace(plain, car=replace(plain.car, told_orders=(told,))), BOOK)
    assert answer.item("directive") is None
    assert answer.loading.verdict == verdict
    assert any(reason.citation == told.name for reason in answer.loading.reasons)


@pytest.mark.parametrize(
    ("fixed", "days", "last"),
    [
        (date(2027, 3, 1), None, date(2027, 3, 1)),
        (None, 30, date(2026, 12, 25)),
        (None, 0, date(2026, 11, 25)),
    ],
)
def test_the_last_day_is_named_or_counted_from_the_find(fixed, days, last):
    assert due_day(fixed, days, DAY) == last
