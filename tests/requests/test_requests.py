"""Request files: what a leader may ask, and what is refused with file, line and a sentence."""

from __future__ import annotations

from datetime import UTC, date, datetime, time
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.data_files import data_dir
from tripplan.errors import BadRecord
from tripplan.people.centre import read_centre
from tripplan.people.group import KINDS
from tripplan.planning.request import Request, read_request

GOOD = """title = "Saturday"
site = "cove"
date = 2026-12-12
recent_dives = "none"

[crew]
dive_director = "Ines"
shore_watch = ["Greta"]

[altitude]
arrived = "08:30"

[[groups]]
name = "Terns"
kind = "guided"
leader = "Luca"
divers = ["Nadia", "Owen"]
[[groups.dives]]
depth_m = 18
minutes = 30
not_before = "09:00"

[[groups]]
name = "Skuas"
kind = "guided"
leader = "Asha"
divers = ["Bruno"]
[[groups.dives]]
minutes = 25
"""

KINDS_SAID = ", ".join(f'"{kind}"' for kind in KINDS)
CLOCK = 'a time of day is written "HH:MM" in quotes, from "00:00" to "23:59"'
MOMENT = "it must be date, time and offset from UTC without quotes, like 2027-06-11T16:40:00+00:00"
DEPTH = "(wished depth, metres; left out: the limit)"
MINUTES = "(wished bottom time, minutes)"
OXYGEN = "(oxygen in the gas, 20.9 to 40 per cent)"
ROSTER = "(names as in the roster)"
ONE_DATE = "it must be a date without quotes and without a time, like 2027-06-12 (the day of diving)"
RECENT = '(a [[recent_dives]] for each dive of the days before, or "none": everybody was asked)'
NOT_READ = "this is not valid TOML"
BAD = [  # what is typed over, by what, on which line it is told, and what is told
    # ---- the day ----
    ('site = "cove"\n', "", 1, "site is missing; give the site's file name without .toml"),
    ('site = "cove"', 'site = ""', 2,
     'site is ""; it must be at least 1 character long (the site\'s file name without .toml)'),
    ("date = 2026-12-12\n", "", 1, "date is missing; give the day of diving"),
    ("date = 2026-12-12", 'date = "12.12.2026"', 3, f'date is "12.12.2026"; {ONE_DATE}'),
    ("date = 2026-12-12", "date = 2026-12-12T09:00:00", 3, f"date is 2026-12-12 09:00:00; {ONE_DATE}"),
    ("date = 2026-12-12", "date = 1850-01-01", 3, "date is 1850-01-01: it must be from 1901-01-01 to 2099-12-31"),
    ("date = 2026-12-12", "date = 2100-01-01", 3, "date is 2100-01-01: it must be from 1901-01-01 to 2099-12-31"),
    ("date = 2026-12-12", "date = 2026-02-29", 3,
     f"{NOT_READ}: there is no such date or time: date = 2026-02-29"),
    ('"Saturday"', r'"Satur\nday"', 1,
     r'title is "Satur\nday": it holds a character that does not print; write it on one line'),
    ("site =", 'sites = "quay"\nsite =', 2, 'sites is not a known key; did you mean "site"?'),
    ("title =", "measured_pressure_bar = 1013\ntitle =", 1,
     "measured_pressure_bar is 1013; it must be at most 1.1 (station pressure, bar)"),
    # ---- crew and altitude ----
    ('shore_watch = ["Greta"]', 'shore_watch = "Greta"', 8,
     f'crew.shore_watch is "Greta"; it must be a list in square brackets {ROSTER}'),
    ('shore_watch = ["Greta"]', 'shore_watch = ["Greta", "Greta"]', 8,
     'crew.shore_watch[2] is "Greta", who stands in the list already; name each person once'),
    ('shore_watch = ["Greta"]', 'oxygen_provider = ["Greta", "greta "]', 8,
     'crew.oxygen_provider[2] is "greta", who stands in the list already; name each person once'),
    ('dive_director = "Ines"', 'dive_director = ""', 7,
     'crew.dive_director is ""; it must be at least 1 character long (name as in the roster)'),
    ("[crew]", "[[crew]]", 6,
     "crew is a list of tables; it must be a single table: write [crew], with single brackets"),
    ('arrived = "08:30"', 'arrived = "8:30"', 11, f'altitude.arrived is "8:30": {CLOCK}'),
    ('arrived = "08:30"', 'arrived = "24:30"', 11, f'altitude.arrived is "24:30": {CLOCK}'),
    ('arrived = "08:30"', 'arrived = "08:30"\nsettled = true', 12,
     "altitude.settled is true but arrived is 08:30; give one of the two"),
    # ---- groups ----
    ('kind = "guided"', 'kind = "wreck"', 15,
     f'groups[1].kind is "wreck"; it must be one of {KINDS_SAID} (kind of dive)'),
    ('kind = "guided"', 'kind = "guide"', 15,
     f'groups[1].kind is "guide"; it must be one of {KINDS_SAID}; did you mean "guided"? (kind of dive)'),
    ("leader =", "lead =", 16, 'groups[1].lead is not a known key; did you mean "leader"?'),
    ('leader = "Luca"', 'leader = ""', 16,
     'groups[1].leader is ""; it must be at least 1 character long (name of the leader as in the roster)'),
    ('divers = ["Nadia", "Owen"]', "divers = []", 17, f"groups[1].divers holds 0; it must hold at least 1 {ROSTER}"),
    ('divers = ["Nadia", "Owen"]', 'divers = ["Nadia", ""]', 17,
     'groups[1].divers[2] is ""; it must be at least 1 character long'),
    ('divers = ["Nadia", "Owen"]', 'divers = ["Nadia", ["Owen"]]', 17,
     "groups[1].divers[2] is [\"Owen\"]; it must be text in quotes"),
    ('divers = ["Nadia", "Owen"]', 'divers = [\n  "Nadia",\n  "nadia",\n]', 19,
     'groups[1].divers[2] is "nadia", who stands in the group already, as diver, item 1; name each person once'),
    ('divers = ["Nadia", "Owen"]', 'divers = ["Nadia", "Luca"]', 17,
     'groups[1].divers[2] is "Luca", who stands in the group already, as leader; name each person once'),
    ('divers = ["Nadia", "Owen"]', 'divers = ["Nadia", "Owen"]\nassistants = ["Luca"]', 18,
     'groups[1].assistants[1] is "Luca", who stands in the group already, as leader; name each person once'),
    ('name = "Skuas"', 'name = "Terns"', 24, 'groups[2].name is "Terns", as groups[1] is; names must differ'),
    ('name = "Skuas"', 'name = "terns"', 24, 'groups[2].name is "terns", as groups[1] is; names must differ'),
    ("[[groups.dives]]\nminutes = 25\n", "", 23, "groups[2].dives is missing; give one to six dives"),
    ("[[groups.dives]]\nminutes = 25\n", "[[groups.dives]]\n" * 7, 28,
     "groups[2].dives holds 7; it must hold at most 6 (one to six dives)"),
    ("[[groups.dives]]\nminutes = 25\n", "dives = 2\n", 28,
     "groups[2].dives is 2; it must be a list in square brackets (one to six dives)"),
    # ---- dives ----
    ("depth_m = 18", "depth_ft = 60", 19,
     'groups[1].dives[1].depth_ft is not a known key; the unit here is metres: convert and write "depth_m"'),
    ("depth_m = 18", "depth_m = -18", 19, f"groups[1].dives[1].depth_m is -18; it must be more than 0 {DEPTH}"),
    ("depth_m = 18", "depth_m = 180", 19, f"groups[1].dives[1].depth_m is 180; it must be at most 100 {DEPTH}"),
    ("depth_m = 18", "depth_m = nan", 19, f"groups[1].dives[1].depth_m is nan; it must be a finite number {DEPTH}"),
    ("depth_m = 18", "depth_m = true", 19, f"groups[1].dives[1].depth_m is true; it must be a number {DEPTH}"),
    ("depth_m = 18", 'depth_m = "18 m"', 19,
     f'groups[1].dives[1].depth_m is "18 m"; it must be a number, without quotes or unit {DEPTH}'),
    ("minutes = 30", "minutes = 12.5", 20,
     f"groups[1].dives[1].minutes is 12.5; it must be a whole number {MINUTES}"),
    ("minutes = 30", "minutes = 0", 20, f"groups[1].dives[1].minutes is 0; it must be at least 1 {MINUTES}"),
    ("minutes = 30", "oxygen_percent = 60", 20,
     f"groups[1].dives[1].oxygen_percent is 60; it must be at most 40 {OXYGEN}"),
    ("minutes = 30", "oxygen_percent = 0.32", 20,
     f"groups[1].dives[1].oxygen_percent is 0.32; it must be at least 20.9 {OXYGEN}"),
    ('not_before = "09:00"', 'not_before = "9:00"', 21, f'groups[1].dives[1].not_before is "9:00": {CLOCK}'),
    ('not_before = "09:00"', "entry = 9.5", 21, f"groups[1].dives[1].entry is 9.5: {CLOCK}"),
    ('not_before = "09:00"', 'not_before = "09:00"\nentry = "10:00"', 21,
     "groups[1].dives[1].not_before is 09:00 and entry is 10:00; give either entry (fixed) or not_before (earliest), "
     "not both"),
    # ---- not TOML ----
    ('title = "Saturday"', 'title = "Saturday', 1,
     f'{NOT_READ}: the quotes are not closed on this line: title = "Saturday'),
    ('site = "cove"', 'site = "cove"\nsite = "quay"', 3,
     f'{NOT_READ}: this key stands twice in the same table: site = "quay"'),
    ("minutes = 30", "minutes = 30 min", 20,
     f"{NOT_READ}: something follows the value; text and times go in quotes, numbers have a decimal point and no unit: "
     "minutes = 30 min"),
]  # fmt: skip


