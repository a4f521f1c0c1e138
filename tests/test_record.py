"""How files are read: every key has its line, every fault its sentence, and no input breaks the reader."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Mapping
from contextlib import suppress
from datetime import date, time
from enum import StrEnum
from pathlib import Path
from time import monotonic
from typing import Any, Literal

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from pydantic import Field, ValidationError

from tripplan.errors import BadRecord
from tripplan.record import (
    LARGEST_FILE_BYTES,
    ClockTime,
    Location,
    Misfit,
    Record,
    TomlFile,
    describe_fault,
    judge,
    read_toml,
)

HERE = Path("x.toml")


def refused(text: str) -> str:
    """Return the one fault of a text that is not TOML."""
    with pytest.raises(BadRecord) as error:
        TomlFile(HERE, text)
    (fault,) = error.value.faults
    return str(fault)


def locations(value: Any, at: Location = ()) -> Iterator[Location]:
    """Walk every key and item of plain values."""
    if isinstance(value, dict):
        for key, inner in value.items():
            yield (*at, key)
            yield from locations(inner, (*at, key))
    elif isinstance(value, tuple):
        for number, inner in enumerate(value):
            yield (*at, number)
            yield from locations(inner, (*at, number))


# ---- lines ----

TRICKY = '''# a comment with [brackets] and key = value
top = 1
"quoted.key" = 2
'literal key' = 3
"\\u00e9t\\u00e9" = 4
dotted.inner.leaf = 5
text = """
[not_a_table]
key = "no key"
""" # comment after
more = \'\'\'two quotes in it: \'\'
[[nor_this]]\'\'\'
quotes = """ends with two quotes"""""
list = [
  "a # no comment", # a comment, with a comma
  { name = "x", size.width = 3 },

  { name = "y]", deep = [
     1,
     2,
  ] },
]
when = 1979-05-27 07:32:00 # a date with a space in it

[ table . "sub.table" ]
key = [ [1, 2], [3] ]
[[item]]
name = "first"
[[item.part]]
n = 1
[[item.part]]
n = 2
[item.settings]
on = true
[[item]]
name = "second"
[[item.part]]
n = 3
'''
# Counted by eye in the text above.
TRICKY_LINES: dict[Location, int] = {
    ("top",): 2,
    ("quoted.key",): 3,
    ("literal key",): 4,
    ("été",): 5,
    ("dotted",): 6,
    ("dotted", "inner", "leaf"): 6,
    ("text",): 7,
    ("more",): 11,
    ("quotes",): 13,
    ("list",): 14,
    ("list", 0): 15,
    ("list", 1, "size", "width"): 16,
    ("list", 2, "name"): 18,
    ("list", 2, "deep"): 18,
    ("list", 2, "deep", 1): 20,
    ("when",): 23,
    ("table",): 25,
    ("table", "sub.table"): 25,
    ("table", "sub.table", "key", 1, 0): 26,
    ("item",): 27,
    ("item", 0): 27,
    ("item", 0, "part", 0): 29,
    ("item", 0, "part", 1, "n"): 32,
    ("item", 0, "settings", "on"): 34,
    ("item", 1): 35,
    ("item", 1, "part", 0, "n"): 38,
}


@pytest.mark.parametrize("where, line", TRICKY_LINES.items())
def test_every_key_of_a_tricky_file_has_its_line(where: Location, line: int) -> None:
    assert TomlFile(HERE, TRICKY).line(where) == line


def test_every_key_and_item_has_a_line_and_nothing_else_has() -> None:
    file = TomlFile(HERE, TRICKY)
    assert set(file.lines) == set(locations(file.data))


def test_a_missing_key_is_told_at_the_nearest_thing_around_it() -> None:
    file = TomlFile(HERE, TRICKY)
    assert file.line(("item", 1, "missing", "deeper")) == 35
    assert file.line(("missing",)) == 1


keys = st.one_of(
    st.from_regex(r"[A-Za-z0-9_-]{1,6}", fullmatch=True), st.text(max_size=4).filter(lambda t: "\r" not in t)
)
scalars = st.one_of(st.integers(-99, 99), st.booleans(), st.text(max_size=8), st.dates())
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(keys, inner, max_size=3)),
    max_leaves=8,
)


def quoted(text: str) -> str:
    return '"' + "".join(f"\\U{ord(c):08x}" if not c.isalnum() else c for c in text) + '"'


def written(value: Any, lines: list[str]) -> None:
    """Write a value, every item of a list on a line of its own."""
    if isinstance(value, list):
        lines[-1] += "["
        for inner in value:
            lines.append("  ")
            written(inner, lines)
            lines[-1] += ", # ]"
        lines.append("]")
    elif isinstance(value, dict):
        lines[-1] += "{ "
        for number, (key, inner) in enumerate(value.items()):
            lines[-1] += (", " if number else "") + quoted(key) + " = "
            written(inner, lines)
        lines[-1] += " }"
    elif isinstance(value, str):
        lines[-1] += quoted(value)
    else:
        lines[-1] += str(value).lower()


@given(st.dictionaries(keys, values, max_size=5).filter(lambda d: all(c < "\ud800" or c > "\udfff" for c in str(d))))
def test_any_table_written_out_is_read_back_with_the_line_of_every_key(data: dict[str, Any]) -> None:
    lines: list[str] = []
    expected: dict[str, int] = {}
    for key, value in data.items():
        lines.append(quoted(key) + " = ")
        expected[key] = len(lines)
        written(value, lines)
    text = "\n".join(lines)
    file = TomlFile(HERE, text)
    assert {key: file.line((key,)) for key in data} == expected
    assert set(file.lines) == set(locations(file.data))
    assert list(file.data) == list(data)


toml_like = st.lists(
    st.sampled_from([*"abk=[]{}\"'\n#., \\\t1-", '"""', "'''", "[[", "]]", "k = ", "\né"]), max_size=40
)


