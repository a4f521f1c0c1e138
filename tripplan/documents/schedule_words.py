"""A schedule in words and as plain values: what the wall sheet, the calendar, the table and the command share."""

from __future__ import annotations

import math
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import date, datetime
from typing import Any

from tripplan.check import Check
from tripplan.documents.words import CAUTION_LINE, DEMONSTRATION, clock, counted, date_words, depth_down, duration
from tripplan.planning.private import is_private, without_private_check
from tripplan.planning.schedule import DayTrip, Filling, Outing, Schedule, ScheduledDive, ShoreTeam, Unplaced

NOBODY = "nobody"
NARROWEST, WIDEST = 80, 100  # columns of a terminal


# ---- what is where ----


def shore_of(schedule: Schedule, outing: Outing) -> ShoreTeam | None:
    """Return the team that stays ashore during an outing; None where there is none."""
    return next((team for team in schedule.shore if (team.site, team.day) == (outing.site, outing.day)), None)


def filling_of(schedule: Schedule, outing: Outing) -> Filling | None:
    """Return when the cylinders of an outing are filled again; None where nobody fills them."""
    return next((filling for filling in schedule.fillings if filling.outing == outing.key), None)


def crew_of(schedule: Schedule) -> tuple[str, ...]:
    """Return everybody who has work in these days, in order of name."""
    working = {name for outing in schedule.outings for name in outing.crew}
    return tuple(sorted(working | {name for team in schedule.shore for name in team.people}, key=str.casefold))


def tasks_of(schedule: Schedule, person: str) -> tuple[Outing | ShoreTeam, ...]:
    """Return the outings that somebody leads or assists and the teams ashore they are in, in order of time."""
    in_water = (outing for outing in schedule.outings if person in outing.crew)
    ashore = (team for team in schedule.shore if person in team.people)
    return tuple(sorted((*in_water, *ashore), key=lambda task: (task.leaves, task.site)))


def schedule_without_private(schedule: Schedule) -> Schedule:
    """Return a schedule for a wall that everybody passes: a check of somebody's health says only that it asks for care.

    The same sentence is taken out of the reasons and notes that repeat it.
    """
    private = [check for check in schedule.checks if is_private(check)]
    if not private:
        return schedule
    said = {check.sentence.rstrip("."): without_private_check(check).sentence.rstrip(".") for check in private}

    def cleaned(sentences: tuple[str, ...]) -> tuple[str, ...]:
        for old in sorted(said, key=len, reverse=True):
            sentences = tuple(sentence.replace(old, said[old]) for sentence in sentences)
        return sentences

    return replace(
        schedule,
        checks=tuple(without_private_check(check) for check in schedule.checks),
        unplaced=tuple(replace(each, because=cleaned(each.because)) for each in schedule.unplaced),
        notes=cleaned(schedule.notes),
    )


# ---- words ----


def day_short(day: date) -> str:
    """Return a day without its year.

    >>> day_short(date(2026, 12, 7))
    'Mon 7 Dec'
    """
    weekday, number, month, _ = date_words(day).split()
    return f"{weekday[:3]} {number} {month[:3]}"


def days_words(schedule: Schedule) -> str:
    """Return the first and the last day of a schedule."""
    first, last = schedule.days[0], schedule.days[-1]
    return date_words(first) if first == last else f"{date_words(first)} to {date_words(last)}"


def numbers_words(numbers: Sequence[int]) -> str:
    """Return dives by their numbers.

    >>> numbers_words([1]), numbers_words([1, 2]), numbers_words([1, 2, 4])
    ('dive 1', 'dives 1 and 2', 'dives 1, 2 and 4')
    """
    if len(numbers) == 1:
        return f"dive {numbers[0]}"
    return f"dives {', '.join(str(number) for number in numbers[:-1])} and {numbers[-1]}"


def unplaced_title(unplaced: Unplaced) -> str:
    """Return which dives have no place."""
    return f"{unplaced.group}, {numbers_words(unplaced.dives)}"


def people_words(names: Iterable[str]) -> str:
    """Return names in a row, or "nobody"."""
    return ", ".join(names) or NOBODY


def team_words(team: ShoreTeam | None) -> str:
    """Return who stays ashore, and who of them directs and has the oxygen."""
    if team is None:
        return NOBODY.upper()
    roles: dict[str, list[str]] = {name: [] for name in team.people}
    roles[team.director].append("directs")
    for name in team.oxygen_providers:
        roles[name].append("oxygen")
    return ", ".join(f"{name} ({', '.join(does)})" if does else name for name, does in roles.items())