def dives_before(*dives: str) -> str:
    return "recent_dives = [" + ", ".join(f"{{ {dive} }}" for dive in dives) + "]"


def dive_before(surfaced: str, person: str = "Nadia", minutes: str = "30") -> str:
    return f'person = "{person}", depth_m = 10, minutes = {minutes}, surfaced = {surfaced}'


BAD_RECENT = [  # what is written for recent_dives, and what is told; all on line 4
    ('recent_dives = "some"', f'recent_dives is "some"; it must be "none" {RECENT}'),
    ("recent_dives = 3", f"recent_dives is 3; it must be a list in square brackets {RECENT}"),
    ("recent_dives = []",
     'recent_dives is an empty list; write "none" where everybody was asked, or leave it out'),
    ("recent_dives = [18]", "recent_dives[1] is 18; it must be a table"),
    (dives_before(dive_before("2026-12-11T10:00:00")),
     "recent_dives[1].surfaced is 2026-12-11 10:00:00: it needs its offset from UTC, like 2027-06-11T16:40:00+00:00"),
    (dives_before(dive_before("2026-12-11")), f"recent_dives[1].surfaced is 2026-12-11: {MOMENT}"),
    (dives_before(dive_before('"yesterday"')), f'recent_dives[1].surfaced is "yesterday": {MOMENT}'),
    (dives_before('person = "Nadia", depth_m = 10, minutes = 30'),
     "recent_dives[1].surfaced is missing; give when it ended, like 2027-06-11T16:40:00+00:00"),
    (dives_before(dive_before("2026-12-11T10:00:00Z", minutes="12.5")),
     "recent_dives[1].minutes is 12.5; it must be a whole number (bottom time, minutes)"),
    (dives_before(dive_before("2026-12-11T10:00:00Z", person="")),
     'recent_dives[1].person is ""; it must be at least 1 character long (name as in the roster)'),
    (dives_before(dive_before("2026-12-13T00:01:00-01:00")),
     "recent_dives[1].surfaced is 2026-12-13T00:01:00-01:00; it must not be after the day of diving, 2026-12-12"),
    (dives_before(dive_before("2025-12-11T10:00:00Z")),
     "recent_dives[1].surfaced is 2025-12-11T10:00:00+00:00; it must be at most 31 days before 2026-12-12; "
     "leave out older dives"),
    (dives_before(dive_before("2026-12-11T10:00:00Z"), dive_before("2026-12-11T10:00:00Z")),
     "recent_dives[2].surfaced is 2026-12-11T10:00:00+00:00; 30 min before, recent_dives[1] of this person had not "
     "ended"),
    (dives_before(dive_before("2026-12-11T10:29:00Z"), dive_before("2026-12-11T07:00:00Z"),
                  dive_before("2026-12-11T11:00:00+01:00", person="nadia")),
     "recent_dives[1].surfaced is 2026-12-11T10:29:00+00:00; 30 min before, recent_dives[3] of this person had not "
     "ended"),
]  # fmt: skip


