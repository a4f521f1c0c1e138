"""What a dive really was beside the plan, and that what was done or not written never lengthens the next dive."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from itertools import count as numbers
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import DAY, ask, group, plan, wish, world

from tripplan.check import Check, Outcome
from tripplan.errors import OutOfRange
from tripplan.planning.actual import ActualDive, actual_dives, check_recent_dives, recent_dives_of
from tripplan.planning.day import plan_day
from tripplan.planning.event import Event
from tripplan.planning.plan import DivePlan
from tripplan.planning.request import RecentDive

MANY = settings(max_examples=100, deadline=None)
SOME = settings(max_examples=25, deadline=None)  # each of them plans days
MARKS = numbers(1)
WORLD = world()
FURTHER = wish(15, None, entry="12:30")
BURDEN = ("actual-depth", "actual-depth-limit", "actual-time", "actual-no-stop", "actual-out-by")


@cache
def planned() -> tuple[DivePlan, ...]:
    """Two dives, 18 m for 30 min at 09:30 and 15 m at 12:30; each diver has 15 l at 220 bar.

    By hand, the first: swim 3 min, bottom 30 min, up at 9 m/min (2 min) with 3 min on the way, swim back 3 min: 41 min
    in the water, out at 10:11, and 10 min later, at 10:21, overdue.
    """
    dives = (wish(18, 30, entry="09:30"), FURTHER)
    return plan(group("Ann", "Ben", dives=dives, cylinder_l=15, fill_bar=220)).dives


def no_stop_m() -> float:
    """Return the depth down to which the plan says that its 30 min need no stop, which is between 18 and 20 m."""
    (found,) = [c.value for c in planned()[0].depth.candidates if c.name == "no-stop"]
    assert found is not None and 18.5 < found < 20
    return found


def no_stop_min() -> int:
    """Return the plan's no-stop time at 18 m, which is some minutes more than the planned 30."""
    found = planned()[0].people[0].no_stop_min
    assert found is not None and 33 < found < 50
    return found


def at(clock: str, seconds: int = 0) -> datetime:
    hour, minute = clock.split(":")
    return datetime(2027, 6, 12, int(hour), int(minute), seconds, tzinfo=UTC)


def entry(clock: str | datetime, kind: str, person: str = "Ann", **other: Any) -> Event:
    """Return an entry of Group, dive 1, where nothing else is said."""
    given_: dict[str, Any] = {
        "uid": f"entry-{next(MARKS):06d}", "day": DAY, "site": "plain-cove", "by": "Shore", "group": "Group", "dive": 1,
    }  # fmt: skip
    moment = at(clock) if isinstance(clock, str) else clock
    return Event(at=moment, kind=kind, person=person, **{**given_, **other})  # type: ignore[arg-type]


def record(
    person: str = "Ann",
    into: str | datetime = "09:30",
    out: str | datetime = "10:10",
    depth_m: float | None = 17.5,
    end_bar: float | None = 90.0,
    **other: Any,
) -> list[Event]:
    """Return everything that is asked for of a person's dive; a depth or pressure of None is left out."""
    found = [
        entry(into, "in", person, **other),
        entry(out, "out", person, **other),
        entry("09:20", "start_bar", person, value=215.0, **other),
        entry("10:20", "discomfort", person, text="none", **other),
        entry("10:25", "signed", person, **{"by": person, "identity": f"diver {person}", **other}),
        entry("10:30", "verified", person, **{"by": "Ida", "identity": "leader 7", **other}),
    ]
    if depth_m is not None:
        found.append(entry("10:15", "depth", person, value=depth_m, **other))
    if end_bar is not None:
        found.append(entry("10:15", "end_bar", person, value=end_bar, **other))
    return found


def done(*events: Event, dives: Sequence[DivePlan] | None = None) -> dict[tuple[str, int], ActualDive]:
    made = actual_dives(events, planned() if dives is None else dives)
    found = {(dive.person, dive.number): dive for dive in made}
    assert len(found) == len(made)
    return found


def ann(*events: Event, number: int = 1, dives: Sequence[DivePlan] | None = None) -> ActualDive:
    return done(*events, dives=dives)["Ann", number]


def the(dive: ActualDive, rule: str) -> Check:
    (found,) = [check for check in dive.checks if check.rule == rule]
    return found


# ---- the record ----


