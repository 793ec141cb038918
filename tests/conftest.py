"""Fixtures that every test may use, from `tests/fixtures/`, and what holds for all tests."""

import os
from collections.abc import Iterator

import pytest
from hypothesis import settings

from app.settings import Settings

# Each before those that import it, so that pytest explains a failing assert in any of them.
pytest_plugins = (
    "tests.fixtures.browser",
    "tests.fixtures.postgres",
    "tests.fixtures.store",
    "tests.fixtures.server",
    "tests.fixtures.web",
    "tests.fixtures.fleet",
)

# A shared machine stalls now and then; a slow example is no wrong answer.
settings.register_profile("stencilbook", deadline=None, print_blob=True)
settings.load_profile("stencilbook")

SETTINGS = tuple(name.upper() for name in Settings.model_fields)


@pytest.fixture(scope="session", autouse=True)
def no_settings_from_outside() -> Iterator[None]:
    """A person's own settings must neither steer a test nor have a test write to their register."""
    held = {name: os.environ.pop(name) for name in SETTINGS if name in os.environ}
    # The name under which a client without a server asks.
    os.environ["ALLOWED_HOSTS"] = "testserver"
    yield
    del os.environ["ALLOWED_HOSTS"]
    os.environ.update(held)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark by what a test asks for, so that `-m "not browser"` needs no care from its author."""
    for item in items:
        asked = getattr(item, "fixturenames", ())
        if "browser" in asked:
            item.add_marker("browser")
        if "postgres_url" in asked:
            item.add_marker("postgres")
