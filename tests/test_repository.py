"""What the repository itself promises: locked dependencies, commands, vendored files, licence."""

import hashlib
import importlib.metadata
import os
import re
import subprocess
import tomllib
from pathlib import Path

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

ROOT = Path(__file__).parents[1]
VENDOR = ROOT / "static" / "vendor"
PROJECT = tomllib.loads((ROOT / "pyproject.toml").read_text())
WANTED = {
    "requirements.lock": PROJECT["project"]["dependencies"],
    "requirements-dev.lock": [
        *PROJECT["project"]["dependencies"],
        *PROJECT["dependency-groups"]["dev"],
    ],
}

each_lock = pytest.mark.parametrize("name", WANTED)


def entries(name: str) -> list[str]:
    """The logical lines of a lock file, without comments."""
    joined = (ROOT / name).read_text().replace("\\\n", " ")
    return [line for line in joined.splitlines() if line.strip() and not line.startswith("#")]


def pins(name: str) -> dict[str, tuple[Requirement, frozenset[str]]]:
    """By package: what is required of it, and the hashes its files may have.

    A package that needs another version on another Python stands twice; the pin for this one counts.
    """
    found: dict[str, tuple[Requirement, frozenset[str]]] = {}
    for entry in entries(name):
        requirement, *hashes = entry.split("--hash=")
        wanted = Requirement(requirement.strip())
        package = canonicalize_name(wanted.name)
        if package not in found or _applies(wanted):
            found[package] = (wanted, frozenset(map(str.strip, hashes)))
    return found


def _applies(wanted: Requirement) -> bool:
    return wanted.marker is None or wanted.marker.evaluate()


def version(wanted: Requirement) -> str:
    return next(iter(wanted.specifier)).version


@each_lock
def test_a_lock_file_leaves_an_installer_no_choice(name: str) -> None:
    """One exact version each, and hashes: so two installs cannot differ."""
    for wanted, hashes in pins(name).values():
        assert [each.operator for each in wanted.specifier] == ["=="], wanted
        assert "*" not in version(wanted), wanted
        assert hashes, wanted
        assert all(re.fullmatch(r"sha256:[0-9a-f]{64}", each) for each in hashes), wanted


@each_lock
def test_a_lock_file_names_no_host_no_path_and_no_option(name: str) -> None:
    for entry in entries(name):
        assert re.match(r"[a-z0-9]", entry), entry
        assert not re.search(r"://|\s@\s|file:|[/\\]", entry.split("--hash=")[0]), entry
    assert "://" not in (ROOT / name).read_text()


@each_lock
def test_a_lock_file_satisfies_pyproject(name: str) -> None:
    locked = pins(name)
    for direct in map(Requirement, WANTED[name]):
        found, _ = locked[canonicalize_name(direct.name)]
        assert direct.specifier.contains(version(found)), f"{direct} but {found}: run make lock"
        assert direct.extras <= found.extras, f"{direct} but {found}: run make lock"


def test_the_tests_run_on_the_versions_that_are_shipped() -> None:
    shipped, tested = pins("requirements.lock"), pins("requirements-dev.lock")
    strays = {name for name, pin in shipped.items() if _told(tested.get(name)) != _told(pin)}
    assert not strays


def _told(pin: tuple[Requirement, frozenset[str]] | None) -> tuple[str, frozenset[str]] | None:
    return pin and (str(pin[0]), pin[1])


def test_what_is_installed_here_is_what_the_lock_file_says() -> None:
    installed = {
        canonicalize_name(each.name): each.version for each in importlib.metadata.distributions()
    }
    applying = {
        name: version(wanted)
        for name, (wanted, _) in pins("requirements-dev.lock").items()
        if _applies(wanted)
    }
    assert {name: installed.get(name) for name in applying} == applying
    assert installed.keys() - applying.keys() <= {"pip", "setuptools"}


def make_targets() -> dict[str, str]:
    """Each target of the Makefile, with its line of help or an empty text."""
    rules = re.findall(r"^([a-z-]+):(?:.*?## (.*)|.*)$", (ROOT / "Makefile").read_text(), re.M)
    return dict(rules)


