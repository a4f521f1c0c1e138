"""A day plan made by hand, so that pages, sheets and drawings can be tested without planning anything.

The place, the people and the numbers are invented; telephone numbers come from ranges reserved for fiction. The tide is
a plain cosine of 12 h 25 min, so that a test can say where it must be. The day is 12 June 2026: no clock change.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from tripplan.check import Candidate, Check, Contest, Outcome
from tripplan.planning.plan import (
    CareLine,
    Closure,
    ContactLine,
    DayCurve,
    DayPlan,
    DivePlan,
    Emergency,
    Light,
    Observation,
    PersonDive,
    Span,
    TideEvent,
    UsableWindow,
    WhatIf,
)
from tripplan.rulebook import baseline

DAY = date(2026, 6, 12)
ZONE = "Atlantic/Azores"
PERIOD_MIN, MEAN_M, AMPLITUDE_M, HIGH_WATER_MIN = 745, 2.2, 1.4, 11 * 60 + 30


def at(clock: str, day: date = DAY, zone: str = ZONE) -> datetime:
    """Return a local time of the plan's day, "HH:MM"."""
    return datetime.combine(day, time.fromisoformat(clock), tzinfo=ZoneInfo(zone))


def cosine_m(minute: float) -> float:
    """Return the height of the invented tide, a minute count after midnight."""
    return MEAN_M + AMPLITUDE_M * math.cos(2 * math.pi * (minute - HIGH_WATER_MIN) / PERIOD_MIN)


def curve_of(day: date = DAY, zone: str = ZONE, **changes: object) -> DayCurve:
    """Return the curve of a local day, as long as that day really is."""
    start, end = at("00:00", day, zone), at("00:00", day + timedelta(days=1), zone)
    minutes = round((end.timestamp() - start.timestamp()) / 60)
    curve = DayCurve(
        midnight=start,
        minutes=minutes,
        tide_m=tuple(cosine_m(minute) for minute in range(minutes)),
        stream_kn=tuple(0.55 * abs(math.sin(2 * math.pi * (m - HIGH_WATER_MIN) / PERIOD_MIN)) for m in range(minutes)),
        going_in_m=(1.25, 3.45),
        coming_out_m=(1.51, None),
        stream_limit_kn=0.5,
    )
    return replace(curve, **changes)  # type: ignore[arg-type]


def with_weather(plan: DayPlan, **changes: object) -> DayPlan:
    """Return a plan whose curve tells surf and wind: a blow in the afternoon, elapsed minutes after midnight.

    Surf 0.3 m, from minute 780 to 1020 0.91 m, limit 0.5 m. Wind 6.2 kn from the south (limit 16 kn), from minute 840
    18.4 kn from the west (limit 10 kn); gusts 1.3 times the wind.
    """
    minutes = range(plan.curve.minutes)
    wind = tuple(18.4 if minute >= 840 else 6.2 for minute in minutes)
    curve = replace(
        plan.curve,
        surf_m=tuple(0.91 if 780 <= minute < 1020 else 0.3 for minute in minutes),
        surf_limit_m=0.5,
        wind_kn=wind,
        gust_kn=tuple(1.3 * each for each in wind),
        wind_from_deg=tuple(270.0 if minute >= 840 else 180.0 for minute in minutes),
        wind_limit_kn=tuple(10.0 if minute >= 840 else 16.0 for minute in minutes),
    )
    return replace(plan, curve=replace(curve, **changes))  # type: ignore[arg-type]


def closed_for(plan: DayPlan, rule: str, first: int, end: int, phase: str = "water", *groups: str) -> Closure:
    """Return a closure from one elapsed minute of the plan's day to another."""
    start, until = _after_midnight(plan.curve, first), _after_midnight(plan.curve, end)
    return Closure(start, until, phase, rule, f"Closed by {rule}.", "SITE_FILE", groups)  # type: ignore[arg-type]


