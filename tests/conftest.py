"""Fixtures that every test may use, from `tests/fixtures/`, and what holds for all tests."""

import gc
import os
from collections.abc import Generator, Iterator

import pytest
from hypothesis import settings

from app.settings import Settings
from tests.length import tries

# Each before those that import it, so that pytest explains a failing assert in any of them.
pytest_plugins = (
    "tests.fixtures.browser",
    "tests.fixtures.log",
    "tests.fixtures.postgres",
    "tests.fixtures.store",
    "tests.fixtures.server",
    "tests.fixtures.web",
    "tests.fixtures.fleet",
    "tests.fixtures.desk",
)

# A shared machine stalls now and then; a slow example is no wrong answer.
settings.register_profile(
    "stencilbook", deadline=None, print_blob=True, max_examples=tries(short=30, long=300)
)
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


@pytest.hookimpl(wrapper=True)
def pytest_collection() -> Generator[None, object, object]:
    """What is collected stays to the end: looking for garbage among it, as it grows and in each test, finds none."""
    gc.disable()
    try:
        return (yield)
    finally:
        gc.freeze()
        gc.enable()


# Modules that last longest, begun first so that no process is left alone with one at the end; measured now and then.
LONGEST = (
    "browser/test_lists.py", "answers/test_many_cars.py", "browser/test_accounts.py", "access/test_matrix.py",
    "browser/test_field_pages.py", "faults/test_database.py", "browser/test_widths.py",
    "actions/test_copies.py", "cli/test_serve.py", "faults/test_kills.py", "browser/test_car.py",
    "bulk/test_same_answers.py", "access/test_reach_oracle.py", "faults/test_disk.py",
    "actions/test_looking_back.py", "browser/field/inspection/", "field/test_many_tablets.py",
    "actions/test_rulebooks.py", "demo/test_demo_command.py", "browser/test_loading.py",
    "browser/field/engine/", "answers/test_properties.py", "api/test_fuzz.py", "actions/test_verifying.py",
    "store/test_proof.py", "browser/test_rulebook.py", "browser/test_trial.py", "demo/", "browser/",
)  # fmt: skip


def _turn(item: pytest.Item) -> int:
    path = item.path.as_posix()
    return next((at for at, each in enumerate(LONGEST) if f"/tests/{each}" in path), len(LONGEST))


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Mark by what a test asks for, so that `-m "not browser"` needs no care from its author."""
    items.sort(key=_turn)
    for item in items:
        asked = getattr(item, "fixturenames", ())
        if "browser" in asked:
            item.add_marker("browser")
        if "postgres_url" in asked:
            item.add_marker("postgres")
