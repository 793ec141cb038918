"""How long people wait for what an edition would move, on the demo fleet."""

import re
import shutil
from pathlib import Path
from time import process_time

from fastapi.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from tests.pages.test_rulebook import edition


def test_the_effect_on_the_demo_fleet_is_answered_within_two_seconds(
    demo_template: Path, tmp_path: Path
):
    """Seconds of this process, which a machine busy with other work does not stretch."""
    path = tmp_path / "store.db"
    shutil.copyfile(demo_template, path)
    app = create_app(Settings(database_url=f"sqlite:///{path}"))
    with TestClient(app, raise_server_exceptions=False) as client:
        client.post("/rulebook/editions", data={"text": edition()})
        begun = process_time()
        shown = client.get("/rulebook/effect?edition=1").text
        assert process_time() - begun < 2
    looked_at = re.search(r"Cars looked at</dt><dd>([^<]+)", shown)
    assert looked_at is not None
    assert looked_at[1].startswith("1\u202f2")
