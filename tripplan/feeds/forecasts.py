"""The forecast for a place, from every service that the centre asks, together within a few seconds."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterable
from datetime import UTC, datetime
from functools import partial

from tripplan.environment.conditions import QUANTITIES, Forecast, Note, Series
from tripplan.errors import require
from tripplan.feeds import met_norway, national_weather_service, open_meteo
from tripplan.feeds.answer import Asked, Lack, Part, Source, note_of
from tripplan.feeds.session import FeedSession
from tripplan.feeds.settings import FeedSettings

PATIENCE_S = 20.0  # how long a question goes on alone, after the plan has stopped waiting for it
QUIET_S = 30.0  # how long a service that let everybody wait in vain is not asked again


def fetch_forecast(
    latitude_deg: float,
    longitude_deg: float,
    settings: FeedSettings,
    session: FeedSession,
    now: datetime,
    *,
    sea: bool = True,
) -> Forecast | None:
    """Return what the centre's services say about a place, from three days ago to a week ahead.

    now  aware; when it is asked
    sea  False for inland water: waves are not asked for

    All services are asked at once. One that has not answered after ``settings.wait_s`` goes on alone, so that its
    answer is there for the next plan; here its last kept answer stands in, marked stale, or a note says that it did
    not answer. Who asks while a question runs waits no longer than the first does, and after one that was in vain
    nobody waits for ``QUIET_S``: many pages at once are not held up by a service that is silent. Nothing is raised for
    what a service does. None where the centre asks no service.
    Raises OutOfRange for a place that is not on the globe, ValueError for a naive time.
    """
    require("latitude", latitude_deg, -90, 90, "degrees")
    require("longitude", longitude_deg, -180, 180, "degrees")
    if now.tzinfo is None:
        raise ValueError("now needs its offset from UTC")
    sources = sources_of(settings, sea=sea)
    if not sources:
        return None
    asked = Asked(latitude_deg, longitude_deg, now.astimezone(UTC))
    begun = time.monotonic()
    calls = [
        session.start(
            (source.words, f"{latitude_deg:.4f}", f"{longitude_deg:.4f}", sea),
            partial(source.fetch, session, asked, begun + max(settings.wait_s, PATIENCE_S)),
            lambda part, taken_s: QUIET_S if taken_s >= settings.wait_s and _in_vain(part) else 0.0,
        )
        for source in sources
    ]
    parts: list[Part] = []
    for source, call in zip(sources, calls, strict=True):
        if not call.wait(call.begun + settings.wait_s):
            parts.append(_late(source, session, asked, settings.wait_s))
        elif isinstance(call.result, Part):
            parts.append(call.result)
        else:  # a fault of ours, or of the disk: told here by its kind only, since its words may hold an address
            logging.getLogger(__name__).error("%s: %s", source.words, type(call.error).__name__)
            parts.append(Part(notes=(note_of(source.words, "its answer could not be read", asked),)))
    return _joined(parts)


def sources_of(settings: FeedSettings, *, sea: bool) -> tuple[Source, ...]:
    """Return the questions that the settings ask, in order of preference."""
    questions: list[Source] = []
    for name in settings.order:
        if name == "open_meteo":
            questions += open_meteo.sources(settings.open_meteo, sea=sea)
        elif name == "met_norway":
            questions += met_norway.sources(settings.met_norway, sea=sea)
        else:
            questions += national_weather_service.sources(settings.national_weather_service, sea=sea)
    return tuple(questions)


def _in_vain(part: object) -> bool:
    """Return whether a question brought nothing new."""
    return not isinstance(part, Part) or not part.series or any(one.origin.stale for one in part.series)


def _late(source: Source, session: FeedSession, asked: Asked, wait_s: float) -> Part:
    """Return the last kept answer of a source that is still silent, with a note in any case."""
    kept = source.fetch(session, asked, None)
    return kept if kept.series else Part(notes=(note_of(source.words, f"did not answer within {wait_s:g} s", asked),))


def _joined(parts: Iterable[Part]) -> Forecast:
    """Put the parts together: fresh series before stale ones, each in order of preference."""
    found = tuple(parts)
    series = sorted((one for part in found for one in part.series), key=lambda one: one.origin.stale)
    members = next((part.members for part in found if part.members), ())
    return Forecast(tuple(series), _notes(found, series), members)


def _notes(parts: Iterable[Part], series: Iterable[Series]) -> tuple[Note, ...]:
    """Return the notes; what a source lacks and another tells is no lack, the rest of a source is said at once."""
    told = {one.quantity for one in series}
    notes: list[Note] = []
    for part in parts:
        lacks = [note for note in part.notes if isinstance(note, Lack) and note.quantity not in told]
        notes += [note for note in part.notes if not isinstance(note, Lack)]
        if lacks:
            words = ", ".join(QUANTITIES[note.quantity].words for note in lacks)
            first = lacks[0]
            sentence = first.sentence.replace(QUANTITIES[first.quantity].words, words, 1)
            notes.append(Note(first.source, sentence, first.asked))
    return tuple(notes)