def test_a_full_record_stands_beside_the_plan():
    dive = ann(*record())
    assert (dive.time_in, dive.time_out, dive.elapsed_min) == (at("09:30"), at("10:10"), 40)
    assert (dive.depth_m, dive.start_bar, dive.end_bar) == (17.5, 215.0, 90.0)
    assert dive.used_l == 1875  # 15 l x 125 bar
    assert dive.discomfort == ("none",)
    assert dive.signed is not None and (dive.signed.by, dive.signed.identity) == ("Ann", "diver Ann")
    assert dive.verified is not None and (dive.verified.by, dive.verified.identity) == ("Ida", "leader 7")
    beside = dive.planned
    assert beside is not None
    assert (beside.entry, beside.exit, beside.exit_by) == (at("09:30"), at("10:11"), at("10:21"))
    assert (beside.depth_m, beside.bottom_min, beside.water_min, beside.reserve_bar) == (18.0, 30, 41, 50.0)
    assert beside.partners == ("Ben",)
    assert dive.gaps == ()
    assert {check.outcome for check in dive.checks} == {Outcome.OK}


@pytest.mark.parametrize(("seconds", "minutes"), [(0, 40), (1, 41), (59, 41)])
def test_time_in_the_water_is_rounded_up(seconds: int, minutes: int):
    assert ann(*record(out=at("10:10", seconds))).elapsed_min == minutes


@pytest.mark.parametrize(("written", "kept"), [(17.0, 17.0), (17.01, 17.1), (12.1, 12.1), (18.3, 18.3), (0.05, 0.1)])
def test_depth_is_rounded_up_to_a_tenth(written: float, kept: float):
    assert ann(*record(depth_m=written)).depth_m == kept


def test_what_nobody_wrote_is_a_gap_in_words_and_a_caution():
    dive = ann(entry("09:30", "in"))
    assert dive.gaps == (
        "time out not written down",
        "greatest depth not written down",
        "pressure before the dive not written down",
        "pressure after the dive not written down",
        "whether anything was felt not written down",
        "not signed by the diver",
        "not verified by an authorised person",
    )
    assert (dive.elapsed_min, dive.depth_m, dive.used_l) == (None, None, None)
    assert {check.outcome for check in dive.checks} == {Outcome.CAUTION}
    assert "time out not written down" in the(dive, "record-complete").sentence


def test_a_depth_of_nothing_is_none():
    dive = ann(*record(depth_m=0.0))
    assert dive.depth_m is None
    assert dive.gaps == ("greatest depth not written down",)


def test_who_was_planned_and_of_whom_nothing_is_written_is_in_the_record():
    found = done(*record())
    assert set(found) == {("Ida", 1), ("Ann", 1), ("Ben", 1)}
    assert found["Ben", 1].gaps[0] == "nobody has written that Ben went in, or that Ben stayed ashore"


def test_a_dive_that_nobody_made_has_no_record():
    assert actual_dives([], planned()) == ()
    assert done(*record(), entry("12:00", "start_bar", dive=2, value=200.0)).keys() == done(*record()).keys()


def test_what_is_written_more_than_once_counts_against_the_diver_and_is_said():
    dive = ann(
        *record(),
        entry("10:16", "depth", value=18.0),
        entry("10:16", "end_bar", value=80.0),
        entry("10:16", "start_bar", value=210.0),
    )
    assert (dive.depth_m, dive.start_bar, dive.end_bar, dive.used_l) == (18.0, 215.0, 80.0, 2025)  # 15 l x 135 bar
    assert len(dive.gaps) == 3
    assert all("is written more than once" in gap for gap in dive.gaps)


def test_corrections_hold_and_doubles_count_once():
    events = record()
    depth = next(event for event in events if event.kind == "depth")
    better = replace(depth, uid="the-better-one", value=16.0, corrects=depth.uid)
    assert ann(*events, better, *events).depth_m == 16.0
    assert ann(*events, better).gaps == ()


def test_coming_out_without_a_dive_ends_the_one_last_gone_in_on():
    dive = ann(*(replace(e, group="", dive=0) if e.kind == "out" else e for e in record()))
    assert dive.time_out == at("10:10")
    events = (entry("09:30", "in"), entry("12:30", "in", dive=2), entry("13:10", "out", group="", dive=0))
    assert (ann(*events).time_out, ann(*events, number=2).time_out) == (None, at("13:10"))