def on_day(day: date, zone: str = ZONE) -> DayPlan:
    """Return the sample moved to another day, with the same clock times: for days on which the clock changes."""
    plan = sample_plan()

    def moved(moment: datetime | None) -> datetime | None:
        return None if moment is None else datetime.combine(day, moment.time(), tzinfo=ZoneInfo(zone))

    def moved_fields(value, *names):  # type: ignore[no-untyped-def]
        return replace(value, **{name: moved(getattr(value, name)) for name in names})

    curve = curve_of(day, zone)
    end = _after_midnight(curve, curve.minutes)
    return replace(
        plan,
        date=day,
        timezone=zone,
        curve=curve,
        light=moved_fields(plan.light, "civil_dawn", "sunrise", "sunset", "civil_dusk"),
        tide_events=tuple(
            replace(event, time=_after_midnight(curve, event.time.hour * 60 + event.time.minute))
            for event in plan.tide_events
        ),
        windows=tuple(
            replace(
                moved_fields(window, "start", "end"),
                entries=tuple(moved_fields(span, "start", "end") for span in window.entries),
            )
            for window in plan.windows
        ),
        closures=tuple(replace(moved_fields(closure, "start"), end=end) for closure in plan.closures[-1:]),
        dives=tuple(
            moved_fields(dive, "entry", "descent", "exit", "exit_by", "overdue_at", "window_closes")
            for dive in plan.dives
        ),
    )


def _after_midnight(curve: DayCurve, minutes: int) -> datetime:
    return (curve.midnight.astimezone(UTC) + timedelta(minutes=minutes)).astimezone(curve.midnight.tzinfo)


def sample_plan(**changes: object) -> DayPlan:
    """Return the sample plan, with any fields replaced."""
    rule = baseline()["overdue.after_min"]
    plan = DayPlan(
        revision="5a3b1e77",
        title="Friday at the skerry",
        demonstration=True,
        site="skerry-sound",
        site_name="Skerry Sound",
        date=DAY,
        timezone=ZONE,
        verdict=Outcome.CAUTION,
        headline="Go, with 3 cautions: Skerry Sound, Friday 12 June 2026. First in 09:20, last out 13:12.",
        nearest_edge="Closest to stopping it, 24 min away: Petrels, dive 2 must be out before the stream turns.",
        windows=(
            UsableWindow(at("09:15"), at("13:45"), (Span(at("09:15"), at("10:35")), Span(at("12:25"), at("13:20")))),
            UsableWindow(at("09:15"), at("12:00"), (Span(at("09:15"), at("10:35")),), ("Puffins",)),
        ),
        closures=(
            Closure(at("00:00"), at("06:22"), "water", "light", "The sun rises at 06:22.", "ASTRONOMY"),
            Closure(at("07:33"), at("09:15"), "water", "stream", "The stream is above 0.5 kn.", "SITE_FILE"),
            Closure(at("10:35"), at("12:25"), "entry", "tide-going-in",
                    "Going in by Slip needs at most 3.6 m of tide less 0.15 m margin.", "SITE_FILE"),
            Closure(at("13:45"), at("15:27"), "water", "stream", "The stream is above 0.5 kn.", "SITE_FILE"),
            Closure(at("20:45"), at("23:59"), "water", "light", "Out by 30 min before sunset (21:15).",
                    "light.exit_before_sunset_min", ("Petrels",)),
        ),
        dives=_dives(),
        checks=_checks(),
        light=Light(at("05:49"), at("06:22"), at("21:15"), at("21:48"), "waning crescent, 12 % lit"),
        tide_events=(
            TideEvent(at("05:18"), "low", 0.8),
            TideEvent(at("11:30"), "high", 3.6),
            TideEvent(at("17:43"), "low", 0.8),
        ),
        tide_words="Skerry station, heights above chart datum. Predicted: weather moves the sea by decimetres.",
        curve=curve_of(),
        emergency=_emergency(),
        observations=(
            Observation("Breaking waves at the way in", "stop above 0.5 m", "watch 10 min; the largest counts",
                        "SITE_FILE"),
            Observation("Visibility under water", "stop below 3 m", "fewer divers to a leader when poor", "SITE_FILE"),
            Observation("Thunder heard", "out of the water; wait 30 min after the last", "from any side",
                        "NWS_30_30"),
        ),
        forecast_words="Forecast of 11 June 2026 18:00, 14 h old: sea 0.6 m from 240 degrees, wind force 3.",
        what_ifs=(
            WhatIf("Petrels, dive 2: in 24 min later and the stream closes the way out.", 24),
            WhatIf("Puffins, dive 1: 0.3 m less tide and the slip is dry."),
        ),
        overrides=(
            replace(rule, value=8.0, source="CENTRE", reason="the lifeboat needs forty minutes",
                    baseline_value=rule.value),
        ),
        elevation_m=0.0,
        surface_pressure_bar=1.013,
        water_words="sea water, 1027 kg/m3, usually 16 C in June",
        hazards=(("Kelp at the ledge", "Each diver carries a cutter."),),
        briefing=("Stay with your buddy. Lost: look for one minute, then come up and wait.", "Up at 9 m a minute."),
        flag_rule="Code flag A on a pole at the slip.",
        rules_here="Shore-dive code 4 (demonstration)",
        attribution=("Tide: an invented station.",),
    )  # fmt: skip
    return replace(plan, **changes)  # type: ignore[arg-type]


