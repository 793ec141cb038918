"""A document to begin an edition with: every rule that has an interval, each still as it is and commented out."""

from __future__ import annotations

from app.rules.reader import built_in

HEAD = """\
# An edition of the rules for Stencilbook, or an owner's programme. State only what differs from the base.
# Lines that begin with a number sign are left out; take the sign away to state them.

# Small letters, digits and hyphens. Every edition that is loaded has an id of its own.
id = "my-programme-2027"
edition = "Programme of January 2027"
# The rulebook it is laid over: the built-in one, or an edition loaded before.
base = "{id}"
# An owner in the register makes it that owner's programme. It may then only shorten intervals and
# choose settings. Without this line it is for all cars.
# owner = "Name of the owner"

# How questions are read that the rule text leaves open. The first of each is the strict one.
[settings]
# day, month_end or year_end
due_precision = "day"
# start or end
stencil_year = "start"

# Rules with an interval, as they are. Where an interval changes, say in words what holds then, and
# where it stands. Without confidence = "verified" dates say that nobody checked it against its text.
"""
RULE = """
# [rules.{name}]
# interval_months = {months}
# text = "{text}"
# citation = "{citation}"
# edition = "{edition}"
# confidence = "{confidence}"
"""


def template() -> str:
    """The document as TOML text."""
    base = built_in()
    rules = [
        RULE.format(name=name, months=rule["interval_months"], **{
            field: rule[field] for field in ("text", "citation", "edition", "confidence")
        })
        for name, rule in base["rules"].items() if "interval_months" in rule
    ]  # fmt: skip
    return HEAD.format(id=base["id"]) + "".join(rules)
