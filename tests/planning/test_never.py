"""What must never happen, tried on many invented days."""

from __future__ import annotations

import itertools
from datetime import UTC, date, datetime, timedelta

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from small_world import DAY, PEOPLE, TIDAL, ask, group, limits, person, rules_with, site, swing, wish, world

from tripplan.check import Outcome
from tripplan.people.level import Level
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Altitude, Crew, RecentDive

MANY = settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
CREW = Crew(dive_director="Shore", shore_watch=("Shore", "Eva"), oxygen_provider=("Oxy", "Shore"))
NAMES = [p.name for p in PEOPLE]

depths = st.integers(30, 280).map(lambda tenths: tenths / 10)
heights = st.sampled_from([0, 89, 92, 250, 301, 600, 1000, 1640, 2200, 2900])
ages = st.integers(8, 30)
levels = st.sampled_from(list(Level)[:3])


def high(elevation_m: float):
    fresh = ('kind = "sea"\nsalinity = 35', 'kind = "fresh"')
    return site(fresh, ("elevation_m = 0", f"elevation_m = {elevation_m}"))


@st.composite
def recents(draw, names=("Ann", "Ben", "Ida"), most=3):
    found = []
    for _ in range(draw(st.integers(0, most))):
        ended = datetime(2027, 6, 12, 8, tzinfo=UTC) - timedelta(minutes=draw(st.integers(0, 40)) * 60)
        depth, minutes = draw(st.integers(3, 25)), draw(st.integers(1, 40))
        found.append(RecentDive(person=draw(st.sampled_from(names)), depth_m=depth, minutes=minutes, surfaced=ended))
    return tuple(found)


def longest(made: DayPlan) -> float:
    """Return the longest bottom time of the only dive; 0 where it has no time."""
    (dive,) = made.dives
    if dive.entry is None:
        return 0.0
    assert dive.time.value is not None and dive.bottom_time_min is not None
    assert dive.bottom_time_min <= dive.time.value
    return dive.time.value


def deepest(made: DayPlan) -> float:
    """Return the depth limit of the only dive; 0 where it has no time."""
    (dive,) = made.dives
    if dive.entry is None:
        return 0.0
    assert dive.depth.value is not None and dive.depth_m is not None
    assert dive.depth_m <= dive.depth.value + 1e-9
    return dive.depth.value


def fixed(
    depth_m: float | None, minutes: int | None, *divers: str, where=None, before=(), leader="Ida", **other
) -> DayPlan:
    """Plan one dive at noon: the same minute for both sides of a comparison."""
    request = ask(
        group(*(divers or ("Ann", "Ben")), leader=leader, dives=(wish(depth_m, minutes, entry="12:00"),), **other),
        crew=CREW,
        recent_dives=tuple(before),
        altitude=Altitude(arrived="07:00"),
    )
    return plan_day(request, where or world())


@MANY
@given(depths, depths, heights, recents())
def test_a_deeper_wish_never_gives_a_longer_time(one, two, elevation, before):
    where = world(high(elevation))
    shallow, deep = sorted((one, two))
    assert longest(fixed(deep, None, where=where, before=before)) <= longest(
        fixed(shallow, None, where=where, before=before)
    )


@MANY
@given(depths, heights, heights, recents())
def test_a_higher_site_never_gives_a_longer_time_nor_a_deeper_limit(depth, one, two, before):
    low, up = sorted((one, two))
    plans = [fixed(depth, None, where=world(high(m)), before=before) for m in (low, up)]
    assert longest(plans[1]) <= longest(plans[0])
    plans = [fixed(None, 20, where=world(high(m)), before=before) for m in (low, up)]
    assert deepest(plans[1]) <= deepest(plans[0])


@MANY
@given(depths, heights, recents(), st.integers(3, 25), st.integers(1, 40), st.integers(0, 50))
def test_one_more_earlier_dive_never_gives_a_longer_time_nor_a_deeper_limit(
    depth, elevation, before, m, minutes, hours
):
    ended = datetime(2027, 6, 12, 9, tzinfo=UTC) - timedelta(hours=hours)
    more = (*before, RecentDive(person="Ann", depth_m=m, minutes=minutes, surfaced=ended))
    where = world(high(elevation))
    assert longest(fixed(depth, None, where=where, before=more)) <= longest(
        fixed(depth, None, where=where, before=before)
    )
    assert deepest(fixed(None, 20, where=where, before=more)) <= deepest(fixed(None, 20, where=where, before=before))


