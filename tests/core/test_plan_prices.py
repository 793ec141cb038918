"""What one shop day more saves: never below nothing, exact only where both plans are proven to be the cheapest."""

import pytest

from app.core.plan.prices import PriceOfADay, price_of_a_day
from app.core.plan.problem import Solved


@pytest.mark.parametrize(
    ("without", "more", "price"),
    [
        # cost and bound without the day, and with it; costs, least and most saved, whether exact
        ((900, 900), (700, 700), PriceOfADay(900, 700, 200, 200, exact=True)),
        ((900, 800), (700, 700), PriceOfADay(900, 700, 100, 200, exact=False)),
        ((900, 900), (700, 650), PriceOfADay(900, 700, 200, 250, exact=False)),
        # The search with the day came less far: the plan without it can be made all the same.
        ((900, 850), (950, 800), PriceOfADay(900, 900, 0, 100, exact=False)),
        ((900, 900), (900, 900), PriceOfADay(900, 900, 0, 0, exact=True)),
    ],
)
def test_what_a_day_saves_lies_between_what_the_bounds_allow(without, more, price):
    assert price_of_a_day(Solved((), *without), Solved((), *more)) == price
