"""What a day plan is: plain frozen values that every face (page, sheet, text, JSON) shows without reckoning again."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Literal

from tripplan.check import Check, Contest, Outcome
from tripplan.emergency.oxygen_supply import OxygenSupply
from tripplan.emergency.roles import RoleLine
from tripplan.planning.packing import Packing
from tripplan.rulebook import Rule

Phase = Literal["entry", "water"]  # "entry": going in is closed; "water": being in, and coming out, is closed


@dataclass(frozen=True)
class Span:
    """Minutes from ``start`` to before ``end``, time-zone aware."""

    start: datetime
    end: datetime

    @property
    def minutes(self) -> int:
        """Elapsed minutes, right across clock changes."""
        return round((self.end.timestamp() - self.start.timestamp()) / 60)


@dataclass(frozen=True)
class Closure:
    """Minutes closed by one restriction, and why."""

    start: datetime
    end: datetime
    phase: Phase
    rule: str  # "light", "tide-going-in", "tide-coming-out", "access-hours", "stream", ...
    sentence: str
    source: str
    groups: tuple[str, ...] = ()  # the groups it is for; empty: all


@dataclass(frozen=True)
class UsableWindow:
    """Minutes in which being in the water and coming out are open, and when one may go in."""

    start: datetime  # first minute in which one may go in
    end: datetime  # everybody is out by then
    entries: tuple[Span, ...]  # when one may go in
    groups: tuple[str, ...] = ()  # the groups it is for; empty: all


@dataclass(frozen=True)
class PersonDive:
    """One person on one dive: what they carry into it and out of it."""

    name: str
    role: Literal["leader", "assistant", "diver"]
    level_words: str
    age: int
    depth_limit_m: float  # the person's own
    depth_because: str
    group_before: str | None  # handbook repetitive group; None: none
    group_after: str | None
    no_stop_min: int | None  # longest bottom time of this person at the planned depth; None: no limit
    oxygen_percent: float = 21.0  # in this person's gas


@dataclass(frozen=True)
class DiveGas:
    """The gas of a group's dive: each diver's own cylinder, full at the start; the strictest figures of the group."""

    cylinder_l: float
    fill_bar: float  # on the gauge, in the water
    binds: str  # whose gas ends the dive first
    contents_l: float  # what is counted on, free litres
    needed_l: float  # with the reserve, of whoever needs most
    minimum_gas_bar: int | None  # leave the bottom at this; None: no fill of this cylinder is enough
    turn_bar: int | None  # turn back at this; None: nothing to go out with
    longest_min: int  # bottom time for which everybody's gas is enough
    surface_with_bar: float  # what each still has on the gauge when out


@dataclass(frozen=True)
class SkillLine:
    """One skill that a dive of a course holds, and for whom."""

    skill: str
    dive: int  # of the course, that asks for it
    learners: tuple[str, ...]  # who still has to do it
    again: tuple[str, ...]  # those of them who tried before


@dataclass(frozen=True)
class DivePlan:
    """One dive of one group, timed and limited."""

    group: str
    kind: str  # "level_1_course", ...
    kind_words: str
    number: int  # of the group's dives today, from 1
    site: str
    place: str
    going_in_by: str
    coming_out_by: str
    leader: str | None
    assistants: tuple[str, ...]
    divers: tuple[str, ...]
    pairs: tuple[tuple[str, ...], ...]  # buddy pairs or threes
    entry: datetime | None  # None: no minute of the day is possible
    descent: datetime | None  # leaving the surface, after the swim out
    exit: datetime | None  # planned time out of the water
    exit_by: datetime | None  # out by then or overdue; never later than the window closes
    overdue_at: datetime | None  # the same moment: the missing-diver plan starts
    window_closes: datetime | None  # from then on nobody may be in the water or come out
    depth: Contest  # candidates for the depth limit, metres
    time: Contest  # candidates for the longest bottom time, minutes
    depth_m: float | None  # planned depth, never beyond the limit
    bottom_time_min: int | None  # planned
    water_time_min: int | None  # from going in to being out
    surface_interval_min: int | None  # shortest of its people since their dive before; None: first dive of all
    equivalent_depth_m: float | None  # at sea level, in sea water
    handbook_row_fsw: int | None
    gauge_zeroed_m: float | None  # what a gauge zeroed at the surface shows at the planned depth
    gauge_sealed_m: float | None  # what a gauge sealed at sea level shows
    oxygen_percent: float
    tide_entry_m: float | None
    tide_exit_m: float | None
    people: tuple[PersonDive, ...]
    moved_because: str = ""  # why it starts later than asked
    gas: DiveGas | None = None  # None: the cylinders are not known
    course_dive: int | None = None  # its number in the course; None: no dive of a course that is followed
    course_dive_name: str = ""
    skills: tuple[SkillLine, ...] = ()  # what is still open and comes on this dive


@dataclass(frozen=True)
class LeadLine:
    """What changes in one person's lead today; never a bare number: the check in the water goes with it."""

    name: str
    lead_kg: float  # the known good weighting
    change_kg: float | None  # more than 0: add; None: cannot be said
    sentences: tuple[str, ...]
    check_words: str


