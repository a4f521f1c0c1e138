"""Outings and shore teams as they are chosen, what a day plan refused of them, and the points that they earn."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tripplan.planning.outings import Ground, Run
from tripplan.planning.schedule import Schedule


@dataclass(frozen=True)
class Made:
    """One outing as chosen."""

    run: Run
    start: int  # first entry, minutes since 1970 UTC
    leader: str  # "" for a group that nobody leads
    assistants: tuple[str, ...]
    vehicles: tuple[str, ...] = ()
    fill_from: int | None = None  # when its cylinders go on the compressor, minutes since 1970 UTC; None: they do not

    @property
    def crew(self) -> tuple[str, ...]:
        """Who leads and assists."""
        return ((self.leader,) if self.leader else ()) + self.assistants

    @property
    def leaves(self) -> int:
        """When it leaves the centre."""
        return self.start - self.run.before_min

    @property
    def back(self) -> int:
        """When it is back."""
        return self.start + self.run.after_min

    @property
    def on_site(self) -> int:
        """When it arrives."""
        return self.start - self.run.on_site_min

    @property
    def off_site(self) -> int:
        """When it leaves the site."""
        return self.start + self.run.off_site_min


@dataclass(frozen=True)
class Ashore:
    """A shore team as chosen."""

    site: str
    day: date
    people: tuple[str, ...]
    vehicles: tuple[str, ...]
    on_site: int
    off_site: int


@dataclass(frozen=True)
class Solution:
    """What is made, in order of time."""

    made: tuple[Made, ...]
    ashore: tuple[Ashore, ...]


@dataclass(frozen=True)
class Cut:
    """Outings and teams that a day plan refused together: not all of them again, each with the same people."""

    made: tuple[Made, ...]
    ashore: tuple[Ashore, ...] = ()


def points_of(solution: Solution, ground: Ground, before: Schedule | None) -> dict[str, int]:
    """Return the points of a solution by what they are for; their sum is what the solver makes as large as it can."""
    weight = weights_of(ground)
    cap = ground.whole("schedule.margin_counted_min")
    names = ("dives", "leaders", "days", "margin", "outings", "kilometres", "shore", "load", "moved")
    points = dict.fromkeys(names, 0)
    loads: dict[str, int] = {}
    for made in solution.made:
        group = ground.group(made.run.block.group)
        count = len(made.run.block.numbers)
        points["dives"] += weight["dive"] * count
        points["leaders"] += weight["leader"] * count * (made.leader == group.preferred_leader)
        points["days"] += weight["day"] * count * (made.run.day in group.preferred_days)
        points["margin"] += weight["margin"] * count * min(cap, made.run.latest - made.start)
        points["outings"] -= weight["outing"]
        points["kilometres"] -= km_points(ground, made.run.site)
        for name in made.crew:
            loads[name] = loads.get(name, 0) + 1
    for team in solution.ashore:
        points["kilometres"] -= km_points(ground, team.site)
        points["shore"] -= weight["team"] * len(team.people)
        for name in team.people:
            loads[name] = loads.get(name, 0) + 1
    points["load"] = -weight["load"] * sum(count * (count + 1) // 2 for count in loads.values())
    if before is not None:
        points["moved"] = -_moved_points(solution, ground, before)
    return points


def ceiling(ground: Ground) -> int:
    """Return more points than any solution can have: every dive placed as its group would like it, and nothing lost."""
    weight = weights_of(ground)
    each = weight["dive"] + weight["leader"] + weight["day"]
    each += weight["margin"] * ground.whole("schedule.margin_counted_min")
    return each * sum(len(group.dives) for group in ground.request.groups)


def _moved_points(solution: Solution, ground: Ground, before: Schedule) -> int:
    weight = weights_of(ground)
    now = {made.run.block.key: made for made in solution.made}
    lost = 0
    for old in olds_of(ground, before):
        made = now.get(old.key)
        if made is None or (made.run.day, made.run.site) != (old.day, old.site):
            lost += weight["moved_day"]
            continue
        lost += weight["moved_time"] * ((made.start, made.run.place) != (old.start, old.place))
        lost += weight["moved_person"] * len(set(made.crew) - set(old.crew))
    teams = {(team.site, team.day): team.people for team in before.shore}
    for team in solution.ashore:
        if known := teams.get((team.site, team.day)):
            lost += weight["moved_person"] * len(set(team.people) - set(known))
    return lost


@dataclass(frozen=True)
class Old:
    key: str
    day: date
    site: str
    place: str
    start: int
    crew: tuple[str, ...]


def olds_of(ground: Ground, before: Schedule) -> list[Old]:
    """Return the outings of the schedule before whose groups are still there."""
    groups = {group.name for group in ground.request.groups}
    return [
        Old(each.key, each.day, each.site, each.place, int(each.dives[0].entry.timestamp() // 60), each.crew)
        for each in before.outings
        if each.group in groups
    ]


def weights_of(ground: Ground) -> dict[str, int]:
    return {
        "dive": ground.whole("schedule.weight_dive"),
        "leader": ground.whole("schedule.weight_leader"),
        "day": ground.whole("schedule.weight_day"),
        "outing": ground.whole("schedule.weight_outing"),
        "load": ground.whole("schedule.weight_load"),
        "margin": ground.whole("schedule.weight_margin"),
        "team": ground.whole("schedule.weight_team"),
        "moved_day": ground.whole("schedule.weight_moved_day"),
        "moved_time": ground.whole("schedule.weight_moved_time"),
        "moved_person": ground.whole("schedule.weight_moved_person"),
    }


def km_points(ground: Ground, site: str) -> int:
    return round(ground.value("schedule.weight_km") * 2 * ground.drive(site).km)
