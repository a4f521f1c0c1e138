"""From the words of a form to a request: what was chosen, and a sentence for each field that cannot be used."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime, time, timedelta
from typing import Any, Literal
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from tripplan.catalogue.site import Site
from tripplan.environment.conditions import Seen
from tripplan.errors import OutOfRange
from tripplan.people.skills import as_compared as _alike
from tripplan.planning.observed import VALUES, Observed, seen_of
from tripplan.planning.replan import LONGEST_DELAY_MIN
from tripplan.planning.request import Altitude, DiveWish, GroupWish, RecentDive, Request
from tripplan.record import describe_fault
from tripplan.store.folder import Folder

LONGEST_AHEAD_DAYS = 730  # two years: farther ahead neither people nor telephone numbers mean anything


@dataclass(frozen=True)
class Choice:
    """What the form holds, as typed, so that a refused form comes back with nothing lost."""

    site: str = ""
    day: str = ""
    groups: tuple[str, ...] = ()
    depth: str = ""
    minutes: str = ""
    not_before: str = ""
    arrived: str = ""
    settled: bool = False
    asked: bool = False
    seen: tuple[tuple[str, str], ...] = ()  # what somebody saw on the spot, as typed, by name of the field
    seen_at: str = ""  # when, "HH:MM" local
    seen_by: str = ""
    delay: str = ""  # minutes
    errors: Mapping[str, str] = field(default_factory=dict)

    @property
    def query(self) -> dict[str, Any]:
        """The choice as query parameters, empty ones left out."""
        values: dict[str, Any] = {
            "site": self.site,
            "date": self.day,
            "group": list(self.groups),
            "depth": self.depth,
            "minutes": self.minutes,
            "not_before": self.not_before,
            "arrived": self.arrived,
            "settled": "yes" if self.settled else "",
            "asked": "yes" if self.asked else "",
            **dict(self.seen),
            "seen_at": self.seen_at,
            "seen_by": self.seen_by,
            "delay": self.delay,
        }
        return {key: value for key, value in values.items() if value}

    @property
    def date(self) -> date:
        """The day of a choice that was planned."""
        return date.fromisoformat(self.day)

    def saw(self, name: str) -> str:
        """Return what was typed into one field of what was seen."""
        return dict(self.seen).get(name, "")

    @property
    def changed(self) -> bool:
        """Whether something seen or a delay makes this plan another than the one before it."""
        return bool(self.seen or self.delay)

    @property
    def unchanged(self) -> Choice:
        """The choice without what was seen and without delay."""
        return replace(self, seen=(), seen_at="", seen_by="", delay="", errors={})


class BadChoice(ValueError):
    """Some fields of the form cannot be used; ``choice`` holds what was typed and the sentences."""

    def __init__(self, choice: Choice) -> None:
        self.choice = choice
        super().__init__("; ".join(choice.errors.values()))


def all_groups(folder: Folder) -> dict[str, tuple[GroupWish, Request]]:
    """Return every group of the ready requests with the request it stands in, by what it is chosen by.

    That is its name; where other requests have a group of that name too, its request's name stands behind it, and the
    name alone is nobody: an address that was kept would otherwise plan other people than it did.
    """
    each = [(name, request, group) for name, request in folder.requests.items() for group in request.groups]
    many = Counter(_alike(group.name) for _, _, group in each)
    return {
        group.name if many[_alike(group.name)] == 1 else f"{group.name} ({name})": (group, request)
        for name, request, group in each
    }


def near_date(timezone: str, now: datetime) -> date:
    """Return today at the site, or tomorrow when it is past noon there."""
    local = now.astimezone(ZoneInfo(timezone))
    return local.date() + timedelta(days=1 if local.hour >= 12 else 0)


def choice_of(request: Request, day: date, folder: Folder) -> Choice:
    """Return the choice that asks for a ready request of a folder on a day; what it says stands in the form.

    Who was asked about recent dives was asked for the request's own date: on another one they are to be asked again.
    """
    return Choice(
        site=request.site,
        day=day.isoformat(),
        groups=tuple(key for key, (_, held) in all_groups(folder).items() if held is request),
        arrived=f"{request.altitude.arrived:%H:%M}" if request.altitude.arrived else "",
        settled=request.altitude.settled,
        asked=request.recent_dives is not None and day == request.date,
    )


def request_for(slug: str, folder: Folder) -> Request | None:
    """Return the ready request to start from at a site: the first one there, else the first of all."""
    held = [request for request in folder.requests.values() if request.site in folder.sites]
    return next((request for request in held if request.site == slug), held[0] if held else None)


def choice_at(slug: str, day: date, folder: Folder) -> Choice:
    """Return the choice that a site's page offers for one of its days."""
    start = request_for(slug, folder)
    if start is None:
        return Choice(site=slug, day=day.isoformat())
    choice = choice_of(start, day, folder)
    return choice if start.site == slug else replace(choice, site=slug, arrived="", settled=False)