def test_coming_out_twice_and_going_in_again_count_as_the_longer_dive():
    twice = ann(*record(), entry("10:14", "out"))
    assert (twice.time_out, twice.elapsed_min) == (at("10:14"), 44)
    assert twice.gaps == ("coming out is written more than once; 10:14 counts",)
    again = ann(entry("09:30", "in"), entry("09:40", "out"), entry("09:50", "in"), entry("10:10", "out"))
    assert again.elapsed_min == 40
    assert "went in again at 09:50: counted as one dive, from the first in to the last out" in again.gaps
    still_in = ann(entry("09:30", "in"), entry("09:40", "out"), entry("09:50", "in"))
    assert still_in.time_out is None
    tapped = ann(entry("09:30", "in"), entry("09:35", "in"), entry("10:10", "out"))
    assert (tapped.time_in, tapped.elapsed_min) == (at("09:30"), 40)


def test_gas_that_grew_is_a_gap_and_no_use():
    dive = ann(*record(end_bar=220.0))
    assert dive.used_l is None
    assert dive.gaps == ("pressure after the dive, 220 bar, is above the one before, 215 bar",)


def test_used_gas_needs_a_cylinder_in_the_plan():
    dives = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="09:30"),))).dives
    dive = ann(*record(), dives=dives)
    assert dive.used_l is None
    assert dive.gaps == ("gas used not known, as the cylinder is not in the plan",)
    assert the(dive, "actual-reserve").outcome is Outcome.CAUTION


def test_both_sign_each_with_an_identity_and_nobody_for_themselves():
    def signed(**verified: str) -> ActualDive:
        return ann(*(replace(e, **verified) if e.kind == "verified" else e for e in record()))

    assert signed(by="ann").gaps == ("verified by the diver: another, authorised person has to",)
    assert signed(identity="diver Ann").gaps == ("verified by the diver: another, authorised person has to",)
    assert signed(identity="").gaps == ("the signature of the authorised person has no identity",)
    by_another = ann(*(replace(e, by="Ben") if e.kind == "signed" else e for e in record()))
    assert by_another.gaps == ("signed by Ben, not by the diver",)


def test_a_dive_or_a_person_that_is_not_in_the_plan_is_kept_and_said():
    found = done(*record("Eva"), *record("Ann", dive=3))
    for key in (("Eva", 1), ("Ann", 3)):
        assert found[key].planned is None
        assert the(found[key], "actual-planned").outcome is Outcome.CAUTION


def test_an_earlier_day_is_not_held_against_the_plan_of_today():
    (dive,) = actual_dives(record(day=DAY - timedelta(days=1)), planned())
    assert (dive.day, dive.planned) == (DAY - timedelta(days=1), None)


# ---- beside the plan ----


def test_deeper_than_planned_is_a_caution_and_than_the_limit_a_stop_that_names_it():
    assert the(ann(*record(depth_m=18.0)), "actual-depth").outcome is Outcome.OK
    deeper = the(ann(*record(depth_m=18.4)), "actual-depth")
    assert (deeper.outcome, deeper.found, deeper.limit) == (Outcome.CAUTION, 18.4, 18.0)
    assert "0.4 m deeper than planned" in deeper.sentence
    far = ann(*record(depth_m=30.5))
    limit = the(far, "actual-depth-limit")
    assert limit.outcome is Outcome.STOP
    assert "30 m" in limit.sentence, "the level's limit is named too"
    assert the(ann(*record(depth_m=18.4)), "actual-depth-limit").outcome is Outcome.OK


def test_longer_than_planned_is_a_caution():
    assert the(ann(*record(out="10:11")), "actual-time").outcome is Outcome.OK
    longer = the(ann(*record(out=at("10:11", 1))), "actual-time")
    assert (longer.outcome, longer.found, longer.limit) == (Outcome.CAUTION, 42, 41)


def test_a_no_stop_time_that_was_passed_is_a_stop_treated_as_one_left_out():
    """Of 41 min in the water 30 are bottom time: each minute more is one more at the bottom."""
    spare = no_stop_min() - 30
    assert the(ann(*record(depth_m=18, out=at("10:11") + timedelta(minutes=spare))), "actual-no-stop").outcome is (
        Outcome.OK
    )
    past = the(ann(*record(depth_m=18, out=at("10:11") + timedelta(minutes=spare, seconds=1))), "actual-no-stop")
    assert (past.outcome, past.found, past.limit) == (Outcome.STOP, no_stop_min() + 1, no_stop_min())
    assert "treat it as a stop left out: follow your training and the local protocol" in past.sentence
    unknown = ann(*record(depth_m=None, out="10:40"))
    assert the(unknown, "actual-no-stop").outcome is Outcome.STOP, "a depth not written is no excuse"


