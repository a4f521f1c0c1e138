"""The schedule for the wall: all days on a page, then each day, what has no place, and a page for each of the crew.

A4 or Letter, landscape, tagged for screen readers, equal bytes for equal schedules. Black on white: what a bar means is
told by its pattern and by words, never by colour.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime, timedelta
from typing import Any

from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import PAPERS
from tripplan.documents.fonts import FAMILIES, missing_sentences, printable, typst_fonts
from tripplan.documents.schedule_words import (
    checks_to_show,
    crew_of,
    day_short,
    days_words,
    dive_size,
    fill_words,
    filling_of,
    headline,
    made_words,
    people_words,
    rest_words,
    schedule_without_private,
    shore_of,
    sizes_words,
    tasks_of,
    team_words,
    unplaced_title,
)
from tripplan.documents.words import CAUTION_LINE, DEMONSTRATION, clock, counted, date_words, duration, verdict
from tripplan.errors import OutOfRange
from tripplan.planning.schedule import Outing, Schedule, ShoreTeam

DAYS_ACROSS = 7  # on one page; more stand on the next
BLOCKS_DOWN = 6  # outings of one day in one row, where each takes a line of its own
QUALITY = {
    "optimal": "Proved best: no schedule that keeps every rule has more points.",
    "feasible": "Best found in the time given. A better one may exist, but not by more than is said here.",
    "none": "No schedule that keeps every rule was found in the time given.",
}


def schedule_sheet_pdf(schedule: Schedule, paper: str = "a4") -> bytes:
    """Return the printable sheets of a schedule as a tagged PDF (PDF/UA-1), landscape.

    paper -- "a4" or "letter"

    Equal schedules give equal bytes: the document's date is the schedule's first day. Nothing on them tells of
    anybody's health. Raises OutOfRange for another paper.
    """
    import typst

    if paper not in PAPERS:
        raise OutOfRange(f'paper is "{paper}"; it must be "a4" or "letter"')
    first = schedule.first_day
    pdf = typst.compile(
        input=(data_dir("templates") / "sheets" / "schedule.typ").read_bytes(),
        font_paths=typst_fonts(),
        sys_inputs={
            "data": json.dumps(
                {**schedule_values(schedule), "paper": PAPERS[paper], "fonts": FAMILIES}, allow_nan=False
            )
        },
        pdf_standards="ua-1",
        timestamp=datetime(first.year, first.month, first.day, tzinfo=UTC),
    )
    return bytes(pdf)


def schedule_values(schedule: Schedule) -> dict[str, Any]:
    """Return every word of the sheets, in which each character can be printed, and where each bar stands.

    A character that the sheet's fonts lack becomes "?", and ``replaced`` is the sentence that says so ("" if none).
    """
    missing: dict[str, None] = {}
    values: dict[str, Any] = printable(_values(schedule_without_private(schedule)), missing)
    values["replaced"] = " ".join(missing_sentences(missing))
    return values


# ---- words ----


def _values(schedule: Schedule) -> dict[str, Any]:
    return {
        "title": schedule.title or "Schedule",
        "centre": schedule.centre_name,
        "days_words": days_words(schedule),
        "timezone": schedule.timezone,
        "revision": schedule.revision,
        "demonstration": DEMONSTRATION if schedule.demonstration else "",
        "caution_line": CAUTION_LINE,
        "headline": headline(schedule),
        "made": made_words(schedule),
        "not_placed": "; ".join(unplaced_title(each) for each in schedule.unplaced),
        "spans": _spans(schedule),
        "days": [_day(schedule, day) for day in schedule.days if _busy(schedule, day)],
        "idle": ", ".join(day_short(day) for day in schedule.days if not _busy(schedule, day)),
        "people": [_person(schedule, name) for name in crew_of(schedule)],
        "unplaced": [
            {
                "title": unplaced_title(each),
                "because": list(each.because),
                "would": [change.sentence for change in each.would_fit_if],
            }
            for each in schedule.unplaced
        ],
        "quality": QUALITY[schedule.status],
        "terms": [[name.capitalize(), f"{points:+d}"] for name, points in schedule.terms.items()]
        + [["Together", str(schedule.objective)], ["At most possible", str(schedule.bound)]],
        "checks": [[check.outcome.value.upper(), check.sentence] for check in checks_to_show(schedule)],
        "moved": [each.sentence for each in schedule.moved],
        "notes": list(schedule.notes),
    }


def _from_to(task: Outing | ShoreTeam) -> str:
    return f"{clock(task.leaves)} - {clock(task.back)}"


def _site_names(tasks: Sequence[Outing | ShoreTeam]) -> dict[str, str]:
    """Return the name of each site that somebody goes to, by its slug."""
    return {task.site: task.site_name for task in tasks}


def _dives(outing: Outing) -> str:
    return outing.title.removeprefix(f"{outing.group}, ")


def _spans(schedule: Schedule) -> list[dict[str, Any]]:
    """Return the table of all days: sites down, up to seven days across, a block for each outing."""
    names = _site_names([*schedule.outings, *schedule.shore])
    spans = []
    for start in range(0, len(schedule.days), DAYS_ACROSS):
        days = schedule.days[start : start + DAYS_ACROSS]
        rows = []
        for site in sorted(names, key=lambda slug: names[slug].casefold()):
            cells = [_cell(schedule, site, day) for day in days]
            if any(cell["blocks"] or cell["ashore"] for cell in cells):
                rows += _rows(names[site], cells)
        spans.append({"days": [day_short(day) for day in days], "rows": rows})
    return spans


def _rows(name: str, cells: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return the rows of a site: more than one where a day holds more outings than stand on a page."""
    most = BLOCKS_DOWN * max(1, DAYS_ACROSS // len(cells))
    rows = []
    for start in range(0, max(1, *(len(cell["blocks"]) for cell in cells)), most):
        part = [{**cell, "blocks": cell["blocks"][start : start + most]} for cell in cells]
        if start:
            part = [{**cell, "ashore": ""} for cell in part]
        rows.append({"site": f"{name}, continued" if start else name, "cells": part})
    return rows


def _cell(schedule: Schedule, site: str, day: date) -> dict[str, Any]:
    teams = [team for team in schedule.shore if (team.site, team.day) == (site, day)]
    return {
        "blocks": [
            {
                "time": _from_to(outing),
                "group": outing.group,
                "dives": _dives(outing),
                "entry": f"in {clock(outing.dives[0].entry)}",
                "leader": outing.leader or "no leader",
                "fixed": outing.pinned,
            }
            for outing in schedule.of_day(day)
            if outing.site == site
        ],
        "ashore": "; ".join(people_words(team.people) for team in teams),
    }


# ---- a day ----


class _Axis:
    """The time axis of a day: whole local hours, as long as they really are, from before the first leaves until after
    the last is back."""

    def __init__(self, moments: Sequence[datetime]) -> None:
        zone = moments[0].tzinfo
        first, last = min(moments, key=datetime.timestamp), max(moments, key=datetime.timestamp)
        start = first.replace(minute=0, second=0, microsecond=0)
        hours = max(1, -int(-(last.timestamp() - start.timestamp()) // 3600))
        self.start, self.seconds = start.timestamp(), hours * 3600
        whole = [(start.astimezone(UTC) + timedelta(hours=hour)).astimezone(zone) for hour in range(hours + 1)]
        self.ticks = [[self.at(moment), f"{moment:%H:%M}"] for moment in whole]

    def at(self, moment: datetime) -> float:
        """Return where a moment stands, from 0 to 1."""
        return round((moment.timestamp() - self.start) / self.seconds, 6)

    def part(self, kind: str, start: datetime, end: datetime, words: str = "") -> dict[str, Any]:
        """Return one part of a bar."""
        return {"kind": kind, "from": self.at(start), "to": self.at(end), "words": words}


def _busy(schedule: Schedule, day: date) -> bool:
    """Return whether anybody goes out on a day."""
    return any(outing.day == day for outing in schedule.outings) or any(team.day == day for team in schedule.shore)


def _day(schedule: Schedule, day: date) -> dict[str, Any]:
    outings = schedule.of_day(day)
    teams = [team for team in schedule.shore if team.day == day]
    fillings = sorted((each for each in schedule.fillings if each.starts.date() == day), key=lambda each: each.starts)
    tasks: list[Outing | ShoreTeam] = [*outings, *teams]
    axis = _Axis([moment for task in tasks for moment in (task.leaves, task.back)])
    return {
        "date": date_words(day),
        "counts": f"{counted(len(outings), 'outing')}, {counted(sum(len(each.dives) for each in outings), 'dive')}, "
        f"{counted(sum(len(each.divers) for each in outings), 'diver')}; first away "
        f"{clock(min(task.leaves for task in tasks))}, last back "
        f"{clock(max(task.back for task in tasks))}",
        "ticks": axis.ticks,
        "sites": _sites(outings, teams, axis),
        "lanes": [_lane(schedule, name, day, axis) for name in _working(outings, teams)],
        "rows": [_row(schedule, outing) for outing in outings],
        "ashore": [
            [
                team.site_name,
                team_words(team),
                f"leave {clock(team.leaves)}, on site {clock(team.on_site)} - {clock(team.off_site)}, "
                f"back {clock(team.back)}",
                people_words(team.vehicles) if team.vehicles else "-",
            ]
            for team in teams
        ],
        "fillings": [
            [f"{clock(filling.starts)} - {clock(filling.ends, day)}", filling.group, sizes_words(filling)]
            for filling in fillings
        ],
        "other": _other(schedule, day),
    }


def _other(schedule: Schedule, day: date) -> list[list[str]]:
    """Return the day plans to brief and print from, and how each came out."""
    return [
        [trip.slug, f"{verdict(trip.verdict)}, {counted(len(trip.cautions), 'caution')}"]
        for trip in schedule.trips
        if trip.day == day
    ]


def _working(outings: Sequence[Outing], teams: Sequence[ShoreTeam]) -> list[str]:
    """Return everybody of the crew who works in some tasks, in order of name."""
    names = {name for outing in outings for name in outing.crew} | {name for team in teams for name in team.people}
    return sorted(names, key=str.casefold)


def _sites(outings: Sequence[Outing], teams: Sequence[ShoreTeam], axis: _Axis) -> list[dict[str, Any]]:
    """Return the bars of a day: for each site its team ashore, then its groups."""
    names = _site_names([*outings, *teams])
    sites = []
    for slug in sorted(names, key=lambda each: names[each].casefold()):
        there = [team for team in teams if team.site == slug]
        sites.append(
            {
                "name": names[slug],
                "parts": [part for team in there for part in _ashore(team, axis, people_words(team.people))],
                "bars": [
                    {
                        "label": outing.title,
                        "who": outing.leader or "no leader",
                        "parts": _out(outing, axis),
                    }
                    for outing in outings
                    if outing.site == slug
                ],
            }
        )
    return sites


def _ashore(team: ShoreTeam, axis: _Axis, words: str) -> list[dict[str, Any]]:
    return [
        axis.part("road", team.leaves, team.on_site),
        axis.part("ashore", team.on_site, team.off_site, words),
        axis.part("road", team.off_site, team.back),
    ]


def _out(outing: Outing, axis: _Axis, words: str = "") -> list[dict[str, Any]]:
    """Return the parts of an outing; without words each dive tells its number and its times."""
    parts = [
        axis.part("road", outing.leaves, outing.on_site),
        axis.part("site", outing.on_site, outing.off_site),
        axis.part("road", outing.off_site, outing.back),
    ]
    for dive in outing.dives:
        water = axis.part("water", dive.entry, dive.exit, words or str(dive.number))
        if not words:
            water["entry"], water["by"] = clock(dive.entry), clock(dive.exit_by)
        parts += [water, axis.part("spare", dive.exit, dive.exit_by)]
    return parts


def _lane(schedule: Schedule, name: str, day: date, axis: _Axis) -> dict[str, Any]:
    parts: list[dict[str, Any]] = []
    for task in tasks_of(schedule, name):
        if task.day == day:
            parts += _out(task, axis, task.group) if isinstance(task, Outing) else _ashore(task, axis, task.site_name)
    return {"label": name, "parts": parts}


def _row(schedule: Schedule, outing: Outing) -> dict[str, Any]:
    return {
        "leaves": clock(outing.leaves),
        "on_site": clock(outing.on_site),
        "dives": [
            [
                str(dive.number)
                if dive.course_dive in (None, dive.number)
                else f"{dive.number} (course {dive.course_dive})",
                clock(dive.entry),
                clock(dive.exit),
                clock(dive.exit_by),
                dive_size(dive),
            ]
            for dive in outing.dives
        ],
        "off_site": clock(outing.off_site),
        "back": clock(outing.back),
        "site": outing.site_name,
        "place": f"{outing.place}; {_ways(outing)}",
        "group": outing.group,
        "kind": outing.kind_words + ("; settled beforehand" if outing.pinned else ""),
        "divers": str(len(outing.divers)),
        "leader": outing.leader or "no leader",
        "assistants": people_words(outing.assistants) if outing.assistants else "-",
        "ashore": _ashore_words(schedule, outing),
        "vehicles": people_words(outing.vehicles) if outing.vehicles else "-",
        "fill": fill_words(filling_of(schedule, outing), outing.day),
        "margin": duration(outing.margin_min),
    }


def _ashore_words(schedule: Schedule, outing: Outing) -> str:
    """Return who is ashore; who of them does what stands in a table of its own."""
    team = shore_of(schedule, outing)
    return people_words(team.people) if team else "NOBODY"


def _ways(outing: Outing) -> str:
    if outing.going_in_by == outing.coming_out_by:
        return f"in and out by {outing.going_in_by}"
    return f"in by {outing.going_in_by}, out by {outing.coming_out_by}"


# ---- a person ----


def _person(schedule: Schedule, name: str) -> dict[str, Any]:
    tasks = tasks_of(schedule, name)
    busy = {task.day for task in tasks}
    free = [day_short(day) for day in schedule.days if day not in busy]
    load = next((each for each in schedule.loads if each.person == name), None)
    return {
        "name": name,
        "load": ""
        if load is None
        else f"{counted(load.outings, 'outing')}, {counted(load.dives, 'dive')}, {counted(load.ascents, 'ascent')}; "
        f"{duration(load.water_min)} in the water, {duration(load.ashore_min)} ashore; "
        f"{counted(load.days, 'day')} of work"
        + ("." if load.days < 2 else f", shortest rest between two of them {rest_words(load.shortest_rest_h)}."),
        "free": f"Without work: {', '.join(free)}." if free else "Work on every day.",
        "rows": [_task(schedule, name, task) for task in tasks],
    }


def _task(schedule: Schedule, name: str, task: Outing | ShoreTeam) -> dict[str, Any]:
    if isinstance(task, ShoreTeam):
        there = [outing for outing in schedule.of_day(task.day) if outing.site == task.site]
        does = [
            words
            for yes, words in (
                (name == task.director, "dive director"),
                (name in task.oxygen_providers, "oxygen"),
                (name in task.watch, "shore watch"),
            )
            if yes
        ]
        what, detail = "Ashore", f"{', '.join(does)}; for {'; '.join(each.title for each in there) or 'no group'}"
        times = [f"On site {clock(task.on_site)} - {clock(task.off_site)}"]
        others = [people_words(each for each in task.people if each != name)] if len(task.people) > 1 else []
        place = ""
    else:
        what = "Leads" if name == task.leader else "Assists"
        detail = f"{task.title} ({task.kind_words}), {counted(len(task.divers), 'diver')}"
        times = [f"On site {clock(task.on_site)}"] + [
            f"Dive {dive.number}: in {clock(dive.entry)}, out by {clock(dive.exit_by)}, {dive_size(dive)}"
            for dive in task.dives
        ]
        others = [people_words(each for each in task.crew if each != name)] if len(task.crew) > 1 else []
        team = shore_of(schedule, task)
        others += [f"ashore {people_words(team.people)}"] if team else []
        place = task.place
    return {
        "day": day_short(task.day),
        "time": _from_to(task),
        "what": what,
        "detail": detail,
        "site": task.site_name,
        "place": place,
        "times": times,
        "with": "; ".join(others) or "nobody else",
        "vehicles": people_words(task.vehicles) if task.vehicles else "-",
    }
