"""The board of all sites over some days: the plan's own windows, what stops a group, what is against, what is first."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta

import pytest
from cove_world import CREW, DAY, PEOPLE, group, person, request, site, world
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from weather_world import CALM, at, origin, series

from tripplan.check import Outcome
from tripplan.data_files import data_dir
from tripplan.environment.conditions import Conditions, Forecast, Seen, Series
from tripplan.errors import OutOfRange
from tripplan.people.level import Level
from tripplan.planning.board import MOST_DAYS, NOTHING_AGAINST, Unnamed, board
from tripplan.planning.day import plan_day
from tripplan.planning.request import DiveWish
from tripplan.planning.world import CannotPlan, World
from tripplan.store.folder import load_folder

GATE = {"hours": {"opens": "10:00", "closes": "14:00"}}  # four hours well inside the light of every day used here
OPEN = {"open_to_swell": ({"from_deg": 90.0, "to_deg": 270.0},), "fetch": ()}


def sites_of(*found, **more) -> World:
    """Return the small world with several sites."""
    return replace(world(**more), sites={each.slug: each for each in found})


def cove(slug: str = "cove", **changes):
    """Return the cove as another site, its gate open from 10:00 to 14:00 unless said otherwise."""
    return site(**{"slug": slug, "name": f"Test {slug}", "access": GATE, **changes})


def told(world_: World, conditions: Conditions) -> World:
    return replace(world_, conditions={slug: conditions for slug in world_.sites})


def days_long(values: dict[str, float], first: date, days: int, **by_day: list[float]) -> Forecast:
    """Return a forecast by the hour over some days; a list gives a quantity's value of each day."""
    start = datetime(first.year, first.month, first.day, tzinfo=UTC) - timedelta(days=1)
    hours = tuple(start + timedelta(hours=hour) for hour in range(24 * (days + 1) + 1))
    found = []
    for key, value in values.items():
        each = by_day.get(key) or [value] * days
        of_hour = tuple(each[min(max((hour // 24) - 1, 0), days - 1)] for hour in range(len(hours)))
        ends = tuple(h + timedelta(hours=1) for h in hours) if key in ("rain_mm", "thunder") else hours
        found.append(Series(key, hours, ends, of_hour, origin(first)))
    return Forecast(tuple(found))


def only(world_: World, whom=None, crew=CREW, first=DAY, **how):
    """Return the one cell of one site on one day."""
    (row,) = board(whom or group(), crew, first, 1, world_, **how).rows
    (cell,) = row.cells
    return cell


# ---- minutes ----


def test_a_gate_open_for_four_hours_leaves_240_minutes_and_is_what_is_against():
    cell = only(sites_of(cove()))
    assert cell.usable_min == 240
    assert [(f"{w.start:%H:%M}", f"{w.end:%H:%M}") for w in cell.windows] == [("10:00", "14:00")]
    assert cell.first_reason == "Access is open 10:00 to 14:00."


def test_without_gate_tide_limit_or_stream_nothing_is_against_the_day():
    cell = only(told(sites_of(site(exposure=OPEN)), Conditions(days_long(CALM, DAY, 1))))
    assert cell.reasons == ()
    assert cell.first_reason == NOTHING_AGAINST
    assert cell.usable_min > 12 * 60  # June at 47 degrees: the sun is up for 15 h 50 min


def test_where_nobody_tells_the_sea_nothing_is_against_only_in_tide_light_and_access():
    cell = only(sites_of(site()))
    assert cell.reasons == ()
    assert cell.first_reason == "nothing against in tide, light and access"


def test_thunder_from_eleven_to_twelve_takes_its_half_hour_after_and_the_minute_before():
    # Closed from the minute that ends with the first thunder, 10:59, to 12:30: 59 min before and 90 min after it.
    hours = [0.0] * 11 + [1.0] + [0.0] * 12
    told_ = Conditions(Forecast(tuple(series(DAY, key, value) for key, value in {**CALM, "thunder": hours}.items())))
    cell = only(told(sites_of(cove(exposure=OPEN)), told_))
    assert [(f"{w.start:%H:%M}", f"{w.end:%H:%M}") for w in cell.windows] == [("10:00", "10:59"), ("12:30", "14:00")]
    assert cell.usable_min == 59 + 90
    # 151 of the light's minutes before 10:00 and after 14:00 are more than 91 of thunder: the gate comes first
    assert cell.reasons[0] == "Access is open 10:00 to 14:00."
    assert cell.reasons[1].startswith("Thunder is heard or forecast")


def test_what_closes_most_of_the_light_stands_first():
    blow = {**CALM, "wind_m_s": [3.0] * 6 + [15.0] * 12 + [3.0] * 6, "gust_m_s": None}
    found = Forecast(tuple(series(DAY, key, value) for key, value in blow.items() if value is not None))
    wide_gate = {"hours": {"opens": "06:30", "closes": "19:30"}}  # shuts some 2 of the light's 15 hours
    cell = only(told(sites_of(cove(access=wide_gate, exposure=OPEN)), Conditions(found)))
    assert "Wind onto the shore, force 7 (29.2 kn from 180): stop above force 4." in cell.reasons[:2]
    assert cell.reasons.index("Access is open 06:30 to 19:30.") == len(cell.reasons) - 1


# ---- the same as the plan ----

FOLDER = load_folder(data_dir("sites"))
TOLD = replace(FOLDER.world, conditions={slug: Conditions(each) for slug, each in FOLDER.forecasts.items()})
FIRST = date(2026, 11, 28)


def minutes(window) -> int:
    return round((window.end.timestamp() - window.start.timestamp()) / 60)


@pytest.mark.parametrize("forecast", [True, False], ids=["with forecast", "without"])
@pytest.mark.parametrize("name", ["saturday-ledge", "beginners-cove", "lake-altitude"])
def test_every_cell_that_nothing_stops_has_exactly_the_windows_of_the_plan(name, forecast):
    asked, where = FOLDER.requests[name], TOLD if forecast else FOLDER.world
    (whom, *_), compared = asked.groups, 0
    chosen_anew = whom.model_copy(update={"place": None, "going_in_by": None, "coming_out_by": None})
    for row in board(whom, asked.crew, FIRST, 2, where, home=asked.site).rows:
        here = whom if row.site == asked.site else chosen_anew
        for cell in row.cells:
            if not cell.usable_min:
                continue
            plan = plan_day(asked.model_copy(update={"site": row.site, "date": cell.day, "groups": (here,)}), where)
            short = [window for window in plan.windows if window not in cell.windows]
            assert list(cell.windows) == [w for w in plan.windows if w not in short], (row.site, cell.day)
            assert all(minutes(window) < 15 + 2 * 12 + 5 for window in short)  # no swim here is longer than 12 min
            assert cell.usable_min == sum(minutes(window) for window in cell.windows)
            assert any("is too short" in reason for reason in cell.reasons) == bool(short)
            compared += 1
    assert compared >= 1


def test_what_the_board_stops_for_every_minute_the_plan_stops_too():
    asked = FOLDER.requests["saturday-ledge"]
    whom = asked.groups[0].model_copy(update={"place": None})
    for row in board(whom, asked.crew, FIRST, 1, TOLD).rows:
        plan = plan_day(asked.model_copy(update={"site": row.site, "date": FIRST, "groups": (whom,)}), TOLD)
        if not row.cells[0].usable_min:
            assert plan.verdict is Outcome.STOP, row.site
            sentences = [check.sentence for check in plan.checks] + [closure.sentence for closure in plan.closures]
            assert row.cells[0].first_reason in sentences, row.site


# ---- what stops a group whatever the minute ----


@pytest.mark.parametrize(
    ("changes", "whom", "words"),
    [
        ({}, group("One", kind="night"), "One has level 1 (supervised diver); a night dive is for"),
        (
            {"lowest_level": Level.LEVEL_3},
            group(),
            "Two has level 2 (autonomous diver); Test cove admits level 3 (dive leader) or above.",
        ),
        ({"capacity": {"divers": 2}}, group(), "Terns: 3 would be in the water at once; Test cove takes 2."),
        ({}, group(leader=None), "Terns: a guided dive needs a leader with"),
        ({}, group("Two", "Deux", "Dos", "Watch", "Helper"), "Terns: 5 divers to one leader; 4 are allowed"),
        (
            {},
            group("Nine", kind="level_1_course", leader="Tutor"),
            "Nine is 9; a level 1 course is for 10 and above.",
        ),
        ({}, group("Late"), "Late's medical declaration asks for a doctor, and no clearance is on record."),
        ({"tide": {"station": "nowhere"}}, group(), 'The tide station "nowhere" is not among the stations here'),
    ],
)
def test_what_stops_the_group_leaves_no_minute_and_is_the_first_reason(changes, whom, words):
    late = {"Late": person("Late", Level.LEVEL_2, medical_clear=False)}
    where = sites_of(cove(**changes), people={**PEOPLE, **late})
    cell = only(where, whom)
    assert (cell.usable_min, cell.windows, cell.outcome) == (0, (), Outcome.STOP)
    assert cell.first_reason.startswith(words)
    assert "Access is open 10:00 to 14:00." in cell.reasons[1:]


def test_a_site_with_no_place_for_the_kind_says_what_its_places_suit():
    sand = site().places[0].model_dump()
    cell = only(sites_of(cove(places=(sand,))))
    assert cell.usable_min == 0
    assert cell.first_reason == (
        "Terns: Sand suits confined skills, first open water; a guided dive needs guided."
    )  # fmt: skip


def test_a_place_that_begins_below_the_group_s_limit_stops_it():
    reef = {**site().places[1].model_dump(), "shallowest_m": 35.0}
    cell = only(sites_of(cove(places=(reef,))))
    assert cell.usable_min == 0
    assert "Reef begins at 35 m, beyond the limit of" in cell.first_reason


def test_the_crew_is_judged_only_where_it_is_given():
    nobody = CREW.model_copy(update={"shore_watch": ()})
    assert only(sites_of(cove()), crew=None).usable_min == 240
    cell = only(sites_of(cove()), crew=nobody)
    assert cell.usable_min == 0
    assert cell.first_reason.startswith("Shore watch: nobody named")


def test_a_watch_who_dives_with_the_group_leaves_nobody_ashore():
    cell = only(sites_of(cove()), group("Two", "Watch"))
    assert cell.first_reason == "Terns: no shore watch would be left ashore."


def test_a_qualification_that_runs_out_stops_the_days_after_it():
    until = {**PEOPLE, "Shore": person("Shore", Level.LEVEL_2, oxygen_provider_until=DAY + timedelta(days=1))}
    (row,) = board(group(), CREW, DAY, 4, sites_of(cove(), people=until)).rows
    assert [cell.usable_min for cell in row.cells] == [240, 240, 0, 0]
    assert row.cells[2].first_reason == f"Shore's oxygen qualification ran out on {DAY + timedelta(days=1)}."


def test_a_wished_depth_that_the_site_does_not_have_is_a_caution_and_no_stop():
    reef = {**site().places[1].model_dump(), "deepest_m": 12.0}
    cell = only(sites_of(cove(places=(reef,))), group(dives=(DiveWish(depth_m=18.0),)))
    assert cell.usable_min == 240
    assert any("18 m is wished" in sentence and "12 m" in sentence for sentence in cell.cautions)


# ---- windows too short for a dive ----


@pytest.mark.parametrize(("closes", "usable"), [("10:19", 0), ("10:20", 20)])
def test_a_window_shorter_than_the_shortest_dive_is_no_window(closes, usable):
    # 15 min at the bottom, 2 min of swim each way, 1 min up from 5 m at 9 m a minute: 20 min.
    reef = {**site().places[1].model_dump(), "swim_min": 2.0}
    where = sites_of(cove(places=(reef,), access={"hours": {"opens": "10:00", "closes": closes}}))
    cell = only(where)
    assert cell.usable_min == usable
    if not usable:
        assert cell.windows == ()
        assert cell.first_reason == (
            "The longest window of 19 min is too short: 15 min at the bottom of Reef take 20 min with the way in and "
            "out."
        )


def test_a_dive_wished_shorter_needs_a_shorter_window():
    where = sites_of(cove(access={"hours": {"opens": "10:00", "closes": "10:12"}}))
    assert only(where).usable_min == 0
    assert only(where, group(dives=(DiveWish(minutes=10),))).usable_min == 12


# ---- cold ----


def test_children_in_water_below_their_limit_have_no_minute_and_grown_ups_have():
    where = sites_of(cove(water={"kind": "sea", "salinity": 35.0, "temperature_c": (11.0,) * 12}))
    child = only(where, group("Eleven", kind="level_1_course", leader="Tutor"))
    assert child.usable_min == 0
    assert child.first_reason.startswith(
        "The water usually has this month 11 C; children (Eleven) do not dive below 12"
    )
    assert only(where, group("Two", kind="level_1_course", leader="Tutor")).usable_min == 240


def test_a_thin_suit_closes_what_a_thick_one_leaves_open():
    where = sites_of(cove(water={"kind": "sea", "salinity": 35.0, "temperature_c": (14.0,) * 12}))
    assert only(where, group(suit_mm=7.0)).usable_min == 240
    thin = only(where, group(suit_mm=1.0))
    assert thin.usable_min == 0
    assert "1 mm of neoprene" in thin.first_reason


# ---- several days ----


def test_a_blow_of_two_days_closes_those_and_no_other():
    wind = [3.0, 3.0, 15.0, 15.0, 3.0]  # 15 m/s is force 7; onto the shore more than force 4 is a stop
    found = days_long({k: v for k, v in CALM.items() if k != "gust_m_s"}, DAY, 5, wind_m_s=wind)
    (row,) = board(group(), CREW, DAY, 5, told(sites_of(cove(exposure=OPEN)), Conditions(found))).rows
    minutes = [cell.usable_min for cell in row.cells]
    assert minutes[0] == 240
    assert minutes[2:4] == [0, 0]
    assert minutes[4] > 200
    for cell in row.cells[2:4]:
        assert "Wind onto the shore, force 7" in cell.first_reason


def test_days_beyond_the_forecast_rest_on_tide_light_and_access_and_say_so():
    found = days_long(CALM, DAY, 2)
    (row,) = board(group(), CREW, DAY, 4, told(sites_of(cove(exposure=OPEN)), Conditions(found))).rows
    assert [cell.known for cell in row.cells] == [True, True, False, False]
    assert [cell.usable_min for cell in row.cells] == [240] * 4
    assert (row.known_min, row.total_min) == (480, 960)
    for cell in row.cells[2:]:
        assert cell.sea_words == "tide, light and access only"
        assert cell.cautions[0].startswith("Tide, light and access only")
        assert cell.outcome is Outcome.CAUTION
    assert not any("Tide, light and access only" in sentence for cell in row.cells[:2] for sentence in cell.cautions)


def test_a_forecast_that_ends_at_noon_knows_only_a_part_of_the_day():
    found = days_long(CALM, DAY, 2)
    cut = Forecast(
        tuple(replace(s, starts=s.starts[:37], ends=s.ends[:37], values=s.values[:37]) for s in found.series)
    )
    cell = only(told(sites_of(cove(exposure=OPEN)), Conditions(cut)))  # the 37th hour from the day before is 12:00
    assert cell.sea == "part"
    assert not cell.known
    assert any("10:00 to 14:00: nobody tells all of the sea" in sentence for sentence in cell.cautions)


def test_without_any_forecast_no_cell_is_known():
    cell = only(sites_of(cove()))
    assert (cell.sea, cell.outcome) == ("unknown", Outcome.CAUTION)
    assert cell.cautions[0].startswith("No forecast was used")


def test_an_old_forecast_is_a_caution_with_its_age_at_the_first_entry():
    found = days_long(CALM, DAY, 2)  # fetched at 20:00 the evening before
    (row,) = board(group(), CREW, DAY, 2, told(sites_of(cove(exposure=OPEN)), Conditions(found))).rows
    assert any("14 h before the first entry. More than 12 h is old" in sentence for sentence in row.cells[0].cautions)
    assert any("38 h before the first entry. More than 12 h is old" in sentence for sentence in row.cells[1].cautions)


def test_a_site_file_without_its_open_water_never_has_a_known_sea():
    part = {key: value for key, value in CALM.items() if not key.startswith("wind_sea")}
    found = days_long(part, DAY, 1)
    cell = only(told(sites_of(cove()), Conditions(found)))
    assert cell.sea == "part"
    assert any("does not say how much open water" in sentence for sentence in cell.cautions)


@pytest.mark.parametrize(
    "day", [date(2027, 3, 28), date(2027, 10, 31)], ids=["23 hours, the last Sunday of March", "25 hours"]
)
def test_on_the_days_when_the_clock_changes_minutes_are_elapsed_minutes(day):
    spring = date(2027, 1, 5)
    people = {name: person(name, PEOPLE[name].level, medical=spring, last_dive=spring) for name in PEOPLE}
    first = day - timedelta(days=1)
    (open_row,) = board(group(), None, first, 3, sites_of(site(), people=people)).rows
    (gate_row,) = board(group(), None, first, 3, sites_of(cove(), people=people)).rows
    assert [cell.usable_min for cell in gate_row.cells] == [240] * 3
    before, changed, after = (cell.usable_min for cell in open_row.cells)
    # the light grows or shrinks by some 3.5 min a day here at the equinoxes, whatever the clock does
    assert abs(changed - before) <= 5 and abs(after - changed) <= 5
    starts = [cell.windows[0].start.hour * 60 + cell.windows[0].start.minute for cell in open_row.cells]
    assert 55 <= abs(starts[1] - starts[0]) <= 65  # and the clock shows it an hour later or earlier


# ---- order ----


def test_the_site_with_more_minutes_stands_first_then_the_name_decides():
    hours = {"hours": {"opens": "10:00", "closes": "15:00"}}
    found = board(group(), CREW, DAY, 2, sites_of(cove("zulu", access=hours), cove("beta"), cove("alpha")))
    assert [(row.site, row.total_min) for row in found.rows] == [("zulu", 600), ("alpha", 480), ("beta", 480)]
    assert found.usable


def test_minutes_with_a_known_sea_go_before_more_minutes_without():
    longer = cove("longer", access={"hours": {"opens": "09:00", "closes": "17:00"}}, exposure=OPEN)
    known = cove("sure", exposure=OPEN)
    where = replace(sites_of(longer, known), conditions={"sure": Conditions(days_long(CALM, DAY, 1))})
    found = board(group(), CREW, DAY, 1, where)
    assert [(row.site, row.known_min, row.total_min) for row in found.rows] == [("sure", 240, 240), ("longer", 0, 480)]


def test_a_board_without_a_usable_minute_says_so():
    assert not board(group(leader=None), CREW, DAY, 2, sites_of(cove())).usable


# ---- places and ways that the group names ----


def test_a_place_named_at_home_is_chosen_anew_elsewhere():
    pier = {**site().places[1].model_dump(), "name": "Pier"}
    where = sites_of(cove("home"), cove("away", places=(pier,)))
    named = group(place="Reef", going_in_by="Beach", coming_out_by="Beach")
    found = board(named, CREW, DAY, 1, where, home="home")
    assert [row.total_min for row in found.rows] == [240, 240]
    assert [row.total_min for row in board(named, CREW, DAY, 1, where).rows] == [240, 240]
    with pytest.raises(CannotPlan, match='place "Reef" is not at Test away'):
        board(named, CREW, DAY, 1, where, home="away")


def test_a_way_that_happens_to_have_the_same_name_elsewhere_does_not_bind_there():
    # The way out "Beach" of the other site shuts with the tide all day; its "Rocks" are always open.
    shut = [{**access.model_dump(), "coming_out": {"lowest_m": 9.0} if access.name == "Beach" else {}}
            for access in site().entries]  # fmt: skip
    away = cove("away", entries=tuple(shut), alternative_exit=None)
    where = sites_of(cove("home"), away)
    named = group(coming_out_by="Beach")
    minutes = {row.site: row.total_min for row in board(named, CREW, DAY, 1, where, home="home").rows}
    assert minutes == {"home": 240, "away": 240}
    minutes = {row.site: row.total_min for row in board(named, CREW, DAY, 1, where).rows}
    assert minutes == {"home": 240, "away": 0}


# ---- people without names ----


def test_people_without_names_are_judged_by_level_and_number_and_the_rest_is_said_to_be_unknown():
    where = sites_of(cove(capacity={"divers": 6}))
    cell = only(where, Unnamed("guided", 6, Level.LEVEL_1), crew=None)
    assert cell.usable_min == 240
    assert cell.outcome is Outcome.CAUTION
    assert "7 would be in the water at once" in only(where, Unnamed("guided", 7, Level.LEVEL_1), crew=None).first_reason
    low = only(where, Unnamed("night", 2, Level.LEVEL_1), crew=None)
    assert low.first_reason.startswith("The lowest level is level 1 (supervised diver); a night dive is for level 2")


# ---- what is refused ----


@pytest.mark.parametrize("days", [0, -1, MOST_DAYS + 1])
def test_a_board_of_no_day_or_of_too_many_is_refused(days):
    with pytest.raises(OutOfRange, match="days of the board"):
        board(group(), CREW, DAY, days, sites_of(cove()))


def test_days_beyond_the_tide_s_two_centuries_are_refused():
    with pytest.raises(OutOfRange, match="2099-12-31"):
        board(group(), CREW, date(2099, 12, 31), 2, sites_of(cove()))


def test_a_diver_whom_nobody_knows_is_refused_by_name():
    with pytest.raises(CannotPlan, match='"Stranger" is not in the list of people'):
        board(group("Stranger"), CREW, DAY, 1, sites_of(cove()))


# ---- a stricter observation ----

# what the calm forecast says, or worse by so much at most
WORSE = {
    "breaker_m": (0.2, 6.0),
    "wind_m_s": (3.0, 30.0),
    "thunder": (1.0, 1.0),
    "stream_kn": (0.0, 4.0),
    "water_c": (-2.0, 16.0),
    "visibility_m": (0.0, 20000.0),
    "underwater_visibility_m": (0.0, 30.0),
}


@st.composite
def stricter(draw):
    """Draw an observation at least as bad as the calm forecast says."""
    quantity = draw(st.sampled_from(sorted(WORSE)))
    value = draw(st.floats(*WORSE[quantity]))
    return Seen(quantity, value, at(DAY, draw(st.integers(5, 20)), draw(st.integers(0, 59))))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(stricter(), min_size=1, max_size=3), st.booleans(), st.booleans())
def test_a_stricter_observation_never_makes_a_cell_better(seen, child, gate):
    whom = group("Eleven", kind="level_1_course", leader="Tutor", suit_mm=6.0) if child else group(suit_mm=6.0)
    calm = Conditions(days_long({**CALM, "swell_m": 0.0, "wind_sea_m": 0.0}, DAY, 2))
    where = sites_of(cove(exposure=OPEN) if gate else site(exposure=OPEN))
    (before,) = board(whom, CREW, DAY, 2, told(where, calm)).rows
    (after,) = board(whom, CREW, DAY, 2, told(where, calm.with_seen(seen))).rows
    assert before.total_min > 400
    for old, new in zip(before.cells, after.cells, strict=True):
        assert new.usable_min <= old.usable_min
        assert new.outcome.severity >= old.outcome.severity


def test_a_high_breaker_seen_at_ten_closes_the_rest_of_the_day_until_somebody_looks_again():
    calm = Conditions(days_long(CALM, DAY, 1))
    seen = Seen("breaker_m", 2.5, at(DAY, 10))
    cell = only(told(sites_of(cove(exposure=OPEN)), calm.with_seen([seen])))
    # What the forecast was too low by is added to it from then on.
    assert cell.windows == () and cell.usable_min == 0
    again = Seen("breaker_m", 0.1, at(DAY, 13))
    cell = only(told(sites_of(cove(exposure=OPEN)), calm.with_seen([seen, again])))
    assert [(f"{w.start:%H:%M}", f"{w.end:%H:%M}") for w in cell.windows] == [("13:00", "14:00")]
    assert cell.usable_min == 60


def test_board_and_plan_agree_in_the_small_world():
    assert only(world()).windows == plan_day(request(group()), world()).windows
