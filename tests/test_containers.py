"""The container files, as far as they can be checked without a container engine.

The schema beside this file holds the part of the Compose Specification that we use, and nothing
else, so that a misspelled key is found.
"""

import copy
import json
import re
from pathlib import Path
from typing import Any

import jsonschema_rs
import pytest
import yaml

from app.cli.room import FOR_LONG_WORK
from app.settings import Settings

ROOT = Path(__file__).parents[1]
SCHEMA = json.loads((Path(__file__).parent / "compose.schema.json").read_text())
COMPOSE: dict[str, Any] = yaml.safe_load((ROOT / "docker-compose.yml").read_text())
SERVICES: dict[str, Any] = COMPOSE["services"]


def accepted(compose: dict[str, Any]) -> bool:
    return jsonschema_rs.is_valid(SCHEMA, compose)


def test_the_compose_file_fits_its_schema() -> None:
    jsonschema_rs.meta.validate(SCHEMA)
    jsonschema_rs.validate(SCHEMA, COMPOSE)


@pytest.mark.parametrize(
    ("where", "wrong"),
    [
        (("services", "app", "port"), ["8000:8000"]),  # a misspelled key
        (("services", "app", "ports"), [8000.5]),
        (("services", "app", "restart"), "sometimes"),
        (("services", "database", "command"), "postgres -c max_connections=100"),
        (("services", "app", "depends_on"), {"database": {"condition": "healthy"}}),
        (("services", "app", "environment"), {"PORT": {"is": 8000}}),
        (("services", "database", "healthcheck", "test"), ["pg_isready"]),  # no CMD before it
        (("services", "database", "healthcheck", "interval"), "5 seconds"),
        (("services", "database", "volumes"), [{"source": 1}]),
        (("service",), {}),
    ],
)
def test_the_schema_refuses(where: tuple[str, ...], wrong: object) -> None:
    compose = copy.deepcopy(COMPOSE)
    place = compose
    for key in where[:-1]:
        place = place[key]
    place[where[-1]] = wrong
    assert not accepted(compose)


def test_services_name_only_services_and_volumes_that_are_there() -> None:
    for service in SERVICES.values():
        assert service.get("depends_on", {}).keys() <= SERVICES.keys()
        named = {volume.split(":")[0] for volume in service.get("volumes", [])}
        assert named <= COMPOSE["volumes"].keys()


def test_the_register_answers_on_this_machine_only() -> None:
    assert [port.startswith("127.0.0.1:") for port in SERVICES["app"]["ports"]] == [True]
    assert "ports" not in SERVICES["database"]


def test_the_settings_given_to_the_program_are_settings_it_knows() -> None:
    given = SERVICES["app"]["environment"].keys()
    assert given <= {name.upper() for name in Settings.model_fields}


def test_the_program_is_sent_to_the_database_that_is_started() -> None:
    started = SERVICES["database"]["environment"]
    address = SERVICES["app"]["environment"]["DATABASE_URL"]
    assert address == (
        f"postgresql+psycopg://{started['POSTGRES_USER']}:{started['POSTGRES_PASSWORD']}"
        f"@database/{started['POSTGRES_DB']}"
    )


def test_the_database_takes_as_many_connections_as_the_program_may_open() -> None:
    given, usual = SERVICES["app"]["environment"], re.compile(r"\$\{\w+:-(\d+)\}")
    workers, connections = (
        int(usual.fullmatch(given[name])[1]) for name in ("WORKERS", "DATABASE_CONNECTIONS")
    )
    (most,) = re.findall(r"max_connections=(\d+)", " ".join(SERVICES["database"]["command"]))
    kept_for_administrators = 3
    assert workers * connections + FOR_LONG_WORK + kept_for_administrators < int(most)


def test_no_password_is_written_down() -> None:
    assert re.fullmatch(
        r"\$\{\w+:\?[^}]+\}", SERVICES["database"]["environment"]["POSTGRES_PASSWORD"]
    )


def test_the_image_is_given_all_that_the_program_needs_and_no_more() -> None:
    rules = (ROOT / ".dockerignore").read_text().splitlines()
    let_in = {rule.strip("!/") for rule in rules if rule.startswith("!")}
    assert rules[0] == "*"
    assert let_in >= {"app", "migrations", "static", "templates", "requirements.lock"}
    assert all((ROOT / name).exists() for name in let_in)