def _person(name: str, role: str, words: str, age: int, depth_m: float, groups: tuple[str | None, str]) -> PersonDive:
    because = f"{name} has {words}: {depth_m:g} m"
    return PersonDive(name, role, words, age, depth_m, because, groups[0], groups[1], 51)  # type: ignore[arg-type]


def _dive(group: str, number: int, times: tuple[str, str, str, str], depth_m: float, **changes: object) -> DivePlan:
    entry, descent, out, by = (at(clock) for clock in times)
    first = number == 1
    dive = DivePlan(
        group=group,
        kind="guided",
        kind_words="guided dive",
        number=number,
        site="skerry-sound",
        place="Kelp ledge",
        going_in_by="Slip",
        coming_out_by="Slip",
        leader="Aino Kivi",
        assistants=("Pedro Reis",),
        divers=("Mei Lin", "Jonas Berg"),
        pairs=(("Mei Lin", "Jonas Berg"),),
        entry=entry,
        descent=descent,
        exit=out,
        exit_by=by,
        overdue_at=by,
        window_closes=at("13:45"),
        depth=Contest("depth limit", "m", (
            Candidate("level", 20.0, "Mei Lin has level 2 (autonomous diver): 20 m", "depth.level_2_m"),
            Candidate("place", 16.04, "Kelp ledge is 16.04 m at its deepest", "SITE_FILE"),
            Candidate("age", None, "Jonas Berg is 52: no limit by age", "age.adult_years"),
        )),
        time=Contest("longest bottom time", "min", (
            Candidate("handbook", 74.0, "handbook no-stop limit at 16 m (row 55 fsw): 74 min", "NAVY_7"),
            Candidate("model", 51.6, "tissue model's no-stop limit at 16 m: 51 min", "ZH_L16C"),
            Candidate("house", 60.0, "house limit: 60 min", "dive.longest_min"),
        )),
        depth_m=depth_m,
        bottom_time_min=30,
        water_time_min=42,
        surface_interval_min=None if first else 98,
        equivalent_depth_m=depth_m + 0.04,
        handbook_row_fsw=55,
        gauge_zeroed_m=depth_m + 0.07,
        gauge_sealed_m=depth_m + 0.07,
        oxygen_percent=21.0,
        tide_entry_m=2.9,
        tide_exit_m=3.1,
        people=(
            _person("Aino Kivi", "leader", "level 3 (dive leader)", 41, 30.0, (None if first else "D", "E")),
            _person("Pedro Reis", "assistant", "level 3 (dive leader)", 29, 30.0, (None if first else "D", "E")),
            _person("Mei Lin", "diver", "level 2 (autonomous diver)", 24, 20.0, (None if first else "D", "E")),
            _person("Jonas Berg", "diver", "level 2 (autonomous diver)", 52, 20.0, (None if first else "D", "E")),
        ),
    )  # fmt: skip
    return replace(dive, **changes)  # type: ignore[arg-type]


def _dives() -> tuple[DivePlan, ...]:
    children = (
        _person("Sara Nunes", "leader", "instructor level 2", 38, 40.0, (None, "A")),
        _person("Oluchi Eze", "diver", "no certificate", 12, 5.0, (None, "A")),
    )
    return (
        _dive("Petrels", 1, ("09:20", "09:26", "10:02", "10:12"), 16.0),
        _dive("Puffins", 1, ("09:40", "09:44", "10:10", "10:20"), 5.0, depth=Contest("depth limit", "m", (
                  Candidate("age", 5.0, "Oluchi Eze is 12, first experience: 5 m", "FR_CHILD"),
                  Candidate("place", 6.0, "Sand pool is 6 m at its deepest", "SITE_FILE"),
              )), time=Contest("longest bottom time", "min", (
                  Candidate("handbook", None, "handbook no-stop limit at 5 m (row 20 fsw): none", "NAVY_7"),
                  Candidate("house", 20.0, "first experience: 20 min", "dive.longest_min"),
              )), handbook_row_fsw=20, kind="first_experience",
              kind_words="first experience", place="Sand pool", leader="Sara Nunes", assistants=(),
              divers=("Oluchi Eze",), pairs=(("Sara Nunes", "Oluchi Eze"),), people=children, bottom_time_min=20,
              water_time_min=30, window_closes=at("12:00")),
        _dive("Petrels", 2, ("12:30", "12:36", "13:12", "13:22"), 12.0,
              moved_because="Aino Kivi needs 75 min at the surface first"),
    )  # fmt: skip