@settings(max_examples=400, suppress_health_check=[HealthCheck.too_slow])
@given(st.one_of(toml_like.map("".join), st.text(max_size=40)))
def test_no_text_breaks_the_reader_and_what_the_parser_accepts_has_lines(text: str) -> None:
    try:
        file = TomlFile(HERE, text)
    except BadRecord as error:
        assert 1 <= error.faults[0].line <= text.count("\n") + 1
        assert str(error).isprintable()
    else:
        assert set(file.lines) == set(locations(file.data))
        assert tomllib.loads(text).keys() == file.data.keys()


# ---- files that are not TOML ----


@pytest.mark.parametrize(
    "text, fault",
    [
        ("a = 1\nb = 12,5", "x.toml:2: this is not valid TOML: something follows the value; text and times go in "
         "quotes, numbers have a decimal point and no unit: b = 12,5"),
        ("a = 1\na = 2", "x.toml:2: this is not valid TOML: this key stands twice in the same table: a = 2"),
        ("[a]\n[a]", "x.toml:2: this is not valid TOML: this table stands twice; further ones of a list are written "
         "[[so]]: [a]"),
        ("a = { b = 1, b = 2 }", "x.toml:1: this is not valid TOML: a key stands twice between these braces: "
         "a = { b = 1, b = 2 }"),
        ("a = 2026-02-30", "x.toml:1: this is not valid TOML: there is no such date or time: a = 2026-02-30"),
        ("a = 'x", "x.toml:1: this is not valid TOML: the quotes are not closed: a = 'x"),
        ('a = "\\d"', 'x.toml:1: this is not valid TOML: a backslash in text is written twice: a = "\\d"'),
        ("[a", "x.toml:1: this is not valid TOML: a table's name is written [so] on one line: [a"),
        ("\n\nhello", "x.toml:3: this is not valid TOML: a key is followed by \"=\" and its value: hello"),
    ],
)  # fmt: skip
def test_a_mistake_in_the_syntax_is_told_in_plain_words(text: str, fault: str) -> None:
    assert refused(text) == fault


def test_text_left_open_is_told_at_the_last_line_that_holds_anything() -> None:
    assert refused('a = """\nnever closed\n\n\n').startswith("x.toml:2: ")


@pytest.mark.parametrize("text", ["a = " + "[" * 20_000, "a = " + "[" * 20_000 + "]" * 20_000, "a = " + "{b=" * 5_000,
                                  ".".join(["a"] * 900_000) + " = 1", "[" + '"a" . ' * 200_000 + "a]"])  # fmt: skip
def test_endless_nesting_is_refused(text: str) -> None:
    assert refused(text) == "x.toml:1: this is not valid TOML: nested too deeply"


