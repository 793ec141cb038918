"""The roles of a person within a party, in words: what each is called, and what it is for."""

from __future__ import annotations

from app.access import ROLES
from app.pages.forms import Choice

CALLED = {
    "planner": "Planner",
    "compliance": "Compliance",
    "inspector": "Inspector",
    "shop": "Shop",
    "loading_rack": "Loading rack",
    "administrator": "Administrator",
}
FOR = {
    "planner": "keeps the cars and their facts, plans ahead, sends cars to shops",
    "compliance": "the same, and puts editions of the rules in force",
    "inspector": "records inspections and readings",
    "shop": "records work on cars that were sent to the shop",
    "loading_rack": "asks only whether a car may be loaded",
    "administrator": "invites people and ends what they may; reaches no cars by this role",
}
ROLE_CHOICES: tuple[Choice, ...] = tuple((role, f"{CALLED[role]}: {FOR[role]}") for role in ROLES)


def role_words(role: str) -> str:
    return CALLED[role]
