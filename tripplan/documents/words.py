"""How values are said: times, depths, pressures, outcomes and sources, each rounded to the safe side.

Limits are rounded down and depths that burden the diver are rounded up; nothing here reckons a new value.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import date, datetime

from tripplan.check import Check, Contest, Outcome
from tripplan.emergency.oxygen_supply import OxygenSupply
from tripplan.emergency.roles import RoleLine
from tripplan.people.level import Level
from tripplan.planning.plan import (
    AfterStage,
    CareLine,
    Closure,
    ContactLine,
    DayPlan,
    DivePlan,
    Edge,
    LeadLine,
    PersonDive,
    Slate,
    SlateRow,
    Span,
    UsableWindow,
)
from tripplan.rulebook import Rule, RuleBook, baseline
from tripplan.sources import SOURCES

NOT_KNOWN = "not known"
DEMONSTRATION = "DEMONSTRATION - NOT FOR USE"
CAUTION_LINE = (
    "This plan does not replace training, local codes or the judgement of the leader on the beach. "
    "Every number can be wrong; what is seen there counts. Anyone may call off a dive."
)

_OUTCOMES = {Outcome.OK: "go", Outcome.CAUTION: "go with care", Outcome.STOP: "do not go"}
_ROLES = {"leader": "leads", "assistant": "assists", "diver": "dives"}
_MONTHS = (
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
)
_WEEKDAYS = ["Monday", "Tuesday", "Wednesday", "Thursday", "Friday", "Saturday", "Sunday"]
_SINGULAR = {
    "people": "person",
    "children": "child",
    "divers": "diver",
    "dives": "dive",
    "days": "day",
    "years": "year",
    "skills": "skill",
    "roles": "role",
    "ticks": "tick",
    "ascents": "ascent",
    "units": "unit",
    "kits": "kit",
}
_COMPASS = ["N", "NNE", "NE", "ENE", "E", "ESE", "SE", "SSE", "S", "SSW", "SW", "WSW", "W", "WNW", "NW", "NNW"]


# ---- time ----


def date_words(day: date) -> str:
    """Return a date in words.

    >>> date_words(date(2026, 12, 5))
    'Saturday 5 December 2026'
    """
    return f"{_WEEKDAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def clock(moment: datetime | None, day: date | None = None) -> str:
    """Return the local minute in which a moment falls, 24-hour clock.

    moment -- time-zone aware, in the site's zone; None: "not known"
    day    -- the plan's date: another date is said; without it only the clock is

    The second of two equal minutes on the night the clocks go back is told apart by its offset from UTC.
    """
    if moment is None:
        return NOT_KNOWN
    words = f"{moment:%H:%M}"
    if moment.replace(fold=0).utcoffset() != moment.replace(fold=1).utcoffset():
        words += f" (UTC{moment:%z})"
    if day is not None and moment.date() != day:
        days = (moment.date() - day).days
        words += " next day" if days == 1 else " day before" if days == -1 else f" on {moment:%Y-%m-%d}"
    return words


def duration(minutes: float | None) -> str:
    """Return whole minutes as hours and minutes; a part of a minute is dropped, since a limit is never lengthened.

    >>> duration(85)
    '1 h 25 min'
    """
    if minutes is None or not math.isfinite(minutes):
        return NOT_KNOWN
    whole = math.floor(round(minutes, 6))
    sign, whole = ("-", -whole) if whole < 0 else ("", whole)
    hours, rest = divmod(whole, 60)
    if not hours:
        return f"{sign}{rest} min"
    return f"{sign}{hours} h {rest} min" if rest else f"{sign}{hours} h"


def travel(minutes: float | None) -> str:
    """Return a journey's minutes, rounded up."""
    return NOT_KNOWN if minutes is None or not math.isfinite(minutes) else duration(math.ceil(round(minutes, 6)))


def oxygen_words(oxygen: OxygenSupply | None) -> str:
    """Return how long the oxygen lasts against the time until others take over."""
    if oxygen is None:
        return "not judged"
    if not oxygen.lines:
        return "NONE ON RECORD for this site"
    two = f"{duration(oxygen.minutes_two)} for two" if oxygen.minutes_two else "not for two at once"
    lasts = f"lasts {duration(oxygen.minutes_one)} for one casualty, {two}"
    if oxygen.needed_min is None:
        return f"{lasts}; the time until care is NOT KNOWN, more than {travel(oxygen.known_min)}"
    return (
        f"{lasts}; {travel(oxygen.needed_min)} needed: ambulance {travel(oxygen.ambulance_min)}, drive "
        f"{travel(oxygen.drive_min)} to {oxygen.slowest_care}, {oxygen.margin_share:.0%} more"
    )