def read(folder: Path, text: str) -> Request:
    file = folder / "request.toml"
    file.write_text(text, encoding="utf-8")
    return read_request(file)


def told_of(folder: Path, text: str) -> list[str]:
    with pytest.raises(BadRecord) as refused:
        read(folder, text)
    return [str(fault).removeprefix(f"{folder}/") for fault in refused.value.faults]


def test_a_good_request_is_read(tmp_path):
    request = read(tmp_path, GOOD)
    assert type(request) is Request
    assert (request.site, request.date, request.recent_dives) == ("cove", date(2026, 12, 12), "none")
    assert request.altitude.arrived == time(8, 30)
    assert [group.name for group in request.groups] == ["Terns", "Skuas"]
    assert request.groups[0].dives[0].depth_m == 18
    assert request.groups[0].dives[0].not_before == time(9, 0)
    assert request.groups[1].dives[0].depth_m is None
    assert request.groups[0].everybody == ("Luca", "Nadia", "Owen")


@pytest.mark.parametrize("file", sorted((data_dir("sites") / "requests").glob("*.toml")), ids=lambda file: file.stem)
def test_the_requests_of_the_demonstration_name_only_people_of_the_centre(file):
    request = read_request(file)
    people = read_centre(data_dir("sites") / "centre" / "centre.toml").roster.people
    crew = request.crew
    named = {name for group in request.groups for name in group.everybody}
    assert named | {crew.dive_director, *crew.shore_watch, *crew.oxygen_provider} <= people.keys()
    assert request.recent_dives == "none"


