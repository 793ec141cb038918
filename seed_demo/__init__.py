"""The invented demo fleet: no owner, shop, mark or place in it is real."""

from seed_demo.loading import load

__all__ = ["load"]
