"""May the car be loaded today?

Sources: 49 CFR 173.31(a)(3) (nobody may fill an overdue car with a hazardous material and offer it), edition
of 2015, and 180.509(f)(4) (below D or E a tank may not operate), annual edition of October 1, 2019. That
doubt asks for a check is ours.
"""

import pytest

from app.answers import due_dates
from tests.core.cars import (
    LIQUOR,
    OIL,
    ask,
    changed,
    failed,
    item,
    local,
    measured,
    mechanically_sound,
    passed,
    qualified,
    reading,
    texts,
)

HARMLESS = {**OIL, "hazardous": False}
THIN = passed("2020-01-01", "visual", readings=[reading("shell_bottom", 0.374)])


@pytest.mark.parametrize(
    ("events", "car", "as_of", "hazardous_verdict", "harmless_verdict"),
    [
        ([qualified()], {}, "2026-11-25", "may_load", "may_load"),  # all in date
        ([qualified()], {}, "2028-03-15", "may_load", "may_load"),  # soon: the due day itself
        ([qualified()], {}, "2028-03-16", "may_not_load", "may_load"),  # overdue
        ([qualified(), failed("2024-01-01", "visual")], {}, "2026-11-25", "may_not_load", "may_load"),
        (
            [qualified(), changed("2024-01-01", "fire_damage")],
            {},
            "2026-11-25",
            "may_not_load",
            "may_load",
        ),
        # Each qualification item alone is enough.
        (
            [qualified(), failed("2024-01-01", "service_equipment")],
            {},
            "2026-11-25",
            "may_not_load",
            "may_load",
        ),
        (
            [qualified()],
            {"service_equipment": {"owner_interval_months": 60}},
            "2026-11-25",
            "may_not_load",
            "may_load",
        ),
        # Unknown.
        (
            [qualified(), changed("2024-01-01", "relief_device_changed", "leakage")],
            {},
            "2026-11-25",
            "check",
            "may_load",
        ),
        ([], {"built_on": None}, "2026-11-25", "check", "may_load"),
        # Changed and not leak-tested: leakage is due now (180.513(d)).
        (
            [qualified(), changed("2024-01-01", "relief_device_changed")],
            {},
            "2026-11-25",
            "may_not_load",
            "may_load",
        ),
        # Qualified, and no leak test known: unknown (180.513(d)).
        ([qualified(), passed("2024-01-01", "service_equipment")], {}, "2026-11-25", "check", "may_load"),
        # Overdue by its last day for the lading, and not known to have one.
        ([qualified()], {"service": {**OIL, "hazard_class": "3"}}, "2026-11-25", "may_not_load", None),
        ([qualified()], {"service": {**OIL, "hazard_class": "6.1"}}, "2026-11-25", "check", None),
        # Mechanical items are told and do not decide: brake and sheeting are overdue, the age is past.
        (
            [qualified()],
            {"reflective_sheeting": {"installed_on": "2012-01-01"}, "built_on": "1970-01-01"},
            "2026-11-25",
            "may_load",
            "may_load",
        ),
        ([qualified(), failed("2024-01-01", "air_brake")], {}, "2026-11-25", "may_load", "may_load"),
        # A zone without a required thickness: measured, but against nothing.
        ([qualified()], {"specification": "DOT 115A60W1"}, "2026-11-25", "check", "may_load"),
        # Never measured is no reason by itself.
        ([], {}, "2015-01-01", "may_load", "may_load"),
        # Condemned: whatever the lading.
        ([qualified(), THIN], {}, "2026-11-25", "may_not_load", "may_not_load"),
        ([qualified(shell_top=0.3)], {}, "2026-11-25", "may_not_load", "may_not_load"),
        (
            [passed("2018-03-15", "thickness", readings=[local("head_a", 0.249)])],
            {},
            "2019-01-01",
            "may_not_load",
            "may_not_load",
        ),
        # Condemned beats unknown.
        (
            [passed("2018-03-15", "thickness", readings=[reading("head_a", 0.2)])],
            {"built_on": None},
            "2019-01-01",
            "may_not_load",
            "may_not_load",
        ),
        # At or below C: shorter interval, still may load.
        ([qualified(shell_bottom=0.38)], {}, "2026-11-25", "may_load", "may_load"),
        # Overdue beats unknown.
        (
            [passed("2012-01-01", "visual"), changed("2013-01-01", "relief_device_changed", "leakage")],
            {},
            "2026-11-25",
            "may_not_load",
            "may_load",
        ),
        # An old condemned reading that a later measurement replaced.
        (
            [passed("2013-01-01", "thickness", readings=[reading("head_a", 0.2)]), qualified()],
            {},
            "2026-11-25",
            "may_load",
            "may_load",
        ),
    ],
)  # fmt: skip
def test_the_loading_verdict(events, car, as_of, hazardous_verdict, harmless_verdict):
    for service, verdict in ((OIL, hazardous_verdict), (HARMLESS, harmless_verdict)):
        if verdict is None:  # the case is about the lading itself
            continue
        loading = due_dates(ask(*events, as_of=as_of, **{"service": service, **car}))["loading"]
        assert loading["verdict"] == verdict
        assert verdict == "may_load" or loading["reasons"]