def test_deeper_is_within_the_no_stop_limits_only_as_far_as_the_plan_reckoned():
    down_to = no_stop_m()
    assert the(ann(*record(depth_m=down_to)), "actual-no-stop").outcome is Outcome.OK
    assert the(ann(*record(depth_m=round(down_to + 0.1, 1))), "actual-no-stop").outcome is Outcome.STOP
    assert the(ann(*record(depth_m=down_to, out="10:12")), "actual-no-stop").outcome is Outcome.STOP
    assert the(ann(*record(depth_m=18.0, out="10:12")), "actual-no-stop").outcome is Outcome.OK


def test_a_no_stop_time_that_cannot_be_judged_is_a_caution():
    no_depth, no_time = ann(*record(depth_m=None)), ann(entry("09:30", "in"), entry("10:15", "depth", value=10.0))
    for dive in (no_depth, no_time):
        check = the(dive, "actual-no-stop")
        assert check.outcome is Outcome.CAUTION
        assert "nobody can say that no stop was left out" in check.sentence


def test_where_the_planned_depth_has_no_limit_a_deeper_dive_is_a_caution_until_the_tables_are_read():
    dives = plan(group("Ann", "Ben", dives=(wish(4, 30, entry="09:30"),))).dives
    assert dives[0].people[0].no_stop_min is None
    longer = ann(*record(depth_m=5, out="11:00"), dives=dives)
    assert the(longer, "actual-no-stop").outcome is Outcome.CAUTION
    assert the(ann(*record(depth_m=4, out="11:00"), dives=dives), "actual-no-stop").outcome is Outcome.OK


def test_out_after_the_time_to_be_out_is_a_caution():
    assert the(ann(*record(out="10:21")), "actual-out-by").outcome is Outcome.OK
    late = the(ann(*record(out=at("10:21", 1))), "actual-out-by")
    assert late.outcome is Outcome.CAUTION
    assert "out at 10:21, 1 min after the time to be out, 10:21" in late.sentence


def test_less_than_the_planned_reserve_is_a_caution():
    assert the(ann(*record(end_bar=50)), "actual-reserve").outcome is Outcome.OK
    short = the(ann(*record(end_bar=49)), "actual-reserve")
    assert (short.outcome, short.found, short.limit) == (Outcome.CAUTION, 49, 50.0)
    assert "1 bar less than the planned 50 bar" in short.sentence


def test_discomfort_stops_the_next_dive():
    felt = [replace(e, text="sore shoulder") if e.kind == "discomfort" else e for e in record()]
    check = the(ann(*felt), "discomfort")
    assert check.outcome is Outcome.STOP
    assert "sore shoulder" in check.sentence
    assert not [check for check in ann(*record()).checks if check.rule == "discomfort"]


def second(into: str = "12:30", out: str = "13:10") -> list[Event]:
    return record(into=into, out=out, depth_m=14.0, dive=2)


def test_the_no_stop_time_of_a_second_dive_holds_only_after_the_first_as_planned():
    """By hand: out at 10:11 and in at 12:30 are 139 min ashore as planned; out at 10:10 leaves 140."""
    assert planned()[1].bottom_time_min is not None and planned()[1].bottom_time_min >= 30
    as_planned = ann(*record(), *second(), number=2)
    assert as_planned.interval_min == 140
    assert the(as_planned, "actual-interval").limit == 139
    assert the(as_planned, "actual-no-stop").outcome is Outcome.OK
    for first, then in (
        (record(depth_m=18.3), second()),
        (record(out="10:12"), second()),
        (record(depth_m=None), second()),
        (record(), second(into="12:25")),
        ([e for e in record() if e.kind != "out"], second()),
    ):
        check = the(ann(*first, *then, number=2), "actual-no-stop")
        assert check.outcome is Outcome.CAUTION
        assert "holds only where this dive was planned again" in check.sentence


@MANY
@given(st.integers(0, 400), st.integers(0, 90), st.integers(0, 400), st.integers(0, 90), st.booleans(), st.booleans())
def test_a_deeper_or_longer_dive_is_never_judged_milder(depth, longer, deeper, more, tenths, seconds):
    low = record(depth_m=depth / 10 + 0.1, out=at("09:35", 1) + timedelta(minutes=longer))
    high = record(
        depth_m=min((depth + deeper) / 10 + (0.13 if tenths else 0.1), 100.0),
        out=at("09:35", 2 if seconds else 1) + timedelta(minutes=longer + more),
    )
    mild, grave = ann(*low), ann(*high)
    for rule in BURDEN:
        assert the(mild, rule).outcome.severity <= the(grave, rule).outcome.severity


