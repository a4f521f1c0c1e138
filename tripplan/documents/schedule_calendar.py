"""A schedule as iCalendar (RFC 5545): the work of one of the crew, or the days of one group.

An event keeps its UID from schedule to schedule: a group's outing by its first dive, a team ashore by site and day. So
a calendar that reads a later schedule moves the event and does not show it twice; what a later schedule no longer holds
goes where the calendar is subscribed to, and stays where a file was read in. Nothing tells of anybody's health, and
divers are counted, not named.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from tripplan.documents.schedule_words import (
    dive_size,
    dive_times,
    led_words,
    numbers_words,
    people_words,
    shore_of,
    tasks_of,
    team_words,
)
from tripplan.documents.words import CAUTION_LINE, DEMONSTRATION, clock, counted
from tripplan.errors import OutOfRange
from tripplan.planning.schedule import Outing, Schedule, ShoreTeam

if TYPE_CHECKING:
    from icalendar import Event

PRODUCT = "-//tripplan//schedule//EN"
ZONE_DAYS = 370  # before and after the days for which the clock changes are told


def crew_calendar(schedule: Schedule, person: str, *, stamp: datetime) -> bytes:
    """Return the work of one of the crew as an iCalendar file: what they lead and assist, and where they are ashore.

    stamp -- when the file is made, time-zone aware; a later one replaces an earlier one

    Somebody without work has a calendar without events. Raises OutOfRange for a stamp without an offset from UTC.
    """
    return _calendar(schedule, person, "", tasks_of(schedule, person), stamp, person)


def group_calendar(schedule: Schedule, group: str, *, stamp: datetime) -> bytes:
    """Return the outings of a group as an iCalendar file.

    stamp -- when the file is made, time-zone aware; a later one replaces an earlier one

    Raises OutOfRange for a group that the schedule does not know and for a stamp without an offset from UTC.
    """
    known = dict.fromkeys([outing.group for outing in schedule.outings] + [each.group for each in schedule.unplaced])
    if group not in known:
        raise OutOfRange(f'the group is "{group}"; the groups of this schedule are: {", ".join(known) or "none"}')
    missing = [numbers_words(each.dives) for each in schedule.unplaced if each.group == group]
    without = f"No place yet: {', '.join(missing)}." if missing else ""
    outings = [outing for outing in schedule.outings if outing.group == group]
    return _calendar(schedule, group, without, outings, stamp)


def _calendar(
    schedule: Schedule,
    name: str,
    more: str,
    tasks: Sequence[Outing | ShoreTeam],
    stamp: datetime,
    person: str | None = None,
) -> bytes:
    from icalendar import Calendar, Timezone

    if stamp.utcoffset() is None:
        raise OutOfRange(f"the stamp is {stamp.isoformat()}; it must have its offset from UTC, like {stamp}+00:00")
    calendar = Calendar()
    calendar.add("prodid", PRODUCT)
    calendar.add("version", "2.0")
    calendar.add("calscale", "GREGORIAN")
    calendar.add("method", "PUBLISH")
    title = _clean(f"{_marked(schedule)}{name}, {schedule.centre_name}")
    about = f"{_marked(schedule)}Revision {schedule.revision}. {more}"
    calendar.add("name", title)
    calendar.add("x-wr-calname", title)
    calendar.add("description", _clean(about.rstrip()))
    around = timedelta(days=ZONE_DAYS)
    calendar.add_component(
        Timezone.from_tzid(
            schedule.timezone, first_date=schedule.days[0] - around, last_date=schedule.days[-1] + around
        )
    )
    for task in tasks:
        calendar.add_component(_event(schedule, task, stamp, person))
    return bytes(calendar.to_ical())


def _event(schedule: Schedule, task: Outing | ShoreTeam, stamp: datetime, person: str | None) -> Event:
    from icalendar import Event as NewEvent

    if isinstance(task, Outing):
        uid = _uid(schedule, "outing", task.group, str(task.dives[0].number))
        summary, lines = task.title, _outing_lines(schedule, task)
        if person is not None:
            summary = f"{summary}: {'leads' if person == task.leader else 'assists'}"
    else:
        uid = _uid(schedule, "ashore", task.site, task.day.isoformat())
        summary, lines = f"Ashore at {task.site_name}", _team_lines(schedule, task)
    event = NewEvent()
    event.add("uid", uid)
    event.add("dtstamp", stamp.astimezone(UTC).replace(microsecond=0))
    event.add("last-modified", stamp.astimezone(UTC).replace(microsecond=0))
    event.add("sequence", int(stamp.timestamp() // 60))  # rises with every file, as a number of 31 bits
    event.add("summary", _clean(f"{_marked(schedule)}{summary}"))
    event.add("dtstart", _moment(task.leaves, schedule.timezone))
    event.add("dtend", _moment(task.back, schedule.timezone))
    event.add("location", _clean(task.site_name))
    event.add("description", "\n".join(_clean(line) for line in lines))
    event.add("status", "CONFIRMED")
    event.add("transp", "OPAQUE")
    return event


def _uid(schedule: Schedule, *parts: str) -> str:
    """Return the name of an event, the same in every schedule of a centre; it tells nobody who is meant."""
    told = "\n".join((schedule.centre_name, *parts))
    return f"{hashlib.sha256(told.encode()).hexdigest()[:32]}@tripplan.invalid"


def _marked(schedule: Schedule) -> str:
    return f"{DEMONSTRATION}: " if schedule.demonstration else ""


def _clean(words: str) -> str:
    """Return words on one line: a control character of a name never reaches the file."""
    return "".join(character if character.isprintable() else " " for character in words)


def _moment(moment: datetime, timezone: str) -> datetime:
    """Return a time of the centre's clock.

    The second of two equal minutes on the night the clocks go back is told in UTC: by its local time a reader would
    take the first (RFC 5545, 3.3.5).
    """
    local = moment.astimezone(ZoneInfo(timezone))
    return local.astimezone(UTC) if local.fold else local


def _outing_lines(schedule: Schedule, outing: Outing) -> Iterable[str]:
    team = shore_of(schedule, outing)
    yield f"{outing.title} ({outing.kind_words}) at {outing.site_name}, {outing.place}"
    yield f"Leave the centre {clock(outing.leaves)}, on site {clock(outing.on_site)}"
    for dive in outing.dives:
        yield f"Dive {dive.number}: {dive_times(dive)}; {dive_size(dive)}"
    yield f"Leave the site {clock(outing.off_site)}, back {clock(outing.back)}"
    yield f"In by {outing.going_in_by}, out by {outing.coming_out_by}"
    yield f"In the water: {led_words(outing)}; {counted(len(outing.divers), 'diver')}"
    yield f"Ashore: {team_words(team)}"
    yield from _last_lines(schedule, outing.vehicles)


def _team_lines(schedule: Schedule, team: ShoreTeam) -> Iterable[str]:
    yield f"Ashore at {team.site_name}: {team_words(team)}"
    yield f"Leave the centre {clock(team.leaves)}, on site {clock(team.on_site)}"
    for outing in schedule.outings:
        if (outing.site, outing.day) == (team.site, team.day):
            yield f"{outing.title} ({led_words(outing)}; {counted(len(outing.divers), 'diver')})"
            for dive in outing.dives:
                yield f"Dive {dive.number}: {dive_times(dive)}; {dive_size(dive)}"
    yield f"Leave the site {clock(team.off_site)}, back {clock(team.back)}"
    yield from _last_lines(schedule, team.vehicles)


def _last_lines(schedule: Schedule, vehicles: Sequence[str]) -> Iterable[str]:
    if vehicles:
        yield f"Vehicles: {people_words(vehicles)}"
    yield f"Times are local, {schedule.timezone}. Revision {schedule.revision}. Brief and go by the plan of the day."
    yield CAUTION_LINE
    if schedule.demonstration:
        yield DEMONSTRATION