def role_words(line: RoleLine) -> str:
    """Return who has a role; it says so when nobody has."""
    return ", ".join(line.people) or "NOBODY NAMED"


def span_words(span: Span, day: date | None = None) -> str:
    """Return an interval: its end is no longer in it."""
    return f"from {clock(span.start, day)} until {clock(span.end, day)}"


def window_words(window: UsableWindow, day: date | None = None) -> str:
    """Return when one may go in and when everybody is out.

    The groups that the window is for stand at the end; without them it is for all.
    """
    entries = " and ".join(span_words(span, day) for span in window.entries) or "at no time"
    whom = f" ({', '.join(window.groups)})" if window.groups else ""
    return f"Going in {entries}; everybody out by {clock(window.end, day)}{whom}"


# ---- quantities ----


def _tenths(value: float, rounding: str) -> float:
    scaled = round(value * 10, 6)
    return (math.floor(scaled) if rounding == "down" else math.ceil(scaled)) / 10


def depth_down(depth_m: float | None) -> str:
    """Return a depth limit or a gauge figure to turn at, rounded down to 0.1 m.

    >>> depth_down(18.78)
    '18.7 m'
    """
    return NOT_KNOWN if depth_m is None or not math.isfinite(depth_m) else f"{_tenths(depth_m, 'down'):g} m"


def edge_words(edge: Edge) -> tuple[str, str, str]:
    """Say what changes, how much of it the plan stands, and what then turns: the row of a short table."""
    turns = {Outcome.STOP: "Stop", Outcome.CAUTION: "Caution", Outcome.OK: "Holds"}[edge.outcome]
    said = f"{turns}: {edge.because[0].upper()}{edge.because[1:].rstrip('.')}."
    if edge.holds_to is None:
        return edge.what, "", said
    if edge.turns_at is None:
        return edge.what, f"up to {edge.holds_to:g} {edge.unit}", said
    # At no rise at all the plan as it stands holds; the first step turns it.
    return edge.what, f"holds to {edge.holds_to:g} {edge.unit}, turns at {edge.turns_at:g}", said


def depth_up(depth_m: float | None) -> str:
    """Return a depth that counts against the diver (equivalent, reached), rounded up to 0.1 m.

    >>> depth_up(21.361)
    '21.4 m'
    """
    return NOT_KNOWN if depth_m is None or not math.isfinite(depth_m) else f"{_tenths(depth_m, 'up'):g} m"


def height(height_m: float | None) -> str:
    """Return a predicted tide height to the nearest 0.1 m: the weather moves the sea by more."""
    return NOT_KNOWN if height_m is None or not math.isfinite(height_m) else f"{height_m + 0.0:.1f} m"


def height_up(height_m: float | None) -> str:
    """Return the lowest height that works, rounded up to 0.1 m."""
    return NOT_KNOWN if height_m is None or not math.isfinite(height_m) else f"{_tenths(height_m, 'up'):.1f} m"


def height_down(height_m: float | None) -> str:
    """Return the highest height that works, rounded down to 0.1 m."""
    return NOT_KNOWN if height_m is None or not math.isfinite(height_m) else f"{_tenths(height_m, 'down'):.1f} m"


def rate_up(rate_kn: float | None) -> str:
    """Return a stream that runs against the diver, rounded up to 0.1 kn."""
    return NOT_KNOWN if rate_kn is None or not math.isfinite(rate_kn) else f"{_tenths(rate_kn, 'up'):.1f} kn"


def pressure(pressure_bar: float | None) -> str:
    """Return an absolute pressure in bar, three decimals."""
    return NOT_KNOWN if pressure_bar is None or not math.isfinite(pressure_bar) else f"{pressure_bar:.3f} bar"


def distance(distance_km: float | None) -> str:
    """Return a distance in kilometres, rounded up to 0.1 km."""
    return NOT_KNOWN if distance_km is None or not math.isfinite(distance_km) else f"{_tenths(distance_km, 'up'):g} km"