def test_a_lading_is_hazardous_unless_stated_otherwise():
    for service in (None, {}, {"corrosive_or_reactive": False}, {"hazardous": None}):
        answer = due_dates(ask(qualified(), failed("2024-01-01", "visual"), service=service))
        assert answer["loading"]["verdict"] == "may_not_load"


def test_a_lined_tank_never_measured_is_to_be_checked():
    lining = {"kind": "rubber", "applied_on": "2020-03-15"}
    events = [passed("2018-03-15", "visual", "structural_integrity", "safety_systems",
                     "service_equipment", "relief_device", "leakage")]  # fmt: skip
    answer = due_dates(ask(*events, lining=lining, service=LIQUOR, as_of="2021-01-01"))
    assert answer["loading"]["verdict"] == "check"
    measured_too = [*events, passed("2020-03-15", "thickness", readings=measured())]
    answer = due_dates(ask(*measured_too, lining=lining, service=LIQUOR, as_of="2021-01-01"))
    assert answer["loading"]["verdict"] == "may_load"


def test_an_overdue_lining_stops_the_loading_only_when_it_is_required():
    car = {"lining": {"kind": "rubber", "applied_on": "2018-03-15"}}
    events = [qualified()]
    required = due_dates(ask(*events, service=LIQUOR, **car))
    assert required["loading"]["verdict"] == "may_not_load"
    not_required = due_dates(ask(*events, service=OIL, **car))
    assert not_required["loading"]["verdict"] == "may_load"


def test_mechanical_items_add_a_reason_and_never_a_verdict():
    late = due_dates(ask(qualified()))
    assert item(late, "air_brake")["status"] == "overdue"
    assert late["loading"]["verdict"] == "may_load"
    assert "air brake" in texts(late["loading"]["reasons"])
    sound = due_dates(mechanically_sound(qualified()))
    assert (sound["loading"]["verdict"], sound["loading"]["reasons"]) == ("may_load", [])


@pytest.mark.parametrize(
    ("car", "as_of", "verdict"),
    [
        # The same rule for tanks taken off the car and for cryogenic cars.
        ({"specification": "DOT 106A500X", "built_on": "2021-02-01"}, "2023-12-31", "may_load"),
        ({"specification": "DOT 106A500X", "built_on": "2021-02-01"}, "2024-01-01", "may_not_load"),
        ({"specification": "DOT 106A500X", "built_on": None}, "2024-01-01", "check"),
        ({"specification": "DOT 113A60W", "built_on": "2023-02-01"}, "2024-02-01", "may_load"),
        ({"specification": "DOT 113A60W", "built_on": "2023-02-01"}, "2024-02-02", "may_not_load"),
        # Seamless: never known.
        ({"specification": "DOT 107A3000"}, "2012-01-01", "check"),
    ],
)
def test_every_regime_has_its_loading_answer(car, as_of, verdict):
    assert due_dates(ask(as_of=as_of, **car))["loading"]["verdict"] == verdict
    harmless = due_dates(ask(as_of=as_of, service=HARMLESS, **car))
    assert harmless["loading"]["verdict"] == "may_load"


def test_the_reasons_name_what_stands_in_the_way():
    answer = due_dates(ask(qualified(), failed("2024-01-01", "structural_integrity")))
    assert "structural integrity" in texts(answer["loading"]["reasons"]).replace("_", " ")
    answer = due_dates(ask(qualified(), THIN))
    assert "bottom" in texts(answer["loading"]["reasons"])


def test_every_answer_carries_the_caution():
    for asked in (ask(qualified()), ask(), ask(qualified(), failed("2024-01-01", "visual"))):
        caution = due_dates(asked)["loading"]["caution"].lower()
        for said in ("aid", "rule in force", "owner", "shop"):
            assert said in caution


@pytest.mark.parametrize(
    ("as_of", "said"), [("2028-03-16", "2028-03-15, 1 day"), ("2028-03-17", "2028-03-15, 2 days")]
)
def test_how_long_it_is_overdue_is_counted_in_words(as_of, said):
    answer = due_dates(ask(qualified(), as_of=as_of))
    assert f"visual inspection is overdue since {said}\n" in texts(answer["loading"]["reasons"])
