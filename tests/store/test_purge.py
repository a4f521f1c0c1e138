"""What is kept how long: a purge says first what goes, deletes just that or nothing, and never too soon.

The years are those of the sources that the rule book names: one for a record (Australian model regulations, regulation
181; French code A322-72; 29 CFR 1910.440), two after an incident (regulation 182), five where it may have been
decompression sickness (29 CFR 1910.440). Each date below is reckoned by hand.
"""

from __future__ import annotations

import os
import signal
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from argon2 import PasswordHasher
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sqlalchemy import create_engine, select, text
from sqlalchemy.exc import DBAPIError

from tests.planning.small_world import person
from tripplan.planning.event import Event
from tripplan.rulebook import RuleBook, baseline
from tripplan.store import purge as module
from tripplan.store.accounts import Accounts, Limits, TooManyTries, WrongSignIn, tell
from tripplan.store.database import KeptPlan, Store, StoreFault, sqlite_url
from tripplan.store.purge import (
    PurgeRefused,
    holding,
    last_days,
    past_keeping,
    purge,
    what_would_go,
    years_later,
)
from tripplan.store.tables import ATTEMPTS, AUDIT, EVENTS, METADATA, PURGING, SESSIONS, TICKS

RULES = baseline()
NOW = datetime(2028, 6, 13, 12, 30, tzinfo=UTC)  # 13 June also where it is earliest
DAY = date(2027, 6, 12)  # a year and a day before: the first that may go


def noon(day: date) -> datetime:
    return datetime(day.year, day.month, day.day, 12, tzinfo=UTC)


def entry(day: date, number: int = 0, kind: str = "note", **changes) -> Event:
    made = Event(f"{day.isoformat()}-{number:04}", noon(day), day, "cove", "note", "Ann", text="fine", person="Ben")
    more = {"kind": kind, **changes}
    if kind in ("in", "out", "discomfort", "depth"):
        more = {"group": "Terns", "dive": 1, **more}
    return replace(made, **more)


def dive(day: date, who: str = "Ben", site: str = "cove", start: int = 0) -> list[Event]:
    """Return somebody's going in and coming out."""
    into = entry(day, start, "in", person=who, site=site, uid=f"{site}-{day}-{start:04}")
    return [into, replace(into, uid=f"{into.uid}-out", kind="out", at=into.at + timedelta(minutes=40))]


def keep(store: Store, *events: Event, arrived: datetime | None = None) -> None:
    for each in events:
        assert store.add([each], arrived or noon(each.day)).new


def gone(store: Store, now: datetime = NOW, rules: RuleBook = RULES, **how) -> dict[str, int]:
    """Purge, and return how many rows of each table went."""
    said = what_would_go(store, rules, now, **how)
    done = purge(store, rules, now, "Greta, at the machine", **how)
    assert (done.parts, done.kept) == (said.parts, said.kept)
    return {part.table: part.rows for part in done.parts}


def everything(store: Store) -> dict[str, list[tuple]]:
    with store._reading() as connection:
        return {
            name: sorted((tuple(row) for row in connection.execute(select(table))), key=repr)
            for name, table in METADATA.tables.items()
        }


# ---- a day, by hand ----


def test_a_day_goes_a_year_and_a_day_later_and_its_neighbour_stays(store):
    keep(store, *dive(DAY), *dive(DAY + timedelta(days=1)))
    assert gone(store) == {"events": 2}
    assert store.events(DAY) == () and len(store.events(DAY + timedelta(days=1))) == 2


def test_where_the_day_is_not_over_on_earth_it_has_not_begun_here(store):
    """At 11:30 UTC on 13 June it is still 12 June twelve hours to the west."""
    keep(store, *dive(DAY))
    assert gone(store, NOW - timedelta(hours=1)) == {}
    assert gone(store, NOW) == {"events": 2}


