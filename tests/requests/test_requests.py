"""Request files: what a leader may ask, and what is refused with file, line and a sentence."""

from __future__ import annotations

import pytest

from tripplan.errors import BadRecord
from tripplan.planning.request import read_request

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

BAD = [
    ('site = "cove"\n', "", 1, "site is missing; give the site's file name without .toml"),
    ("date = 2026-12-12", 'date = "12.12.2026"', 3, 'date is "12.12.2026"; it must be a date without quotes'),
    ("site =", "sites =", 2, 'sites is not a known key; did you mean "site"?'),
    ('recent_dives = "none"', 'recent_dives = "some"', 4, "recent_dives"),
    ('shore_watch = ["Greta"]', 'shore_watch = "Greta"', 8, 'crew.shore_watch is "Greta"; it must be a list'),
    ('arrived = "08:30"', 'arrived = "8:30"', 11, 'a time of day is written "HH:MM"'),
    ('arrived = "08:30"', 'arrived = "24:30"', 11, 'a time of day is written "HH:MM"'),
    ('kind = "guided"', 'kind = "wreck"', 15, 'groups[1].kind is "wreck"; it must be'),
    ('divers = ["Nadia", "Owen"]', "divers = []", 17, "groups[1].divers"),
    ('divers = ["Nadia", "Owen"]', 'divers = ["Nadia", "Nadia"]', 17, '"Nadia" stands twice'),
    ("depth_m = 18", "depth_ft = 60", 19, "groups[1].dives[1].depth_ft is not a known key"),
    ("depth_m = 18", "depth_m = -18", 19, "groups[1].dives[1].depth_m is -18; it must be more than 0"),
    ("depth_m = 18", "depth_m = nan", 19, "groups[1].dives[1].depth_m is nan"),
    ("depth_m = 18", "depth_m = true", 19, "groups[1].dives[1].depth_m is true; it must be a number"),
    ("minutes = 30", "minutes = 12.5", 20, "groups[1].dives[1].minutes is 12.5; it must be a whole number"),
    ("minutes = 30", "minutes = 0", 20, "groups[1].dives[1].minutes is 0; it must be at least 1"),
    ("minutes = 30", "oxygen_percent = 60", 20, "groups[1].dives[1].oxygen_percent is 60; it must be at most 40"),
    ('not_before = "09:00"', 'not_before = "09:00"\nentry = "10:00"', 18, "not both"),
    ('name = "Skuas"', 'name = "Terns"', 24, 'the group name "Terns" stands twice'),
    ("[[groups.dives]]\nminutes = 25\n", "", 23, "groups[2].dives is missing"),
    ('title = "Saturday"', 'title = "Saturday', 1, "this is not valid TOML"),
    ('site = "cove"', 'site = "cove"\nsite = "quay"', 3, "this is not valid TOML"),
    ('recent_dives = "none"', "recent_dives = [{person = 'A', depth_m = 10, minutes = 5, surfaced = 2026-12-11T10:00:00}]",
     4, "needs its offset from UTC"),
]  # fmt: skip


def test_a_good_request_is_read(tmp_path):
    file = tmp_path / "request.toml"
    file.write_text(GOOD, encoding="utf-8")
    request = read_request(file)
    assert [group.name for group in request.groups] == ["Terns", "Skuas"]
    assert request.groups[0].dives[0].depth_m == 18
    assert request.groups[0].everybody == ("Luca", "Nadia", "Owen")


@pytest.mark.parametrize(("old", "new", "line", "sentence"), BAD)
def test_a_bad_request_is_refused_with_file_line_and_sentence(tmp_path, old, new, line, sentence):
    assert old in GOOD
    file = tmp_path / "request.toml"
    file.write_text(GOOD.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_request(file)
    told = [str(fault) for fault in refused.value.faults]
    assert any(one.startswith(f"{file}:{line}: ") and sentence in one for one in told), told
    assert all("\n" not in one for one in told)
