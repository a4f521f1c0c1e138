"""Edits of the groups: what they want, who stays behind, and a group that is left out."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Literal

from pydantic import Field

from tripplan.planning.edit_base import (
    Applied,
    BaseEdit,
    EditDays,
    EditRefused,
    days_words,
    found_group,
    found_worker,
    given_of,
    known_sites,
    listed,
    nothing_given,
    site_name,
    twice,
    within,
)
from tripplan.planning.request import Name
from tripplan.planning.schedule_request import Names, ScheduleRequest, SchoolGroup
from tripplan.planning.world import World
from tripplan.record import ClockTime, Misfit

_SET_BY_EDIT = (
    "days", "sites", "not_sites", "not_before", "not_after", "most_dives_per_day", "apart_h", "preferred_days",
    "preferred_leader",
)  # fmt: skip
Cleared = Literal["not_before", "not_after", "most_dives_per_day", "apart_h", "preferred_leader"]
_CLEARED_WORDS: Mapping[str, str] = {
    "not_before": "leaves at any time",
    "not_after": "is back at any time",
    "most_dives_per_day": "makes as many dives a day as the rule says",
    "apart_h": "has as many hours between outings as the rule says",
    "preferred_leader": "prefers no leader",
}


class LeaveOutDiversEdit(BaseEdit):
    """Some divers do not dive with their group."""

    do: Literal["leave_out"] = "leave_out"
    group: Name = Field(description="name of the group")
    divers: Names = Field(min_length=1, description="names as in the roster")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield names that stand twice."""
        yield from twice(parts.get("divers", ()), "divers")

    def words(self, world: World | None) -> str:
        """Return who stays behind."""
        do = "does" if len(self.divers) == 1 else "do"
        return f"{listed(self.divers)} {do} not dive with {self.group}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take them out, their gas too; where somebody of a pair is left alone, pairs are proposed anew."""
        group = found_group(request, self.group)
        for name in self.divers:
            if name not in group.divers:
                its = listed(group.divers)
                raise EditRefused(f'"{name}" does not dive with {group.name}; its divers are {its}.')
        divers = tuple(name for name in group.divers if name not in self.divers)
        if not divers:
            raise EditRefused(f"Nobody would be left in {group.name}; leave the whole group out instead.")
        pairs: tuple[tuple[str, ...], ...] | None = None
        if group.pairs is not None:
            left = [tuple(name for name in pair if name not in self.divers) for pair in group.pairs]
            if all(len(pair) != 1 for pair in left):
                pairs = tuple(pair for pair in left if pair)
        mixes = {name: percent for name, percent in group.mixes.items() if name not in self.divers}
        return _with_group(request, group, {"divers": divers, "pairs": pairs, "mixes": mixes}), world


class GroupEdit(BaseEdit):
    """What a group wants. What is left out stays; an empty list means all, or none preferred; ``clear`` takes away."""

    do: Literal["group"] = "group"
    group: Name = Field(description="name of the group")
    days: EditDays | None = Field(default=None, description="days on which it can come; []: all")
    preferred_days: EditDays | None = Field(default=None, description="days that it would like best; []: none")
    preferred_leader: Name | None = Field(default=None, description="name as in the roster")
    sites: Names | None = Field(default=None, description="sites it may go to; []: all that suit")
    not_sites: Names | None = Field(default=None, description="sites it is not to go to; []: none")
    not_before: ClockTime | None = Field(default=None, description='leaves no earlier, "HH:MM" local')
    not_after: ClockTime | None = Field(default=None, description='is back by, "HH:MM" local')
    most_dives_per_day: int | None = Field(default=None, ge=1, le=6, description="dives in one day")
    apart_h: float | None = Field(
        default=None, ge=0, le=336, description="hours between one outing of it and the next"
    )  # fmt: skip
    clear: tuple[Cleared, ...] = Field(default=(), description="keys to take away, so that the rule or nothing counts")

    @classmethod
    def misfits(cls, parts: Mapping[str, Any]) -> Iterator[Misfit]:
        """Yield lists in which something stands twice, a key both set and taken away, and a change of nothing."""
        for key in ("days", "preferred_days", "sites", "not_sites", "clear"):
            yield from twice(parts.get(key) or (), key)
        for index, key in enumerate(parts.get("clear", ())):
            if parts.get(key) is not None:
                yield ("clear", index), f'is "{key}", which is set too; give one of the two'
        if parts.get("clear") == ():
            yield from nothing_given(parts, _SET_BY_EDIT)

    def words(self, world: World | None) -> str:
        """Return what the group wants now."""

        def places(slugs: Sequence[str], none: str) -> str:
            return listed([site_name(slug, world) for slug in slugs]) if slugs else none

        dives = self.most_dives_per_day
        said = [
            f"comes on {days_words(self.days)}" if self.days is not None else "",
            ("prefers " + (days_words(self.preferred_days) if self.preferred_days else "no day"))
            if self.preferred_days is not None
            else "",
            f"prefers {self.preferred_leader} as leader" if self.preferred_leader is not None else "",
            f"may go to {places(self.sites, 'all sites that suit')}" if self.sites is not None else "",
            f"does not go to {places(self.not_sites, 'no site by name')}" if self.not_sites else "",
            "is kept from no site by name" if self.not_sites == () else "",
            f"leaves no earlier than {self.not_before:%H:%M}" if self.not_before is not None else "",
            f"is back by {self.not_after:%H:%M}" if self.not_after is not None else "",
            f"makes at most {dives} {'dive' if dives == 1 else 'dives'} a day" if dives is not None else "",
            f"has at least {self.apart_h:g} h between outings" if self.apart_h is not None else "",
            *(_CLEARED_WORDS[key] for key in self.clear),
        ]
        return f"{self.group} {listed([each for each in said if each])}."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Set what is given and take away what is to be cleared."""
        group = found_group(request, self.group)
        within(request, *(self.days or ()), *(self.preferred_days or ()))
        known_sites(world, *(self.sites or ()), *(self.not_sites or ()))
        if self.preferred_leader is not None:
            found_worker(request, self.preferred_leader)
        changed: dict[str, Any] = {key: None for key in self.clear}
        return _with_group(request, group, {**given_of(self, _SET_BY_EDIT), **changed}), world


class WithoutGroupEdit(BaseEdit):
    """A group is left out with its pins and exclusions."""

    do: Literal["without"] = "without"
    group: Name = Field(description="name of the group")

    def words(self, world: World | None) -> str:
        """Return who is left out."""
        return f"{self.group} is left out, with what was settled and excluded for it."

    def onto(self, request: ScheduleRequest, world: World) -> Applied:
        """Take the group away."""
        group = found_group(request, self.group)
        if len(request.groups) == 1:
            raise EditRefused(f"{group.name} is the only group; without it there is nothing to plan.")
        update = {
            key: tuple(each for each in getattr(request, key) if each.group != group.name)
            for key in ("pinned", "excluded")
        }
        groups = tuple(each for each in request.groups if each is not group)
        return request.model_copy(update={"groups": groups, **update}), world


def _with_group(request: ScheduleRequest, group: SchoolGroup, update: Mapping[str, Any]) -> ScheduleRequest:
    groups = tuple(each.model_copy(update=dict(update)) if each is group else each for each in request.groups)
    return request.model_copy(update={"groups": groups})