@pytest.mark.parametrize(
    ("day", "years", "later"),
    [
        (date(2028, 2, 29), 1, date(2029, 3, 1)),
        (date(2028, 2, 29), 4, date(2032, 2, 29)),
        (date(2027, 6, 12), 5, date(2032, 6, 12)),
        (date(2029, 3, 1), -1, date(2028, 3, 1)),
        (date(9998, 12, 31), 1, date(9999, 12, 31)),
        (date(9998, 12, 31), 5, date(9999, 12, 31)),  # the last date that there is
        (date(2, 1, 1), -5, date(1, 1, 1)),
    ],
)
def test_years_are_those_of_the_calendar_and_a_leap_day_is_kept_a_day_longer(day, years, later):
    assert years_later(day, years) == later


def test_a_leap_day_is_kept_into_march(store):
    keep(store, *dive(date(2028, 2, 29)))
    assert gone(store, datetime(2029, 3, 1, 23, tzinfo=UTC)) == {}
    assert gone(store, datetime(2029, 3, 2, 12, tzinfo=UTC)) == {"events": 2}


def test_a_day_counts_from_its_last_entry_as_it_arrived(store):
    keep(store, *dive(DAY))
    keep(store, entry(DAY, 9), arrived=datetime(2027, 9, 1, 8, tzinfo=UTC))
    (kept,) = what_would_go(store, RULES, NOW).kept
    assert kept.rows == 3 and "its last entry arrived on 2027-09-01" in kept.why
    assert gone(store) == {}
    assert gone(store, datetime(2028, 9, 2, 12, tzinfo=UTC)) == {"events": 3}


def test_a_day_on_which_somebody_was_never_counted_out_never_goes(store):
    keep(store, dive(DAY)[0], *dive(DAY, "Cy", start=5))
    late = NOW.replace(year=2088)
    assert gone(store, late) == {}
    (kept,) = what_would_go(store, RULES, late).kept
    assert kept.rows == 3 and "nobody wrote that Ben came out of the water" in kept.why
    keep(store, entry(DAY, 7, "out"), arrived=NOW)  # settled a year later: from then on it is a record
    assert gone(store) == {}
    assert gone(store, NOW + timedelta(days=368)) == {"events": 4}


def test_a_day_whose_counts_never_agreed_again_never_goes(store):
    def count(number: int, by: str, people: float) -> Event:
        at = noon(DAY) + timedelta(hours=2, minutes=number)
        return entry(DAY, 20 + number, "count", by=by, person="", value=people, text="before leaving", at=at)

    keep(store, *dive(DAY), *(count(n, "Ann" if n % 2 else "Dee", 3.0) for n in range(4)))
    assert gone(store, NOW.replace(year=2060)) == {}
    assert "counts never agreed" in what_would_go(store, RULES, NOW).kept[0].why


def test_a_day_with_one_pair_of_counts_that_differ_stays_until_a_pair_agrees(store):
    def count(number: int, by: str, people: float) -> Event:
        at = noon(DAY) + timedelta(hours=2, minutes=number)
        return entry(DAY, 20 + number, "count", by=by, person="", value=people, text="before leaving", at=at)

    keep(store, *dive(DAY), *dive(DAY, "Cy", start=5), count(0, "Ann", 1.0), count(1, "Dee", 2.0))
    assert gone(store, NOW.replace(year=2060)) == {}
    assert "counts never agreed" in what_would_go(store, RULES, NOW).kept[0].why
    keep(store, count(2, "Ann", 2.0), count(3, "Dee", 2.0))
    assert gone(store) == {"events": 8}


# ---- incidents ----


@pytest.mark.parametrize(
    ("harm", "last"),
    [
        (entry(DAY, 50, "discomfort", text="left arm feels numb"), date(2032, 6, 12)),
        (entry(DAY, 50, "discomfort", text="not none"), date(2032, 6, 12)),
        (entry(DAY, 50, "incident", text="came up too fast"), date(2032, 6, 12)),
        (entry(DAY, 50, "incident", text="came up too fast", person=""), date(2032, 6, 12)),
    ],
)
def test_what_may_have_been_bubble_illness_is_kept_five_years(store, harm, last):
    keep(store, *dive(DAY), harm)
    assert gone(store) == {}
    (kept,) = what_would_go(store, RULES, NOW).kept
    assert f"kept until {last}" in kept.why and "retention.decompression_incident_years is 5 years" in kept.why
    assert "numb" not in kept.why and "fast" not in kept.why
    assert gone(store, noon(last) + timedelta(hours=12, minutes=30)) == {}
    assert gone(store, noon(last) + timedelta(days=1, minutes=30)) == {"events": 3}


