"""Secrets are sealed with a key that is not in the store: a setting, or a file beside the database."""

import stat
from pathlib import Path

import pytest

from app.errors import Refused
from app.settings import Settings
from app.web.sealing import KEY_FILE, sealing

SECRET = "JBSWY3DPEHPK3PXP"


def _by(url: str, key: str = "") -> Settings:
    return Settings(database_url=url, secret_key=key)


def test_a_key_is_made_beside_the_database_for_its_owner_alone(tmp_path: Path) -> None:
    settings = _by(f"sqlite:///{tmp_path / 'store.db'}")
    sealed = sealing(settings).close(SECRET)
    assert SECRET not in sealed
    assert sealing(settings).open(sealed) == SECRET
    assert stat.S_IMODE((tmp_path / KEY_FILE).stat().st_mode) == 0o600


@pytest.mark.parametrize("url", ["sqlite:////nowhere/store.db", "postgresql://somebody@host/name"])
def test_a_key_that_is_set_serves_any_database(url: str) -> None:
    settings = _by(url, "k" * 32)
    assert sealing(settings).open(sealing(settings).close(SECRET)) == SECRET


@pytest.mark.parametrize("url", ["postgresql://somebody@host/name", "sqlite:////nowhere/store.db"])
def test_without_a_key_nothing_is_sealed(url: str) -> None:
    with pytest.raises(Refused, match="SECRET_KEY"):
        sealing(_by(url)).close(SECRET)
    assert sealing(_by(url)).open("anything") is None


def test_what_was_sealed_with_another_key_or_changed_is_not_opened() -> None:
    url = "postgresql://somebody@host/name"
    sealed = sealing(_by(url, "k" * 32)).close(SECRET)
    assert sealing(_by(url, "l" * 32)).open(sealed) is None
    assert sealing(_by(url, "k" * 32)).open(sealed[:-4] + "AAA=") is None