KINDS = st.sampled_from(
    ["first_experience", "level_1_course", "level_2_course", "further_training", "guided", "refresher"]
)
LEADERS = st.sampled_from(["Gil", "Tia", "Ida", "Ann"])


def aged(name: str, level: Level, years: int):
    return person(name, level, date(2027 - years, 1, 1))


@MANY
@given(levels, levels, ages, ages, KINDS, LEADERS)
def test_a_younger_or_lower_diver_swapped_in_never_gives_a_deeper_limit_or_a_longer_time(
    one, two, age, other, kind, leader
):
    lower, upper = sorted((one, two), key=lambda level: level.rank)
    younger, older = sorted((age, other))
    weak = world(people=(aged("Cy", lower, younger),))
    strong = world(people=(aged("Cy", upper, older),))
    for depth, minutes in ((None, 20), (9.0, None)):
        plans = [fixed(depth, minutes, "Ben", "Cy", where=w, kind=kind, leader=leader) for w in (weak, strong)]
        assert deepest(plans[0]) <= deepest(plans[1])
    assert longest(plans[0]) <= longest(plans[1])


@MANY
@given(levels, ages, KINDS, recents(), st.sampled_from([None, *range(6, 24)]))
def test_one_more_diver_never_gives_a_deeper_limit_or_a_longer_time(level, age, kind, before, depth):
    where = world(people=(aged("Cy", level, age),))
    minutes = 20 if depth is None else None
    fewer = fixed(depth, minutes, "Ben", where=where, before=before, kind=kind)
    more = fixed(depth, minutes, "Ben", "Cy", where=where, before=before, kind=kind)
    assert deepest(more) <= deepest(fewer) or depth is not None
    # a shallower limit may give more time, so the times compare only at the same depth
    if more.dives[0].depth_m == fewer.dives[0].depth_m:
        assert longest(more) <= longest(fewer)


REJECTED = {
    "medical": {"medical": None, "medical_clear": False},
    "doctor": {"medical_clear": False},
    "old declaration": {"medical": date(2026, 1, 1)},
    "no consent": {"born": date(2011, 1, 1), "guardian_consent": False},
    "too young": {"born": date(2020, 1, 1)},
    "level": {"level": Level.FIRST_EXPERIENCE},
}


@MANY
@given(st.sampled_from(sorted(REJECTED)), st.sampled_from(["diver", "assistant", "leader"]), st.integers(0, 2))
def test_a_group_that_holds_one_rejected_person_is_rejected(why, role, place):
    bad = person("Bad", **{"level": Level.INSTRUCTOR_2, **REJECTED[why]})
    divers = ["Ann", "Ben"]
    given_: dict = {"leader": "Ida", "assistants": ()}
    if role == "diver":
        divers.insert(place, "Bad")
    elif role == "assistant":
        given_["assistants"] = ("Bad",)
    else:
        given_["leader"] = "Bad"
    made = plan_day(ask(group(*divers, dives=(wish(6, 20),), **given_), crew=CREW), world(people=(bad,)))
    assert made.verdict is Outcome.STOP
    assert made.headline.startswith("Do not go")


# ---- whole days ----


@st.composite
def days(draw):
    """Draw a day: a tidal site with a gate, one to three groups that may share people, one to three dives each."""
    edits = [TIDAL]
    lows = st.none() | st.integers(5, 26).map(lambda d: d / 10)
    tops = st.none() | st.integers(32, 50).map(lambda d: d / 10)

    def way() -> str:
        low, top = draw(lows), draw(tops)
        parts = [f"lowest_m = {low}"] * (low is not None) + [f"highest_m = {top}"] * (top is not None)
        return "{ " + ", ".join(parts) + " }" if parts else "{}"

    edits.append(limits(way(), way()))
    if draw(st.booleans()):
        opens, closes = draw(st.integers(0, 13)), draw(st.integers(13, 23))
        edits.append(("[access]", f'[access]\nhours = {{ opens = "{opens:02}:17", closes = "{closes:02}:48" }}'))
    if draw(st.booleans()):
        edits.append(
            (
                '[stream]\nkind = "none"',
                '[stream]\nkind = "slack"\nhigh_water_slack_min = 20\nlow_water_slack_min = -30\nspring_rate_kn = 1.2\n'
                "neap_rate_kn = 0.6\nspring_range_m = 4.0\nneap_range_m = 2.0",
            )
        )
    edits.append(("divers = 12", f"divers = {draw(st.integers(3, 12))}"))
    groups = []
    for number in range(draw(st.integers(1, 3))):
        divers = draw(
            st.lists(
                st.sampled_from(["Ann", "Ben", "Cy", "Dee", "Sol", "Eva", "Lou"]), min_size=1, max_size=3, unique=True
            )
        )
        wishes = []
        for _ in range(draw(st.integers(1, 3))):
            depth = draw(st.none() | st.integers(3, 32))
            minutes = draw(st.none() | st.integers(1, 70))
            entry = draw(st.sampled_from([None, None, {"entry": "13:03"}, {"not_before": "11:30"}])) or {}
            wishes.append(wish(depth, minutes, **entry))
        kind = draw(st.sampled_from(["guided", "level_1_course", "night", "refresher"]))
        leader = draw(st.sampled_from(["Ida", "Ola", "Gil"]))
        groups.append(group(*divers, name=f"G{number}", leader=leader, kind=kind, dives=tuple(wishes)))
    day = draw(st.sampled_from([DAY, date(2027, 3, 28), date(2027, 10, 31), date(2027, 12, 21)]))
    before = draw(recents(("Ann", "Ida", "Sol")))
    request = ask(*groups, date=day, crew=CREW, recent_dives=before)
    return request, world(site(*edits), station=swing(day, 5))