def test_an_incident_on_a_day_without_a_dive_is_kept_two_years(store):
    keep(store, entry(DAY, 50, "incident", text="the pier gave way", person=""))
    assert gone(store) == {}
    assert gone(store, datetime(2029, 6, 12, 23, tzinfo=UTC)) == {}
    assert gone(store, datetime(2029, 6, 13, 12, 30, tzinfo=UTC)) == {"events": 1}


@pytest.mark.parametrize("words", ["none", "None.", " NONE "])
def test_no_discomfort_is_no_reason_to_keep_a_day(store, words):
    keep(store, *dive(DAY), entry(DAY, 50, "discomfort", text=words))
    assert gone(store) == {"events": 3}


def test_an_incident_that_was_taken_back_still_keeps_its_day(store):
    told = entry(DAY, 50, "incident", text="came up too fast")
    keep(store, *dive(DAY), told, entry(DAY, 51, "withdrawn", corrects=told.uid, text="a slip of the pen"))
    assert gone(store) == {}


def test_the_dives_before_an_incident_stay_with_it_whichever_the_site_and_those_after_go(store):
    days = [DAY - timedelta(days=ahead) for ahead in (20, 10, 0)]
    keep(store, *dive(days[0], "ben ", "reef"), *dive(days[0], "Cy", "pier"), *dive(days[2], "Ben", "reef"))
    keep(store, *dive(days[1], "Ben"), entry(days[1], 50, "incident", text="came up too fast"))
    assert gone(store) == {"events": 4}
    assert [len(store.events(days[0], site)) for site in ("reef", "pier")] == [2, 0]
    assert len(store.events(days[1])) == 3 and store.events(days[2]) == ()


def test_an_incident_that_names_nobody_may_be_about_anybody_of_the_day(store):
    earlier = DAY - timedelta(days=3)
    keep(store, *dive(earlier, "Ben", "reef"), *dive(earlier, "Cy", "pier"), *dive(DAY, "Ben"))
    keep(store, entry(DAY, 50, "incident", text="somebody came up too fast", person=""))
    assert gone(store) == {"events": 2}
    assert len(store.events(earlier, "reef")) == 2


def test_an_incident_long_over_keeps_nothing(store):
    keep(store, *dive(date(2020, 1, 1)), entry(date(2020, 1, 1), 50, "incident", text="cut foot"), *dive(DAY))
    assert gone(store) == {"events": 5}


# ---- plans, ticks, versions ----


def plan(revision: str, day: date, site: str = "cove", kept: datetime | None = None) -> KeptPlan:
    people = {"Ben": {"medical": "2027-01-01"}}
    return KeptPlan(revision, site, day, kept or noon(day), "Ann", {}, {"people": people}, {"verdict": "ok"})


def test_plans_go_with_their_day_and_stay_with_it(store):
    ill = DAY - timedelta(days=1)
    keep(store, *dive(DAY), *dive(ill, start=5), entry(ill, 50, "discomfort", text="dizzy"))
    for each in (plan("00000001", DAY), plan("00000002", ill), plan("00000003", ill, "reef")):
        store.keep_plan(each)
    store.keep_plan(plan("00000004", DAY, "reef", kept=datetime(2027, 6, 13, 8, tzinfo=UTC)))  # kept a day too late
    assert gone(store) == {"events": 2, "plans": 2}
    assert store.plan("00000001") is None and store.plan("00000003") is None
    assert store.plan("00000002") is not None and store.plan("00000004") is not None


def tick(store: Store, number: int, day: date, who: str = "Ben", course: str = "level_1_course") -> None:
    values = {"uid": f"tick-{number:04}", "at": noon(day), "day": day, "course": course, "person": who, "dive": 1}
    with store._writing() as connection:
        connection.execute(TICKS.insert().values(**values, skill=f"skill {number}", result="done", by="Ann"))


def ticks_of(store: Store) -> list[str]:
    with store._reading() as connection:
        return sorted(connection.execute(select(TICKS.c.uid)).scalars())


