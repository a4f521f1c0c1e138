"""Opening hours: every expectation was read off the rows and a calendar by hand; 12 June 2027 is a Saturday.

The Azores keep UTC in summer and UTC-1 in winter: on Sunday 28 March 2027 the clock goes from midnight to 01:00, at
01:00 UTC; on Sunday 31 October it goes from 01:00 back to midnight, at 01:00 UTC (the tz database).
"""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from tripplan.catalogue.site import OpenHours
from tripplan.emergency.opening import Opened, open_at, open_on, open_throughout, opening_words

ZONE = "Atlantic/Azores"


def hours(opens: str, closes: str, *days: str) -> OpenHours:
    return OpenHours.model_validate({"opens": opens, "closes": closes, "days": days})


def utc(text: str) -> datetime:
    return datetime.fromisoformat(text).replace(tzinfo=UTC)


DAYTIME = (hours("08:00", "22:00"),)
NIGHT = (hours("20:00", "06:00", "fri"),)
EVENING = (hours("14:00", "00:00", "sat"),)
HALVES = (hours("00:00", "12:00"), hours("12:00", "00:00"))
WORKDAYS = (hours("09:00", "12:00", "mon", "tue", "wed", "thu", "fri"), hours("13:00", "17:00", "mon", "fri"))


@pytest.mark.parametrize(
    ("opening", "moment", "expected"),
    [
        (DAYTIME, "2027-06-12T07:59", False),
        (DAYTIME, "2027-06-12T08:00", True),
        (DAYTIME, "2027-06-12T21:59:59", True),
        (DAYTIME, "2027-06-12T22:00", False),
        # The night of Friday reaches into Saturday; that of Saturday is nobody's.
        (NIGHT, "2027-06-11T05:59", False),
        (NIGHT, "2027-06-11T19:59", False),
        (NIGHT, "2027-06-11T20:00", True),
        (NIGHT, "2027-06-12T05:59", True),
        (NIGHT, "2027-06-12T06:00", False),
        (NIGHT, "2027-06-12T20:00", False),
        # Closing at 00:00 is the midnight at the end of the day.
        (EVENING, "2027-06-12T13:59", False),
        (EVENING, "2027-06-12T23:59", True),
        (EVENING, "2027-06-13T00:00", False),
        (EVENING, "2027-06-12T00:00", False),
        (WORKDAYS, "2027-06-11T12:30", False),
        (WORKDAYS, "2027-06-11T13:00", True),
        (WORKDAYS, "2027-06-12T10:00", False),
        ("always", "2027-06-12T03:00", True),
        (None, "2027-06-12T10:00", None),
        # On the day of the change a clock shows 23:59 on Saturday at 00:59 UTC, and 01:00 on Sunday at 01:00 UTC.
        ((hours("20:00", "02:00", "sat"),), "2027-03-28T01:59", True),
        ((hours("20:00", "02:00", "sat"),), "2027-03-28T02:00", False),
        ((hours("08:00", "22:00"),), "2027-03-27T08:59", False),  # winter: 07:59
        ((hours("08:00", "22:00"),), "2027-03-27T09:00", True),
        ((hours("08:00", "22:00"),), "2027-03-28T08:00", True),  # summer
        ((hours("08:00", "22:00"),), "2027-03-28T22:00", False),
        # 00:30 is left out that night: both begin, and both end, at the change.
        ((hours("00:30", "08:00", "sun"),), "2027-03-28T00:59", False),
        ((hours("00:30", "08:00", "sun"),), "2027-03-28T01:00", True),
        ((hours("20:00", "00:30", "sat"),), "2027-03-28T00:59:59", True),
        ((hours("20:00", "00:30", "sat"),), "2027-03-28T01:00", False),
        # 00:30 comes twice on 31 October, at 00:30 and at 01:30 UTC: it closes the first time and opens the second.
        ((hours("20:00", "00:30", "sat"),), "2027-10-31T00:29", True),
        ((hours("20:00", "00:30", "sat"),), "2027-10-31T00:30", False),
        ((hours("20:00", "00:30", "sat"),), "2027-10-31T01:15", False),
        ((hours("00:30", "08:00", "sun"),), "2027-10-31T00:45", False),
        ((hours("00:30", "08:00", "sun"),), "2027-10-31T01:30", True),
        # Hours that touch are one span: there is no gap in the hour that comes twice.
        (HALVES, "2027-10-31T00:30", True),
        (HALVES, "2027-03-28T01:00", True),
    ],
)
def test_a_moment_is_judged_by_the_clock_on_the_wall(opening, moment, expected):
    assert open_at(opening, (), utc(moment), ZONE) is expected


