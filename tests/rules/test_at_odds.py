"""Facts that cannot all be true: each is told with its field, and which of them counts.

Ours, no source: no rule says what counts when facts contradict one another. Strengths of materials: as listed
in the rulebook (49 CFR 179.100-7 and 179.200-7, annual edition of October 1, 2019).
"""

from datetime import date

import pytest

from app.answers import due_dates
from app.core.at_odds import at_odds
from app.core.facts import Car, ReliefDevice, Tank
from app.rules.reader import default_rulebook
from tests.core.cars import AS_OF, ask, changed, failed, item, names, passed, reading, texts, zone

BOOK = default_rulebook()


def told(asked, path):
    """The warnings about this field."""
    warnings = [warning["text"] for warning in due_dates(asked)["warnings"]]
    return [text for text in warnings if text.startswith(f"{path}: ")]


STRENGTH = "car.tank.tensile_psi"


@pytest.mark.parametrize(
    ("tank", "said"),
    [
        # TC128B has 81,000 psi.
        ({"material": "TC128B", "tensile_psi": 70000}, "70000 psi"),
        ({"material": "TC128B", "tensile_psi": 90000}, "90000 psi"),
        ({"material": "TC128B", "tensile_psi": 80999.5}, "80999.5 psi"),
        ({"material": "TC128B", "tensile_psi": 81000}, None),  # they agree
        ({"material": "TC128B"}, None),
        ({"tensile_psi": 70000}, None),
        # From memory, so it says so.
        ({"material": "A285C", "tensile_psi": 60000}, "not verified against the rule text"),
    ],
)
def test_a_strength_that_is_not_its_materials_is_told(tank, said):
    found = told(ask(tank={"inside_diameter_in": 119, **tank}), STRENGTH)
    assert bool(found) is (said is not None)
    if said:
        assert said in found[0]
        assert "the lesser counts" in found[0]


@pytest.mark.parametrize("stated", [70000, 90000])
def test_the_lesser_strength_counts(stated):
    both = {"material": "TC128B", "tensile_psi": stated, "inside_diameter_in": 119}
    alone = {"tensile_psi": min(stated, 81000), "inside_diameter_in": 119}
    required = [zone(due_dates(ask(tank=tank)), "head_a")["required_in"] for tank in (both, alone)]
    assert required[0] == required[1]


@pytest.mark.parametrize(
    ("event", "said"),
    [
        (failed("2024-05-01", "damage"), "names only changes"),
        (failed("2024-05-01", "lining_removed", "sheeting_replaced"), "names only changes"),
        (failed("2024-05-01", readings=[reading("head_a", 0.44)]), "names no item"),
        (failed("2024-05-01", "damage", "visual"), None),  # the inspection failed
        (failed("2024-05-01", "visual"), None),
        (changed("2024-05-01", "damage"), None),
        (failed("2027-05-01", "damage"), None),  # not yet; told otherwise
    ],
)
def test_a_failure_of_nothing_that_can_fail_is_told(event, said):
    found = told(ask(passed("2020-01-01", "visual"), event), "events.1.outcome")
    assert bool(found) is (said is not None)
    assert not said or said in found[0]


def test_the_outcome_of_a_mere_change_changes_nothing():
    fails, plain = (due_dates(ask(make("2024-05-01", "damage"))) for make in (failed, changed))
    for part in ("items", "next", "thickness", "loading"):
        assert fails[part] == plain[part]


NONE = "car.relief_device.kind"


@pytest.mark.parametrize(
    ("device", "events", "said"),
    [
        ({"kind": "none", "tested_on": "2020-01-15"}, [], "its test on 2020-01-15"),
        ({"kind": "none", "installed_on": "2020-01-15"}, [], "its installation on 2020-01-15"),
        ({"kind": "none", "installed_on": "2020-01"}, [], "its installation in 2020-01"),
        ({"kind": "none", "tested_on": "2020-01-15", "installed_on": "2020-02-01"}, [],
         "its test on 2020-01-15 and its installation on 2020-02-01"),
        ({"kind": "none", "set_psig": 75}, [], "its setting of 75 psig"),
        ({"kind": "none"}, [failed("2024-05-01", "relief_device")], "a failed qualification on 2024-05-01"),
        ({"kind": "none"}, [passed("2018-03-15", "relief_device")], None),  # it has come off since
        ({"kind": "none"}, [], None),
        ({"kind": "none", "tested_on": "2027-01-15"}, [], None),  # not yet; told otherwise
        ({"kind": "valve", "tested_on": "2020-01-15"}, [failed("2024-05-01", "relief_device")], None),
    ],
)  # fmt: skip
def test_a_device_that_is_said_not_to_be_there_is_told(device, events, said):
    asked = ask(*events, relief_device=device)
    found = told(asked, NONE)
    assert bool(found) is (said is not None)
    if said:
        assert said in found[0]
        assert "relief_device" not in names(due_dates(asked))


@pytest.mark.parametrize(
    ("built_on", "device", "sheeting", "path"),
    [
        ("2010-06-15", "2009-12-31", None, "car.relief_device.installed_on"),
        ("2010-06-15", "2010-05", None, "car.relief_device.installed_on"),
        ("2010-06-15", None, "2009-12-31", "car.reflective_sheeting.installed_on"),
        ("2010-06-15", None, "2010-05", "car.reflective_sheeting.installed_on"),
        ("2010-06-15", "2010-06-15", "2010-06-15", None),
        # A month may end after the day.
        ("2010-06-15", "2010-06", "2010-06", None),
        (None, "2009-12-31", "2009-12-31", None),
        ("2010-06", "2010-06-01", "2010-06-01", None),
    ],
)
def test_what_is_on_the_car_before_it_was_built_is_told(built_on, device, sheeting, path):
    asked = ask(
        built_on=built_on,
        relief_device={"kind": "valve", "tested_on": "2009-11-01", "installed_on": device},
        reflective_sheeting={"installed_on": sheeting},
    )
    paths = ("car.relief_device.installed_on", "car.reflective_sheeting.installed_on")
    assert [each for each in paths if told(asked, each)] == ([path] if path else [])
    if path:
        assert "before the car was built on 2010-06-15" in told(asked, path)[0]


def test_sheeting_older_than_the_car_counts_as_stated():
    due = item(
        due_dates(ask(reflective_sheeting={"installed_on": "2009-12-31"})), "reflective_sheeting"
    )
    assert due["basis_on"] == "2009-12-31"


def test_people_read_the_sentence_and_programs_the_field_before_it():
    car = Car("ZQKX", 1, "DOT 111A100W1", date(2010, 6, 15),
              relief_device=ReliefDevice("valve", installed_on=date(2009, 1, 1)),
              tank=Tank("TC128B", 70000))  # fmt: skip
    strength, installed = at_odds(car, (), BOOK)
    assert (strength.path, installed.path) == (STRENGTH, "car.relief_device.installed_on")
    assert strength.citation == BOOK.materials["TC128B"].citation
    assert not strength.text.startswith("car.")


def test_a_sound_car_contradicts_nothing():
    answer = due_dates(ask(as_of=AS_OF))
    assert "car." not in texts(answer["warnings"])


def test_a_device_on_record_counts_though_the_car_is_said_to_have_none():
    device = ReliefDevice("valve", tested_on=date(2020, 1, 15), denied=True)
    car = Car("ZQKX", 1, "DOT 111A100W1", date(2010, 6, 15), relief_device=device)
    [said] = at_odds(car, (), BOOK)
    assert said.path == NONE
    assert "counted with that device" in said.text