def test_ticks_of_a_course_go_together_a_year_after_the_last(store):
    tick(store, 1, date(2026, 1, 1))
    tick(store, 2, date(2028, 5, 1), "BEN")  # the same course goes on
    tick(store, 3, date(2026, 1, 1), course="refresher")
    tick(store, 4, DAY, "Cy")
    assert gone(store) == {"ticks": 2}
    assert ticks_of(store) == ["tick-0001", "tick-0002"]


def test_ticks_of_somebody_who_was_in_an_incident_stay_with_it(store):
    keep(store, *dive(DAY), entry(DAY, 50, "incident", text="came up too fast"))
    tick(store, 1, DAY)
    tick(store, 2, DAY, "Cy")
    assert gone(store) == {"ticks": 1} and ticks_of(store) == ["tick-0001"]


def save(store: Store, name: str, *changes: tuple[date, dict]) -> None:
    for number, (day, request) in enumerate(changes):
        store.save_request(name, request, number or None, "Ann", noon(day))


def versions(store: Store, name: str) -> list[int]:
    return [each.version for each in store.request_versions(name)]


def test_of_a_request_the_newest_version_never_goes_and_each_other_held_until_it_was_replaced(store):
    asked = {"site": "cove", "date": "2026-05-01"}
    save(store, "old", (date(2026, 1, 1), asked), (date(2026, 2, 1), asked), (date(2026, 3, 1), asked))
    save(store, "new", (date(2026, 1, 1), asked), (date(2028, 6, 1), asked))
    save(store, "ahead", (date(2026, 1, 1), {"date": "2028-07-01"}), (date(2026, 1, 2), asked))
    assert gone(store) == {"request_versions": 2}
    assert [versions(store, name) for name in ("old", "new", "ahead")] == [[3], [1, 2], [1, 2]]
    kept = {each.about: each for each in what_would_go(store, RULES, NOW).kept}
    assert kept["the newest of each"].rows == 2  # those of old and ahead: the other is young


def test_versions_of_the_request_of_a_day_that_is_kept_stay_too(store):
    keep(store, *dive(DAY), entry(DAY, 50, "discomfort", text="dizzy"))
    asked = {"site": "cove", "date": DAY.isoformat()}
    save(store, "day", (date(2027, 6, 1), asked), (date(2027, 6, 2), asked))
    save(store, "other", (date(2027, 6, 1), {**asked, "site": "reef"}), (date(2027, 6, 2), {**asked, "site": "reef"}))
    assert gone(store) == {"request_versions": 1}
    assert versions(store, "day") == [1, 2] and versions(store, "other") == [2]


# ---- the trail, tries, sessions ----


def test_the_trail_goes_after_five_years_and_tells_of_the_purge_without_a_name(store):
    for year in (2022, 2023, 2024):
        tell(store, datetime(year, 6, 12, 12, tzinfo=UTC), "Greta", "account added", f"Ben, in {year}")
    keep(store, *dive(DAY))
    assert gone(store) == {"events": 2, "audit": 2}  # five years after 12 June 2023 is 12 June 2028
    with store._reading() as connection:
        rows = connection.execute(select(AUDIT.c.who, AUDIT.c.what, AUDIT.c.about).order_by(AUDIT.c.number)).all()
    assert [tuple(row) for row in rows] == [
        ("Greta", "account added", "Ben, in 2024"),
        ("Greta, at the machine", "records deleted", "entries of the beach: 2; lines of the audit trail: 2"),
    ]


def test_tries_to_sign_in_and_sessions_that_are_over_go_and_the_others_stay(store):
    idle = NOW - timedelta(hours=5)  # begun within its 14 hours, and no page for more than 4
    with store._writing() as connection:
        for name, began, seen in (
            ("old", NOW - timedelta(days=2), NOW - timedelta(days=2)),
            ("idle", idle, idle),
            ("young", idle, NOW - timedelta(hours=1)),
        ):
            connection.execute(SESSIONS.insert().values(token_hash=name, key="greta", began=began, seen=seen))
            connection.execute(ATTEMPTS.insert().values(name_hash=name, address="192.0.2.7", at=began, ok=False))
    assert gone(store) == {"attempts": 1, "sessions": 2}
    with store._reading() as connection:
        assert sorted(connection.execute(select(ATTEMPTS.c.name_hash)).scalars()) == ["idle", "young"]
        assert list(connection.execute(select(SESSIONS.c.token_hash)).scalars()) == ["young"]


