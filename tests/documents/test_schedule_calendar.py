from __future__ import annotations

import io
import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical
from icalendar import Calendar
from sample_schedule import sample_schedule

from tripplan.documents.schedule_calendar import crew_calendar, group_calendar
from tripplan.errors import OutOfRange

STAMP = datetime(2026, 12, 1, 18, 30, tzinfo=UTC)
AZORES = ZoneInfo("Atlantic/Azores")


def unfolded(data: bytes) -> list[str]:
    """Return the lines of a file, put together as RFC 5545, 3.1, says."""
    return data.decode().replace("\r\n ", "").split("\r\n")


def events_by_hand(data: bytes) -> list[dict[str, str]]:
    """Return each event as names with parameters and values, text unescaped, without any library."""
    events: list[dict[str, str]] = []
    inside = False
    for line in unfolded(data):
        if line == "BEGIN:VEVENT":
            inside = True
            events.append({})
        elif line == "END:VEVENT":
            inside = False
        elif inside:
            name, value = line.split(":", 1)
            assert name not in events[-1]
            events[-1][name] = re.sub(r"\\(.)", lambda m: "\n" if m[1] in "nN" else m[1], value)
    return events


def moment(event: dict[str, str], name: str) -> datetime:
    for key, value in event.items():
        if key == name:
            return datetime.strptime(value, "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)
        if key.startswith(f"{name};TZID="):
            return datetime.strptime(value, "%Y%m%dT%H%M%S").replace(tzinfo=ZoneInfo(key.split("TZID=")[1]))
    raise KeyError(name)


def test_a_leader_finds_every_outing_and_every_team_ashore_with_its_times():
    schedule = sample_schedule()
    events = events_by_hand(crew_calendar(schedule, "Ines Faro", stamp=STAMP))
    # From the sample: leads the Petrels on Monday and Wednesday, is ashore on Tuesday, Thursday and Saturday.
    assert [(moment(each, "DTSTART").strftime("%a %H:%M"), each["LOCATION"]) for each in events] == [
        ("Mon 08:25", "Gull Cove"),
        ("Tue 08:05", "Stair Ledge"),
        ("Wed 08:25", "Gull Cove"),
        ("Thu 16:30", "Pilots Pier"),
        ("Sat 10:30", "Stair Ledge"),
    ]
    monday, tuesday = events[:2]
    assert moment(monday, "DTEND") == datetime(2026, 12, 7, 12, 47, tzinfo=AZORES)
    assert monday["SUMMARY"] == "DEMONSTRATION - NOT FOR USE: Petrels, dives 1 to 2: leads"
    for words in (
        "Dive 1: in 09:30, out 10:07, out by 10:17; 6 m, 25 min",
        "Dive 2: in 11:20, out 11:57, out by 12:07; 8 m, 25 min",
        "Gull Cove, Sand bay",
        "Ines Faro leads, Asha Rao assists; 2 divers",
        "Ashore: Greta Holm (directs, oxygen), Yusuf Demir",
        "Vehicles: Blue van",
    ):
        assert words in monday["DESCRIPTION"]
    assert "Terns, dives 1 to 2 (Luca Benti leads; 4 divers)" in tuesday["DESCRIPTION"]


def test_the_library_reads_the_same_as_by_hand():
    schedule = sample_schedule()
    data = group_calendar(schedule, "Skuas", stamp=STAMP)
    read = Calendar.from_ical(data)
    by_hand = events_by_hand(data)
    outings = [outing for outing in schedule.outings if outing.group == "Skuas"]
    assert len(read.events) == len(by_hand) == len(outings) == 2
    for event, own, outing in zip(read.events, by_hand, outings, strict=True):
        assert event.start == moment(own, "DTSTART") == outing.leaves
        assert event.end == moment(own, "DTEND") == outing.back
        assert str(event["summary"]) == own["SUMMARY"]
        assert str(event["description"]) == own["DESCRIPTION"]
        assert event["uid"] == own["UID"]
        assert not event.errors


def test_lines_are_folded_at_75_octets_and_end_as_the_standard_says():
    schedule = sample_schedule()
    long = replace(schedule.outings[0], place="Ö新" * 40, vehicles=("Ж" * 60,))
    data = crew_calendar(replace(schedule, outings=(long,)), "Ines Faro", stamp=STAMP)
    assert data.endswith(b"END:VCALENDAR\r\n")
    assert data.count(b"\r\n") == data.count(b"\n") == data.count(b"\r")
    for line in data.split(b"\r\n"):
        assert len(line) <= 75
        line.decode()  # no letter is cut in two
    assert "Ö新" * 40 in events_by_hand(data)[0]["DESCRIPTION"]


def test_names_are_names_and_never_lines_of_the_file():
    name = "A;B,C\\D:E\r\nEND:VCALENDAR\nX-EVIL:1"
    schedule = sample_schedule()
    outing = replace(schedule.outings[0], group=name, leader=name)
    schedule = replace(schedule, outings=(outing,), shore=())
    for data in (crew_calendar(schedule, name, stamp=STAMP), group_calendar(schedule, name, stamp=STAMP)):
        lines = unfolded(data)
        assert lines.count("END:VCALENDAR") == 1
        assert not any(line.startswith("X-EVIL") for line in lines)
        assert "A;B,C\\D:E  END:VCALENDAR X-EVIL:1" in events_by_hand(data)[0]["SUMMARY"]


def test_a_later_schedule_moves_the_same_event_and_is_newer():
    schedule = sample_schedule()
    first = events_by_hand(group_calendar(schedule, "Terns", stamp=STAMP))
    day = timedelta(days=1)
    terns = next(outing for outing in schedule.outings if outing.group == "Terns")
    moved = replace(terns, day=terns.day + day, leaves=terns.leaves + day, back=terns.back + day, site_name="Old Slip")
    later = replace(schedule, outings=(moved,), revision="0badc0de", seed=2)
    second = events_by_hand(group_calendar(later, "Terns", stamp=STAMP + timedelta(minutes=1)))
    assert [each["UID"] for each in first] == [each["UID"] for each in second]
    assert moment(second[0], "DTSTART") - moment(first[0], "DTSTART") == day
    assert int(second[0]["SEQUENCE"]) > int(first[0]["SEQUENCE"])
    assert int(second[0]["SEQUENCE"]) < 2**31
    assert moment(second[0], "DTSTAMP") > moment(first[0], "DTSTAMP")


def test_uids_differ_between_outings_groups_and_centres_and_hold_no_name():
    schedule = sample_schedule()
    uids = [
        event["UID"]
        for group in dict.fromkeys(outing.group for outing in schedule.outings)
        for event in events_by_hand(group_calendar(schedule, group, stamp=STAMP))
    ]
    assert len(set(uids)) == len(uids) == len(schedule.outings)
    other = group_calendar(replace(schedule, centre_name="Another"), "Terns", stamp=STAMP)
    assert events_by_hand(other)[0]["UID"] not in uids
    assert not any("Terns" in uid for uid in uids)


@pytest.mark.parametrize("hour", [0, 1, 2, 9, 23])
@pytest.mark.parametrize(("month", "day"), [(3, 28), (3, 29), (3, 30), (10, 24), (10, 25), (10, 26)])
def test_the_time_zone_in_the_file_is_right_around_the_clock_changes(month, day, hour):
    # dateutil reads the VTIMEZONE by rules of its own; zoneinfo has the compiled tz database.
    schedule = sample_schedule()
    text = group_calendar(schedule, "Terns", stamp=STAMP).decode()
    zone = tzical(io.StringIO(text)).get("Atlantic/Azores")
    for year in (2026, 2027):
        read = datetime(year, month, day, hour, 30, tzinfo=zone)
        assert read.utcoffset() == datetime(year, month, day, hour, 30, tzinfo=AZORES).utcoffset()


@pytest.mark.parametrize("fold", [0, 1])
def test_an_outing_in_the_night_the_clocks_go_back_is_told_without_doubt(fold):
    schedule = sample_schedule()
    plovers = next(outing for outing in schedule.outings if outing.group == "Plovers")
    leaves = datetime(2026, 10, 25, 0, 30, fold=fold, tzinfo=AZORES)
    outing = replace(plovers, leaves=leaves, back=datetime(2026, 10, 25, 3, 0, tzinfo=AZORES))
    data = group_calendar(replace(schedule, outings=(outing,)), "Plovers", stamp=STAMP)
    (event,) = events_by_hand(data)
    # 00:30 stands twice that night: at 00:30 UTC, and at 01:30 UTC when the offset is one hour less.
    assert moment(event, "DTSTART").astimezone(UTC) == datetime(2026, 10, 25, fold, 30, tzinfo=UTC)
    assert moment(event, "DTEND").astimezone(UTC) == datetime(2026, 10, 25, 4, 0, tzinfo=UTC)
    assert Calendar.from_ical(data).events[0].start.astimezone(UTC) == datetime(2026, 10, 25, fold, 30, tzinfo=UTC)


def test_every_event_of_a_demonstration_is_marked_and_a_real_one_is_not():
    schedule = sample_schedule()
    for event in events_by_hand(crew_calendar(schedule, "Luca Benti", stamp=STAMP)):
        assert event["SUMMARY"].startswith("DEMONSTRATION - NOT FOR USE")
        assert event["DESCRIPTION"].endswith("DEMONSTRATION - NOT FOR USE")
    assert b"DEMONSTRATION" not in crew_calendar(replace(schedule, demonstration=False), "Luca Benti", stamp=STAMP)


def test_divers_are_counted_and_not_named_and_what_has_no_place_is_said():
    schedule = sample_schedule()
    data = group_calendar(schedule, "Knots", stamp=STAMP)
    text = "\n".join(unfolded(data))
    assert "Mia Lindqvist" not in text
    assert "2 divers" in text
    assert "No place yet: dive 3." in text


def test_a_calendar_without_events_is_still_a_calendar_and_an_unknown_group_is_refused():
    schedule = sample_schedule()
    assert Calendar.from_ical(crew_calendar(schedule, "Nobody Here", stamp=STAMP)).events == []
    assert Calendar.from_ical(group_calendar(schedule, "Shearwaters", stamp=STAMP)).events == []
    with pytest.raises(OutOfRange, match='the group is "Ternss"; the groups of this schedule are: Petrels, '):
        group_calendar(schedule, "Ternss", stamp=STAMP)
    with pytest.raises(OutOfRange, match="it must have its offset from UTC"):
        crew_calendar(schedule, "Ines Faro", stamp=STAMP.replace(tzinfo=None))


def test_equal_schedules_give_equal_bytes():
    assert crew_calendar(sample_schedule(), "Ines Faro", stamp=STAMP) == crew_calendar(
        sample_schedule(), "Ines Faro", stamp=STAMP
    )
