"""An edition laid over the built-in rulebook: what it changes, what is refused, and where doubt goes."""

from datetime import date
from fractions import Fraction

import pytest

from app.core.due import due_dates
from app.core.facts import CHANGES, Car, Event, Facts, Service
from app.core.rule import UNVERIFIED
from app.rules.edition import BadEdition, read_edition
from app.rules.overlay import Difference, differences, faults_over, laid, own
from app.rules.reader import built_in, default_rulebook
from app.rules.template import template

HEAD = 'id = "zq-2027"\nedition = "Invented edition of 2027"\nbase = "us-49cfr"\n'
OWNED = HEAD + 'owner = "Quillmoor Invented Leasing"\n'
WORDS = 'text = "In other words"\ncitation = "Invented rule 4"\n'


def months(rule: str, interval: int, more: str = WORDS) -> str:
    return f"[rules.{rule}]\ninterval_months = {interval}\n{more}"


RATE = "rules.corrosive_rate.limits"


def limit(stated: str) -> str:
    return f"[rules.corrosive_rate]\nlimits = {{ {stated} }}\n{WORDS}"


def faults(source: str) -> list[tuple[str, str]]:
    try:
        return [tuple(each) for each in faults_over(read_edition(source), built_in())]
    except BadEdition as bad:
        return [tuple(each) for each in bad.faults]


def test_without_editions_it_is_the_built_in_rulebook():
    assert own().document is built_in()
    assert {name: rule.text for name, rule in own().rulebook.rules.items()} == {
        name: rule.text for name, rule in default_rulebook().rules.items()
    }
    assert differences(own(), own()) == []


def test_an_edition_changes_what_it_states_and_nothing_else():
    over = laid((HEAD + months("visual", 84),))
    rule = over.rulebook.rule("visual")
    assert (rule.interval_months, rule.text, rule.citation) == (
        84,
        "In other words",
        "Invented rule 4",
    )
    assert (over.rulebook.id, over.rulebook.edition) == ("zq-2027", "Invented edition of 2027")
    for name, other in default_rulebook().rules.items():
        if name != "visual":
            kept = over.rulebook.rule(name)
            assert (kept.text, kept.interval_months) == (other.text, other.interval_months)


@pytest.mark.parametrize(
    ("stated", "confidence"),
    [
        # Nobody vouches for the number: not verified, the safe side.
        (months("visual", 84), "memory"),
        (months("visual", 84, WORDS + 'confidence = "verified"\n'), "verified"),
        # Other words alone leave it as it was.
        ('[rules.visual]\ntext = "In other words"\n', "verified"),
        ('[rules.air_brake]\ntext = "In other words"\n', "memory"),
    ],
)
def test_a_number_that_nobody_vouches_for_is_not_verified(stated, confidence):
    rule = laid((HEAD + stated,)).rulebook.rule("visual" if "visual" in stated else "air_brake")
    assert rule.confidence == confidence
    assert (UNVERIFIED in rule.reason.text) is (confidence == "memory")


def test_a_changed_rule_carries_the_edition_that_changed_it():
    over = laid((HEAD + months("visual", 84),)).rulebook
    assert over.rule("visual").edition == "Invented edition of 2027"
    assert over.rule("thickness").edition == "2019"
    stated = laid((HEAD + months("visual", 84, WORDS + 'edition = "2031"\n'),)).rulebook
    assert stated.rule("visual").edition == "2031"


def test_dates_follow_the_edition_and_say_where_its_rule_stands():
    facts = Facts(
        date(2026, 11, 25),
        Car("ZQKX", 1, "DOT 111A100W1", date(2010, 1, 1), service=Service("Invented oil", hazardous=False)),
        (Event(date(2020, 3, 15), ("visual",)),),
    )  # fmt: skip
    due = due_dates(facts, laid((HEAD + months("visual", 84),)).rulebook).item("visual")
    assert (due.due_on, due.interval_months, due.rule) == (date(2027, 3, 15), 84, "visual")
    assert due.confidence == "memory"
    assert due.reasons[0].citation == "Invented rule 4"