def test_tries_that_hold_a_name_up_are_never_among_them(store):
    accounts = Accounts(store, PasswordHasher(time_cost=1, memory_cost=8, parallelism=1))
    limits = Limits.of(RULES)
    for _ in range(limits.name_failures):
        with pytest.raises(WrongSignIn):
            accounts.sign_in("Greta", "a guess", address="192.0.2.7", now=NOW, limits=limits)
    assert gone(store, NOW + timedelta(minutes=10)) == {}
    with pytest.raises(TooManyTries):
        accounts.sign_in("Greta", "a guess", address="192.0.2.7", now=NOW + timedelta(minutes=10), limits=limits)


# ---- asking for less, and for too much ----


def test_an_earlier_day_can_be_asked_for_and_a_later_one_never(store):
    days = [DAY - timedelta(days=back) for back in (2, 1, 0)]
    keep(store, *(each for day in days for each in dive(day)))
    for day in days:
        store.keep_plan(plan(f"0000000{day.day % 10}", day))
    assert gone(store, before=days[1]) == {"events": 2, "plans": 1}
    assert store.events(days[0]) == () and store.events(days[1])
    later = date(2027, 6, 14)  # 13 June 2027 is a year before 13 June 2028, and stays
    before = everything(store)
    for ask in (what_would_go, lambda *given: purge(*given[:3], "Greta", given[3])):
        with pytest.raises(PurgeRefused, match="only what is older than 2027-06-13 may go"):
            ask(store, RULES, NOW, later)
    assert everything(store) == before
    assert gone(store, before=date(2027, 6, 13)) == {"events": 4, "plans": 2}


def rules_with(**values: float) -> RuleBook:
    rules = dict(RULES.rules)
    for name, value in values.items():
        rules[f"retention.{name}"] = replace(rules[f"retention.{name}"], value=value)
    return RuleBook(rules)


def test_a_centre_that_keeps_longer_is_obeyed(store):
    keep(store, *dive(DAY))
    assert gone(store, rules=rules_with(record_years=10)) == {}
    assert "events" in gone(store, NOW.replace(year=2038), rules=rules_with(record_years=10))


@pytest.mark.parametrize("name", ["record_years", "audit_years"])
def test_a_centre_that_would_keep_nothing_is_refused(store, name):
    keep(store, *dive(DAY))
    with pytest.raises(PurgeRefused, match=f"retention.{name} is 0"):
        purge(store, rules_with(**{name: 0}), NOW, "Greta")
    assert len(store.events(DAY)) == 2


# ---- all or nothing ----


def full(store: Store) -> None:
    """Fill a store with something of each kind that goes, and something that stays."""
    keep(store, *dive(DAY), *dive(DAY + timedelta(days=9)))
    store.keep_plan(plan("00000001", DAY))
    tick(store, 1, DAY)
    save(store, "old", (date(2026, 1, 1), {}), (date(2026, 2, 1), {}))
    tell(store, datetime(2020, 1, 1, tzinfo=UTC), "Greta", "account added", "Ben")


def test_saying_what_would_go_changes_nothing(store):
    full(store)
    before = everything(store)
    said = what_would_go(store, RULES, NOW)
    assert {part.table for part in said.parts} == {"events", "plans", "ticks", "request_versions", "audit"}
    assert said.rows == sum(line.rows for part in said.parts for line in part.lines) == 6
    assert everything(store) == before


@pytest.mark.parametrize("where", ["_delete", "_tell"])
def test_a_fault_in_the_middle_leaves_everything_as_it_was(store, opened, monkeypatch, where):
    full(store)
    before, calls = everything(store), []
    real = getattr(module, where)

    def fails(*given):
        calls.append(given)
        if len(calls) == (3 if where == "_delete" else 1):
            raise RuntimeError("the lights went out")
        return real(*given)

    monkeypatch.setattr(module, where, fails)
    with pytest.raises(RuntimeError, match="lights"):
        purge(store, RULES, NOW, "Greta")
    assert calls and everything(opened()) == before
    monkeypatch.undo()
    assert purge(store, RULES, NOW, "Greta").rows == 6