def dive_times(dive: ScheduledDive) -> str:
    """Return when a dive goes in and is out; the last time is the one that counts."""
    return f"in {clock(dive.entry)}, out {clock(dive.exit)}, out by {clock(dive.exit_by)}"


def dive_size(dive: ScheduledDive) -> str:
    """Return depth, rounded down, and bottom time."""
    return f"{depth_down(dive.depth_m)}, {duration(dive.minutes)}"


def fill_words(filling: Filling | None, day: date | None = None) -> str:
    """Return how many cylinders are filled and when.

    day -- the outing's: another day is said; without it only the clock is
    """
    if filling is None:
        return "no filling planned"
    return f"{sizes_words(filling)}, {clock(filling.starts, day)} to {clock(filling.ends, day)}"


def sizes_words(filling: Filling) -> str:
    """Return how many cylinders of which size are filled."""
    return ", ".join(f"{count} x {size}" for size, count in filling.sizes.items())


def share_words(share: float) -> str:
    """Return a share as per cent, rounded up to a tenth: a distance from the best is never made smaller.

    >>> share_words(0.01401)
    '1.5 %'
    """
    return f"{math.ceil(round(share * 1000, 6)) / 10:g} %"


def quality_words(schedule: Schedule) -> str:
    """Return how good a schedule is: proved best, or best found and how far at most from the best."""
    if schedule.status == "none":
        return "no schedule was found"
    if schedule.status == "optimal":
        return "proved best"
    points = max(schedule.bound - schedule.objective, 0)
    return f"best found; at most {share_words(schedule.gap or 0.0)} ({counted(points, 'point')}) from the best possible"


def headline(schedule: Schedule) -> str:
    """Return in one sentence how many dives have a place and how good that is."""
    if schedule.status == "none" or not schedule.placed:
        return f"None of {counted(schedule.wanted, 'dive')} has a place: {quality_words(schedule)}."
    if schedule.placed == schedule.wanted == 1:
        placed = "The one dive has a place"
    elif schedule.placed == schedule.wanted:
        placed = f"All {schedule.wanted} dives have a place"
    else:
        have = "has" if schedule.placed == 1 else "have"
        placed = f"{schedule.placed} of {counted(schedule.wanted, 'dive')} {have} a place"
    return f"{placed}; {quality_words(schedule)}."


def made_words(schedule: Schedule) -> str:
    """Return what a schedule was made from and how, so that it can be made again."""
    return (
        f"Revision {schedule.revision} of everything it was made from; seed {schedule.seed}, {schedule.seconds:.1f} s, "
        f"{counted(schedule.rounds, 'round')} of day plans; {counted(schedule.objective, 'point')}, at most "
        f"{schedule.bound} possible."
    )


def checks_to_show(schedule: Schedule) -> tuple[Check, ...]:
    """Return what did not pass, stops first."""
    found = (check for check in schedule.checks if check.outcome.severity)
    return tuple(sorted(found, key=lambda check: -check.outcome.severity))


# ---- plain values ----


def _time(moment: datetime) -> str:
    return moment.isoformat(timespec="seconds")


def _plain(value: Any) -> Any:
    """Return what somebody wrote into a request as JSON knows it."""
    if isinstance(value, Mapping):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [_plain(item) for item in value]
    if value is None or isinstance(value, str | bool | int):
        return value
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value.isoformat() if hasattr(value, "isoformat") else str(value)


def _outing(outing: Outing) -> dict[str, Any]:
    return {
        "key": outing.key,
        "title": outing.title,
        "group": outing.group,
        "kind": outing.kind,
        "day": outing.day.isoformat(),
        "site": outing.site,
        "site_name": outing.site_name,
        "place": outing.place,
        "going_in_by": outing.going_in_by,
        "coming_out_by": outing.coming_out_by,
        "dives": [dive.number for dive in outing.dives],
        "leader": outing.leader,
        "assistants": list(outing.assistants),
        "divers": list(outing.divers),
        "vehicles": list(outing.vehicles),
        "leaves": _time(outing.leaves),
        "on_site": _time(outing.on_site),
        "off_site": _time(outing.off_site),
        "back": _time(outing.back),
        "margin_min": outing.margin_min,
        "km": _plain(outing.km),
        "drive_min": outing.drive_min,
        "drive": outing.drive_words,
        "pinned": outing.pinned,
    }