def test_a_large_file_of_any_shape_is_read_or_refused_at_once() -> None:
    begun = monotonic()
    for text in (
        "[[a{}]]\n",
        "a{} = 1\n",
        "[[x]]\n",
        "[[x]]\n[[x.y]]\n",
        "a{} = [1,2,3,[4]]\n",
        "# '\" {}\n",
        "k{} = '\"'\n",
    ):
        TomlFile(HERE, "".join(text.format(n) for n in range(20_000)))
    for text in ("a" * 1_000_000, "'" * 1_000_000, "a b" * 500_000, '"a' * 500_000, "a = [" + "1," * 400_000 + "]"):
        with suppress(BadRecord):
            TomlFile(HERE, text)
    assert monotonic() - begun < 30  # it takes some 3 s; one quadratic step would take minutes


def test_a_number_of_thousands_of_digits_is_refused() -> None:
    assert refused("a = " + "9" * 5000) == "x.toml:1: this is not valid TOML: a number has too many digits"


def test_files_that_cannot_be_read_say_why(tmp_path: Path) -> None:
    def why(path: Path) -> str:
        with pytest.raises(BadRecord) as error:
            read_toml(path)
        return str(error.value).removeprefix(str(path))

    assert why(tmp_path) == ":1: this is a folder, not a file"
    assert why(tmp_path / "none.toml") == ":1: there is no such file"
    assert why(Path("/dev/zero")) == ":1: this is not an ordinary file"
    bad = tmp_path / "bad.toml"
    bad.write_bytes("a = 1\nname = 'Praia do Açor'\n".encode("latin-1"))
    assert why(bad) == ":2: the file is not UTF-8 text; save it as UTF-8"
    bad.write_bytes("a = 1".encode("utf-16"))
    assert why(bad) == ":1: the file is not UTF-8 text; save it as UTF-8"
    bad.write_bytes(b"#" * (LARGEST_FILE_BYTES + 1))
    assert why(bad) == ":1: the file is larger than 2,000,000 bytes"
    bad.write_bytes(b"#" * LARGEST_FILE_BYTES)
    assert read_toml(bad).data == {}


