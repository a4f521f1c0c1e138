"""People of a centre: ages, cards, and what a tired person types wrong."""

from __future__ import annotations

from datetime import date

import pytest

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.centre import read_centre
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.people.roster import read_roster

CARDS = {"Blue card": Level.LEVEL_1}
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


def test_the_demonstration_has_some_thirty_people_of_every_level_and_age():
    centre = read_centre(data_dir("sites") / "centre" / "centre.toml")
    people = centre.roster.people.values()
    assert 28 <= len(people) <= 40
    assert {p.level for p in people} == set(Level)
    ages = {p.age_on(date(2026, 11, 25)) for p in people}
    assert min(ages) <= 8 and max(ages) >= 60
    assert {9, 10, 11, 13, 15, 17} <= ages
    assert centre.demonstration
    assert len(centre.rules.overridden) >= 2 and all(rule.reason for rule in centre.rules.overridden)


def test_a_card_stands_for_the_level_that_the_centre_gave_it(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD, encoding="utf-8")
    people = read_roster(file, CARDS).people
    assert list(people) == ["Ada Lund", "Bo Marsh"]
    assert people["Bo Marsh"].level is Level.LEVEL_1


LEVELS = "first_experience, level_1, level_2, level_3, instructor_1, instructor_2"
BAD_PEOPLE = [
    ('name = "Ada Lund"\n', "", 1, "people[1].name is missing; give the person's name, once in the roster"),
    ("born = 2010-02-28", 'born = "28.2.2010"', 3, 'people[1].born is "28.2.2010"; it must be a date without quotes'),
    ("born = 2010-02-28", "born = 1710-02-28", 3, "Ada Lund was born 1710-02-28; accepted: from 1900 on"),
    ('level = "level_1"', 'level = "level_9"', 4, 'level of "Ada Lund" is "level_9", which is not known'),
    ('level = "level_1"', 'level = "levl_1"', 4, f'did you mean "level_1"? accepted: {LEVELS}'),
    ('level = "level_1"\n', "", 1, '"Ada Lund" has neither level nor card; give one of the two'),
    ("logged_dives = 4", "logged_dives = -4", 5, "people[1].logged_dives is -4; it must be at least 0"),
    ("logged_dives = 4", "logged_dives = 4.5", 5, "people[1].logged_dives is 4.5; it must be a whole number"),
    ("logged_dives", "loged_dives", 5, 'people[1].loged_dives is not a known key; did you mean "logged_dives"?'),
    ("last_dive = 2026-10-01", "last_dive = 2009-10-01", 6, "last_dive 2009-10-01 of Ada Lund is not after birth"),
    ("medical_clear = true", 'medical_clear = "yes"', 8, 'people[1].medical_clear is "yes"; it must be true or false'),
    ("medical = 2026-05-01\n", "", 7, "medical_clear of Ada Lund is true but there is no medical date"),
    ('"Bo Marsh"', '"Ada Lund"', 11, '"Ada Lund" stands twice; names must differ'),
    ('"Blue card"', '"Bleu card"', 13, 'card "Bleu card" of "Bo Marsh" is not in the centre\'s file; did you mean'),
    ('card = "Blue card"', 'card = "Blue card"\nlevel = "level_2"', 13, 'has level "level_2" but card "Blue card"'),
    ("[[people]]", "[[persons]]", 1, "persons is not a known key; accepted here: people"),
    ('name = "Bo Marsh"', 'name = "Bo Marsh', 11, "this is not valid TOML"),
]


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD_PEOPLE)
def test_a_bad_roster_is_refused_with_file_line_and_sentence(tmp_path, old, new, line, sentence):
    file = tmp_path / "people.toml"
    text = GOOD.replace(old, new) if old == "[[people]]" else GOOD.replace(old, new, 1)
    assert text != GOOD
    file.write_text(text, encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_roster(file, CARDS)
    told = [str(fault) for fault in refused.value.faults]
    assert any(one.startswith(f"{file}:{line}: ") and sentence in one for one in told), told
    assert all("\n" not in one for one in told)


def test_every_fault_of_a_roster_is_told_at_once(tmp_path):
    file = tmp_path / "people.toml"
    file.write_text(GOOD.replace("2010-02-28", "1710-02-28").replace("Blue card", "Red card"), encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_roster(file, CARDS)
    assert [fault.line for fault in refused.value.faults] == [3, 13]


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


@pytest.mark.parametrize(
    ("centre", "rules", "where", "line", "sentence"),
    [
        (CENTRE.replace("level_1", "level_7"), RULES, "centre", 5, 'card "Blue card" stands for "level_7"'),
        (CENTRE.replace("name", "nam"), RULES, "centre", 1, 'nam is not a known key; did you mean "name"?'),
        (CENTRE.replace('"people.toml"', '"../people.toml"'), RULES, "centre", 1, "must be a file beside this one"),
        (CENTRE, RULES.replace("height_margin_m", "height_margin"), "rules", 1, 'did you mean "tide.height_margin_m"?'),
        (CENTRE, RULES.replace("0.3", "-0.3"), "rules", 2, "tide.height_margin_m.value is -0.3; it must be at least 0"),
        (CENTRE, RULES.replace("0.3", '"0.3"'), "rules", 2, 'value is "0.3"; it must be a number'),
        (CENTRE, RULES.replace('reason = "the harbour says so"\n', ""), "rules", 1, "reason is missing; give why"),
        (CENTRE, RULES.replace("value", "valeu"), "rules", 2, 'valeu is not a known key; did you mean "value"?'),
        (
            CENTRE,
            '[model.gradient_factor_high]\nvalue = 80.0\nreason = "per cent"\n',
            "rules",
            2,
            "it must be at most 1",
        ),
        (CENTRE, "tide = 4\n", "rules", 1, "tide must be a table of rules"),
    ],
)
def test_a_bad_centre_or_rules_file_is_refused(tmp_path, centre, rules, where, line, sentence):
    (tmp_path / "people.toml").write_text(GOOD, encoding="utf-8")
    (tmp_path / "rules.toml").write_text(rules, encoding="utf-8")
    (tmp_path / "centre.toml").write_text(centre, encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_centre(tmp_path / "centre.toml")
    told = [str(fault) for fault in refused.value.faults]
    assert any(one.startswith(f"{tmp_path / where}.toml:{line}: ") and sentence in one for one in told), told
