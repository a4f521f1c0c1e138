"""People of a centre: ages, cards, and what a tired person types wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from pydantic import ValidationError

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.centre import Centre, read_centre
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.roster import read_roster

CARDS = {"Blue card": Level.LEVEL_1, "Red card": Level.LEVEL_2}
GOOD = """[[people]]
name = "Ada Lund"
born = 2010-02-28
level = "level_1"
logged_dives = 4
last_dive = 2026-10-01
medical = 2026-05-01
medical_clear = true

[[people]]
name = "Bo Marsh"
born = 1980-06-01
card = "Blue card"
"""


def person(born: date) -> Person:
    return Person(name="A", born=born, level=Level.LEVEL_1)


@pytest.mark.parametrize(
    ("born", "day", "age"),
    [
        (date(2015, 8, 13), date(2026, 8, 12), 10),
        (date(2015, 8, 13), date(2026, 8, 13), 11),
        (date(2008, 2, 29), date(2026, 2, 28), 17),  # in a common year a birthday on 29 February counts from 1 March
        (date(2008, 2, 29), date(2026, 3, 1), 18),
        (date(2008, 2, 29), date(2024, 2, 29), 16),
    ],
)
def test_age_changes_on_the_birthday_and_not_before(born, day, age):
    assert person(born).age_on(day) == age


def test_levels_rise_as_the_iso_standards_order_them():
    ranks = [level.rank for level in Level]
    assert ranks == sorted(ranks)
    assert [level for level in Level if level.may_lead] == [Level.LEVEL_3, Level.INSTRUCTOR_1, Level.INSTRUCTOR_2]
    assert [level for level in Level if level.is_instructor] == [Level.INSTRUCTOR_1, Level.INSTRUCTOR_2]


WRITTEN = date(2026, 11, 25)  # the day on which the dates of the demonstration were chosen


@pytest.fixture(scope="module")
def centre() -> Centre:
    return read_centre(data_dir("sites") / "centre" / "centre.toml")


def test_the_demonstration_has_some_thirty_people_of_every_level_and_age(centre):
    people = centre.roster.people.values()
    assert 28 <= len(people) <= 40
    assert Counter(p.level for p in people).keys() == set(Level)
    ages = {p.age_on(WRITTEN) for p in people}
    assert {8, 9, 10, 11, 13, 15, 17} <= ages and max(ages) > 60
    assert centre.demonstration
    assert centre.phone.startswith("+44 1632 960")  # a range kept for fiction


def test_the_demonstration_has_the_staff_that_a_day_of_diving_needs(centre):
    people = centre.roster.people.values()
    levels = Counter(p.level for p in people)
    assert (levels[Level.INSTRUCTOR_2], levels[Level.INSTRUCTOR_1], levels[Level.LEVEL_3]) == (2, 1, 3)
    oxygen = {p.name: (p.oxygen_provider_until - WRITTEN).days for p in people if p.oxygen_provider_until}
    assert [name for name, days in oxygen.items() if days < 0] == ["Piotr Zelek"]
    assert [name for name, days in oxygen.items() if 0 <= days <= 30] == ["Asha Rao"]
    ashore = [p for p in people if p.oxygen_provider_until and not p.level.may_lead]
    assert len(ashore) >= 3
    assert all(p.first_aid_until for p in ashore)


@pytest.mark.parametrize(
    ("what", "holds"),
    [
        ("no medical declaration", lambda p: p.medical is None and p.oxygen_provider_until is None),
        ("an old declaration", lambda p: p.medical is not None and (WRITTEN - p.medical).days > 365),
        ("a declaration that asks for a doctor", lambda p: p.medical is not None and not p.medical_clear),
        ("a minor without consent", lambda p: p.age_on(WRITTEN) < 18 and not p.guardian_consent),
        ("a long lay-off", lambda p: p.last_dive is not None and (WRITTEN - p.last_dive).days > 365),
        ("an unknown last dive", lambda p: p.level.rank > 0 and p.last_dive is None),
        ("a nitrox diver who leads nobody", lambda p: p.nitrox and not p.level.may_lead),
        ("a birthday on 29 February", lambda p: (p.born.month, p.born.day) == (2, 29)),
        ("a minor who comes of age in 2027", lambda p: p.age_on(WRITTEN) == 17 and p.age_on(date(2027, 6, 1)) == 18),
        ("a child who turns 14 within days", lambda p: p.age_on(WRITTEN) == 13 and p.age_on(date(2026, 12, 1)) == 14),
    ],
)
def test_the_demonstration_has_one_person_with(centre, what, holds):
    assert len([p.name for p in centre.roster.people.values() if holds(p)]) == 1, what


def test_the_demonstration_replaces_rules_with_reasons(centre):
    replaced = {rule.key: rule.value for rule in centre.rules.overridden}
    assert replaced["light.exit_before_sunset_min"] == 45
    assert replaced["surface_interval.shortest_min"] == 75
    assert all(rule.reason for rule in centre.rules.overridden)


def test_a_card_stands_for_the_level_that_the_centre_gave_it(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD, encoding="utf-8")
    people = read_roster(file, CARDS).people
    assert list(people) == ["Ada Lund", "Bo Marsh"]
    assert people["Bo Marsh"].level is Level.LEVEL_1


LEVELS = ", ".join(f'"{level.value}"' for level in Level)
WANT_LEVEL = f"it must be one of {LEVELS}"
BAD_PEOPLE = [  # what is typed over, by what, on which line it is told, and what is told
    ('name = "Ada Lund"\n', "", 1, "people[1].name is missing; give the person's name, once in the roster"),
    (
        '"Ada Lund"',
        '""',
        2,
        'people[1].name is ""; it must be at least 1 character long (the person\'s name, once in the roster)',
    ),
    (
        '"Ada Lund"',
        '"Ada\\nLund"',
        2,
        'people[1].name is "Ada\\nLund": a name is one line of printable text',
    ),
    (
        "born = 2010-02-28",
        'born = "28.2.2010"',
        3,
        'people[1].born is "28.2.2010"; it must be a date without quotes and without a time, like 2027-06-12 '
        "(birth date, like 2009-04-23)",
    ),
    (
        "born = 2010-02-28",
        "born = 2010-02-29",
        3,
        "this is not valid TOML: there is no such date or time: born = 2010-02-29",
    ),
    ("born = 2010-02-28", "born = 1710-02-28", 3, "people[1].born is 1710-02-28; it must be from 1900-01-01 on"),
    (
        'level = "level_1"',
        'level = "levl_1"',
        4,
        f'people[1].level is "levl_1"; {WANT_LEVEL}; did you mean "level_1"? (level by ISO 24801 or 24802)',
    ),
    ('level = "level_1"', "level = 1", 4, f"people[1].level is 1; {WANT_LEVEL} (level by ISO 24801 or 24802)"),
    ('level = "level_1"\n', "", 1, '"Ada Lund" has neither level nor card; give one of the two'),
    ("logged_dives = 4", "logged_dives = -4", 5, "people[1].logged_dives is -4; it must be at least 0 (dives logged)"),
    (
        "logged_dives = 4",
        "logged_dives = 4.5",
        5,
        "people[1].logged_dives is 4.5; it must be a whole number (dives logged)",
    ),
    ("logged_dives", "loged_dives", 5, 'people[1].loged_dives is not a known key; did you mean "logged_dives"?'),
    ("= 2026-10-01", "= 2009-10-01", 6, "people[1].last_dive is 2009-10-01; it must be after birth, 2010-02-28"),
    ("= 2026-05-01", "= 2010-02-28", 7, "people[1].medical is 2010-02-28; it must be after birth, 2010-02-28"),
    (
        "medical_clear = true",
        'medical_clear = "yes"',
        8,
        'people[1].medical_clear is "yes"; it must be true or false, without quotes '
        "(true where the declaration needs no doctor, or one cleared it)",
    ),
    (
        "medical = 2026-05-01\n",
        "",
        7,
        "people[1].medical_clear is true but there is no medical; give the date of the declaration",
    ),
    ('"Bo Marsh"', '"Ada Lund"', 11, '"Ada Lund" stands twice, first on line 2; names must differ'),
    ('"Bo Marsh"', '"ada  LUND"', 11, '"ada  LUND" stands twice, first on line 2; names must differ'),
    (
        '"Blue card"',
        '"Bleu card"',
        13,
        'card "Bleu card" of "Bo Marsh" is not in the centre\'s file; did you mean "Blue card"? '
        'known: "Blue card", "Red card"',
    ),
    (
        '"Blue card"',
        "{ colour = 1 }",
        13,
        "people[2].card is a table; it must be text in quotes "
        "(the centre's own name of the certificate, where it gave the level)",
    ),
    (
        'card = "Blue card"',
        'card = "Blue card"\nlevel = "level_2"',
        13,
        '"Bo Marsh" has level "level_2" but card "Blue card" stands for "level_1"; give one of the two',
    ),
    (
        'name = "Bo Marsh"',
        'name = "Bo Marsh',
        11,
        'this is not valid TOML: the quotes are not closed on this line: name = "Bo Marsh',
    ),
    ("[[people]]", "[people]", 1, "people must be tables, each headed [[people]]"),
]


def told_about(file: Path, cards: Mapping[str, Level | None] = CARDS) -> list[str]:
    with pytest.raises(BadRecord) as refused:
        read_roster(file, cards)
    return [str(fault) for fault in refused.value.faults]


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD_PEOPLE)
def test_a_bad_roster_is_refused_with_file_line_and_sentence(tmp_path, old, new, line, sentence):
    file = tmp_path / "people.toml"
    text = GOOD.split("\n\n")[0].replace(old, new) if old == "[[people]]" else GOOD.replace(old, new, 1)
    assert text != GOOD
    file.write_text(text, encoding="utf-8")
    assert told_about(file) == [f"{file}:{line}: {sentence}"]


def test_a_wrong_list_name_is_told_and_so_is_the_empty_list(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD.replace("people", "persons"), encoding="utf-8")
    assert told_about(file) == [
        f"{file}:1: persons is not a known key; accepted here: people",
        f"{file}:1: there is nobody in the list; give at least one [[people]]",
    ]


def test_every_fault_of_a_roster_is_told_at_once_those_of_one_person_too(tmp_path):
    file = tmp_path / "people.toml"
    text = GOOD.replace("logged_dives = 4", "logged_dives = -4").replace("2026-05-01", "2009-05-01")
    text = text.replace("Blue card", "Rode card").replace("born = 1980-06-01", "born = 1880-06-01")
    file.write_text(text.replace('"Bo Marsh"', '"Ada Lund"'), encoding="utf-8")
    assert [line.removeprefix(f"{file}:").split(":")[0] for line in told_about(file)] == ["5", "7", "11", "12", "13"]


VALUES = [
    "1",
    "-1",
    "1.5",
    "true",
    '""',
    '"x"',
    '"level_1"',
    '"Blue card"',
    "[1]",
    "{ a = 1 }",
    "2001-01-01",
    "07:00:00",
]
KEYS = [*Person.model_fields, "other"]


@settings(max_examples=150, deadline=None)
@given(st.dictionaries(st.sampled_from(KEYS), st.sampled_from(VALUES)))
def test_whatever_is_written_in_a_person_is_accepted_or_refused_in_single_lines(entry):
    text = "[[people]]\n" + "".join(f"{key} = {value}\n" for key, value in entry.items())
    with TemporaryDirectory() as folder:
        file = Path(folder) / "people.toml"
        file.write_text(text, encoding="utf-8")
        try:
            people = read_roster(file, CARDS).people
        except BadRecord as refused:
            assert all(str(f).startswith(f"{file}:{f.line}: ") and str(f).isprintable() for f in refused.faults)
            assert all(1 <= f.line <= 1 + len(entry) for f in refused.faults)
        else:
            assert {"name", "born"} <= entry.keys() and ("level" in entry or "card" in entry) and len(people) == 1


def test_two_people_of_one_name_on_one_line_are_told(tmp_path):
    file = tmp_path / "people.toml"
    one = '{ name = "Ada", born = 2000-01-01, level = "level_1" }'
    file.write_text(f"people = [{one}, {one}]\n", encoding="utf-8")
    assert told_about(file) == [f'{file}:1: "Ada" stands twice, first on line 1; names must differ']


def test_a_level_and_a_card_that_agree_are_accepted(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD + 'level = "level_1"\n', encoding="utf-8")
    assert read_roster(file, CARDS).people["Bo Marsh"].level is Level.LEVEL_1


def test_a_roster_cannot_be_changed_once_read(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD, encoding="utf-8")
    people = read_roster(file, CARDS).people
    with pytest.raises(TypeError):
        people["Cy"] = people["Ada Lund"]  # type: ignore[index]
    with pytest.raises(ValidationError):
        people["Ada Lund"].level = Level.INSTRUCTOR_2


CENTRE = """name = "Test centre"
people = "people.toml"
rules = "rules.toml"
[cards]
"Blue card" = "level_1"
"""
RULES = """[tide.height_margin_m]
value = 0.3
reason = "the harbour says so"
"""
PATH = "it must be a file beside this one, without folders in its name"
BAD_CENTRES = [
    ("level_1", "levl_1", 5, f'cards."Blue card" is "levl_1"; {WANT_LEVEL}; did you mean "level_1"?'),
    (
        "name",
        "nam",
        1,
        'nam is not a known key; did you mean "name"?',
        "name is missing; give what the centre is called",
    ),
    ('"people.toml"', '"../people.toml"', 2, f'people is "../people.toml"; {PATH}'),
    ('"rules.toml"', '".."', 3, f'rules is ".."; {PATH}'),
    ('people = "people.toml"\n', "", 1, 'people is missing; give the roster file beside this one, like "people.toml"'),
    ("[cards]", "[crads]", 4, 'crads is not a known key; did you mean "cards"?'),
]
BAD_RULES = [
    ("height_margin_m", "height_margin", 1, 'tide.height_margin is not a rule; did you mean "tide.height_margin_m"?'),
    (
        "0.3",
        "-0.3",
        2,
        "tide.height_margin_m.value is -0.3; it must be at least 0 (the centre's own number, in the rule's unit)",
    ),
    (
        "0.3",
        '"0.3"',
        2,
        'tide.height_margin_m.value is "0.3"; it must be a number, without quotes or unit '
        "(the centre's own number, in the rule's unit)",
    ),
    (
        'reason = "the harbour says so"\n',
        "",
        1,
        "tide.height_margin_m.reason is missing; give why the centre uses another value",
    ),
    (
        "the harbour says so",
        "",
        3,
        'tide.height_margin_m.reason is ""; it must be at least 3 characters long (why the centre uses another value)',
    ),
    ("[tide.height_margin_m]", "[model.gradient_factor_high]", 2,
     "model.gradient_factor_low 0.4 is above model.gradient_factor_high 0.3"),
    ("[tide.height_margin_m]", "[dive.most_per_day]", 2, "dive.most_per_day is 0.3; it must be a whole number"),
    ("[tide.height_margin_m]", "[ascent.rate_m_min]", 2, "ascent.rate_m_min is 0.3; it must be at least 1"),
    ("[tide.height_margin_m]\nvalue = 0.3", "[leader.guided_level]\nvalue = 7", 2,
     "leader.guided_level is 7; it must be at most 5"),
    ("[tide.height_margin_m]\nvalue = 0.3", "[model.gradient_factor_high]\nvalue = 80", 2,
     "model.gradient_factor_high is 80; it must be at most 1"),
    ("[tide.height_margin_m]\nvalue = 0.3", "[plan.entry_step_min]\nvalue = 0", 2,
     "plan.entry_step_min is 0; it must be at least 1"),
]  # fmt: skip


def told_of(folder: Path, centre: str = CENTRE, people: str = GOOD, rules: str = RULES) -> list[str]:
    for name, text in (("people", people), ("rules", rules), ("centre", centre)):
        (folder / f"{name}.toml").write_text(text, encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_centre(folder / "centre.toml")
    return [str(fault).removeprefix(f"{folder}/") for fault in refused.value.faults]


@pytest.mark.parametrize(("old", "new", "line", "sentences"), [(a, b, c, d) for a, b, c, *d in BAD_CENTRES])
def test_a_bad_centre_file_is_refused_and_nobody_else_is_blamed(tmp_path, old, new, line, sentences):
    assert old in CENTRE
    people = GOOD.replace('card = "Blue card"', 'level = "level_1"') if "crads" in new else GOOD
    expected = [f"centre.toml:{line}: {sentence}" for sentence in sentences]
    assert told_of(tmp_path, centre=CENTRE.replace(old, new, 1), people=people) == sorted(expected)


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD_RULES)
def test_a_bad_rules_file_is_refused(tmp_path, old, new, line, sentence):
    assert old in RULES
    assert told_of(tmp_path, rules=RULES.replace(old, new, 1)) == [f"rules.toml:{line}: {sentence}"]


def test_a_rule_written_without_its_table_is_told_how(tmp_path):
    told = told_of(tmp_path, rules="tide = 4\n")
    assert told == ["rules.toml:1: tide must be a table of rules, like [light.exit_before_sunset_min]"]


def test_a_file_that_is_not_there_is_named(tmp_path):
    centre = CENTRE.replace("people.toml", "persons.toml")
    assert told_of(tmp_path, centre=centre) == ["persons.toml:1: there is no such file"]


def test_the_faults_of_all_three_files_are_told_at_once(tmp_path):
    told = told_of(
        tmp_path,
        centre=CENTRE.replace("level_1", "level_7") + '"Red card" = 4\n',
        people=GOOD.replace("2026-05-01", "2009-05-01"),
        rules=RULES.replace("0.3", "-0.3"),
    )
    assert [":".join(line.split(":")[:2]) for line in told] == [
        "centre.toml:5", "centre.toml:6", "people.toml:7", "rules.toml:2",
    ]  # fmt: skip


def test_a_centre_without_a_rules_file_uses_the_baseline(tmp_path):
    (tmp_path / "people.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "centre.toml").write_text(CENTRE.replace('rules = "rules.toml"\n', ""), encoding="utf-8")
    centre = read_centre(tmp_path / "centre.toml")
    assert centre.rules.overridden == ()
    assert dict(centre.cards) == {"Blue card": Level.LEVEL_1}
