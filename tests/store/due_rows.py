"""Rows of `due` put there by hand."""

from app.core.facts import ITEMS


def row(car, item, state, due_on=None, **more):
    """An item of a car, with whatever columns are to be otherwise."""
    return {
        "car_id": car.id, "owner_id": car.owner_id, "region": car.region, "mark": car.mark,
        "number": car.number, "listed": True, "hazardous": True, "item_no": ITEMS.index(item),
        "item": item, "state": state, "due_on": due_on, "basis_on": None, "interval_months": None,
        "calculated_due_on": due_on, "confidence": "verified", "citation": "49 CFR 180.509(d)",
    } | more  # fmt: skip