@MANY
@given(st.integers(1, 100_000), st.floats(0.01, 100), st.integers(0, 3599), st.floats(0, 350), st.floats(0, 350))
def test_every_number_is_rounded_against_the_diver(elapsed_s, depth_m, start_s, one_bar, other_bar):
    into = at("08:00") + timedelta(seconds=start_s)
    events = record(
        into=into, out=into + timedelta(seconds=elapsed_s), depth_m=depth_m, end_bar=min(one_bar, other_bar)
    )
    events = [replace(e, value=max(one_bar, other_bar)) if e.kind == "start_bar" else e for e in events]
    dive = ann(*events)
    assert dive.elapsed_min is not None and dive.depth_m is not None and dive.used_l is not None
    assert 0 <= dive.elapsed_min * 60 - elapsed_s < 60
    assert -1e-6 <= dive.depth_m - depth_m < 0.1 + 1e-6
    assert -1e-3 <= dive.used_l - 15 * abs(one_bar - other_bar) < 1


# ---- the next plan ----


def recent(*events: Event) -> dict[str, RecentDive]:
    return {dive.person: dive for dive in recent_dives_of(actual_dives(events, planned()))}


def everybody(**other: Any) -> list[Event]:
    return [event for name in ("Ida", "Ann", "Ben") for event in record(name, **other)]


def test_the_whole_time_in_the_water_counts_as_bottom_time():
    found = recent(*everybody(out=at("10:10", 5)))
    assert set(found) == {"Ida", "Ann", "Ben"}
    assert found["Ann"] == RecentDive(person="Ann", depth_m=17.5, minutes=41, surfaced=at("10:10", 5))
    checks = check_recent_dives(actual_dives(everybody(), planned()))
    assert {check.outcome for check in checks} == {Outcome.OK}


def test_a_person_has_the_name_of_the_roster_however_it_was_typed():
    assert set(recent(*record(" aNN"), *record("IDA"), *record("ben"))) == {"Ida", "Ann", "Ben"}


def test_a_missing_depth_is_the_greater_of_plan_and_limit_with_a_caution():
    events = (*record("Ida"), *record("Ben"), *record("Ann", depth_m=None))
    assert recent(*events)["Ann"].depth_m == max(18.0, planned()[0].depth.value or 0.0)
    assert recent(*record("Ida", depth_m=25.0), *events)["Ann"].depth_m == 25.0, "they dived together"
    (caution,) = [c for c in check_recent_dives(actual_dives(events, planned())) if c.outcome is not Outcome.OK]
    assert caution.outcome is Outcome.CAUTION
    assert "greatest depth not written down" in caution.sentence


def test_a_missing_time_in_is_the_earliest_of_the_others_and_the_plan():
    events = [e for e in everybody(out="10:20") if (e.kind, e.person) != ("in", "Ann")]
    assert recent(*events)["Ann"].minutes == 50  # from the planned and the others' 09:30
    early = [replace(e, at=at("09:25")) if (e.kind, e.person) == ("in", "Ida") else e for e in events]
    assert recent(*early)["Ann"].minutes == 55
    cautions = check_recent_dives(actual_dives(events, planned()))
    assert [c.outcome for c in cautions].count(Outcome.CAUTION) == 1


def test_a_missing_time_out_is_refused_with_the_name():
    events = [e for e in everybody() if (e.kind, e.person) != ("out", "Ann")]
    with pytest.raises(OutOfRange, match="Ann, Group, dive 1: when Ann came out is not written down"):
        recent(*events)
    stops = [c.subject for c in check_recent_dives(actual_dives(events, planned())) if c.outcome is Outcome.STOP]
    assert stops == ["Ann, Group, dive 1"]


def test_who_was_planned_and_of_whom_nothing_is_written_counts_as_on_the_whole_dive():
    events = (*record("Ida"), *record("Ann", out="10:15"))
    ben = recent(*events)["Ben"]
    assert (ben.minutes, ben.surfaced) == (45, at("10:15"))
    assert ben.depth_m == planned()[0].depth.value
    with pytest.raises(OutOfRange, match="when Ben came out"):
        recent(*record("Ida"), entry("09:30", "in", "Ann"))


def test_an_unplanned_dive_is_kept_and_needs_its_depth():
    assert recent(*everybody(), *record("Eva", dive=4))["Eva"].depth_m == 17.5
    with pytest.raises(OutOfRange, match="how deep Eva was is neither written down nor planned"):
        recent(*everybody(), *record("Eva", dive=4, depth_m=None))


