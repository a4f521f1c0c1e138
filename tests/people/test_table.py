"""People as rows of a table: what comes out goes in again, and what is wrong is told by row and column."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import date
from types import MappingProxyType
from typing import get_args

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.people.level import Level
from tripplan.people.person import KitName, Person, Weighting
from tripplan.people.roster import Roster
from tripplan.people.table import COLUMNS, PRIVATE_COLUMNS, Cell, FieldChange, Preview, people_from, rows_of

CARDS = {"Blue card": Level.LEVEL_1, "Red card": Level.LEVEL_2}
WEIGHTING = Weighting(
    lead_kg=8.0, all_on_kg=118.5, density_kg_m3=1027.0, suit_mm=7.0, cylinder_l=15.0, fill_bar=220.0, height_m=1.82,
    body_kg=78.0,
)  # fmt: skip
WHOLE = Person(
    name="Ada Lund", identity="A-17", born=date(1980, 2, 29), level=Level.LEVEL_2, card="Red card", logged_dives=41,
    last_dive=date(2026, 10, 1), medical=date(2026, 5, 1), medical_clear=True, medical_doctor=date(2026, 5, 9),
    guardian_consent=True, guardian="Eve Lund", next_of_kin="Bo Lund", next_of_kin_phone="+44 7700 900123",
    oxygen_provider_until=date(2027, 9, 30), first_aid_until=date(2027, 8, 31), gas_rate_l_min=18.5,
    weighting=WEIGHTING, insurance_until=date(2027, 1, 31), nitrox=True, endorsements=("dry suit", "night; drift"),
    sizes={name: f"size of {name}" for name in get_args(KitName)}, language="Japanese", speaks=("centre",),
    notes="two\nlines",
)  # fmt: skip
PLAIN = Person(name="Bo Marsh", born=date(1991, 6, 1), level=Level.LEVEL_1)


def roster(*people: Person) -> Roster:
    return Roster(MappingProxyType({person.name: person for person in people}))


NOBODY = roster()


def row(**cells: str) -> dict[str, str]:
    """Return a row of somebody new without a fault, with some cells changed."""
    return {"name": "Cy Holt", "born": "1999-04-23", "level": "level_1"} | cells


def judged(*rows: Mapping[str, str], known: Roster = NOBODY) -> Preview:
    """Return the preview of rows that all get the columns of all of them."""
    columns = list(dict.fromkeys(name for each in rows for name in each if not name.startswith("column ")))
    return people_from([{**dict.fromkeys(columns, ""), **each} for each in rows], CARDS, known)


def told(preview: Preview) -> list[str]:
    return [f"{fault.row}: {fault.column}: {fault.message}" for fault in preview.faults]


# ---- round trips ----


def test_every_field_of_a_person_has_its_columns_and_comes_back():
    for name in Person.model_fields:
        assert getattr(WHOLE, name) != Person.model_fields[name].get_default(call_default_factory=True), name
    rows = rows_of(roster(WHOLE, PLAIN))
    assert all(tuple(each) == COLUMNS for each in rows)
    assert "" not in rows[0].values()
    written = {"born": "1980-02-29", "nitrox": "yes", "weighting_height_m": "1.82", "size_suit": "size of suit"}
    assert written.items() <= rows[0].items()
    preview = people_from(rows, CARDS, NOBODY)
    assert told(preview) == []
    assert preview.people == (WHOLE, PLAIN) == tuple(new.person for new in preview.new)


ONE_LINE = st.text(st.characters(codec="utf-8"), max_size=12).map(
    lambda text: " ".join("".join(c for c in text if c.isprintable()).split())
)
DAYS = st.dates(date(2001, 1, 2), date(2030, 1, 1))
MAYBE_DAY = st.none() | DAYS


def floats(low: float, high: float) -> st.SearchStrategy[float]:
    return st.floats(low, high, allow_nan=False)


@st.composite
def people(draw: st.DrawFn, text: st.SearchStrategy[str] = ONE_LINE) -> Roster:
    """Return some people whose names and identities differ."""
    found = []
    for number in range(draw(st.integers(1, 4))):
        card = draw(st.sampled_from(["", *CARDS]))
        declared = draw(MAYBE_DAY)
        weighting = None
        if draw(st.booleans()):
            weighting = Weighting(
                lead_kg=draw(floats(0, 40)), all_on_kg=draw(floats(20, 400)), density_kg_m3=draw(floats(980, 1250)),
                suit_mm=draw(st.none() | floats(0, 30)), cylinder_l=draw(floats(1, 40)),
                fill_bar=draw(floats(1, 350)), height_m=draw(floats(0.8, 2.3)), body_kg=draw(floats(15, 250)),
            )  # fmt: skip
        found.append(
            Person(
                name=f"{number}{draw(ONE_LINE)}", identity=draw(st.sampled_from(["", f"id {number}"])),
                born=draw(st.dates(date(1900, 1, 1), date(2001, 1, 1))),
                level=CARDS[card] if card else draw(st.sampled_from(list(Level))), card=card,
                logged_dives=draw(st.integers(0, 50_000)), last_dive=draw(MAYBE_DAY), medical=declared,
                medical_clear=declared is not None and draw(st.booleans()), medical_doctor=draw(MAYBE_DAY),
                guardian_consent=draw(st.booleans()), guardian=draw(ONE_LINE), next_of_kin=draw(ONE_LINE),
                next_of_kin_phone=draw(st.none() | st.sampled_from(["+44 7700 900123", "01632 960 100"])),
                oxygen_provider_until=draw(MAYBE_DAY), first_aid_until=draw(MAYBE_DAY),
                gas_rate_l_min=draw(st.none() | floats(5, 60)), weighting=weighting,
                insurance_until=draw(MAYBE_DAY), nitrox=draw(st.booleans()),
                endorsements=tuple(draw(st.lists(ONE_LINE.filter(bool), max_size=3))),
                sizes=draw(st.dictionaries(st.sampled_from(get_args(KitName)), ONE_LINE.filter(bool), max_size=3)),
                language=draw(text), speaks=tuple(draw(st.lists(ONE_LINE.filter(bool), max_size=3))), notes=draw(text),
            )
        )  # fmt: skip
    return roster(*found)


@settings(max_examples=150, deadline=None)
@given(people())
def test_rows_that_are_read_and_written_again_are_the_same_rows(known):
    rows = rows_of(known)
    preview = people_from(rows, CARDS, NOBODY)
    assert told(preview) == []
    assert preview.people == tuple(known.people.values())
    assert rows_of(roster(*preview.people)) == rows


@settings(max_examples=150, deadline=None)
@given(people(st.text(max_size=20)), st.booleans())
def test_a_list_that_is_read_into_itself_changes_nothing_whatever_its_texts_hold(known, private):
    preview = people_from(rows_of(known, private=private), CARDS, known)
    assert told(preview) == []
    assert (preview.new, preview.changed, preview.duplicates) == ((), (), ())
    assert preview.unchanged == tuple(known.people)
    assert preview.people == tuple(known.people.values())


ANY_CELL = st.one_of(
    st.text(max_size=12),
    st.sampled_from(
        ["", " ", "x", "no", "level_2", "Red card", "2001-01-01", "03/04/2009", "45000", "8,5", "1,750", "-4", "a;b;",
         "\\", "A-17", "Ada Lund", "+44 7700 900123", "9" * 5000, "1e9", "nan"]
    ),
    st.builds(Cell, st.sampled_from(["45000", "2001-01-01", "#REF!", "=A1"]),
              st.sampled_from(["number", "date", "error", "formula"])),
)  # fmt: skip
ANY_ROWS = st.lists(st.dictionaries(st.sampled_from([*COLUMNS, "colour", "column 99"]), ANY_CELL), max_size=5)


@settings(max_examples=200, deadline=None)
@given(ANY_ROWS)
def test_whatever_stands_in_a_table_every_row_is_used_whole_or_told_about(rows):
    known = roster(WHOLE, PLAIN)
    preview = people_from(rows, CARDS, known)
    for fault in preview.faults:
        assert 1 <= fault.row <= len(rows) + 1 and fault.message
    used = {one.row for one in preview.new} | {one.row for one in preview.changed}
    filled = {n for n, each in enumerate(rows, start=2) if any(text.strip() for text in each.values())}
    assert used <= filled and not used & set(preview.left_out)
    if not preview.missing_columns:
        assert len(used) + len(preview.unchanged) + len(preview.left_out) == len(filled)
    assert len(preview.people) == 2 + len(preview.new)
    names = [" ".join(person.name.split()).casefold() for person in preview.people]
    assert len(set(names)) == len(names)  # nobody hides anybody


NAMES = st.sampled_from(["Al", "al ", "Bo", "Cy"])
FEW = st.fixed_dictionaries(
    {
        "name": NAMES,
        "born": st.sampled_from(["2000-01-01", "2000-01-02", "soon"]),
        "identity": st.sampled_from(["", "7", "8", "9"]),
        "level": st.just("level_1"),
        "logged_dives": st.sampled_from(["4", "5"]),
    }
)


@settings(max_examples=400, deadline=None)
@given(st.lists(FEW, max_size=6), st.lists(FEW, max_size=3))
def test_the_second_import_of_a_table_changes_nothing_and_refuses_the_same_rows(rows, before):
    known = roster(*people_from(before, CARDS, NOBODY).people)
    first = people_from(rows, CARDS, known)
    after = roster(*first.people)
    second = people_from(rows, CARDS, after)
    assert (second.new, second.changed) == ((), ())
    assert second.people == first.people
    assert second.left_out == first.left_out
    identities = [person.identity for person in first.people if person.identity]
    assert len(set(identities)) == len(identities)


# ---- cells ----

WRITE = "write it like 2009-04-23, year first"
BAD_CELLS = [
    ("born", "03/04/2009", f'"03/04/2009" can be read as 3 April or as 4 March, by country; {WRITE}'),
    ("born", "23/04/2009", f'"23/04/2009" is not a date as it is written here; {WRITE}'),
    ("born", "23.04.09", f'"23.04.09" does not say the century; {WRITE}'),
    ("born", "23 Apr 2009", f'"23 Apr 2009" is not a date as it is written here; {WRITE}'),
    ("born", "2009/04/23", f'"2009/04/23" is not a date as it is written here; {WRITE}'),
    ("born", "2009-02-29", "2009-02-29 is not a day of the calendar"),
    ("born", "2009-04-23 10:30", '"2009-04-23 10:30" has a time of day; give the date alone, like 2009-04-23'),
    ("born", "39926", '"39926" is a number, not a date: spreadsheets count days from 1900 or from 1904; make the cell '
     f"a date, or {WRITE}"),
    ("born", "1850-01-01", "it is 1850-01-01; it must be from 1900-01-01 on"),
    ("born", "", "it is missing; give birth date, like 2009-04-23"),
    ("name", "", "it is missing; give the person's name, once in the roster"),
    ("name", "Cy\nHolt", 'it is "Cy\\nHolt": a name is one line of printable text'),
    ("last_dive", "1998-01-01", "it is 1998-01-01; it must be after birth, 1999-04-23"),
    ("medical_clear", "maybe", '"maybe" is neither yes nor no; write yes, true or x, or no, false or nothing'),
    ("nitrox", "1", '"1" is neither yes nor no; write yes, true or x, or no, false or nothing'),
    ("medical_clear", "yes", "it is true but there is no medical; give the date of the declaration"),
    ("logged_dives", "-4", "it is -4; it must be at least 0 (dives logged)"),
    ("logged_dives", "4.5", '"4.5" is not a whole number'),
    ("logged_dives", "1,750",
     '"1,750" can be read as 1750 or as 1.750; write no comma: decimals follow a point, thousands follow on'),
    ("logged_dives", "9" * 16, '"9999999999999999" has too many digits'),
    ("gas_rate_l_min", "18,5", '"18,5" has a comma; write the decimals after a point: 18.5'),
    ("gas_rate_l_min", "18 l", '"18 l" is not a number; write digits alone, without a unit'),
    ("gas_rate_l_min", "nan", '"nan" is not a number; write digits alone, without a unit'),
    ("gas_rate_l_min", "4", "it is 4.0; it must be at least 5 (usual consumption at the surface, litres a minute; "
     "leave out if unknown)"),
    ("level", "level_9", 'it is "level_9"; it must be one of "first_experience", "level_1", "level_2", "level_3", '
     '"instructor_1", "instructor_2"; did you mean "level_3"? (level by ISO 24801 or 24802)'),
    ("level", "", '"Cy Holt" has neither level nor card; give one of the two'),
    ("card", "Bleu card", 'card "Bleu card" of "Cy Holt" is not in the centre\'s file; did you mean "Blue card"? '
     'known: "Blue card", "Red card"'),
    ("card", "Red card", '"Cy Holt" has level "level_1" but card "Red card" stands for "level_2"; give one of the two'),
    ("next_of_kin_phone", "ask Bo", 'it is "ask Bo": not a telephone number; give digits, spaces, and + in front of a '
     "country code"),
    ("next_of_kin_phone", Cell("447700900123", "number"),
     "the spreadsheet made a number of it, 447700900123, and lost any 0 or + in front; make the cell text"),
    ("identity", "4.41633E+11",
     "the spreadsheet made a number of it, 4.41633E+11, and lost digits; make the cell text"),
    ("identity", Cell("4416329601001234", "number"),
     "the spreadsheet made a number of it, 4416329601001234, and lost digits; make the cell text"),
    ("size_boots", Cell("2026-10-11", "date"),
     "the spreadsheet made a date of it, 2026-10-11; make the cell text and type it again"),
    ("medical", Cell("#REF!", "error"),
     "the cell holds an error of the spreadsheet, #REF!; mend it or empty the cell"),
    ("medical", Cell("=TODAY()", "formula"),
     "the cell holds a formula without a result; save the file in the spreadsheet, or put the value"),
    ("weighting_lead_kg", "50", "it is 50.0; it must be at most 40 (lead, kilograms, 0 to 40)"),
    ("column 44", "left over", 'it is "left over" in a column that has no name; a separator within a value puts the '
     "whole value in double quotes"),
]  # fmt: skip


@pytest.mark.parametrize(("column", "text", "sentence"), BAD_CELLS)
def test_a_bad_cell_is_told_with_its_row_and_column_and_the_row_is_left_out(column, text, sentence):
    bad = row(**{column: text})
    if column.startswith("weighting"):
        bad = {**rows_of(roster(WHOLE))[0], column: text}
    column = "level" if sentence.endswith("neither level nor card; give one of the two") else column
    good = {"name": "Di Wren", "born": "1990-01-01", "level": "level_2"}
    preview = judged(good, bad)
    assert [(f.row, f.column, f.message) for f in preview.faults] == [(3, column, sentence)]
    assert [new.person.name for new in preview.new] == ["Di Wren"]
    assert preview.left_out == (3,)


def test_every_fault_of_a_row_is_told_and_one_row_never_hides_the_next():
    bad = row(born="03/04/2009", logged_dives="x", card="Bleu card", nitrox="?", gas_rate_l_min="1,5", last_dive="0")
    preview = judged(bad, {}, row(name="Di Wren", born="1800-01-01", medical_clear="yes"), row(name="Ed Fox"))
    assert [(f.row, f.column) for f in preview.faults] == [
        (2, "born"), (2, "card"), (2, "logged_dives"), (2, "last_dive"), (2, "gas_rate_l_min"), (2, "nitrox"),
        (4, "born"), (4, "medical_clear"),
    ]  # fmt: skip
    assert [(new.row, new.person.name) for new in preview.new] == [(5, "Ed Fox")]


def test_half_a_weighting_is_told_at_the_column_that_is_empty():
    preview = judged(row(weighting_lead_kg="8", weighting_all_on_kg="118"))
    assert {fault.column for fault in preview.faults} == {
        f"weighting_{name}" for name in ("density_kg_m3", "cylinder_l", "fill_bar", "height_m", "body_kg")
    }
    assert told(preview)[0].endswith("it is missing; give density of that water: 1000 fresh, 1025 to 1030 sea")


def test_what_depends_on_a_bad_cell_is_not_blamed():
    preview = judged(row(medical="1/2/2026", medical_clear="yes"))
    assert [fault.column for fault in preview.faults] == ["medical"]


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("yes", True),
        ("YES", True),
        ("true", True),
        ("x", True),
        ("X", True),
        ("no", False),
        ("False", False),
        ("", False),
    ],
)
def test_yes_and_no_may_be_written_in_some_ways(word, value):
    (new,) = judged(row(nitrox=word)).new
    assert new.person.nitrox is value


def test_excess_spaces_line_ends_and_other_capitals_do_no_harm():
    preview = judged(
        {" NAME ": "  Cy \t Holt\u00a0", "Born": " 1999-04-23 ", "Card": " blue  CARD", "logged dives": " 7.0 ",
         "Endorsements": " dry suit ;; night;", "notes": "a\r\nb  c ", "last-dive": "2026-10-01 00:00:00"}
    )  # fmt: skip
    assert told(preview) == []
    person = preview.new[0].person
    assert (person.name, person.card, person.level, person.logged_dives) == ("Cy Holt", "Blue card", Level.LEVEL_1, 7)
    assert (person.endorsements, person.notes, person.last_dive) == (
        ("dry suit", "night"),
        "a\nb  c",
        date(2026, 10, 1),
    )


def test_a_level_may_be_written_as_it_is_spoken():
    assert judged(row(level="Level 2")).new[0].person.level is Level.LEVEL_2


# ---- columns ----


def test_a_needed_column_that_is_missing_is_told_once_and_no_row_is_used_but_all_are_judged():
    preview = judged({"name": "Cy", "logged_dives": "-1"}, {"name": "Di", "logged_dives": "2"})
    assert told(preview) == [
        '1: born: the column "born" is missing; without it no row can be used',
        '1: level: the column "level" or "card" is missing; without it no row can be used',
        "2: logged_dives: it is -1; it must be at least 0 (dives logged)",
    ]
    assert preview.missing_columns == ("born", "level or card")
    assert (preview.new, preview.people) == ((), ())


def test_an_unknown_column_is_told_with_what_was_probably_meant():
    preview = judged(row(medical_cler="yes", date_of_birth="x", gas_rate="18", colour="red"))
    assert [(one.column, one.meant) for one in preview.unknown_columns] == [
        ("medical_cler", "medical_clear"), ("date_of_birth", "born"), ("gas_rate", "gas_rate_l_min"), ("colour", ""),
    ]  # fmt: skip
    assert '1: medical_cler: "medical_cler" is not a known column; did you mean "medical_clear"?' in told(preview)
    assert len(preview.faults) == 4 and preview.left_out == ()
    assert len(preview.new) == 1  # the row itself is good; whether it is used is for the asker to say


def test_a_column_that_stands_twice_is_not_used():
    preview = judged(row(Born="1999-04-24"))
    assert told(preview)[0] == '1: born: "born" stands 2 times; which one counts is not known'
    assert preview.new == () and preview.missing_columns == ("born",)


def test_a_table_without_anybody_is_told():
    for rows in ([], [{"name": " ", "born": ""}]):
        preview = people_from(rows, CARDS, roster(PLAIN))
        assert told(preview)[0] == "1: : there is nobody below the names of the columns"
        assert preview.people == (PLAIN,)


# ---- who is who ----


def test_a_person_is_known_by_identity_else_by_name_and_birth_date():
    known = roster(WHOLE, PLAIN)
    preview = judged(
        {"name": "Ada Holt", "born": "1980-02-29", "card": "Red card", "identity": "a-17"},
        {"name": "bo  marsh", "born": "1991-06-01", "level": "level_1", "identity": "B-1"},
        known=known,
    )
    assert told(preview) == []
    assert [(one.name, [change.field for change in one.fields]) for one in preview.changed] == [
        ("Ada Lund", ["name", "identity"]),
        ("Bo Marsh", ["name", "identity"]),
    ]
    assert preview.changed[0].fields[0] == FieldChange("name", "Ada Lund", "Ada Holt")
    assert [person.name for person in preview.people] == ["Ada Holt", "bo marsh"]


def test_a_column_that_is_not_there_keeps_what_is_known_and_an_empty_cell_takes_it_away():
    rows = [{"name": WHOLE.name, "born": "1980-02-29", "card": "Red card", "identity": "", "last_dive": ""}]
    preview = people_from(rows, CARDS, roster(WHOLE))
    (changed,) = preview.changed
    assert changed.fields == (FieldChange("last_dive", "2026-10-01", ""),)
    assert changed.person == WHOLE.model_copy(update={"last_dive": None})  # identity too is as it was


def test_a_new_card_brings_its_level_and_an_empty_one_leaves_none():
    cells = {"name": WHOLE.name, "born": "1980-02-29"}
    (changed,) = people_from([{**cells, "card": "Blue card"}], CARDS, roster(WHOLE)).changed
    assert (changed.person.card, changed.person.level) == ("Blue card", Level.LEVEL_1)
    assert [change.field for change in changed.fields] == ["level", "card"]
    preview = people_from([{**cells, "card": ""}], CARDS, roster(WHOLE))
    assert told(preview) == ['2: card: "Ada Lund" has neither level nor card; give one of the two']
    preview = people_from([{**cells, "level": "level_1"}], CARDS, roster(WHOLE))
    assert told(preview) == [
        '2: card: "Ada Lund" has level "level_1" but card "Red card" stands for "level_2"; give one of the two '
        "(the file has no column for the card; it stands so in the roster)"
    ]


def pairs(preview: Preview) -> list[tuple[int, int, str]]:
    return [(one.row, one.first_row, one.by) for one in preview.duplicates]


def test_the_same_row_twice_is_used_once_and_told():
    preview = judged(row(), row(name=" cy  HOLT") | {"name": "Cy  Holt"})
    assert pairs(preview) == [(3, 2, "name and birth date")]
    assert told(preview) == ["3: name: this person stands in row 2 too, by name and birth date; keep one of the rows"]
    assert [new.row for new in preview.new] == [2]


def test_two_rows_of_a_person_that_differ_are_both_left_out():
    preview = judged(row(logged_dives="4"), row(logged_dives="5"), row(name="Di"))
    assert pairs(preview) == [(3, 2, "name and birth date")] and preview.left_out == (2, 3)
    assert told(preview)[0] == (
        "2: name: this person stands in row 3 too, by name and birth date, with other values; keep one of the rows"
    )
    preview = judged(row(identity="7"), row(name="Di", identity=" 7"), row(name="Ed", identity="8"))
    assert pairs(preview) == [(3, 2, "identity")] and preview.left_out == (2, 3)


def test_two_rows_that_are_one_person_of_the_roster_are_both_left_out():
    preview = judged(
        {"name": "Ada Holt", "born": "1980-02-29", "card": "Red card", "identity": "A-17"},
        {"name": "Ada Lund", "born": "1980-02-29", "card": "Red card", "identity": ""},
        known=roster(WHOLE),
    )
    assert pairs(preview) == [(3, 2, "the roster")] and preview.left_out == (2, 3)


def test_one_name_with_two_birth_dates_is_refused_because_nobody_can_tell_them_apart():
    preview = judged(row(), row(born="1999-04-24"))
    apart = (
        "if it is one person, one date is wrong; two people are told apart by an identity each and by names that differ"
    )
    assert told(preview) == [
        f"2: name: the same name stands in row 3, born 1999-04-24; {apart}",
        f"3: name: the same name stands in row 2, born 1999-04-23; {apart}",
    ]
    assert preview.duplicates == ()
    preview = judged(row(identity="1"), row(born="1999-04-24", identity="2"))
    assert [fault.message.split("; ")[1] for fault in preview.faults] == [
        "names in a roster must differ: add a letter or a second name"
    ] * 2
    preview = judged(row(name="Cy Holt A", identity="1"), row(name="Cy Holt B", identity="2"))
    assert told(preview) == [] and len(preview.new) == 2


def test_a_name_of_the_roster_with_another_birth_date_is_refused():
    preview = judged(row(name="bo marsh"), known=roster(PLAIN))
    assert told(preview) == [
        "2: name: Bo Marsh is in the roster already, born 1991-06-01; if it is the same person, one date is wrong; two "
        "people are told apart by an identity each and by names that differ"
    ]
    assert preview.people == (PLAIN,)


def test_an_identity_of_somebody_else_is_refused():
    known = roster(WHOLE, PLAIN)
    preview = judged(row(identity="A-17"), {**rows_of(known)[0], "identity": "Z"}, known=known)
    assert told(preview) == [
        '2: identity: "A-17" is the identity of Ada Lund, born 1980-02-29, in the roster; neither name nor birth date '
        "is the same here",
        '3: name: Ada Lund has the identity "A-17" in the roster, and the same birth date',
    ]


def test_names_may_be_exchanged_by_identity_but_not_taken():
    one = Person(name="Al", identity="1", born=date(2000, 1, 1), level=Level.LEVEL_1)
    two = Person(name="Bo", identity="2", born=date(2000, 1, 2), level=Level.LEVEL_1)
    first = {"name": "Bo", "born": "2000-01-01", "identity": "1", "level": "level_1"}
    second = {"name": "Al", "born": "2000-01-02", "identity": "2", "level": "level_1"}
    assert [p.name for p in judged(first, second, known=roster(one, two)).people] == ["Bo", "Al"]
    preview = judged(first, {**second, "born": "soon"}, known=roster(one, two))
    assert preview.left_out == (2, 3)  # the second is left out, so its name is not free for the first
    assert preview.people == (one, two)


def test_private_columns_are_left_out_and_stay_as_they_are_when_the_rest_is_read_again():
    known = roster(WHOLE, PLAIN)
    rows = rows_of(known, private=False)
    left_out = set(COLUMNS) - set(rows[0])
    assert left_out == set(PRIVATE_COLUMNS) == {
        "medical", "medical_clear", "medical_doctor", "guardian", "next_of_kin", "next_of_kin_phone", "notes",
    }  # fmt: skip
    for secret in ("2026-05-01", "2026-05-09", "Eve Lund", "Bo Lund", "900123", "two\nlines"):
        assert not any(secret in text for each in rows for text in each.values())
    rows[0]["logged_dives"] = "42"
    preview = people_from(rows, CARDS, known)
    assert preview.people == (WHOLE.model_copy(update={"logged_dives": 42}), PLAIN)


def test_hundreds_of_one_name_are_told_once_a_row():
    rows: Sequence[Mapping[str, str]] = [row(born=f"19{n // 28 + 10}-01-{n % 28 + 1:02}") for n in range(300)]
    preview = people_from(rows, CARDS, NOBODY)
    assert len(preview.faults) == 300 and preview.new == ()