CHRISTMAS = (date(2027, 12, 25),)  # a Saturday; the Azores are an hour behind UTC


@pytest.mark.parametrize(
    ("opening", "moment", "expected"),
    [
        ("always", "2027-12-25T00:59", True),  # 23:59 on the 24th
        ("always", "2027-12-25T01:00", False),
        ("always", "2027-12-26T00:59", False),
        ("always", "2027-12-26T01:00", True),
        (NIGHT, "2027-12-25T00:59", True),  # the Friday's night ends as the closed day begins
        (NIGHT, "2027-12-25T01:00", False),
        ((hours("20:00", "06:00"),), "2027-12-25T22:00", False),
        ((hours("20:00", "06:00"),), "2027-12-26T03:00", False),  # what would have opened on the closed day
        ((hours("20:00", "06:00"),), "2027-12-26T22:00", True),
        (None, "2027-12-25T12:00", False),
        (None, "2027-12-26T12:00", None),
    ],
)
def test_a_closed_day_is_closed_from_midnight_to_midnight(opening, moment, expected):
    assert open_at(opening, CHRISTMAS, utc(moment), ZONE) is expected


@pytest.mark.parametrize(
    ("opening", "start", "end", "opened", "words"),
    [
        ("always", "2027-06-12T09:00", "2027-06-12T23:00", Opened.OPEN, "open day and night"),
        (DAYTIME, "2027-06-12T08:00", "2027-06-12T22:00", Opened.OPEN, "open 08:00 to 22:00"),
        (DAYTIME, "2027-06-12T08:00", "2027-06-12T22:01", Opened.CLOSED, "closed from 22:00"),
        (DAYTIME, "2027-06-12T07:59", "2027-06-12T21:00", Opened.CLOSED, "closed until 08:00"),
        (DAYTIME, "2027-06-12T07:00", "2027-06-12T23:00", Opened.CLOSED, "closed until 08:00 and from 22:00"),
        (DAYTIME, "2027-06-12T22:00", "2027-06-12T23:00", Opened.CLOSED, "closed from 22:00"),
        (DAYTIME, "2027-06-12T05:00", "2027-06-12T07:00", Opened.CLOSED, "closed until 08:00"),
        (NIGHT, "2027-06-11T21:00", "2027-06-12T03:00", Opened.OPEN, "open 20:00 to 06:00"),
        (NIGHT, "2027-06-11T21:00", "2027-06-12T06:30", Opened.CLOSED, "closed from 06:00 on 12 June"),
        (EVENING, "2027-06-12T15:00", "2027-06-13T00:00", Opened.OPEN, "open 14:00 to 00:00"),
        (EVENING, "2027-06-12T15:00", "2027-06-13T00:01", Opened.CLOSED, "closed from 00:00 on 13 June"),
        (WORKDAYS, "2027-06-12T09:00", "2027-06-12T18:00", Opened.CLOSED, "closed this day"),
        (WORKDAYS, "2027-06-11T10:00", "2027-06-11T14:00", Opened.CLOSED, "closed from 12:00"),
        (HALVES, "2027-06-12T09:00", "2027-06-13T18:00", Opened.OPEN, "open throughout"),
        (None, "2027-06-12T09:00", "2027-06-12T18:00", Opened.UNKNOWN, 'hours only in words: "24 h, on call"'),
        # Through the change of the clock: 23:00 local is midnight UTC, 02:00 local is 02:00 UTC.
        ((hours("20:00", "02:00"),), "2027-03-28T00:00", "2027-03-28T02:00", Opened.OPEN, "open 20:00 to 02:00"),
        (
            (hours("20:00", "02:00"),),
            "2027-03-28T00:00",
            "2027-03-28T02:01",
            Opened.CLOSED,
            "closed from 02:00 on 28 March",
        ),
    ],
)
def test_a_span_is_open_only_where_every_moment_of_it_is(opening, start, end, opened, words):
    assert open_throughout(opening, (), utc(start), utc(end), ZONE) is opened
    assert opening_words(opening, (), utc(start), utc(end), ZONE, "24 h, on call") == words