def next_minutes(events: Sequence[Event]) -> int:
    """Return the bottom time of the second dive, planned afresh after the first as it was; 0 where there is none."""
    before = recent_dives_of(actual_dives(events, planned()))
    wanted = group("Ann", "Ben", dives=(FURTHER,))  # gas is left out: it would hide what the bodies allow
    (dive,) = plan_day(ask(wanted, recent_dives=before), WORLD).dives
    return dive.bottom_time_min or 0


def test_the_next_dive_shrinks_after_a_deeper_and_after_a_longer_one():
    plain = next_minutes(everybody(depth_m=12.0, into="09:40"))
    assert plain > next_minutes([*everybody(depth_m=12.0, into="09:40"), entry("10:16", "depth", "Ann", value=26.0)])
    assert plain > next_minutes(everybody(depth_m=12.0, into="08:20"))


def test_a_dive_as_planned_never_lengthens_the_plan_of_the_next():
    first, following = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="09:30"), FURTHER))).dives
    assert first.exit == at("10:11") and following.bottom_time_min is not None
    assert 0 < next_minutes(everybody(depth_m=18.0, out="10:11")) <= following.bottom_time_min


starts = st.integers(1, 90).map(lambda minutes: at("10:11") - timedelta(minutes=minutes))
depths = st.integers(40, 320).map(lambda tenths: tenths / 10)


@SOME
@given(starts, starts, depths, depths, st.sampled_from(["Ida", "Ann", "Ben"]))
def test_no_next_dive_is_longer_after_a_deeper_and_longer_one(one_start, other_start, one_m, other_m, who):
    late, early = max(one_start, other_start), min(one_start, other_start)
    rest = [event for name in ("Ida", "Ann", "Ben") if name != who for event in record(name, depth_m=10.0)]
    mild = record(who, into=late, out="10:11", depth_m=min(one_m, other_m))
    hard = record(who, into=early, out="10:11", depth_m=max(one_m, other_m))
    assert next_minutes([*rest, *hard]) <= next_minutes([*rest, *mild])


@SOME
@given(st.integers(30, 48), depths, st.sets(st.sampled_from(["in", "depth", "start_bar", "discomfort"])), st.booleans())
def test_what_is_not_written_never_lengthens_the_next_dive(minutes, depth_m, missing, whole):
    """For a dive that began no earlier than planned and kept to the limit; a missing time out is refused above."""
    depth_m = min(depth_m, planned()[0].depth.value or 0.0)
    rest = [*record("Ida", depth_m=10.0, out="10:18"), *record("Ben", depth_m=10.0, out="10:18")]
    full = record("Ann", out=at("09:30") + timedelta(minutes=minutes), depth_m=depth_m)
    left = [] if whole else [event for event in full if event.kind not in missing]
    assert next_minutes([*rest, *left]) <= next_minutes([*rest, *full])


# ---- coming out that names no dive ----


def no_dive(clock: str, person: str) -> Event:
    return entry(clock, "out", person, group="", dive=0)


def test_coming_out_without_going_in_is_of_the_dive_that_the_others_began_last():
    late = [e for e in everybody() if (e.kind, e.person) not in (("in", "Ben"), ("out", "Ben"))]
    assert recent(*late, no_dive("10:31", "Ben"))["Ben"].minutes == 61  # from the others' 09:30
    both = [*everybody(), *(e for name in ("Ida", "Ann") for e in record(name, into="12:30", out="13:00", dive=2))]
    found = done(*both, no_dive("13:05", "Ben"))
    assert (found["Ben", 1].time_out, found["Ben", 2].time_out) == (at("10:10"), at("13:05"))


@pytest.mark.parametrize(
    ("person", "clock"),
    [
        ("Cy", "10:20"),  # is planned for no dive
        ("Ann", "10:40"),  # is out of the only dive that anybody began
        ("Ann", "09:20"),  # before anybody went in
    ],
)
def test_coming_out_of_nobody_knows_which_dive_is_asked_about_before_the_next_is_planned(person: str, clock: str):
    events = (*everybody(), no_dive(clock, person))
    assert (person, 0) in done(*events)
    with pytest.raises(OutOfRange, match=f"{person}, dive not known: {person} came out of the water"):
        recent(*events)
    stops = [c.subject for c in check_recent_dives(actual_dives(events, planned())) if c.outcome is Outcome.STOP]
    assert stops == [f"{person}, dive not known"]
