"""What every edit of a schedule is made of: its words, what it is judged against, and how it is refused."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from datetime import date, datetime
from itertools import groupby
from typing import Annotated, Any

from pydantic import BeforeValidator

from tripplan.errors import TripplanError
from tripplan.planning.request import Day
from tripplan.planning.schedule_request import ScheduleRequest, SchoolGroup, Worker
from tripplan.planning.world import World
from tripplan.record import Misfit, Record

Applied = tuple[ScheduleRequest, World]
LONGEST_SENTENCE = 2_000  # letters: of a list with a fault in each of its items the first ones are enough


class EditRefused(TripplanError, ValueError):
    """An edit does not fit; ``sentence`` says what was given and what is accepted, ``edit`` is the edit, if any."""

    def __init__(self, sentence: str, edit: BaseEdit | None = None) -> None:
        self.sentence = sentence if len(sentence) <= LONGEST_SENTENCE else f"{sentence[:LONGEST_SENTENCE]} ..."
        self.edit = edit
        super().__init__(self.sentence)


def listed(words: Sequence[str]) -> str:
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def days_words(days: Sequence[date]) -> str:
    """Return days in words, like "9, 10 and 12 December 2026"; "all days" for none."""
    months = []
    for _, same in groupby(sorted(days), key=lambda day: (day.year, day.month)):
        found = list(same)
        months.append(f"{listed([str(day.day) for day in found])} {found[0]:%B %Y}")
    return ", and ".join(months) or "all days"


def dives_words(numbers: Sequence[int], group: str) -> str:
    what = "Dive" if len(numbers) == 1 else "Dives"
    return f"{what} {listed([str(number) for number in numbers])} of {group}"


def are(numbers: Sequence[Any]) -> str:
    return "is" if len(numbers) == 1 else "are"


def site_name(slug: str, world: World | None) -> str:
    return world.sites[slug].name if world is not None and slug in world.sites else slug


def _day_word(value: object) -> object:
    """Read "YYYY-MM-DD" where a date is wanted: what a page posts and a store keeps has no dates."""
    if isinstance(value, date) and not isinstance(value, datetime):
        return value
    try:
        if isinstance(value, str) and len(value.strip()) == len("2026-12-09"):
            return date.fromisoformat(value.strip())
    except ValueError:
        pass
    raise ValueError('a day is written "YYYY-MM-DD", like "2026-12-09"')


EditDay = Annotated[Day, BeforeValidator(_day_word)]


EditDays = tuple[EditDay, ...]


def twice(values: Sequence[Any], key: str) -> Iterator[Misfit]:
    for index, value in enumerate(values):
        if value in values[:index]:
            yield (key, index), f'is "{value}", which stands in the list already'


def found_group(request: ScheduleRequest, name: str) -> SchoolGroup:
    for group in request.groups:
        if group.name == name:
            return group
    raise EditRefused(f'There is no group "{name}"; the groups are {listed([one.name for one in request.groups])}.')


def found_worker(request: ScheduleRequest, name: str) -> Worker:
    for worker in request.crew:
        if worker.name == name:
            return worker
    crew = listed([one.name for one in request.crew])
    raise EditRefused(f'"{name}" is not in the crew of these days; the crew is {crew}.')


def known_sites(world: World, *slugs: str | None) -> None:
    for slug in slugs:
        if slug is not None and slug not in world.sites:
            known = ", ".join(world.sites) or "none"
            raise EditRefused(f'Site "{slug}" is not in the catalogue; known: {known}.')


def within(request: ScheduleRequest, *days: date | None) -> None:
    for day in days:
        if day is not None and day not in request.dates:
            first, last = days_words(request.dates[:1]), days_words(request.dates[-1:])
            raise EditRefused(f"{days_words([day])} is not one of these days, which go from {first} to {last}.")


def found_dives(group: SchoolGroup, numbers: Iterable[int]) -> None:
    has = len(group.dives)
    for number in numbers:
        if number > has:
            dives = "1 dive" if has == 1 else f"{has} dives"
            raise EditRefused(f'"{group.name}" has {dives}; there is no dive {number}.')


class BaseEdit(Record):
    """Base of the edits: each has its own words and its own way onto a request."""

    def words(self, world: World | None) -> str:
        """Return one plain sentence of what it does; sites by name where the world knows them."""
        raise NotImplementedError

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Return request and world changed, not yet judged.  Raises EditRefused where it cannot fit."""
        raise NotImplementedError


def nothing_given(parts: Mapping[str, Any], keys: Sequence[str]) -> Iterator[Misfit]:
    if all(key in parts and parts[key] is None for key in keys):
        yield (keys[0],), f"is missing; give at least one of {', '.join(keys)}"


def given_of(edit: Record, keys: Sequence[str]) -> dict[str, Any]:
    return {key: getattr(edit, key) for key in keys if getattr(edit, key) is not None}