def test_a_row_that_did_not_go_stops_all_others_too(store, monkeypatch):
    full(store)
    before, real = everything(store), module._weighed

    def with_a_ghost(*given):
        found = real(*given)
        first, *rest = found.parts
        return replace(found, parts=(replace(first, keys=(*first.keys, 987654)), *rest))

    monkeypatch.setattr(module, "_weighed", with_a_ghost)
    with pytest.raises(StoreFault, match="nothing was deleted"):
        purge(store, RULES, NOW, "Greta")
    assert everything(store) == before


def test_a_process_killed_just_before_the_end_deleted_nothing(tmp_path):
    url = sqlite_url(tmp_path / "store.sqlite")
    store = Store(url)
    full(store)
    before = everything(store)
    store.close()
    child = os.fork()
    if child == 0:
        try:
            module._tell = lambda *_: os.kill(os.getpid(), signal.SIGKILL)
            purge(Store(url), RULES, NOW, "Greta")
        finally:
            os._exit(1)
    _, how = os.waitpid(child, 0)
    assert os.WIFSIGNALED(how)
    again = Store(url)
    assert everything(again) == before
    again.close()


def test_afterwards_nothing_can_be_taken_out_as_before(store, address):
    full(store)
    assert purge(store, RULES, NOW, "Greta").rows == 6
    with store._reading() as connection:
        assert connection.execute(select(PURGING)).all() == []
    engine = create_engine(address)
    for name in ("events", "audit", "request_versions"):
        with pytest.raises(DBAPIError, match="only grow"), engine.begin() as connection:
            connection.execute(text(f"DELETE FROM {name}"))
    engine.dispose()
    assert purge(store, RULES, NOW, "Greta").parts == ()
    with store._reading() as connection:  # a purge that deletes nothing has nothing to tell
        assert len(connection.execute(select(AUDIT.c.number)).all()) == 1


def test_what_was_written_between_saying_and_doing_counts(store, opened):
    keep(store, *dive(DAY), *dive(DAY - timedelta(days=1), "Cy"))
    assert what_would_go(store, RULES, NOW).rows == 4
    keep(opened(), entry(DAY, 50, "incident", text="told late", person="Ben"), arrived=NOW)
    done = purge(store, RULES, NOW, "Greta")
    assert done.rows == 2 and [line.about for line in done.parts[0].lines] == ["2027-06-11, cove"]
    assert len(store.events(DAY)) == 3


def test_of_what_went_no_byte_is_left_in_the_file_of_a_sqlite_store(tmp_path):
    path = tmp_path / "store.sqlite"
    store = Store(sqlite_url(path))
    keep(store, *dive(DAY), *(entry(DAY, 60 + n, text=f"Zanzibar numbness {n}") for n in range(50)))
    store.keep_plan(replace(plan("00000001", DAY), inputs={"people": "Quicksilver papers"}))
    keep(store, *dive(NOW.date()))
    purge(store, RULES, NOW, "Greta")
    store.close()
    held = b"".join(file.read_bytes() for file in tmp_path.glob("store.sqlite*"))
    assert b"Zanzibar" not in held and b"Quicksilver" not in held and b"Terns" in held


# ---- what must never happen ----

DAYS = [date(2021, 1, 1) + timedelta(days=97 * n) for n in range(28)]  # to June 2028
WORDS = st.sampled_from(["none", "None.", "dizzy"])
KINDS = st.sampled_from(["in", "out", "note", "discomfort", "incident", "depth"])


@st.composite
def histories(draw) -> list[Event]:
    made: list[Event] = []
    for number in range(draw(st.integers(1, 14))):
        day, kind = draw(st.sampled_from(DAYS)), draw(KINDS)
        words = draw(WORDS) if kind == "discomfort" else "told"
        value = 9.0 if kind == "depth" else None
        who, site = draw(st.sampled_from(["Ben", "Cy"])), draw(st.sampled_from(["cove", "reef"]))
        at = noon(day) + timedelta(minutes=number)
        made.append(entry(day, number, kind, text=words, person=who, site=site, value=value, at=at))
    return made