def first_choice(folder: Folder, now: datetime) -> Choice | None:
    """Return the choice that the first page shows: the first ready request, on a near date; None without one."""
    start = request_for("", folder)
    return choice_of(start, near_date(folder.sites[start.site].timezone, now), folder) if start else None


def read_choice(arguments: Any) -> Choice:
    """Return what the query parameters hold, as typed."""
    return Choice(
        site=arguments.get("site", "").strip(),
        day=arguments.get("date", "").strip(),
        groups=tuple(dict.fromkeys(name for name in arguments.getlist("group") if name.strip())),
        depth=arguments.get("depth", "").strip(),
        minutes=arguments.get("minutes", "").strip(),
        not_before=arguments.get("not_before", "").strip(),
        arrived=arguments.get("arrived", "").strip(),
        settled=arguments.get("settled", "") == "yes",
        asked=arguments.get("asked", "") == "yes",
        seen=tuple((name, text) for name in VALUES if (text := arguments.get(name, "").strip())),
        seen_at=arguments.get("seen_at", "").strip(),
        seen_by=arguments.get("seen_by", "").strip(),
        delay=arguments.get("delay", "").strip(),
    )


def seen_in(choice: Choice, folder: Folder) -> tuple[Seen, ...]:
    """Return what the form says was seen at the site.  Raises BadChoice with a sentence for each field."""
    if not choice.seen:
        return ()
    errors: dict[str, str] = {}
    moment = _moment_seen(choice, folder.sites[choice.site], errors)
    values: dict[str, Any] = {"by": choice.seen_by}
    for name, text in choice.seen:
        try:
            values[name] = _yes_no(text) if name == "thunder" else float(text.replace(",", "."))
        except ValueError:
            errors[name] = f'"{text}" is not {"yes or no" if name == "thunder" else "a number"}.'
    if errors or moment is None:
        raise BadChoice(replace(choice, errors=errors))
    try:
        return seen_of(Observed.model_validate({**values, "time": moment}))
    except ValidationError as error:
        sentences = describe_fault(error, Observed)
        for sentence in sentences:
            name = next((name for name in ("by", *values) if sentence.startswith(name)), "seen_at")
            errors.setdefault("seen_by" if name == "by" else name, sentence[0].upper() + sentence[1:].rstrip(".") + ".")
        raise BadChoice(replace(choice, errors=errors)) from error
    except OutOfRange as error:
        raise BadChoice(replace(choice, errors={"seen_at": f"{error}."})) from error


def _yes_no(text: str) -> bool:
    if text not in ("yes", "no"):
        raise ValueError(text)
    return text == "yes"


def _moment_seen(choice: Choice, site: Site, errors: dict[str, str]) -> datetime | None:
    """Return when it was seen, on the day of the plan; a time that the clock shows twice is the earlier one."""
    try:
        clock = time.fromisoformat(choice.seen_at)
    except ValueError:
        given = f'"{choice.seen_at}" is not a time' if choice.seen_at else "The time is missing"
        errors["seen_at"] = f"{given}; say when it was seen, like 08:10."
        return None
    return datetime.combine(date.fromisoformat(choice.day), clock.replace(tzinfo=None), tzinfo=ZoneInfo(site.timezone))


def delay_in(choice: Choice) -> int:
    """Return the delay in minutes, 0 for none.  Raises BadChoice for what is not one."""
    if not choice.delay:
        return 0
    if not re.fullmatch(r"[0-9]{1,3}", choice.delay) or int(choice.delay) > LONGEST_DELAY_MIN:
        words = f'"{choice.delay}" is not a delay; give whole minutes from 0 to {LONGEST_DELAY_MIN}.'
        raise BadChoice(replace(choice, errors={"delay": words}))
    return int(choice.delay)


