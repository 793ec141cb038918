"""The rulebook against the demo fleet, in which every situation is that the rules tell apart."""

import re
import shutil
from pathlib import Path

from sqlalchemy import select

from app.core.facts import RULE_ITEMS
from app.main import create_app
from app.rules.reader import default_rulebook
from app.settings import Settings
from app.store.db import make_engine, sessions
from app.store.derived import DueRow
from tests.fixtures.people import let_in_at
from tests.fixtures.web import asking
from tests.pages.test_rulebook import edition


def test_the_effect_on_the_demo_fleet_is_answered_at_once_and_not_as_a_job(
    demo_template: Path, tmp_path: Path
):
    path = tmp_path / "store.db"
    shutil.copyfile(demo_template, path)
    let_in_at(f"sqlite:///{path}")
    app = create_app(Settings(database_url=f"sqlite:///{path}"))
    with asking(app) as client:
        client.post("/rulebook/editions", data={"text": edition()})
        shown = client.get("/rulebook/effect?edition=1").text
    looked_at = re.search(r"Cars looked at</dt><dd>([^<]+)", shown)
    assert looked_at is not None
    assert looked_at[1].startswith("1\u202f2")


def test_the_rule_that_governs_an_item_is_one_that_feeds_it(demo_template: Path):
    rules = default_rulebook().rules
    engine = make_engine(f"sqlite:///{demo_template}")
    with sessions(engine)() as db:
        found = set(
            db.execute(
                select(DueRow.rule, DueRow.item).where(DueRow.item.in_(RULE_ITEMS)).distinct()
            ).all()
        )
    engine.dispose()
    assert {(rule, item) for rule, item in found if item not in rules[rule].feeds} == set()
    assert {"thickness_thin", "thickness_lined", "air_brake_first", "approval", "seamless"} <= {
        rule for rule, _ in found
    }