def bearing(bearing_deg: float | None) -> str:
    """Return a true bearing in degrees and as a compass point.

    >>> bearing(247.7)
    '248 degrees (WSW)'
    """
    if bearing_deg is None or not math.isfinite(bearing_deg):
        return NOT_KNOWN
    return f"{round(bearing_deg) % 360:03d} degrees ({_COMPASS[round(bearing_deg / 22.5) % 16]})"


def limit_words(value: float | None, unit: str) -> str:
    """Return a limit in its unit, rounded down; None is "no limit"."""
    if value is None:
        return "no limit"
    if unit == "m":
        return depth_down(value)
    return duration(value) if unit == "min" else f"{value:g} {unit}".strip()


def quantity(value: float | str | None, unit: str) -> str:
    """Return what a check found or allows, as it stands."""
    if value is None:
        return NOT_KNOWN
    shown = value if isinstance(value, str) else f"{value:g}" if math.isfinite(value) else NOT_KNOWN
    return f"{shown} {_SINGULAR.get(unit, unit) if value == 1 else unit}".strip()


# ---- judgements ----


def verdict(outcome: Outcome) -> str:
    """Return what an outcome means for going: "go", "go with care" or "do not go"."""
    return _OUTCOMES[outcome]


def counted(number: int, one: str, many: str = "") -> str:
    """Return a number with its noun.

    >>> counted(1, "caution"), counted(3, "stop")
    ('1 caution', '3 stops')
    """
    return f"{number} {one if number == 1 else many or one + 's'}"


def role(person: PersonDive) -> str:
    """Return what a person does on a dive."""
    return _ROLES[person.role]


def dive_name(dive: DivePlan) -> str:
    """Return how a dive is called on every page: group and number."""
    return f"{dive.group}, dive {dive.number}"


def contest_words(contest: Contest) -> str:
    """Return a limit, rounded down; without any candidate it was never worked out, which is not "no limit"."""
    return limit_words(contest.value, contest.unit) if contest.candidates else NOT_KNOWN


def binding_words(contest: Contest) -> str:
    """Return what sets a limit, or why there is none."""
    if not contest.candidates:
        return "not worked out: the dive has no time"
    binding = contest.binding
    return binding.sentence if binding else "nothing sets a limit"


def losing_words(contest: Contest) -> tuple[str, ...]:
    """Return the sentences of the candidates that do not bind, the smallest first, those without a limit last."""
    rest = [candidate for candidate in contest.candidates if candidate is not contest.binding]
    return tuple(c.sentence for c in sorted(rest, key=lambda c: math.inf if c.value is None else c.value))


def person_words(person: PersonDive) -> str:
    """Return a person with their own limits on one dive."""
    before, after = person.group_before or "none", person.group_after or "none"
    mix = "" if person.oxygen_percent <= 21 else f" on {person.oxygen_percent:g} % oxygen"
    return (
        f"{person.name} ({role(person)}; {person.level_words}, {person.age}): to {depth_down(person.depth_limit_m)}; "
        f"no-stop {limit_words(person.no_stop_min, 'min')}{mix}; handbook group {before} before, {after} after"
    )


def pair_words(dive: DivePlan) -> str:
    """Return the buddy pairs and threes."""
    return "; ".join(" + ".join(pair) for pair in dive.pairs) or "not paired yet"


def closure_words(closure: Closure, day: date) -> str:
    """Return the minutes that one restriction closes, for whom, and why."""
    whom = f" ({', '.join(closure.groups)})" if closure.groups else ""
    what = "no going in" if closure.phase == "entry" else "nobody in the water"
    return f"{clock(closure.start, day)} to {clock(closure.end, day)}, {what}{whom}: {closure.sentence}"


def gauge_words(dive: DivePlan) -> str:
    """Return what a gauge shows at the planned depth and what that depth counts like at sea level."""
    row = "no row" if dive.handbook_row_fsw is None else f"row {dive.handbook_row_fsw} fsw"
    counts = f"counts like {depth_up(dive.equivalent_depth_m)} at sea level ({row})"
    zeroed, sealed = depth_down(dive.gauge_zeroed_m), depth_down(dive.gauge_sealed_m)
    if zeroed == sealed:
        return f"{zeroed}; {counts}"
    return f"{zeroed} if zeroed at the surface, {sealed} if sealed at sea level; {counts}"