@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(days())
def test_no_day_breaks_its_own_windows_intervals_or_crew(drawn):
    request, where = drawn
    made = plan_day(request, where)
    dived: dict[str, list] = {}
    spans = []
    for dive in made.dives:
        if dive.entry is None:
            assert made.verdict is Outcome.STOP
            assert (dive.exit, dive.exit_by, dive.overdue_at, dive.bottom_time_min) == (None, None, None, None)
            continue
        assert dive.descent is not None and dive.exit is not None and dive.exit_by is not None
        assert dive.window_closes is not None and dive.depth_m is not None and dive.time.value is not None
        entry, out, by, closes = (m.timestamp() for m in (dive.entry, dive.exit, dive.exit_by, dive.window_closes))
        assert entry < dive.descent.timestamp() + 1 and out <= by <= closes
        assert dive.depth_m <= (dive.depth.value or 0) + 1e-9
        assert (dive.bottom_time_min or 0) <= dive.time.value
        for mine in dive.people:
            assert mine.no_stop_min is None or (dive.bottom_time_min or 0) <= mine.no_stop_min
        for closure in made.closures:
            if closure.groups and dive.group not in closure.groups:
                continue
            start, end = closure.start.timestamp(), closure.end.timestamp()
            if closure.phase == "water":
                assert end <= entry or start >= closes, (closure, dive.entry, dive.exit)
            else:
                assert not start <= entry < end, (closure, dive.entry)
        (held,) = [
            w for w in made.windows
            if (not w.groups or dive.group in w.groups) and w.start.timestamp() <= entry < w.end.timestamp()
        ]  # fmt: skip
        assert by <= held.end.timestamp() == closes
        assert any(s.start.timestamp() <= entry < s.end.timestamp() for s in held.entries)
        everybody = {p.name for p in dive.people}
        spans.append((entry, out, everybody))
        for name in everybody:
            dived.setdefault(name, []).append((dive.descent.timestamp(), entry, out, dive))
    for name, all_dives in dived.items():
        ordered = sorted(all_dives, key=lambda item: item[0])
        for (_, _, out, _), (descent, entry, _, later) in itertools.pairwise(ordered):
            assert entry >= out, name
            swim_back_s = 3 * 60
            assert descent - (out - swim_back_s) >= 3600, (name, later)
            assert later.surface_interval_min >= 60
    for entry, _, _ in spans:
        wet = set().union(*(who for first, end, who in spans if first <= entry < end))
        assert len(wet) <= where.sites["plain-cove"].capacity.divers
        assert {"Shore", "Eva"} - wet
        assert {"Oxy", "Shore"} - wet


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(days())
def test_the_same_day_is_planned_the_same_way_twice(drawn):
    request, where = drawn
    assert plan_day(request, where).dives == plan_day(request, where).dives


@settings(max_examples=40, deadline=None)
@given(depths, st.integers(1, 60), st.floats(0.1, 0.8))
def test_a_stricter_gradient_factor_never_gives_a_longer_time(depth, minutes, factor):
    strict = world(rules=rules_with(model__gradient_factor_high=factor, model__gradient_factor_low=min(factor, 0.4)))
    assert longest(fixed(depth, minutes, where=strict)) <= longest(fixed(depth, minutes))