@dataclass(frozen=True)
class AfterStage:
    """One height on the way home, and when somebody may climb it."""

    name: str
    kind_words: str  # "by road", "by airliner"
    height_m: float | None  # None: not known
    wait_min: int | None  # after surfacing; None: cannot be given, a check says why
    earliest: datetime | None
    because: str  # the rule that asks for the longest wait
    source: str


@dataclass(frozen=True)
class AfterDive:
    """What one person takes home from the day."""

    name: str
    surfaced: datetime  # from the last dive
    stages: tuple[AfterStage, ...]
    oxygen_single_share: float | None  # of the published limit; 1 is all of it; None: beyond the table
    oxygen_daily_share: float | None


@dataclass(frozen=True)
class TideEvent:
    """A high or low water of the day at the site."""

    time: datetime
    kind: str
    height_m: float


@dataclass(frozen=True)
class DayCurve:
    """What the picture of the day is drawn from, one value a minute from midnight to midnight, local time."""

    midnight: datetime
    minutes: int  # 1380, 1440 or 1500: the real length of the day
    tide_m: tuple[float, ...]  # empty: no tide here; NaN: not known
    stream_kn: tuple[float, ...]  # empty: none
    going_in_m: tuple[float | None, float | None]  # lowest and highest height going in, margin included
    coming_out_m: tuple[float | None, float | None]
    stream_limit_kn: float | None
    surf_m: tuple[float, ...] = ()  # breaking waves at the way in; empty: nobody told; NaN: not known
    surf_limit_m: float | None = None
    wind_kn: tuple[float, ...] = ()  # empty: nobody told
    gust_kn: tuple[float, ...] = ()
    wind_from_deg: tuple[float, ...] = ()
    wind_limit_kn: tuple[float, ...] = ()  # the strictest for the direction of the minute


@dataclass(frozen=True)
class Light:
    """Sun and moon of the day at the site; None where it does not happen, and ``note`` says why."""

    civil_dawn: datetime | None
    sunrise: datetime | None
    sunset: datetime | None
    civil_dusk: datetime | None
    moon_words: str
    note: str = ""


@dataclass(frozen=True)
class ContactLine:
    """Somebody to call, in calling order."""

    order: int
    role: str
    role_words: str
    name: str
    number: str
    hours: str
    checked_words: str  # "checked 12 November 2026 by Ines (13 days ago)" or "never checked"
    fresh: bool
    notes: str = ""
    link: str = ""  # a tel: address


@dataclass(frozen=True)
class CareLine:
    """A hospital or chamber, nearest first."""

    kind: Literal["hospital", "chamber"]
    name: str
    number: str
    hours: str
    distance_km: float  # geodesic
    drive_min: float | None  # entered; None: not known
    bearing_deg: float
    position_words: str
    highest_road_m: float | None
    checked_words: str
    fresh: bool
    nearest_by_distance: bool
    nearest_by_drive: bool
    notes: str = ""
    opened_words: str = ""  # open or not during the dives
    link: str = ""  # a tel: address


@dataclass(frozen=True)
class Emergency:
    """What is needed when somebody comes up hurt."""

    position_words: str  # degrees and decimal minutes
    position_spoken: str
    position_decimal: str
    geo_uri: str
    road: str
    rendezvous_words: str
    rendezvous_position: str
    rendezvous_notes: str
    gate_code: str | None
    phone_signal: str
    vhf: str | None
    landline: str | None
    extraction: tuple[str, ...]  # casualty extraction points, in words
    alternative_exit: str  # in words; says so when none is known
    contacts: tuple[ContactLine, ...]
    care: tuple[CareLine, ...]
    dive_director: str | None
    shore_watch: str | None
    oxygen_provider: str | None
    what_to_say: str  # a sentence to read aloud
    oxygen: OxygenSupply | None = None  # None: not judged
    roles: tuple[RoleLine, ...] = ()