def test_dives_of_the_days_before_are_read_with_their_offset(tmp_path):
    written = dives_before(dive_before("2026-12-11T16:40:00-01:00"), dive_before("2026-12-11T18:11:00Z"))
    recent = read(tmp_path, GOOD.replace('recent_dives = "none"', written)).recent_dives
    assert isinstance(recent, tuple)
    assert recent[0].surfaced == datetime(2026, 12, 11, 17, 40, tzinfo=UTC)
    assert recent[0].oxygen_percent == 21


@pytest.mark.parametrize("surfaced", ["2026-12-12T08:00:00Z", "2026-11-11T08:00:00Z", "2026-12-12T23:59:00-01:00"])
def test_a_dive_of_the_same_morning_and_of_31_days_before_is_accepted(tmp_path, surfaced):
    text = GOOD.replace('recent_dives = "none"', dives_before(dive_before(surfaced)))
    assert len(read(tmp_path, text).recent_dives) == 1


def test_a_dive_may_start_the_minute_in_which_the_one_before_ended(tmp_path):
    written = dives_before(dive_before("2026-12-11T10:30:00Z"), dive_before("2026-12-11T10:00:00Z"))
    assert len(read(tmp_path, GOOD.replace('recent_dives = "none"', written)).recent_dives) == 2