def test_a_byte_order_mark_and_windows_line_ends_are_read_through(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_bytes(b'\xef\xbb\xbfa = 1\r\nb = """x\r\ny"""\r\nc = 2\r\n')
    file = read_toml(path)
    assert file.data == {"a": 1, "b": "x\ny", "c": 2}
    assert file.line(("c",)) == 4


# ---- judging ----


class Colour(StrEnum):
    """Two words."""

    RED = "red"
    BLUE = "blue"


class Part(Record):
    """An inner record with a check of its own."""

    low_m: float = Field(ge=0, le=10, description="metres, 0 to 10")
    high_m: float = Field(ge=0, le=10, description="metres, 0 to 10")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Low is below high."""
        if {"low_m", "high_m"} <= parts.keys() and parts["low_m"] >= parts["high_m"]:
            yield ("low_m",), f"is {parts['low_m']:g}, not below high_m, {parts['high_m']:g}"


class Whole(Record):
    """Every kind of field."""

    name: str = "x"
    colour: Colour = Colour.RED
    colours: tuple[Colour, ...] = ()
    by_name: dict[str, Colour] = Field(default={})
    parts: tuple[Part, ...] = ()
    part: Part | None = None
    either: tuple[int, ...] | Literal["none"] | None = None
    many: dict[str, Part] = Field(default={})
    at: ClockTime = time(8, 0)
    on: date = date(2026, 1, 1)
    count: int = Field(default=1, ge=1, description="how many")


def said(text: str) -> list[str]:
    with pytest.raises(BadRecord) as error:
        judge(TomlFile(HERE, text), Whole)
    return [str(fault) for fault in error.value.faults]


def test_words_become_members_of_an_enumeration_wherever_they_stand() -> None:
    whole = judge(TomlFile(HERE, 'colour = "blue"\ncolours = ["red", " blue "]\nby_name = { x = "blue" }'), Whole)
    assert (whole.colour, whole.colours, whole.by_name) == (Colour.BLUE, (Colour.RED, Colour.BLUE), {"x": Colour.BLUE})
    assert said('colour = "bleu"') == [
        'x.toml:1: colour is "bleu"; it must be one of "red", "blue"; did you mean "blue"?'
    ]
    assert said('colours = [\n  "red",\n  "green",\n]') == [
        'x.toml:3: colours[2] is "green"; it must be one of "red", "blue"'
    ]
    assert said('[by_name]\nx = "green"') == ['x.toml:2: by_name.x is "green"; it must be one of "red", "blue"']


def test_a_value_that_may_be_of_two_kinds_gives_one_sentence() -> None:
    assert judge(TomlFile(HERE, 'either = "none"'), Whole).either == "none"
    assert judge(TomlFile(HERE, "either = [1, 2]"), Whole).either == (1, 2)
    assert said('either = "nobody"') == [
        'x.toml:1: either is "nobody"; it must be a list in square brackets, or "none"'
    ]


def test_faults_of_every_depth_come_together_in_order_of_lines() -> None:
    text = """count = 0
[part]
low_m = 5
high_m = 4
[[parts]]
low_m = 3
high_m = 2
extra = 1
[[parts]]
low_m = "3"
high_m = 2
[many.one]
low_m = 9
high_m = 1
"""
    assert said(text) == [
        "x.toml:1: count is 0; it must be at least 1 (how many)",
        "x.toml:3: part.low_m is 5, not below high_m, 4",
        "x.toml:6: parts[1].low_m is 3, not below high_m, 2",
        "x.toml:8: parts[1].extra is not a known key; accepted here: high_m, low_m",
        'x.toml:10: parts[2].low_m is "3"; it must be a number, without quotes or unit (metres, 0 to 10)',
        "x.toml:13: many.one.low_m is 9, not below high_m, 1",
    ]


def test_what_does_not_fit_is_found_when_nothing_else_is_wrong_too() -> None:
    assert said("[part]\nlow_m = 5\nhigh_m = 4") == ["x.toml:2: part.low_m is 5, not below high_m, 4"]


def test_a_part_of_a_file_is_judged_at_its_own_place() -> None:
    file = TomlFile(HERE, "[a.b]\nlow_m = 1\nhigh_m = -1")
    with pytest.raises(BadRecord) as error:
        judge(file, Part, file.data["a"]["b"], ("a", "b"))
    assert [fault.line for fault in error.value.faults] == [3]
    with pytest.raises(BadRecord) as error:
        judge(TomlFile(HERE, "\na = 3"), Part, 3, ("a",))
    assert [fault.line for fault in error.value.faults] == [2]


def test_a_form_gets_the_same_sentences_without_a_file() -> None:
    values = {"count": 0, "part": {"low_m": 5, "high_m": 4}, "either": "nobody"}
    with pytest.raises(ValidationError) as error:
        Whole.model_validate(values)
    expected = [
        'either is "nobody"; it must be a list in square brackets, or "none"',
        "count is 0; it must be at least 1 (how many)",
        "part.low_m is 5, not below high_m, 4",
    ]
    assert sorted(describe_fault(error.value, Whole, values)) == sorted(expected)
    assert sorted(describe_fault(error.value, Whole)) == sorted(expected)


@pytest.mark.parametrize("text", ['"08:00"', "08:00:00"])
def test_a_time_of_day_is_read_quoted_or_as_toml_writes_it(text: str) -> None:
    assert judge(TomlFile(HERE, f"at = {text}"), Whole).at == time(8, 0)


@pytest.mark.parametrize("text", ['"8:00"', '"24:00"', '"08:60"', '"٠٨:٠٠"', "08:00:30", "800", '"08:00 "'])
def test_any_other_time_of_day_is_refused(text: str) -> None:
    (fault,) = said(f"at = {text}")
    assert fault.endswith(': a time of day is written "HH:MM" in quotes, from "00:00" to "23:59"')


def test_nothing_of_the_file_can_move_the_cursor_or_break_the_line_of_a_fault() -> None:
    for text in ('name = 1\n"\\u001b[2J" = 1', 'colour = "\\u001b[2J\\n\\r\\u202e"', '"a\\nb" = 1'):
        for fault in said(text):
            assert fault.isprintable()


@given(values)
def test_no_value_breaks_the_judge(value: Any) -> None:
    for field in Whole.model_fields:
        file = TomlFile(HERE, "")
        file.data = {field: tuple(value) if isinstance(value, list) else value}
        try:
            judge(file, Whole)
        except BadRecord as error:
            assert all(fault.message.startswith((field, "the file")) for fault in error.faults)