@dataclass(frozen=True)
class Observation:
    """One thing to look at on arrival, with the number at which nobody goes in."""

    what: str  # "Breaking waves at the entry"
    limit_words: str  # "stop above 0.5 m"
    how: str  # "watch ten minutes; the largest counts"
    source: str


@dataclass(frozen=True)
class WhatIf:
    """Something that could change the answer, and by how much."""

    sentence: str
    margin_min: int | None = None  # minutes of delay that the plan stands


@dataclass(frozen=True)
class Edge:
    """How far the plan is from an edge: at ``holds_to`` everything holds, at ``turns_at`` a check turns."""

    what: str  # "More wind"
    holds_to: float | None  # the largest rise searched at which nothing turns; None: not a matter of degree
    turns_at: float | None  # None: nothing turns as far as was searched
    unit: str
    outcome: Outcome  # what the check turns to
    because: str  # its sentence


@dataclass(frozen=True)
class DayPlan:
    """The whole plan of one day at one site."""

    revision: str  # short hash of all inputs
    title: str
    demonstration: bool
    site: str  # slug
    site_name: str
    date: date
    timezone: str
    verdict: Outcome
    headline: str  # one sentence: may we go, where, when
    nearest_edge: str  # the one thing that comes closest to stopping it
    windows: tuple[UsableWindow, ...]
    closures: tuple[Closure, ...]
    dives: tuple[DivePlan, ...]
    checks: tuple[Check, ...]
    light: Light
    tide_events: tuple[TideEvent, ...]
    tide_words: str  # station and datum, or why there is none
    curve: DayCurve
    emergency: Emergency
    observations: tuple[Observation, ...]
    forecast_words: str
    what_ifs: tuple[WhatIf, ...]
    overrides: tuple[Rule, ...]  # rule-book entries that the centre replaced
    elevation_m: float
    surface_pressure_bar: float
    water_words: str
    hazards: tuple[tuple[str, str], ...]  # what, control
    briefing: tuple[str, ...]
    flag_rule: str
    rules_here: str  # code or by-law that holds
    attribution: tuple[str, ...] = ()
    conditions: tuple[str, ...] = ()  # what was seen and forecast, by whom, how old
    after: tuple[AfterDive, ...] = ()  # when each person may drive up or fly
    lead: tuple[LeadLine, ...] = ()  # of those whose right weighting is on record
    edges: tuple[Edge, ...] = ()  # how much may change before a check turns; filled in by planning/tolerance.py
    slates: tuple[Slate, ...] = ()  # how long a further dive of each group may last
    packing: Packing | None = None  # what is taken along; None: not worked out

    @property
    def stops(self) -> tuple[Check, ...]:
        """Checks that say do not go."""
        return tuple(check for check in self.checks if check.outcome is Outcome.STOP)

    @property
    def cautions(self) -> tuple[Check, ...]:
        """Checks that say go only with a reason."""
        return tuple(check for check in self.checks if check.outcome is Outcome.CAUTION)

    @property
    def length(self) -> timedelta:
        """The real length of the local day: 23, 24 or 25 hours."""
        return timedelta(minutes=self.curve.minutes)


@dataclass(frozen=True)
class SlateRow:
    """What the first dive really was, and how long a further one may then last."""

    depth_m: float  # the first dive was no deeper than this
    minutes: int  # and its bottom time no longer
    cells: tuple[int, ...]  # longest bottom time, minutes, one for each surface interval; 0: no dive


@dataclass(frozen=True)
class Slate:
    """How long a further dive of a group may last, by what the first was and by the time at the surface since."""

    group: str
    depth_m: float  # of the further dive
    oxygen_percent: float
    intervals_min: tuple[int, ...]  # at least so long at the surface, shortest first
    rows: tuple[SlateRow, ...]  # each at least as deep and as long as the one above it
    cap_because: str  # the house limit that no cell exceeds
    not_for: tuple[str, ...] = ()  # they dive with others in between: the slate does not hold for them