def test_the_readme_needs_two_commands_and_the_makefile_has_them() -> None:
    commands = set(re.findall(r"\bmake ([a-z-]+)", (ROOT / "README.md").read_text()))
    assert {"run", "test"} <= commands


@pytest.mark.parametrize("page", ["README.md", "DEVELOPERS.md", ".ci/run"])
def test_every_make_command_that_is_written_down_exists(page: str) -> None:
    text = (ROOT / page).read_text()
    # As code: between backticks, or at the start of a line of a block or script.
    commands = re.findall(r"(?:`|^\s*)make ([a-z-]+)", text, re.MULTILINE)
    assert set(commands) <= make_targets().keys()


def test_make_alone_lists_every_command_with_its_use() -> None:
    listed = subprocess.run(["make"], cwd=ROOT, capture_output=True, text=True, check=True).stdout
    for target, use in make_targets().items():
        assert use, f"{target} has no line of help"
        assert re.search(rf"^ +make {target} +{re.escape(use)}$", listed, re.MULTILINE)


def test_setting_up_again_does_nothing() -> None:
    asked = subprocess.run(["make", "--question", "setup"], cwd=ROOT, check=False)
    assert asked.returncode == 0


def test_the_check_script_can_be_run() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    subprocess.run(["bash", "-n", script], check=True)


def recorded_sums() -> dict[str, str]:
    lines = (VENDOR / "SHA256SUMS").read_text().splitlines()
    return {name: digest for digest, name in (line.split("  ") for line in lines)}


def test_vendored_files_are_those_that_were_recorded() -> None:
    files = (path for path in VENDOR.rglob("*") if path.is_file())
    there = {path.relative_to(VENDOR).as_posix() for path in files} - {"SHA256SUMS"}
    assert {
        name: hashlib.sha256((VENDOR / name).read_bytes()).hexdigest() for name in there
    } == recorded_sums()


# Those of the vendored files that name their version, and how they write it.
NAMING = {
    "HTMX_VERSION": ("htmx.min.js", 'version:"{}"'),
    "LIT_HTML_VERSION": ("lit-html.js", 'litHtmlVersions??=[]).push("{}")'),
}


@pytest.mark.parametrize("name", NAMING)
def test_a_vendored_library_has_the_version_that_make_vendor_fetches(name: str) -> None:
    file, written = NAMING[name]
    named = re.search(rf"^{name} := (\S+)$", (ROOT / "Makefile").read_text(), re.MULTILINE)
    assert named
    assert written.format(named[1]) in (VENDOR / file).read_text()


def test_the_licence_is_apache_2_0_word_for_word() -> None:
    """The sum is that of the text as its publisher gives it (from memory)."""
    text = (ROOT / "LICENSE").read_bytes()
    assert PROJECT["project"]["license"] == "Apache-2.0"
    assert hashlib.sha256(text).hexdigest() == (
        "cfc7749b96f63bd31c3c42b5c471bf756814053e847c10f3eb003417bc523d30"
    )


def test_the_package_and_the_project_have_one_version() -> None:
    from app import __version__

    assert PROJECT["project"]["version"] == __version__


FROM_MAKE = {"MAKEFLAGS", "MFLAGS", "MAKELEVEL", "PYTEST_WORKERS"}


@pytest.mark.parametrize(("given", "workers"), [([], "3"), (["PYTEST_WORKERS=4"], "4")])
def test_make_test_runs_the_modules_side_by_side(given: list[str], workers: str) -> None:
    """A module stays in one process, since its server and its store are made once."""
    # What the `make` that runs this very test was given must not count here.
    own = {name: os.environ[name] for name in os.environ if name not in FROM_MAKE}
    command = ["make", "--dry-run", "--always-make", "test", *given]
    run = subprocess.run(command, cwd=ROOT, env=own, capture_output=True, text=True, check=True)
    assert f"pytest -n {workers} --dist loadfile --no-loadscope-reorder\n" in run.stdout