def interval_words(dive: DivePlan) -> str:
    """Return the surface interval before a dive."""
    if dive.surface_interval_min is None:
        return "first dive of everybody in it"
    return f"{duration(dive.surface_interval_min)} at the surface before it (the shortest of its people)"


def contact_words(contact: ContactLine) -> str:
    """Return whom to call, in one line."""
    fresh = "" if contact.fresh else " - RING IT BEFORE THE FIRST DIVE"
    notes = f" {contact.notes}" if contact.notes else ""
    return f"{contact.role_words}: {contact.name}, {contact.hours}; {contact.checked_words}{fresh}.{notes}"


def care_words(care: CareLine) -> str:
    """Return a hospital or chamber, how far it is and by which of the two measures it is the nearest."""
    nearest = [
        words for yes, words in ((care.nearest_by_distance, "by distance"), (care.nearest_by_drive, "by road")) if yes
    ]
    mark = f", nearest {care.kind} {' and '.join(nearest)}" if nearest else ""
    road = "" if care.highest_road_m is None else f", the road climbs to {care.highest_road_m:,.0f} m"
    fresh = "" if care.fresh else " - RING IT BEFORE THE FIRST DIVE"
    hours = "; ".join(dict.fromkeys(part for part in (care.hours, care.opened_words) if part))
    return (
        f"{care.kind.capitalize()}: {care.name}, {hours}; {distance(care.distance_km)} in a straight line, "
        f"bearing {bearing(care.bearing_deg)}, {travel(care.drive_min)} by road{road}{mark}; {care.position_words}; "
        f"{care.checked_words}{fresh}. {care.notes}".rstrip()
    )


# ---- sources ----


def rules_of(plan: DayPlan) -> RuleBook:
    """Return the rule book that a plan was made with: the baseline and what the centre replaced."""
    return RuleBook({**baseline().rules, **{rule.key: rule for rule in plan.overrides}})


def source_words(key: str, rules: RuleBook | None = None) -> str:
    """Return where a judgement comes from, with how well it is known ("verified", "from memory" and so on).

    key   -- a key of sources.py or of the rule book; any other is said to be unknown
    rules -- the book in force; without it the baseline

    >>> source_words("NWS_30_30")
    '30-30 lightning rule [verified]'
    """
    book = baseline() if rules is None else rules
    if key in SOURCES:
        return f"{SOURCES[key].title} [{SOURCES[key].provenance}]"
    if key in book.rules:
        rule = book[key]
        return f"{rule.title}, {rule_amount(rule.value, rule.unit)}: {_origin(rule)}"
    return f"{key} [source not known]"


def rule_amount(value: float | None, unit: str) -> str:
    """Return the number of a rule as a reader knows it: levels by name, shares in per cent.

    >>> rule_amount(3, "level"), rule_amount(0.6, "fraction"), rule_amount(4, "Beaufort")
    ('level 3 (dive leader)', '60 %', 'force 4')
    """
    if value is None:
        return NOT_KNOWN
    levels = list(Level)
    if unit == "level" and value in range(len(levels)):
        return levels[int(value)].words
    if unit == "fraction":
        return f"{value * 100:g} %"
    if unit == "Beaufort":
        return f"force {value:g}"
    if value == 1 and unit in _SINGULAR:
        return f"1 {_SINGULAR[unit]}"
    return f"{value:g} {'%' if unit == 'percent' else unit}"


def _origin(rule: Rule) -> str:
    if rule.overridden:
        was = rule_amount(rule.baseline_value, rule.unit)
        return f"the centre's own rule in place of {was}, {rule.reason} [the centre's own]"
    title = SOURCES[rule.source].title if rule.source in SOURCES else rule.source
    return f"{title} [{rule.provenance}]"


def override_words(rule: Rule) -> str:
    """Return a rule that the centre replaced: what it was, what it is and why, who set it and when."""
    now, was = rule_amount(rule.value, rule.unit), rule_amount(rule.baseline_value, rule.unit)
    return f"{rule.title}: {now} instead of {was}. Why: {rule.reason or 'no reason given'}. {set_words(rule)}"


def set_words(rule: Rule) -> str:
    """Return who replaced a rule and when, or that it is not written down.

    >>> from dataclasses import replace
    >>> set_words(replace(baseline()["overdue.after_min"], set_by="Tom Okafor", set_on="2026-09-14"))
    'Set by Tom Okafor on 14 September 2026.'
    """
    day = date.fromisoformat(rule.set_on) if rule.set_on else None
    on = f"{day.day} {_MONTHS[day.month - 1]} {day.year}" if day else ""
    if rule.set_by:
        return f"Set by {rule.set_by} on {on}." if on else f"Set by {rule.set_by}; not written when."
    return f"Set on {on}; not written who set it." if on else "Not written who set it, nor when."