def _placed(schedule: Schedule, outing: Outing, dive: ScheduledDive) -> dict[str, Any]:
    team = shore_of(schedule, outing)
    return {
        "group": outing.group,
        "dive": dive.number,
        "course_dive": dive.course_dive,
        "day": outing.day.isoformat(),
        "site": outing.site,
        "place": outing.place,
        "entry": _time(dive.entry),
        "exit": _time(dive.exit),
        "exit_by": _time(dive.exit_by),
        "depth_m": _plain(dive.depth_m),
        "minutes": dive.minutes,
        "crew": list(outing.crew),
        "leader": outing.leader,
        "assistants": list(outing.assistants),
        "divers": list(outing.divers),
        "shore": list(team.people) if team else [],
        "vehicles": list(outing.vehicles),
        "outing": outing.key,
    }


def _team(team: ShoreTeam) -> dict[str, Any]:
    return {
        "site": team.site,
        "site_name": team.site_name,
        "day": team.day.isoformat(),
        "people": list(team.people),
        "director": team.director,
        "watch": list(team.watch),
        "oxygen_providers": list(team.oxygen_providers),
        "vehicles": list(team.vehicles),
        "leaves": _time(team.leaves),
        "on_site": _time(team.on_site),
        "off_site": _time(team.off_site),
        "back": _time(team.back),
    }


def _trip(trip: DayTrip) -> dict[str, Any]:
    return {
        "slug": trip.slug,
        "site": trip.site,
        "day": trip.day.isoformat(),
        "outings": list(trip.outings),
        "verdict": trip.verdict.value,
        "cautions": len(trip.cautions),
    }


def schedule_data(schedule: Schedule) -> dict[str, Any]:
    """Return a schedule as values that ``json.dumps(..., allow_nan=False)`` accepts.

    Times are ISO 8601 with their offset from UTC, depths in metres, distances in kilometres, times of work in minutes
    and rest in hours; ``gap`` is a share of the objective. ``placed`` holds one object for each dive.
    """
    return {
        "title": schedule.title,
        "demonstration": schedule.demonstration,
        "centre": schedule.centre_name,
        "first_day": schedule.first_day.isoformat(),
        "days": [day.isoformat() for day in schedule.days],
        "timezone": schedule.timezone,
        "headline": headline(schedule),
        "status": schedule.status,
        "gap": schedule.gap,
        "objective": schedule.objective,
        "bound": schedule.bound,
        "terms": {str(name): points for name, points in schedule.terms.items()},
        "seconds": _plain(schedule.seconds),
        "seed": schedule.seed,
        "rounds": schedule.rounds,
        "revision": schedule.revision,
        "wanted": schedule.wanted,
        "placed": [_placed(schedule, outing, dive) for outing in schedule.outings for dive in outing.dives],
        "unplaced": [
            {
                "group": each.group,
                "dives": list(each.dives),
                "because": list(each.because),
                "would_fit_if": [
                    {"sentence": change.sentence, "kind": change.kind, "edits": _plain(change.edits)}
                    for change in each.would_fit_if
                ],
            }
            for each in schedule.unplaced
        ],
        "outings": [_outing(outing) for outing in schedule.outings],
        "shore": [_team(team) for team in schedule.shore],
        "fillings": [
            {
                "group": filling.group,
                "outing": filling.outing,
                "sizes": {str(size): count for size, count in filling.sizes.items()},
                "count": filling.count,
                "starts": _time(filling.starts),
                "ends": _time(filling.ends),
            }
            for filling in schedule.fillings
        ],
        "loads": [
            {
                "person": load.person,
                "outings": load.outings,
                "dives": load.dives,
                "ascents": load.ascents,
                "water_min": load.water_min,
                "ashore_min": load.ashore_min,
                "days": load.days,
                "most_dives_day": load.most_dives_day,
                "shortest_rest_h": _plain(load.shortest_rest_h),
            }
            for load in schedule.loads
        ],
        "moved": [{"group": each.group, "sentence": each.sentence} for each in schedule.moved],
        "checks": [check.as_json() for check in schedule.checks],
        "notes": list(schedule.notes),
        "trips": [_trip(trip) for trip in schedule.trips],
    }


# ---- text for a terminal ----