@pytest.mark.parametrize("opening", ["always", HALVES, None])
def test_a_span_into_a_closed_day_is_closed_whatever_the_hours(opening):
    start, end = utc("2027-12-24T18:00"), utc("2027-12-25T02:00")
    assert open_throughout(opening, CHRISTMAS, start, end, ZONE) is Opened.CLOSED
    assert opening_words(opening, CHRISTMAS, start, end, ZONE, "") == "closed from 00:00 on 25 December"
    on_it = (utc("2027-12-25T10:00"), utc("2027-12-25T18:00"))
    assert open_throughout(opening, CHRISTMAS, *on_it, ZONE) is Opened.CLOSED
    assert opening_words(opening, CHRISTMAS, *on_it, ZONE, "") == "closed this day"


SATURDAY = date(2027, 6, 12)


@pytest.mark.parametrize(
    ("opening", "closed_on", "opened", "words"),
    [
        ("always", (), Opened.OPEN, "open day and night"),
        ("always", (SATURDAY,), Opened.CLOSED, "closed this day"),
        ("always", (date(2027, 6, 13),), Opened.UNKNOWN, "open day and night, but closed on 13 June"),
        ("always", (date(2027, 6, 14),), Opened.OPEN, "open day and night"),
        (DAYTIME, (), Opened.UNKNOWN, "open 08:00 to 22:00"),
        (NIGHT, (), Opened.UNKNOWN, "open 20:00 on 11 June to 06:00"),
        (HALVES, (), Opened.UNKNOWN, "open all day"),
        (WORKDAYS, (), Opened.CLOSED, "closed this day"),
        (None, (), Opened.UNKNOWN, "hours not known"),
        (None, (SATURDAY,), Opened.CLOSED, "closed this day"),
    ],
)
def test_without_times_only_what_never_closes_is_open(opening, closed_on, opened, words):
    assert open_on(opening, closed_on, SATURDAY, ZONE) is opened
    assert opening_words(opening, closed_on, None, None, ZONE, "", SATURDAY) == words


def test_without_a_day_the_words_promise_nothing():
    assert opening_words(DAYTIME, (), None, None, ZONE, "") == "open at set hours"
    assert opening_words("always", CHRISTMAS, None, None, ZONE, "") == "open day and night, but closed on some days"


def test_a_moment_without_a_time_zone_and_a_span_that_runs_backwards_are_refused():
    naive = datetime(2027, 6, 12, 9)  # noqa: DTZ001
    with pytest.raises(ValueError, match="no time zone"):
        open_at("always", (), naive, ZONE)
    with pytest.raises(ValueError, match="before it starts"):
        open_throughout("always", (), utc("2027-06-12T10:00"), utc("2027-06-12T09:00"), ZONE)


# ---- what must never happen ----

DAY_NAMES = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
ZONES = st.sampled_from([ZONE, "Europe/London", "America/New_York", "Australia/Lord_Howe", "Asia/Beirut"])
# Around the changes of the clock of 2027, where mistakes would live, and in June.
STARTS = st.one_of(
    st.datetimes(datetime(2027, 3, 26), datetime(2027, 3, 30)),  # noqa: DTZ001
    st.datetimes(datetime(2027, 10, 29), datetime(2027, 11, 9)),  # noqa: DTZ001
    st.datetimes(datetime(2027, 6, 11), datetime(2027, 6, 14)),  # noqa: DTZ001
).map(lambda moment: moment.replace(tzinfo=UTC))
ROWS = st.tuples(
    st.integers(0, 1439),  # minute of opening
    st.integers(1, 1439),  # minutes open
    st.sets(st.sampled_from(DAY_NAMES)),
    st.integers(0, 600),  # minutes by which it opens earlier
    st.integers(0, 600),  # and closes later
)