def grouped(checks: Iterable[Check]) -> tuple[tuple[str, tuple[Check, ...]], ...]:
    """Return checks by their rule, in order of appearance, so that passed ones can be listed briefly."""
    by_rule: dict[str, list[Check]] = {}
    for check in checks:
        by_rule.setdefault(check.rule, []).append(check)
    return tuple((rule, tuple(found)) for rule, found in by_rule.items())


# ---- gas, and what comes after ----


def _mix(oxygen_percent: float) -> str:
    return "air" if oxygen_percent <= 21 else f"{oxygen_percent:g} % oxygen"


def gas_words(dive: DivePlan) -> str:
    """Return the gas of a dive: mix, cylinder, when to turn, when to leave the bottom and whose gas binds."""
    mix = _mix(dive.oxygen_percent)
    gas = dive.gas
    if gas is None:
        return f"{mix}; cylinders not known: no turn pressure, no minimum gas"
    turn = "not enough to go out with" if gas.turn_bar is None else f"turn at {gas.turn_bar} bar"
    leave = (
        "no fill is enough to leave the bottom with"
        if gas.minimum_gas_bar is None
        else f"leave the bottom at {gas.minimum_gas_bar} bar"
    )
    return (
        f"{mix}, {gas.cylinder_l:g} l at {gas.fill_bar:g} bar each: {turn}, {leave}, "
        f"be out with {gas.surface_with_bar:g} bar; "
        f"lasts {gas.longest_min} min ({gas.binds})"
    )


def after_words(stage: AfterStage, day: date) -> str:
    """Return when somebody may climb one height of the way home."""
    height_words = "" if stage.height_m is None else f", {stage.height_m:g} m"
    name = f"{stage.name} ({stage.kind_words}{height_words})"
    if stage.earliest is None:
        return f"{name}: no time can be given"
    if stage.wait_min == 0:
        return f"{name}: no wait"
    late = math.ceil(stage.earliest.timestamp() / 60) * 60  # never a minute early
    return f"{name}: from {clock(datetime.fromtimestamp(late, tz=stage.earliest.tzinfo), day)}"


# ---- a further dive ----


def slate_head(slate: Slate) -> str:
    """Return what a slate is for."""
    return f"{slate.group}, a further dive to {depth_down(slate.depth_m)} on {_mix(slate.oxygen_percent)}"


def slate_columns(slate: Slate) -> tuple[str, ...]:
    """Return the surface intervals of a slate's columns."""
    return tuple(duration(minutes) for minutes in slate.intervals_min)


def slate_row_words(row: SlateRow) -> str:
    """Return what the first dive was at most."""
    return f"{depth_down(row.depth_m)}, {row.minutes} min"


def slate_cells(row: SlateRow) -> tuple[str, ...]:
    """Return the longest bottom times of a row in words."""
    return tuple("no dive" if minutes == 0 else f"{minutes} min" for minutes in row.cells)


def slate_notes(slate: Slate) -> tuple[str, ...]:
    """Return how a slate is read, what it leaves out and for whom it does not hold."""
    last = slate_row_words(slate.rows[-1]) if slate.rows else "every row"
    notes = [
        "Row: the first dive was no deeper and no longer. Column: at least so long at the surface since. "
        f"Beyond {last} in either: no further dive.",
        f"No-stop limits of everybody, and {slate.cap_because}; gas, light and tide may end it sooner.",
    ]
    if slate.not_for:
        notes.append(f"NOT FOR {', '.join(slate.not_for)}: other dives in between.")
    return tuple(notes)


def lead_words(line: LeadLine) -> str:
    """Return what changes in one person's lead, always with the check in the water."""
    if line.change_kg is None:
        change = "the change cannot be reckoned: find it anew by the check in the water"
    elif line.change_kg == 0:
        change = "no change expected; check in the water"
    else:
        more = "more" if line.change_kg > 0 else "less"
        change = f"try {abs(line.change_kg):g} kg {more}, then check in the water"
    return f"{line.name}: {line.lead_kg:g} kg was right before; {change}"
