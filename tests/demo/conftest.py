"""A browser at the demo fleet."""

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from app.main import create_app
from app.settings import Settings
from tests.fixtures.people import COOKIES, let_in_at


@pytest.fixture(scope="module")
def demo_client(
    demo_template: Path, tmp_path_factory: pytest.TempPathFactory
) -> Iterator[TestClient]:
    path = tmp_path_factory.mktemp("words") / "store.db"
    shutil.copyfile(demo_template, path)
    url = f"sqlite:///{path}"
    let_in_at(url)
    with TestClient(create_app(Settings(database_url=url)), cookies=dict(COOKIES)) as client:
        yield client
