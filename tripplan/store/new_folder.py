"""A centre's own folder to begin with: its files, each with comments on what belongs where, and no invented content."""

from __future__ import annotations

import shutil
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from typing import Final

from tripplan.errors import BadRecord, TripplanError
from tripplan.people.centre import CentreFile
from tripplan.record import judge, toml_value
from tripplan.store.folder import load_folder, may_become_a_centre
from tripplan.store.records import CannotKeep
from tripplan.store.toml_text import ToldFile
from tripplan.store.written import OtherFile, put_new

# What is asked about a centre: its key, what it is, how it is written.
ASKED: Final = (
    ("name", "Name of the centre", "as on its sign"),
    ("country", "Country", "two capitals by ISO 3166, like PT; sets how telephone numbers are read"),
    ("timezone", "Time zone", "like Atlantic/Azores; the form for a site begins with it"),
    ("position", "Position of the centre", "like 47.0512, -17.1234 or 47 03.072 N, 17 07.404 W"),
    ("emergency_number", "Emergency number of the country", "as dialled there; try it with whoever answers it first"),
)
_PEOPLE_FILE: Final = "centre/people.toml"
_NOT_GIVEN: Final[Mapping[str, str]] = {
    "country": '"PT"',
    "timezone": '"Atlantic/Azores"',
    "position": '"47.0512, -17.1234"',
    "emergency_number": '"..."',
}


class NotEmpty(TripplanError):
    """There is something in the folder already: nothing of it is touched."""


