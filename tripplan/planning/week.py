"""The usable windows of one site over some days, for a certified group: which day to look at first."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from tripplan.catalogue.site import Site
from tripplan.people.group import KINDS
from tripplan.planning.plan import Closure, UsableWindow
from tripplan.planning.setting import site_windows
from tripplan.planning.world import World


@dataclass(frozen=True)
class SiteDay:
    """One day of one site: its windows, the minutes in which one may go in, and every reason against."""

    day: date
    windows: tuple[UsableWindow, ...]
    entry_min: int
    closures: tuple[Closure, ...]


def week_of(site: Site, days: Sequence[date], world: World) -> tuple[SiteDay, ...]:
    """Return the windows of a guided dive at a site on some days, by the ways in and out that leave the most time."""
    found = []
    for day in days:
        window = site_windows(site, day, KINDS["guided"], world)
        usable = window.usable()
        minutes = sum(span.minutes for one in usable for span in one.entries)
        found.append(SiteDay(day, usable, minutes, window.closures))
    return tuple(found)