def harmful(event: Event) -> bool:
    return event.kind == "incident" or (event.kind == "discomfort" and event.text == "dizzy")


def inside(events: list[Event]) -> Iterator[str]:
    """Yield who went in last and did not come out, by the plain order of the entries."""
    for who in ("Ben", "Cy"):
        moves = [e.kind for e in sorted(events, key=lambda e: e.at) if e.person == who and e.kind in ("in", "out")]
        if moves and moves[-1] == "in":
            yield who


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(history=histories(), days_on=st.integers(0, 2500))
def test_whatever_happened_nothing_goes_too_soon_and_days_go_whole(tmp_path_factory, history, days_on):
    now = datetime(2026, 1, 1, 12, tzinfo=UTC) + timedelta(days=days_on)
    history = [event for event in history if event.day <= now.date()]
    store = Store(sqlite_url(tmp_path_factory.mktemp("never") / "store.sqlite"))
    try:
        keep(store, *history)
        purge(store, RULES, now, "Greta")
        with store._reading() as connection:
            left = set(connection.execute(select(EVENTS.c.uid)).scalars())
    finally:
        store.close()
    places: dict[tuple[date, str], list[Event]] = {}
    for event in history:
        places.setdefault((event.day, event.site), []).append(event)
    for (day, _), events in places.items():
        uids = {event.uid for event in events}
        assert uids <= left or not uids & left
        ago = (now.date() - day).days
        must_stay = (
            ago <= 365
            or (any(map(harmful, events)) and ago <= 2 * 365)
            or (any(e.kind == "discomfort" and harmful(e) for e in events) and ago <= 5 * 365)
            or any(inside(events))
        )
        if must_stay:
            assert uids <= left, (day, events)
        elif ago > 366 and not any(map(harmful, history)):
            assert not uids & left, (day, events)  # and nothing lies about for ever


# ---- what is there, and people ----


def test_a_store_says_what_it_holds_and_that_it_is_whole(store):
    full(store)
    found = holding(store)
    assert found.fault == "" and (found.first, found.last) == (DAY, DAY + timedelta(days=9))
    assert {name: found.rows[name] for name in ("events", "plans", "ticks", "request_versions", "audit")} == {
        "events": 4, "plans": 1, "ticks": 1, "request_versions": 2, "audit": 1,
    }  # fmt: skip


def test_a_store_without_a_guard_says_so(store, address):
    engine = create_engine(address)
    with engine.begin() as connection:
        if engine.dialect.name == "sqlite":
            connection.execute(text("DROP TRIGGER events_no_update"))
            connection.execute(text("DROP TRIGGER events_no_delete"))
        else:
            connection.execute(text("DROP TRIGGER events_only_grows ON events"))
    engine.dispose()
    assert "keeps events from being changed" in holding(store).fault


def test_people_are_named_whose_dives_and_papers_are_all_too_old(store):
    today = date(2030, 1, 1)  # 1827 days before is 31 December 2024
    people = [
        person("Old", last_dive=date(2020, 1, 1), medical=date(2024, 12, 30)),
        person("Edge", last_dive=date(2020, 1, 1), medical=date(2024, 12, 31)),
        person("Diver", last_dive=date(2029, 1, 1), medical=date(2020, 1, 1)),
        person("Doctor", last_dive=None, medical=date(2020, 1, 1), medical_doctor=date(2028, 1, 1)),
        person("Seen", last_dive=date(2020, 1, 1), medical=date(2020, 1, 1)),
        person("Never", last_dive=None, medical=None, medical_clear=False),
    ]
    keep(store, *dive(date(2028, 1, 1), " SEEN"))
    tick(store, 1, date(2029, 2, 3), "Ticked")
    seen = last_days(store)
    assert seen == {"seen": date(2028, 1, 1), "ticked": date(2029, 2, 3)}
    old, undated = past_keeping(people, RULES, today, seen)
    assert [(each.name, each.last) for each in old] == [("Old", date(2024, 12, 30))]
    assert undated == ("Never",)
