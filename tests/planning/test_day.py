"""The whole plan: dives after one another, each person's own day, what is said, and the revision."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from small_world import (
    CREW,
    TIDAL,
    ask,
    cautions,
    group,
    person,
    plan,
    rules_with,
    site,
    stops,
    swing,
    the_check,
    wish,
    world,
)

from tripplan.check import Outcome
from tripplan.planning.day import plan_day, revision_of
from tripplan.planning.request import Altitude, Crew, RecentDive

TWO = (wish(18, 25), wish(12, 25))


def clock(moment: datetime | None) -> str:
    return "-" if moment is None else f"{moment:%H:%M}"


def recent(name: str, hours_before: float, depth_m: float = 18, minutes: int = 30, **other) -> RecentDive:
    """Return a dive that ended so many hours before 08:00 on the day."""
    ended = datetime(2027, 6, 12, 8, tzinfo=UTC) - timedelta(hours=hours_before)
    return RecentDive(person=name, depth_m=depth_m, minutes=minutes, surfaced=ended, **other)


# ---- one dive ----


def test_the_minutes_of_a_dive_add_up():
    # 3 min out, 30 at the bottom, 18 m at 9 m/min and 3 min of safety stop, 3 min back: 41
    made = plan(group("Ann", "Ben", dives=(wish(18, 30, not_before="10:00"),)))
    (dive,) = made.dives
    assert (clock(dive.entry), clock(dive.descent), clock(dive.exit)) == ("10:00", "10:03", "10:41")
    assert (dive.bottom_time_min, dive.water_time_min) == (30, 41)
    assert clock(dive.exit_by) == clock(dive.overdue_at) == "10:51"  # 10 min, rule overdue.after_min
    assert dive.surface_interval_min is None
    assert dive.moved_because == ""


def test_below_6_m_of_depth_there_is_no_safety_stop_in_the_time():
    made = plan(group("Ann", "Ben", dives=(wish(5.9, 30, not_before="10:00"),)))
    assert made.dives[0].water_time_min == 3 + 30 + 1 + 3


def test_out_by_is_never_after_the_window_closes():
    gate = site(("[access]", '[access]\nhours = { opens = "10:00", closes = "10:44" }'))
    (dive,) = plan(group("Ann", "Ben", dives=(wish(18, 30),)), where=world(gate)).dives
    assert (clock(dive.exit), clock(dive.exit_by), clock(dive.window_closes)) == ("10:41", "10:44", "10:44")


def test_a_fixed_entry_is_kept():
    (dive,) = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="13:07"),))).dives
    assert clock(dive.entry) == "13:07"


def test_a_fixed_entry_in_a_closed_minute_has_no_time_and_stops_with_the_reasons():
    gate = site(("[access]", '[access]\nhours = { opens = "08:00", closes = "17:30" }'))
    made = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="03:00"),)), where=world(gate))
    (dive,) = made.dives
    assert (dive.entry, dive.exit, dive.exit_by, dive.bottom_time_min) == (None, None, None, None)
    check = the_check(made, "entry-possible")
    assert check.outcome is Outcome.STOP
    assert "08:00 to 17:30" in check.sentence and "sunrise" in check.sentence
    assert made.verdict is Outcome.STOP and made.headline.startswith("Do not go")


def test_a_window_too_short_for_the_shortest_dive_gives_no_time():
    gate = site(("[access]", '[access]\nhours = { opens = "10:00", closes = "10:20" }'))
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), where=world(gate))
    assert made.dives[0].entry is None
    assert "the window leaves" in the_check(made, "entry-possible").sentence


def test_asked_for_after_the_last_open_minute_there_is_no_time():
    gate = site(("[access]", '[access]\nhours = { opens = "08:00", closes = "12:00" }'))
    made = plan(group("Ann", "Ben", dives=(wish(10, 20, not_before="15:00"),)), where=world(gate))
    assert made.dives[0].entry is None
    assert "No entry is open from 15:00 on" in the_check(made, "entry-possible").sentence


def test_a_night_dive_is_planned_after_dusk_and_out_by_midnight():
    made = plan(group("Ann", "Ben", kind="night", dives=(wish(10, 30),)))
    (dive,) = made.dives
    assert made.light.civil_dusk is not None
    assert dive.entry is not None and dive.entry >= made.light.civil_dusk
    assert dive.exit is not None and dive.exit <= datetime(2027, 6, 13, tzinfo=UTC)


def test_the_tide_at_the_times_of_the_dive_is_told():
    # 3 m + 2 m x cos: at 12:00 UTC 5 m; at 10:00 and 14:00 4 m
    made = plan(group("Ann", "Ben", dives=(wish(18, 30, entry="12:00"),)), where=world(site(TIDAL), station=swing()))
    assert made.dives[0].tide_entry_m == pytest.approx(5.0, abs=0.001)
    assert [(clock(e.time), e.kind, e.height_m) for e in made.tide_events] == [
        ("00:00", "high", 5.0), ("06:00", "low", 1.0), ("12:00", "high", 5.0), ("18:00", "low", 1.0),
    ]  # fmt: skip


# ---- several dives ----


def test_the_second_dive_waits_for_the_surface_interval():
    made = plan(group("Ann", "Ben", dives=TWO))
    first, second = made.dives
    assert first.exit is not None and second.descent is not None
    assert second.surface_interval_min is not None and second.surface_interval_min >= 60
    # surfaced 3 min of swim before being out; 5 min is the step of entries
    waited = (second.descent - first.exit).total_seconds() / 60 + 3
    assert waited == second.surface_interval_min < 66
    assert second.moved_because.endswith("needs 60 min at the surface first")
    assert second.people[0].group_before is not None
    assert first.people[0].group_before is None


def test_the_second_dive_has_less_time_than_it_would_have_alone():
    alone = plan(group("Ann", "Ben", dives=(wish(18, None),))).dives[0]
    second = plan(group("Ann", "Ben", dives=(wish(18, 25), wish(18, None)))).dives[1]
    assert alone.time.value is not None and second.time.value is not None
    assert second.time.value < alone.time.value


def test_a_deeper_dive_after_a_shallower_one_is_a_caution():
    assert "deepest-first" in cautions(plan(group("Ann", "Ben", dives=(wish(12, 20), wish(18, 20)))))
    assert "deepest-first" not in cautions(plan(group("Ann", "Ben", dives=TWO)))


def test_a_leader_of_two_groups_carries_both_dives_and_the_others_only_their_own():
    made = plan(
        group("Ann", "Ben", name="One", dives=(wish(18, 25),)),
        group("Cy", "Dee", name="Two", dives=(wish(18, 20),)),
    )
    one, two = made.dives
    assert one.exit is not None and two.entry is not None and two.entry >= one.exit
    held = {p.name: p for p in two.people}
    assert held["Ida"].group_before is not None
    assert held["Cy"].group_before is held["Dee"].group_before is None
    least = next(p.no_stop_min for p in two.people if p.name == "Ida")
    assert least is not None and held["Cy"].no_stop_min is not None and least < held["Cy"].no_stop_min
    bound = [c for c in two.time.candidates if c.name in ("handbook", "model")]
    assert all("Ida" in c.sentence for c in bound)


def test_two_groups_with_their_own_leaders_dive_at_once():
    made = plan(
        group("Ann", "Ben", name="One", dives=(wish(18, 25),)),
        group("Cy", "Dee", name="Two", leader="Ola", dives=(wish(18, 20),)),
    )
    assert made.dives[0].entry == made.dives[1].entry


def test_no_more_in_the_water_at_once_than_the_site_takes():
    small = site(("divers = 12", "divers = 5"))
    made = plan(
        group("Ann", "Ben", name="One", dives=(wish(10, 20),)),
        group("Cy", "Dee", name="Two", leader="Ola", dives=(wish(10, 20),)),
        where=world(small),
    )
    one, two = made.dives
    assert one.exit is not None and two.entry is not None and two.entry >= one.exit
    assert "6 would be in the water at once; Plain Cove takes 5" in two.moved_because


def test_a_group_larger_than_the_site_takes_gets_no_time():
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), where=world(site(("divers = 12", "divers = 2"))))
    assert made.dives[0].entry is None
    assert "takes 2" in the_check(made, "entry-possible").sentence


@pytest.mark.parametrize(("dives", "stopped"), [(3, False), (4, True)])
def test_three_dives_a_day_are_allowed_and_four_are_not(dives, stopped):
    made = plan(group("Ann", "Ben", dives=(wish(6, 20),) * dives))
    assert ("dives-per-day" in stops(made)) is stopped


def test_staff_may_make_four_and_a_dive_made_this_morning_counts():
    made = plan(group("Ann", "Ben", dives=(wish(6, 20),) * 3), recent_dives=(recent("Ben", 1.0, 6, 20),))
    assert the_check(made, "dives-per-day", "Ben").found == 4
    assert the_check(made, "dives-per-day", "Ben").outcome is Outcome.STOP
    assert the_check(made, "dives-per-day", "Ann").outcome is Outcome.OK
    before = plan(group("Ann", "Ben", dives=(wish(6, 20),) * 3), recent_dives=(recent("Ben", 20.0, 6, 20),))
    assert the_check(before, "dives-per-day", "Ben").outcome is Outcome.OK
    five = plan(group("Ann", name="One", dives=(wish(5, 15),) * 3), group("Ben", name="Two", dives=(wish(5, 15),) * 2))
    assert the_check(five, "dives-per-day", "Ida").found == 5
    assert the_check(five, "dives-per-day", "Ida").outcome is Outcome.STOP


# ---- dives of the days before ----


def test_unknown_recent_dives_are_a_caution_and_asked_ones_are_not():
    assert "recent-dives-known" in cautions(plan(group("Ann", "Ben"), recent_dives=None))
    assert "recent-dives-known" not in cautions(plan(group("Ann", "Ben"), recent_dives="none"))
    assert "recent-dives-known" not in cautions(plan(group("Ann", "Ben"), recent_dives=()))


def test_a_recent_dive_shortens_the_dive_of_that_person_only():
    made = plan(group("Ann", "Ben", dives=(wish(18, None, entry="09:00"),)), recent_dives=(recent("Ben", 0.0),))
    held = {p.name: p for p in made.dives[0].people}
    assert held["Ben"].group_before is not None and held["Ann"].group_before is None
    assert held["Ben"].no_stop_min is not None and held["Ann"].no_stop_min is not None
    assert held["Ben"].no_stop_min < held["Ann"].no_stop_min
    assert made.dives[0].bottom_time_min == held["Ben"].no_stop_min


def test_after_a_recent_dive_the_surface_interval_holds_too():
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), recent_dives=(recent("Ben", 0.0, 10, 20),))
    (dive,) = made.dives
    assert dive.descent is not None and dive.descent >= datetime(2027, 6, 12, 9, tzinfo=UTC)


def test_a_dive_of_weeks_ago_neither_fails_nor_counts():
    made = plan(group("Ann", "Ben", dives=(wish(18, 20),)), recent_dives=(recent("Ben", 24 * 40),))
    assert made.dives[0].entry is not None
    assert {p.group_before for p in made.dives[0].people} == {None}


def test_the_order_in_which_recent_dives_are_written_down_does_not_matter():
    dives = (recent("Ben", 1.0, 10, 20), recent("Ben", 4.0, 18, 30))
    group_ = group("Ann", "Ben", dives=(wish(15, None, entry="09:30"),))
    one, other = (plan(group_, recent_dives=order).dives[0] for order in (dives, dives[::-1]))
    assert one.people == other.people


def test_a_recent_dive_beyond_the_tables_keeps_its_diver_out_and_says_why():
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), recent_dives=(recent("Ben", 3.0, 70, 20),))
    assert made.dives[0].entry is None
    said = [c.sentence for c in made.checks if c.rule == "handbook-outside-tables"]
    assert said and "(Ben)" in said[0] and "70 m" in said[0]


def test_a_recent_dive_in_the_future_keeps_its_diver_out_until_then():
    made = plan(group("Ann", "Ben", dives=(wish(10, 20),)), recent_dives=(recent("Ben", -30.0),))
    assert made.dives[0].entry is None
    assert "Ben needs 60 min" in the_check(made, "entry-possible").sentence


# ---- the site ----


@pytest.mark.parametrize(
    ("surveyed", "fresh"),
    [("2027-06-12", True), ("2026-06-12", True), ("2026-06-11", False), ("2027-06-13", False)],
)
def test_a_survey_holds_a_year_and_one_from_the_future_does_not_count(surveyed, fresh):
    old = site(("survey_date = 2027-05-01", f"survey_date = {surveyed}"))
    assert ("survey-fresh" in cautions(plan(group("Ann", "Ben"), where=world(old)))) is not fresh


def test_a_permission_is_a_caution_and_an_unknown_salinity_too():
    asked = site(("[access]", '[access]\npermission = "the harbour master"'), ("salinity = 35\n", ""))
    found = cautions(plan(group("Ann", "Ben"), where=world(asked)))
    assert {"permission", "salinity-known"} <= found


def test_the_worst_check_stands_first_and_makes_the_verdict():
    made = plan(group("Ann", "Ben"), crew=Crew(), recent_dives=None)
    severities = [check.outcome.severity for check in made.checks]
    assert severities == sorted(severities, reverse=True) and severities[0] == 2
    assert made.verdict is Outcome.STOP
    assert f"{len(made.stops)} things stop it" in made.headline
    assert made.stops[0].sentence in made.nearest_edge
    assert len(set(made.checks)) == len(made.checks)


# ---- the revision ----


def test_the_same_inputs_make_the_same_plan_and_the_same_revision():
    request = ask(group("Ann", "Ben", dives=TWO))
    where = world(site(TIDAL), station=swing())
    assert plan_day(request, where).revision == plan_day(request.model_copy(), replace(where)).revision
    again = world(site(TIDAL), station=swing())
    assert plan_day(request, where).dives == plan_day(ask(group("Ann", "Ben", dives=TWO)), again).dives


def test_every_changed_input_makes_another_revision():
    base = group("Ann", "Ben", dives=TWO)
    where = world(site(TIDAL), station=swing())
    plain = revision_of(ask(base), where)
    slower = swing()
    slower = replace(slower, tide=replace(slower.tide, points=slower.tide.points[:-1]))  # type: ignore[type-var,union-attr]
    changed = {
        "title": revision_of(ask(base, title="Other"), where),
        "date": revision_of(ask(base, date=date(2027, 6, 13)), where),
        "crew": revision_of(ask(base, crew=CREW.model_copy(update={"dive_director": "Gil"})), where),
        "pressure": revision_of(ask(base, measured_pressure_bar=1.0), where),
        "arrival": revision_of(ask(base, altitude=Altitude(arrived="08:00")), where),
        "recent": revision_of(ask(base, recent_dives=None), where),
        "recent none": revision_of(ask(base, recent_dives=()), where),
        "recent one": revision_of(ask(base, recent_dives=(recent("Ben", 3.0),)), where),
        "diver": revision_of(ask(group("Ann", "Cy", dives=TWO)), where),
        "order": revision_of(ask(group("Ben", "Ann", dives=TWO)), where),
        "leader": revision_of(ask(group("Ann", "Ben", dives=TWO, leader="Gil")), where),
        "kind": revision_of(ask(group("Ann", "Ben", dives=TWO, kind="refresher")), where),
        "wish": revision_of(ask(group("Ann", "Ben", dives=(wish(18, 26), wish(12, 25)))), where),
        "gas": revision_of(ask(group("Ann", "Ben", dives=(wish(18, 25, oxygen_percent=32), wish(12, 25)))), where),
        "entry": revision_of(ask(group("Ann", "Ben", dives=(wish(18, 25, entry="09:00"), wish(12, 25)))), where),
        "site": revision_of(ask(base), world(site(TIDAL, ("drive_min = 40", "drive_min = 41")), station=swing())),
        "contact": revision_of(ask(base), world(site(TIDAL, ("960112", "960113")), station=swing())),
        "tide": revision_of(ask(base), world(site(TIDAL), station=slower)),
        "no tide": revision_of(ask(base), world(site(TIDAL))),
        "person": revision_of(ask(base), world(site(TIDAL), (person("Ann", logged_dives=51),), station=swing())),
        "shore": revision_of(
            ask(base), world(site(TIDAL), (person("Oxy", oxygen_provider_until=date(2028, 1, 1)),), station=swing())
        ),
        "rule": revision_of(ask(base), world(site(TIDAL), rules=rules_with(overdue__after_min=11), station=swing())),
        "centre": revision_of(ask(base), replace(where, centre_name="Other")),
        "code": revision_of(ask(base), replace(where, code_of_practice="Other")),
        "demonstration": revision_of(ask(base), replace(where, demonstration=True)),
    }
    assert plain not in changed.values(), [name for name, found in changed.items() if found == plain]
    assert len(set(changed.values())) == len(changed)
    assert all(len(found) == 8 and int(found, 16) >= 0 for found in changed.values())


def test_who_is_not_part_of_the_day_does_not_change_its_revision():
    base = ask(group("Ann", "Ben", dives=TWO))
    assert revision_of(base, world()) == revision_of(base, world(people=(person("Stranger"),)))
