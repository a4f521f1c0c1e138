"""The days on which the store has an entry about a person, the same on SQLite and PostgreSQL."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest

from tripplan.planning.event import Event

NOW = datetime(2027, 6, 12, 9, 30, tzinfo=UTC)
DAY = date(2027, 6, 12)


def entry(uid: str, person: str, days: int = 0, site: str = "cove", **other: object) -> Event:
    made = Event(uid, NOW, DAY + timedelta(days=days), site, "in", "Ann", person=person, group="Terns", dive=1)
    return replace(made, **other)  # type: ignore[arg-type]


def test_each_day_and_site_with_an_entry_about_a_person_comes_once_in_order(store):
    store.add(
        [
            entry("entry-0001", "Ben", 3),
            entry("entry-0002", "Ben", 0),
            entry("entry-0003", "Ben", 0, group="Skuas"),
            entry("entry-0004", "Ben", 0, "pier"),
            entry("entry-0005", "Cy", 1),
        ],
        NOW,
    )
    assert store.days_of("Ben") == ((DAY, "cove"), (DAY, "pier"), (DAY + timedelta(days=3), "cove"))
    assert store.days_of("Cy") == ((DAY + timedelta(days=1), "cove"),)
    assert store.days_of("Nobody") == () == store.days_of("")


@pytest.mark.parametrize("asked", ["José Núñez", "JOSÉ  NÚÑEZ", " jose\u0301 nu\u0301n\u0303ez "])
def test_names_are_compared_as_on_a_beach_and_no_further(store, asked):
    store.add(
        [entry("entry-0001", "José Núñez"), entry("entry-0002", "josé  NÚÑEZ", 1), entry("entry-0003", "Jose")], NOW
    )
    assert [day for day, _ in store.days_of(asked)] == [DAY, DAY + timedelta(days=1)]


def test_an_entry_about_nobody_and_one_that_somebody_only_wrote_make_no_day(store):
    note = Event("entry-0009", NOW, DAY, "cove", "note", "Ben", text="calm")
    store.add([note], NOW)
    assert store.days_of("Ben") == () == store.days_of("")