def test_thickness_says_when_its_interval_is_not_verified():
    facts = Facts(
        date(2026, 11, 25),
        Car("ZQKX", 1, "DOT 111A100W1", date(2010, 1, 1),
            service=Service("Invented oil", hazardous=False, corrosive_or_reactive=False)),
    )  # fmt: skip
    shorter = laid((HEAD + months("thickness", 96),)).rulebook
    assert due_dates(facts, shorter).item("thickness").confidence == "memory"


TABLES = """
[rules.corrosive_rate]
text = "In other words"
citation = "Invented rule 4"
limits = { mil_per_year = "2" }
[changes.damage]
opens = ["visual"]
citation = "Invented rule 5"
[materials.TC128B]
tensile_psi = 80000
citation = "Invented rule 6"
[[allowances]]
from_psig = "200"
bottom_in = "1/64"
[corrosive]
names = ["Invented acid"]
[[flammable_bans]]
name = "ethanol"
jacketed = 2024-05-01
citation = "Invented rule 7"
[[rows]]
class = "111"
pressure = 100
suffix = "1"
plate_in = "1/2"
citation = "Invented rule 8"
"""


def test_every_kind_of_table_can_be_changed():
    book = laid((HEAD + TABLES,)).rulebook
    assert book.rule("corrosive_rate").limit("mil_per_year") == 2
    assert book.opens["damage"] == ("visual",)
    assert book.opens["fire_damage"] == default_rulebook().opens["fire_damage"]
    steel = book.materials["TC128B"]
    assert (steel.tensile_psi, steel.confidence) == (80000, "memory")
    assert [row.bottom_in for row in book.allowances] == [Fraction(1, 16), Fraction(1, 64)]
    assert book.corrosive.names == (("invented", "acid"),)
    assert book.corrosive.un_numbers == default_rulebook().corrosive.un_numbers
    ethanol = next(ban for ban in book.flammable_bans if ban.name == "ethanol")
    assert (ethanol.jacketed, ethanol.without_jacket) == (date(2024, 5, 1), date(2023, 5, 1))
    assert ethanol.confidence == "memory"
    plates = [
        row.plate_in for row in book.stencils.rows["111"] if row.citation == "Invented rule 8"
    ]
    assert plates == [Fraction(1, 2)]