def faults_of_facts(facts: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return what is wrong with the facts of a centre as typed: each time the key and a sentence; empty for nothing."""
    file = ToldFile(Path("centre.toml"), centre_toml(facts))
    try:
        judge(file, CentreFile)
    except BadRecord:
        return [(str(where[0]) if where else "name", sentence) for where, sentence in dict.fromkeys(file.told)]
    return []


def look_at_new(path: Path) -> None:
    """Raise NotEmpty where a folder cannot be begun because something is there."""
    if path.exists() and not path.is_dir():
        raise NotEmpty(f"{path} is a file; give a folder that is not there yet, or is empty")
    if path.is_dir() and any(path.iterdir()):
        raise NotEmpty(f"{path} is not empty, and nothing in it is touched; give a folder that is not there yet")


def begin_folder(path: Path, facts: Mapping[str, str]) -> None:
    """Write a centre's folder: all of it or nothing.

    facts -- by the keys of ASKED, as typed; an empty one is not known, and stands in the file as a comment

    Raises NotEmpty where something is there already, BadRecord where a fact cannot be used, CannotKeep where the folder
    cannot be written.
    """
    look_at_new(path)
    file = ToldFile(path / "centre" / "centre.toml", centre_toml(facts))
    judge(file, CentreFile)
    made = path.with_name(f".{path.name or 'centre'}.being-made")
    try:
        shutil.rmtree(made, ignore_errors=True)
        made.mkdir(parents=True)
        _fill(made, facts)
        _read_once(made)
        if path.exists():
            path.rmdir()
        made.rename(path)
    except OSError as error:
        raise CannotKeep(f"{path}: {error.strerror or error}; nothing was written") from error
    finally:
        with suppress(OSError):
            shutil.rmtree(made, ignore_errors=True)


def complete_folder(path: Path, facts: Mapping[str, str]) -> list[str]:
    """Write the files that a served folder lacks, and return their names; what is there is left as it is.

    Raises BadRecord where a fact cannot be used, NotEmpty where the folder is none of a centre, CannotKeep where it
    cannot be written.
    """
    judge(ToldFile(path / "centre" / "centre.toml", centre_toml(facts)), CentreFile)
    if not may_become_a_centre(path):
        raise NotEmpty(f"{path} holds other things than a centre's; nothing was written")
    written = []
    # The centre's own file comes last: once it is there, all that it names is there too.
    for name, text in sorted(_files(facts).items(), key=lambda each: each[0] == "centre/centre.toml"):
        try:
            (path / name).parent.mkdir(parents=True, exist_ok=True)
            put_new(path / name, text)
        except OtherFile:
            continue
        except OSError as error:
            raise CannotKeep(f"{path / name}: {error.strerror or error}; nothing was written") from error
        written.append(name)
        if name == _PEOPLE_FILE:
            _for_the_owner(path)
    return written


def _fill(folder: Path, facts: Mapping[str, str]) -> None:
    for name, text in _files(facts).items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        put_new(folder / name, text)
    _for_the_owner(folder)


def _for_the_owner(folder: Path) -> None:
    """Keep the list of people to its owner: medical papers and next of kin will stand there."""
    (folder / _PEOPLE_FILE).chmod(0o600)


def _read_once(folder: Path) -> None:
    """Read what was written before it counts.  Raises CannotKeep where it could not be read again."""
    if faults := load_folder(folder).faults:
        raise CannotKeep(f"{faults[0].message}; nothing was written")


def _files(facts: Mapping[str, str]) -> dict[str, str]:
    return {
        "READ-ME.txt": _READ_ME,
        _PEOPLE_FILE: _PEOPLE,
        "centre/rules.toml": _RULES,
        "centre/emergency.toml": EMERGENCY_HEAD,
        "centre/feeds.toml": _FEEDS,
        "stations/READ-ME.txt": _STATIONS,
        "requests/READ-ME.txt": _REQUESTS,
        "schedules/READ-ME.txt": _SCHEDULES,
        "forecast/READ-ME.txt": _FORECAST,
        "centre/centre.toml": centre_toml(facts),
    }


def centre_toml(facts: Mapping[str, str]) -> str:
    """Return the centre's own file; a fact that is not given stands in it as a comment, to be filled in."""
    given = {key: facts.get(key, "").strip() for key, _, _ in ASKED}
    lines = [
        "# The centre itself. This file names the list of people and the rules beside it.",
        f"name = {toml_value(given['name'])}",
        *_fact("address", facts, '"Street, town"', "stands on every sheet"),
        *_fact("phone", facts, '"..."', "of the centre; the form for a new site puts it among the contacts"),
        *_fact("code_of_practice", facts, '"..."', "the code or regulation that the centre works by"),
        'people = "people.toml"',
        'rules = "rules.toml"',
        "",
        "# With these the form for a new site begins; each is shown there and can be changed.",
    ]
    for key, words, hint in ASKED[1:]:
        lines += _fact(key, facts, _NOT_GIVEN[key], f"{words.lower()}: {hint}")
    lines += [
        "",
        "# Once the rule book was gone through (`tripplan rules`, or the page Rules), on which day and by whom:",
        "# rules_reviewed = 2027-01-31",
        '# rules_reviewed_by = "..."',
        "",
        "# What the centre prints on its own cards, and the level it stands for: first_experience, level_1, level_2,",
        "# level_3, instructor_1 or instructor_2 (ISO 24801 and 24802).",
        "# [cards]",
        '# "Name of the card" = "level_2"',
    ]
    return "\n".join(lines) + "\n"


def _fact(key: str, facts: Mapping[str, str], example: str, hint: str) -> list[str]:
    text = facts.get(key, "").strip()
    return [f"{key} = {toml_value(text)}" if text else f"# {key} = {example}  # {hint}"]


_READ_ME: Final = """\
This is the folder of a centre. `tripplan serve` with its name shows what is still missing, step by step.

NAME.toml          a dive site each; the form "A new site" writes them, and so can you
stations/          tide stations, named in the files of the sites
centre/centre.toml    the centre itself
centre/people.toml    staff and divers, with medical papers and next of kin: keep it to those who need it
centre/rules.toml     where the centre uses other numbers than the rule book
centre/emergency.toml oxygen, rescue kits, drills, whom to tell
centre/kit.toml       the store piece by piece; left out: the kit is not on record, and plans say so
centre/skills.toml    what each course asks for; left out: no skills are on record
centre/feeds.toml     which forecast services are asked: none until you say so
requests/          who dives where on which day; the form "A new request" does without files
schedules/         some days of groups
forecast/          forecasts as files, NAME.csv
earlier/           what a form wrote over, kept
records/           what is written down as the day goes

`tripplan sites FOLDER` says every fault of a site or a station as file:line.
"""

_PEOPLE: Final = """\
# The people of the centre: everybody who leads, assists, stands ashore or dives, each under [[people]].
# The page People has a form for one person, and takes in a whole list as a table.
# Needed: name, born, and level or card. What is left out is not known, and plans say so.
#
# [[people]]
# name = "..."                    # once in the list
# born = 1990-12-31
# level = "level_2"               # first_experience, level_1, level_2, level_3, instructor_1, instructor_2
# last_dive = 2027-01-31
# medical = 2027-01-31            # day of the medical declaration
# medical_clear = true            # where it needs no doctor, or one cleared it
# next_of_kin = "..."
# next_of_kin_phone = "..."
# oxygen_provider_until = 2028-01-31
# first_aid_until = 2028-01-31
# insurance_until = 2028-01-31    # of staff
"""

_RULES: Final = """\
# Where the centre uses another number than the rule book: each with its reason, who set it and when.
# `tripplan rules` and the page Rules list every number with its key. An empty file: the rule book as it stands.
#
# [light.exit_before_sunset_min]
# value = 45.0
# reason = "..."
# by = "..."
# on = 2027-01-31
"""

EMERGENCY_HEAD: Final = """\
# What lies ready for the worst moment. Without oxygen on record every plan is a stop.
# The page "First steps" has a form for an oxygen unit.
#
# [[oxygen_units]]
# name = "..."
# volume_l = 5.0                  # water capacity
# pressure_bar = 200              # as read on its gauge
# device = "non_rebreather"       # or demand, bag_mask
# casualties = 1                  # at once
# kept = "..."                    # where it stands on the day
# read = 2027-01-31               # when the gauge was read, and by whom
# read_by = "..."
#
# [[rescue_kits]]
# name = "..."
# content = ["...", "..."]
# kept = "..."
# checked = 2027-01-31
# checked_by = "..."
#
# [[drills]]
# held = 2027-01-31
# scenario = "missing_diver"      # unconscious_at_surface, bubble_illness, rapid_ascent, out_of_gas, injury, fire,
#                                 # weather, abort
# led_by = "..."
# who = ["...", "..."]
#
# [[tell_after]]
# name = "..."
# number = "..."
# when = "the same day"
"""

_FEEDS: Final = """\
# Which forecast services are asked. None is, until you switch it on here; a file in forecast/ does the same.
# contact = "..."        # an e-mail or web address at which the services can reach the centre
#
# [open_meteo]           # worldwide; free for non-commercial use only, else give api_key and hosts of a subscription
# use = true
# non_commercial = true
#
# [met_norway]           # weather worldwide, sea in north-west Europe
# use = true
#
# [national_weather_service]   # the United States
# use = true
"""

_STATIONS: Final = """\
A tide station is a file NAME.toml here; a site says station = "NAME". It has the harmonic constants of the place, the
table that the harbour prints, or differences from another station. For instance with a printed table:

name = "..."
latitude = 0.0000
longitude = 0.0000
timezone = "Atlantic/Azores"
datum = "chart datum"          what heights are counted from
issued = 2027-01-31            of the table
source = "..."                 who prints it
table = "NAME.csv"             beside this file

and NAME.csv with a line for each high and low water, times in UTC with a Z:

time,kind,height_m
2027-01-31T04:12Z,low,0.62
2027-01-31T10:25Z,high,3.11

`tripplan tide-table` fetches the table of a United States station. `tripplan sites FOLDER` says what is wrong.
"""

_REQUESTS: Final = """\
Who dives where on which day, a file NAME.toml each. The form "A new request" on the page Requests does without files.
"""

_SCHEDULES: Final = """\
Some days of groups: who works when and which groups want which dives, a file NAME.toml each, for `tripplan schedule`.
The README of the program lists all that such a file may say.
"""

_FORECAST: Final = """\
Forecasts as files, NAME.csv, for where no service is asked or there is no network.
"""