def test_two_people_may_have_dived_at_the_same_time(tmp_path):
    written = dives_before(dive_before("2026-12-11T10:00:00Z"), dive_before("2026-12-11T10:00:00Z", person="Owen"))
    assert len(read(tmp_path, GOOD.replace('recent_dives = "none"', written)).recent_dives) == 2


def test_recent_dives_left_out_stay_unknown(tmp_path):
    assert read(tmp_path, GOOD.replace('recent_dives = "none"\n', "")).recent_dives is None


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD)
def test_a_bad_request_is_refused_with_file_line_and_sentence(tmp_path, old, new, line, sentence):
    assert old in GOOD
    assert told_of(tmp_path, GOOD.replace(old, new, 1)) == [f"request.toml:{line}: {sentence}"]


@pytest.mark.parametrize(("written", "sentence"), BAD_RECENT)
def test_bad_dives_of_the_days_before_are_refused_on_their_line(tmp_path, written, sentence):
    assert told_of(tmp_path, GOOD.replace('recent_dives = "none"', written)) == [f"request.toml:4: {sentence}"]


def test_a_request_without_groups_is_refused(tmp_path):
    text = GOOD[: GOOD.index("[[groups]]")]
    assert told_of(tmp_path, text) == ["request.toml:1: groups is missing; give at least one [[groups]]"]
    assert told_of(tmp_path, "groups = []\n" + text) == [
        "request.toml:1: groups holds 0; it must hold at least 1 (at least one [[groups]])"
    ]


def test_an_empty_file_is_told_everything_that_it_lacks(tmp_path):
    assert told_of(tmp_path, "") == [
        "request.toml:1: date is missing; give the day of diving",
        "request.toml:1: groups is missing; give at least one [[groups]]",
        "request.toml:1: site is missing; give the site's file name without .toml",
    ]


def test_every_fault_of_a_request_is_told_at_once(tmp_path):
    text = (
        GOOD.replace("2026-12-12", "1850-12-12")
        .replace('"08:30"', '"8:30"')
        .replace('"Owen"]', '"Luca"]')
        .replace('not_before = "09:00"', 'not_before = "09:00"\nentry = "10:00"')
        .replace("minutes = 25", "minutes = 0")
    )
    assert [fault.split(":")[1] for fault in told_of(tmp_path, text)] == ["3", "11", "17", "21", "30"]


VALUES = [
    "1", "-1", "1.5", "nan", "true", '""', '"x"', '"none"', '"guided"', '"09:00"', "[]", "[1]", '["x", "x"]',
    "{ a = 1 }", "[{ a = 1 }]", "[{}, {}]", "2026-12-12", "2026-12-12T10:00:00", "2026-12-12T10:00:00Z", "09:00:00",
]  # fmt: skip
TOP = ["title", "site", "date", "crew", "altitude", "measured_pressure_bar", "recent_dives", "groups", "other"]
GROUP = ["name", "kind", "leader", "assistants", "divers", "place", "going_in_by", "dives", "other"]


@settings(max_examples=150, deadline=None)
@given(
    st.dictionaries(st.sampled_from(TOP), st.sampled_from(VALUES)),
    st.dictionaries(st.sampled_from(GROUP), st.sampled_from(VALUES)),
)
def test_whatever_is_written_in_a_request_is_accepted_or_refused_in_single_lines(top, group):
    lines = [f"{key} = {value}" for key, value in top.items()]
    if "groups" not in top:
        lines += ["[[groups]]", *(f"{key} = {value}" for key, value in group.items())]
    with TemporaryDirectory() as folder:
        file = Path(folder) / "request.toml"
        file.write_text("\n".join(lines), encoding="utf-8")
        try:
            request = read_request(file)
        except BadRecord as refused:
            assert all(str(f).startswith(f"{file}:{f.line}: ") and str(f).isprintable() for f in refused.faults)
            assert all(1 <= f.line <= max(len(lines), 1) for f in refused.faults)
        else:
            assert {"site", "date"} <= top.keys() and {"name", "kind", "divers", "dives"} <= group.keys()
            assert request.groups[0].everybody