@pytest.mark.parametrize(
    ("source", "place", "sentence"),
    [
        # not TOML, with its line
        ("id = ", "", "not TOML"),
        ('id = "zq"\nx\ny = 1\n', "line 2", "not TOML"),
        ("x = " + "9" * 5000, "", "not TOML"),
        ("x = " + "[" * 5000, "", "not TOML"),
        # the head
        ("", "id", "is required"),
        (HEAD.replace("zq-2027", "ZQ 2027"), "id", "small letters, digits and hyphens"),
        (HEAD.replace('"us-49cfr"', "1"), "base", "text in quotes"),
        (HEAD + "colour = 1\n", "colour", "not a field"),
        ("owner = ''\n" + HEAD, "owner", "must not be empty"),
        # how open questions are read
        (HEAD + '[settings]\ndue_precision = "week"\n', "settings.due_precision", "'day', 'month_end' or 'year_end'"),
        (
            f'owner = "Quillon Tank Lines"\n{HEAD}[settings]\ndue_precision = "year_end"\n',
            "settings.due_precision",
            "may only be stricter",
        ),
        (
            HEAD + '[[allowances]]\nfrom_psig = "60"\nbottom_in = "9"\n',
            "allowances.0.bottom_in",
            "between 0 and 1/4",
        ),
        (HEAD + "[settings]\nsoon_days = 3\n", "settings.soon_days", "not a field"),
        # rules: names, fields, kinds, bounds
        (HEAD + months("visuals", 84), "rules.visuals", "did you mean visual?"),
        (HEAD + "[rules.visual]\nmonths = 84\n", "rules.visual.months", "not a field"),
        (HEAD + '[rules.visual]\ninterval_months = "84"\n', "rules.visual.interval_months", "whole number"),
        (HEAD + "[rules.visual]\ninterval_months = true\n", "rules.visual.interval_months", "whole number"),
        (HEAD + "[rules.visual]\ninterval_months = 84.5\n", "rules.visual.interval_months", "whole number"),
        (HEAD + months("visual", 0), "rules.visual.interval_months", "at least 1"),
        (HEAD + months("visual", 1201), "rules.visual.interval_months", "at most 1200"),
        (HEAD + months("visual", 84, 'citation = "Invented"\n'), "rules.visual.text", "is required"),
        (HEAD + months("visual", 84, 'text = "Other"\n'), "rules.visual.citation", "is required"),
        (HEAD + months("stencil", 84), "rules.stencil.interval_months", "has none"),
        (HEAD + f"[rules.visual]\nday = 2027-01-01\n{WORDS}", "rules.visual.day", "has none"),
        (HEAD + '[rules.age_limit]\nday = "2027-01-01"\n', "rules.age_limit.day", "without quotes"),
        (HEAD + limit('mils = "2"'), f"{RATE}.mils", "no such number"),
        (HEAD + limit("mil_per_year = 2.5"), f"{RATE}.mil_per_year", "in quotes"),
        (HEAD + limit('mil_per_year = "1/0"'), f"{RATE}.mil_per_year", "in quotes"),
        (HEAD + f'[rules.visual]\nconfidence = "sure"\n{WORDS}', "rules.visual.confidence", "'verified' or 'memory'"),
        (HEAD + '[rules.visual]\nfeeds = ["thickness"]\n', "rules.visual.feeds", "not a field"),
        # the wrong way round
        (HEAD + months("thickness", 48), "rules.thickness_thin.interval_months", "state both"),
        (HEAD + months("relief_device_ton_tank", 72), "rules.relief_device_ton_tank.interval_months", "state both"),
        # tables
        (HEAD + "[changes.dents]\nopens = []\n", "changes.dents", "'damage'"),
        (HEAD + '[changes.damage]\nopens = ["paint"]\n', "changes.damage.opens.0", "'visual'"),
        (HEAD + '[changes.damage]\nopens = ["visual"]\n', "changes.damage.citation", "is required"),
        (HEAD + '[materials.TC128]\ntensile_psi = 80000\ncitation = "I"\n', "materials.TC128", "did you mean TC128B?"),
        (HEAD + '[[allowances]]\nfrom_psig = "100"\nbottom_in = "1/8"\n', "allowances.0", "no such row: from_psig 100"),
        (HEAD + '[[flammable_bans]]\nname = "gin"\ncitation = "I"\n', "flammable_bans.0", "no such row: name gin"),
        (HEAD + '[[rows]]\nclass = "111"\npressure = 9\n', "rows.0", "no such row: class 111, pressure 9"),
        (HEAD + 2 * '[[allowances]]\nfrom_psig = "200"\n', "allowances.1", "stands twice"),
        (HEAD + "[corrosive]\nnames = []\n", "corrosive.names", "at least one"),
        (HEAD + '[corrosive]\nun_numbers = ["1789"]\n', "corrosive.un_numbers.0", "such as UN1789"),
        (HEAD + '[classes.111]\nkind = "pressure"\n', "classes", "not a field"),
        # an owner's programme may only be stricter
        (OWNED + months("visual", 121), "rules.visual.interval_months", "at most 120 months"),
        (OWNED + '[rules.visual]\ntext = "Other"\n', "rules.visual.interval_months", "is required"),
        (OWNED + limit('mil_per_year = "9"'), RATE, "only shorten intervals"),
        (OWNED + "[rules.poison_not_2009]\nday = 2040-01-01\n", "rules.poison_not_2009.day", "only shorten"),
        (OWNED + '[corrosive]\nnames = ["Invented acid"]\n', "corrosive", "has no corrosive"),
        (OWNED + '[materials.TC128B]\ntensile_psi = 99000\ncitation = "I"\n', "materials", "has no materials"),
    ],
)  # fmt: skip
def test_a_fault_is_told_with_its_place(source, place, sentence):
    told = faults(source)
    assert any(where == place and sentence in said for where, said in told), told