def schedule_text(schedule: Schedule, width: int = WIDEST) -> str:
    """Return a schedule as plain text without colour, no line longer than ``width`` columns unless one word is.

    width -- columns, from 80 to 100; others are taken as the nearer of the two
    """
    page = _Lines(min(max(width, NARROWEST), WIDEST))
    if schedule.demonstration:
        page.add(DEMONSTRATION)
    page.add(headline(schedule))
    page.add(f"{schedule.title or schedule.centre_name}; {days_words(schedule)}; all times {schedule.timezone}.")
    page.add(made_words(schedule))
    for check in checks_to_show(schedule):
        page.add(f"{check.outcome.value.upper()}: {check.sentence}", "  - ")
    for day in schedule.days:
        page.heading(date_words(day))
        _day(page, schedule, day)
    if schedule.unplaced:
        page.heading("Not placed")
    for each in schedule.unplaced:
        page.add(f"{unplaced_title(each)}:", "  ")
        for sentence in each.because:
            page.add(sentence, "    - ")
        if not each.would_fit_if:
            page.add("No single change that was tried would place it.", "    > ")
        for change in each.would_fit_if:
            page.add(change.sentence, "    > ")
    if schedule.loads:
        page.heading("Work")
        _loads(page, schedule)
    for title, sentences in (
        ("Changed against the schedule before", [each.sentence for each in schedule.moved]),
        ("Points", [f"{name}: {points}" for name, points in schedule.terms.items()]),
        ("Notes", schedule.notes),
    ):
        if sentences:
            page.heading(title)
        for sentence in sentences:
            page.add(sentence, "  - ")
    page.blank()
    page.add(CAUTION_LINE)
    if schedule.demonstration:
        page.add(DEMONSTRATION)
    return "\n".join(page.lines)


class _Lines:
    """Lines of at most so many columns."""

    def __init__(self, width: int) -> None:
        self.width = width
        self.lines: list[str] = []

    def add(self, words: str, first: str = "") -> None:
        """Add a paragraph, its later lines under the first; control characters of a name never reach the terminal."""
        clean = "".join(c if c.isprintable() else " " for c in words)
        self.lines.extend(
            textwrap.wrap(
                clean, self.width, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False
            )
        )

    def blank(self) -> None:
        self.lines.append("")

    def heading(self, words: str) -> None:
        self.blank()
        self.add(words.upper())


def _day(page: _Lines, schedule: Schedule, day: date) -> None:
    outings = schedule.of_day(day)
    if not outings:
        page.add("No outing.", "  ")
    for outing in outings:
        fixed = "; settled beforehand" if outing.pinned else ""
        page.add(
            f"{clock(outing.leaves)} to {clock(outing.back)} {outing.title} ({outing.kind_words}): {outing.site_name}, "
            f"{outing.place}; {led_words(outing)}; {counted(len(outing.divers), 'diver')}"
            f"{'; by ' + ', '.join(outing.vehicles) if outing.vehicles else ''}{fixed}",
            "  ",
        )
        for dive in outing.dives:
            page.add(f"dive {dive.number}: {dive_times(dive)}; {dive_size(dive)}", "      ")
    for team in schedule.shore:
        if team.day == day:
            page.add(
                f"{clock(team.leaves)} to {clock(team.back)} ashore at {team.site_name}: {team_words(team)}"
                f"{'; by ' + ', '.join(team.vehicles) if team.vehicles else ''}",
                "  ",
            )
    for filling in schedule.fillings:
        if filling.starts.date() == day:
            page.add(f"compressor, {filling.group}: {fill_words(filling, day)}", "  ")


def led_words(outing: Outing) -> str:
    """Return who leads and who assists."""
    led = f"{outing.leader} leads" if outing.leader else "no leader"
    if not outing.assistants:
        return led
    return f"{led}, {people_words(outing.assistants)} {'assists' if len(outing.assistants) == 1 else 'assist'}"


def rest_words(hours: float | None) -> str:
    """Return a rest in hours, rounded down to a tenth: it is never made longer."""
    return "-" if hours is None else f"{math.floor(round(hours * 10, 6)) / 10:g} h"


def _loads(page: _Lines, schedule: Schedule) -> None:
    heads = ("outings", "dives", "ascents", "water", "ashore", "days", "most", "  rest")
    page.add("Minutes in the water and ashore; days of work; most dives in a day; shortest rest between days.", "  ")
    wide = page.width - sum(len(head) + 2 for head in heads) - 2
    page.lines.append("  " + "".ljust(wide) + "".join(f"  {head}" for head in heads))
    for load in schedule.loads:
        cells = (
            str(load.outings),
            str(load.dives),
            str(load.ascents),
            str(load.water_min),
            str(load.ashore_min),
            str(load.days),
            str(load.most_dives_day),
            rest_words(load.shortest_rest_h),
        )
        row = "".join(f"  {cell:>{len(head)}}" for cell, head in zip(cells, heads, strict=True))
        clean = "".join(c if c.isprintable() else " " for c in load.person)
        *before, last = textwrap.wrap(clean, wide, break_on_hyphens=False) or [""]
        page.lines.extend(f"  {part}" for part in before)
        page.lines.append(f"  {last.ljust(wide)}{row}")