def request_of(choice: Choice, folder: Folder, today: date) -> Request:
    """Turn a choice into a request.  Raises BadChoice with a sentence for each field that cannot be used."""
    errors: dict[str, str] = {}
    site = folder.sites.get(choice.site)
    if site is None:
        errors["site"] = f'Site "{choice.site}" is not in the catalogue; choose one of the list.'
    day = _day(choice.day, today, errors)
    known = all_groups(folder)
    unknown = [name for name in choice.groups if name not in known]
    if unknown:
        errors["group"] = f'Group "{unknown[0]}" is not known; known: {", ".join(known) or "none"}.'
    elif len({_alike(known[key][0].name) for key in choice.groups}) < len(choice.groups):
        errors["group"] = "Two of the groups have one name: plan them apart, or give one of them another name."
    elif not choice.groups:
        errors["group"] = "Choose at least one group."
    first = _first_dive(choice, errors)
    altitude = _altitude(choice, errors)
    if errors or site is None or day is None:
        raise BadChoice(replace(choice, errors=errors))
    chosen = [known[name] for name in choice.groups]
    base = chosen[0][1]
    # A pressure was measured at one place on one day; anywhere else it would be a guess.
    measured_here = base.site == choice.site and base.date == day
    groups = [_moved(group, choice.site == request.site, first) for group, request in chosen]
    return base.model_copy(
        update={
            "title": f"{' and '.join(group.name for group in groups)} at {site.name}",
            "site": choice.site,
            "date": day,
            "groups": tuple(groups),
            "recent_dives": _recent([request for _, request in chosen], choice.asked),
            "measured_pressure_bar": base.measured_pressure_bar if measured_here else None,
            "altitude": altitude,
        }
    )


def _recent(requests: Sequence[Request], asked: bool) -> tuple[RecentDive, ...] | Literal["none"] | None:
    """Return the dives that the ready requests have written down; the tick in the form never wipes them away."""
    written = [dive for each in requests if isinstance(each.recent_dives, tuple) for dive in each.recent_dives]
    if written:
        return tuple(dict.fromkeys(written))
    return "none" if asked else None


def _day(text: str, today: date, errors: dict[str, str]) -> date | None:
    try:
        day = date.fromisoformat(text)
    except ValueError:
        errors["date"] = f'Date "{text}" is not a date; write it like {today.isoformat()}.'
        return None
    if not abs((day - today).days) <= LONGEST_AHEAD_DAYS:
        errors["date"] = f"Date {text} is more than {LONGEST_AHEAD_DAYS} days from today."
        return None
    return day


def _first_dive(choice: Choice, errors: dict[str, str]) -> Mapping[str, Any]:
    """Return what the form changes in each group's first dive."""
    wish: dict[str, Any] = {}
    for name, key, text, read in (
        ("depth", "depth_m", choice.depth, float),
        ("minutes", "minutes", choice.minutes, int),
        ("not_before", "not_before", choice.not_before, str),
    ):
        if text:
            try:
                wish[key] = read(text.replace(",", "."))
                DiveWish.model_validate({key: wish[key]})
            except ValidationError as error:
                errors[name] = _in_form(describe_fault(error, DiveWish), key, name)
            except ValueError:
                errors[name] = f'"{text}" is not a {"whole " if read is int else ""}number.'
    return {} if errors else DiveWish.model_validate(wish).model_dump(exclude_unset=True)


def _altitude(choice: Choice, errors: dict[str, str]) -> Altitude:
    if choice.settled or not choice.arrived:
        return Altitude(settled=choice.settled)
    try:
        return Altitude.model_validate({"arrived": choice.arrived})
    except ValidationError as error:
        errors["arrived"] = _in_form(describe_fault(error, Altitude), "arrived", "arrived")
        return Altitude()


_LABELS = {"depth": "The depth", "minutes": "The bottom time", "not_before": "Not before", "arrived": "The arrival"}


def _in_form(sentences: Sequence[str], key: str, name: str) -> str:
    """Return the first sentence with the field called as the form calls it."""
    return sentences[0].replace(key, _LABELS[name], 1) + "."


def _moved(group: GroupWish, same_site: bool, first: Mapping[str, Any]) -> GroupWish:
    """Return a group with the form's first dive; at another site its place and ways in and out are chosen anew."""
    update: dict[str, Any] = {}
    if not same_site:
        update.update({"place": None, "going_in_by": None, "coming_out_by": None})
    if first:
        dive = group.dives[0].model_copy(update={**first, **({"entry": None} if "not_before" in first else {})})
        update["dives"] = (dive, *group.dives[1:])
    return group.model_copy(update=update)