def row(opens_min: int, open_min: int, days: set[str]) -> OpenHours:
    closes_min = (opens_min + open_min) % 1440
    return OpenHours.model_validate(
        {
            "opens": time(opens_min // 60, opens_min % 60),
            "closes": time(closes_min // 60, closes_min % 60),
            "days": tuple(days),
        }
    )


def wider(opens_min: int, open_min: int, earlier_min: int, later_min: int) -> tuple[int, int]:
    earlier_min = min(earlier_min, opens_min, 1439 - open_min)
    return opens_min - earlier_min, min(1439, open_min + earlier_min + later_min)


@settings(deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=3), STARTS, st.integers(0, 40 * 60), ZONES, st.booleans())
def test_longer_hours_never_close_what_was_open(rows, start, span_min, zone, with_a_closed_day):
    closed_on = (start.date(),) if with_a_closed_day else ()
    end = start + timedelta(minutes=span_min)
    narrow = tuple(row(opens, length, days) for opens, length, days, _, _ in rows)
    wide = tuple(row(*wider(opens, length, a, b), days) for opens, length, days, a, b in rows)
    every_day = tuple(each.model_copy(update={"days": ()}) for each in wide)
    order = (Opened.CLOSED, Opened.OPEN)
    found = [
        order.index(open_throughout(opening, closed, start, end, zone))
        for opening, closed in (
            (narrow, closed_on), (wide, closed_on), (every_day, closed_on), ("always", closed_on), ("always", ()),
        )
    ]  # fmt: skip
    assert found == sorted(found)
    assert found[-1] == order.index(Opened.OPEN)


@settings(deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=3), STARTS)
def test_where_no_clock_changes_hours_are_minutes_of_a_week_that_goes_round(rows, moment):
    """Reckoned apart, without dates: 10 080 minutes a week, each row some minutes from its day and minute."""
    opening = tuple(row(opens, length, days) for opens, length, days, _, _ in rows)
    minute = (moment.weekday() * 24 + moment.hour) * 60 + moment.minute
    expected = any(
        (minute - DAY_NAMES.index(day) * 1440 - opens) % 10_080 < length
        for opens, length, days, _, _ in rows
        for day in days or DAY_NAMES
    )
    assert open_at(opening, (), moment, "UTC") is expected


@settings(deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=3), STARTS, st.integers(1, 30 * 60), st.floats(0, 1), ZONES)
def test_a_span_that_is_open_is_open_at_each_of_its_moments(rows, start, span_min, part, zone):
    opening = tuple(row(opens, length, days) for opens, length, days, _, _ in rows)
    end = start + timedelta(minutes=span_min)
    inside = start + part * (end - start) * 0.999
    if open_throughout(opening, (), start, end, zone) is Opened.OPEN:
        assert open_at(opening, (), inside, zone) is True
    if open_at(opening, (), inside, zone) is False:
        assert open_throughout(opening, (), start, end, zone) is Opened.CLOSED


@settings(deadline=None)
@given(STARTS, st.integers(0, 40 * 60), ZONES, st.sets(st.integers(-2, 3)))
def test_hours_in_words_only_are_never_open(start, span_min, zone, closed):
    end = start + timedelta(minutes=span_min)
    closed_on = tuple(start.date() + timedelta(days=number) for number in closed)
    assert open_throughout(None, closed_on, start, end, zone) is not Opened.OPEN
    assert open_at(None, closed_on, start, zone) is not True
    assert open_on(None, closed_on, start.date(), zone) is not Opened.OPEN


@settings(deadline=None)
@given(st.lists(ROWS, min_size=1, max_size=3), STARTS, st.integers(0, 40 * 60), ZONES)
def test_the_words_say_open_exactly_where_it_is(rows, start, span_min, zone):
    opening = tuple(row(opens, length, days) for opens, length, days, _, _ in rows)
    end = start + timedelta(minutes=span_min)
    opened = open_throughout(opening, (), start, end, zone)
    assert opening_words(opening, (), start, end, zone, "").split()[0] == opened.value