def test_every_fault_is_told_at_once():
    source = HEAD + months("visuals", 84) + months("thickness", 0) + "[settings]\nx = 1\n"
    assert {place for place, _ in faults(source)} == {
        "settings.x",
        "rules.thickness.interval_months",
    }
    # What does not fit the base is told once every field can be read.
    fitting = (
        HEAD + months("visuals", 84) + months("stencil", 12) + '[materials.X]\ncitation = "I"\n'
    )
    assert {place for place, _ in faults(fitting)} == {
        "rules.visuals", "rules.stencil.interval_months", "materials.X",
    }  # fmt: skip


def test_a_document_too_long_for_an_edition_is_refused():
    assert faults(HEAD + "#" * 1_000_000) == [
        ("", "is longer than a million characters, which no edition is")
    ]


def test_a_programme_never_lengthens_what_a_newer_rulebook_has_shortened():
    newer = HEAD + months("visual", 60) + months("safety_systems", 96)
    programme = (
        OWNED.replace("zq-2027", "zq-own") + months("visual", 84) + months("safety_systems", 84)
    )
    rules = laid((newer, programme)).rulebook.rules
    assert (rules["visual"].interval_months, rules["safety_systems"].interval_months) == (60, 84)


@pytest.mark.parametrize(
    "rule", ["visual", "thickness", "lining", "air_brake", "relief_device_ton_tank"]
)
def test_an_interval_of_a_programme_may_be_as_long_as_the_rule_and_not_longer(rule):
    most = default_rulebook().rule(rule).months
    assert faults(OWNED + months(rule, most)) == []
    assert [place for place, _ in faults(OWNED + months(rule, most + 1))] == [
        f"rules.{rule}.interval_months"
    ]


def test_an_edition_that_names_a_rule_there_no_longer_is_stops_instead_of_being_passed_over():
    with pytest.raises(BadEdition, match="visuals"):
        laid((HEAD + months("visuals", 84),))


def test_differences_are_told_field_by_field_as_the_documents_write_them():
    source = HEAD + '[settings]\ndue_precision = "month_end"\n' + months("visual", 84) + TABLES
    found = {each.place: (each.before, each.after) for each in differences(own(), laid((source,)))}
    assert found["settings.due_precision"] == ("day", "month_end")
    assert found["rules.visual.interval_months"] == ("120", "84")
    assert found["rules.corrosive_rate.limits.mil_per_year"] == ("2.5", "2")
    assert found["allowances.200.bottom_in"] == ("1/32", "1/64")
    assert found["flammable_bans.ethanol.jacketed"] == ("2023-05-01", "2024-05-01")
    assert found["rows.111 100 1.plate_in"] == ("7/16", "1/2")
    assert not [place for place in found if place.startswith("rules.thickness")]
    changed = differences(own(), laid((source,)))
    assert Difference("changes.damage.opens", "thickness", None) in changed
    assert Difference("corrosive.names", None, "Invented acid") in changed


def test_the_template_states_nothing_yet_and_every_line_of_it_can_be_taken():
    assert differences(own(), laid((template(),))) == []
    lines = template().splitlines()
    rules = [
        line.removeprefix("# ")
        for line in lines
        if line.startswith(("# [rules", "# inter", "# text", "# cit", "# ed", "# conf"))
    ]
    whole = "\n".join(line for line in lines if not line.startswith("#")) + "\n" + "\n".join(rules)
    assert faults_over(read_edition(whole), built_in()) == []
    assert differences(own(), laid((whole,))) == []


@pytest.mark.parametrize("name", sorted(default_rulebook().rules))
def test_what_a_rule_feeds_is_an_item_or_the_loading_answer(name):
    rule = default_rulebook().rule(name)
    assert len(set(rule.feeds)) == len(rule.feeds)
    if name in CHANGES:
        assert rule.feeds == default_rulebook().opens[name]
