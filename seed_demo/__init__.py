"""The invented demo fleet: no owner, shop, mark or place in it is real."""

from seed_demo.loading import load
from seed_demo.people import settle

__all__ = ["load", "settle"]