def _checks() -> tuple[Check, ...]:
    ok, caution = Outcome.OK, Outcome.CAUTION
    return (
        Check("heart-question", caution, "Petrels: 40 or older: Aino Kivi, Jonas Berg. Ask each about the heart.",
              "people.heart_check_years", 52, 40.0, "years", "Petrels"),
        Check("contact-fresh", caution, "Harbour office (+44 1632 960450): never checked. Ring it first.",
              "contacts.fresh_days", None, 30.0, "days", "Harbour office"),
        Check("stream-known", caution, "The stream comes from a station 8 km away and is less certain.", "SITE_FILE"),
        Check("tide-known", ok, "The tide is known all day.", "SITE_FILE"),
        Check("dive-director", ok, "Sara Nunes directs the dives.", "FR_SPORTS_CODE"),
        Check("ratio", ok, "Petrels: 2 divers to one leader; 4 are allowed.", "ratio.level_1_course_per_leader", 2, 4.0,
              "divers", "Petrels"),
        Check("ratio", ok, "Puffins: 1 diver to one leader; 2 are allowed.", "ratio.first_experience_per_leader", 1,
              2.0, "divers", "Puffins"),
        Check("depth", ok, "Petrels, dive 1: 16 m planned, 16 m allowed.", "SITE_FILE", 16.0, 16.0, "m", "Petrels 1"),
        Check("time", ok, "Petrels, dive 1: 30 min planned, 51 min allowed.", "ZH_L16C", 30, 51.0, "min", "Petrels 1"),
        Check("oxygen", ok, "Petrels, dive 1: 21 % oxygen reaches 1.4 bar at 56.1 m.", "oxygen.partial_pressure_bar",
              16.0, 56.1, "m", "Petrels 1"),
        Check("chamber", ok, "Sound chamber is 35 min away by road.", "SITE_FILE", 35, 240.0, "min", "Sound chamber"),
        Check("overdue", ok, "Petrels, dive 1: out by 10:12, overdue at 10:12.", "overdue.after_min", 10, 8.0, "min",
              "Petrels 1"),
    )  # fmt: skip


def _emergency() -> Emergency:
    checked = "checked 10 June 2026 by Ines Faro, 2 days before"
    return Emergency(
        position_words="47° 02.250' N, 017° 03.500' W",
        position_spoken="four seven degrees, zero two decimal two five zero minutes North; zero one seven degrees, "
        "zero three decimal five zero zero minutes West",
        position_decimal="47.03750, -17.05833",
        geo_uri="geo:47.03750,-17.05833",
        road="Sound Lane to its end; 80 m of path to the slip",
        rendezvous_words="White gate at the end of Sound Lane",
        rendezvous_position="47° 02.290' N, 017° 03.610' W",
        rendezvous_notes="Room for one ambulance and a helicopter on the green.",
        gate_code="4417",
        phone_signal="Two bars at the gate, none at the slip",
        vhf="Channel 16",
        landline=None,
        extraction=("Slip (4 people to lift)",),
        alternative_exit="Sand pool beach, 180 m to swim",
        contacts=(
            ContactLine(1, "emergency", "Emergency services", "Island control", "+44 1632 960400", "24 h", checked,
                        True, "Say first that it is a diving accident."),
            ContactLine(2, "coastguard", "Coastguard", "Sound watch", "+44 1632 960401", "24 h", checked, True),
            ContactLine(3, "harbour", "Harbour office", "Gil Roque", "+44 1632 960450", "08:00 to 18:00",
                        "never checked", False),
        ),
        care=(
            CareLine("hospital", "Sound Infirmary", "+44 1632 960460", "24 h", 9.21, 14.2, 73.0,
                     "47° 03.700' N, 016° 56.500' W", None, checked, True, True, True),
            CareLine("chamber", "Sound chamber", "+44 1632 960461", "on call within 30 min", 21.7, None, 81.0,
                     "47° 04.000' N, 016° 46.400' W", 340.0, "checked 2 March 2026 by Ines Faro, 102 days before",
                     False, True, False, "Say that a casualty is coming."),
        ),
        dive_director="Sara Nunes",
        shore_watch="Tom Adeyemi",
        oxygen_provider=None,
        what_to_say="This is a diving emergency at Skerry Sound. Number of people hurt: ____. They came up at ____.",
    )  # fmt: skip
