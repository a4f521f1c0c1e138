from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from functools import cache
from itertools import pairwise

import pytest
from printed_plans import REQUESTS, plan_of
from sample_plan import at, closed_for, curve_of, on_day, sample_plan, with_weather

from tripplan.documents import picture
from tripplan.documents.picture import day_table, style_as_attributes
from tripplan.planning.plan import DayPlan, Light, Span, UsableWindow

SVG = "{http://www.w3.org/2000/svg}"
NO_SUN = Light(None, None, None, None, "full", "the sun stays up all day")


@cache
def day_picture(plan: DayPlan, *, narrow: bool = False, grey: bool = False) -> str:
    """Draw a picture once for all tests that look at it."""
    return picture.day_picture(plan, narrow=narrow, grey=grey)


def letters(svg: str) -> list[str]:
    return ["".join(element.itertext()) for element in ET.fromstring(svg).iter(f"{SVG}text")]


def description(svg: str) -> str:
    return ET.fromstring(svg).findtext(f"{SVG}desc") or ""


def hours(plan: DayPlan, narrow: bool = False) -> list[tuple[str, float]]:
    """Return the labels of the full hours with their places."""
    found = []
    for element in ET.fromstring(day_picture(plan, narrow=narrow)).iter(f"{SVG}text"):
        if re.fullmatch(r"\d\d", element.text or "") and element.get("text-anchor") == "middle":  # not a height's
            place = element.get("x") or re.search(r"translate\(([\d.]+)", element.get("transform", ""))[1]
            found.append((element.text, float(place)))
    return found


def stormy(plan: DayPlan | None = None) -> DayPlan:
    """Return the sample, or another plan, with surf, wind and a closure of every kind."""
    plan = with_weather(plan or sample_plan())
    closures = [closed_for(plan, *row) for row in EVERY_KIND]
    return replace(plan, closures=tuple(closures))


# rule, first minute, one past the last, and the word of its row
EVERY_KIND_ROWS = (
    ("light", 0, 382, "light"),
    ("access-hours", 1080, 1200, "gate"),
    ("tide-going-in", 635, 745, "tide"),
    ("stream", 453, 555, "stream"),
    ("surf", 780, 1020, "surf"),
    ("wind", 840, 1300, "wind"),
    ("thunder", 719, 810, "thunder"),
    ("run-off", 0, 480, "run-off"),
    ("visibility", 359, 421, "visibility"),
    ("cold", 600, 1380, "cold"),
)
EVERY_KIND = tuple(row[:3] for row in EVERY_KIND_ROWS)


def strips(svg: str) -> int:
    return len({e.get("id") for e in ET.fromstring(svg).iter() if re.search(r"-axes_\d+$", e.get("id") or "")})


def bars(svg: str) -> list[tuple[str, float, float, float]]:
    """Return the bars of closed minutes: the word of the row, left end, right end and height on the page."""
    found = []
    for element in ET.fromstring(svg).iter():
        named = re.search(r"-closed-(.+)-\d+$", element.get("id") or "")
        if named:
            path = next(element.iter(f"{SVG}path")).get("d", "")
            points = [(float(x), float(y)) for x, y in re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", path)]
            xs, ys = [x for x, _ in points], [y for _, y in points]
            found.append((named[1], min(xs), max(xs), max(ys) - min(ys)))
    return found


def whole_day(plan: DayPlan) -> DayPlan:
    """Without sunrise and sunset the picture shows the day from midnight to midnight."""
    return replace(plan, light=NO_SUN)


# ---- fit for a page ----


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", [*REQUESTS, "stop", "sample", "weather"])
def test_the_picture_is_well_formed_says_what_it_is_and_carries_no_style(name, narrow):
    plan = {"sample": sample_plan, "weather": stormy}[name]() if name in ("sample", "weather") else plan_of(name)
    svg = day_picture(plan, narrow=narrow)
    root = ET.fromstring(svg)
    assert root.tag == f"{SVG}svg"
    assert root.get("role") == "img"
    assert root.findtext(f"{SVG}title") == f"The day at {plan.site_name}"
    assert not list(root.iter(f"{SVG}style"))
    ids = {element.get("id") for element in root.iter() if element.get("id")}
    assert set((root.get("aria-labelledby") or "").split()) <= ids
    for element in root.iter():
        assert "style" not in element.attrib
    for used in re.findall(r"url\(#([^)]+)\)", svg):
        assert used in ids


def test_the_description_says_every_row_of_the_table_and_which_hours_are_shown():
    plan = sample_plan()
    said = description(day_picture(plan))
    for what, when in day_table(plan):
        assert f"{what}: {when}" in said
    # An hour before sunrise, 06:22, to an hour after civil dusk, 21:48.
    assert "shown from 05:22 until 22:48" in said


def test_a_style_becomes_attributes():
    # SVG 1.1, section 6.1: the presentation attributes have the names of the properties.
    assert style_as_attributes("fill: none; stroke: #161616; ") == 'fill="none" stroke="#161616"'
    assert style_as_attributes("font: bold 9px 'DejaVu Sans'; text-anchor: middle") == (
        'font-weight="bold" font-size="9px" text-anchor="middle"'
    )


def test_equal_plans_give_equal_pictures_and_two_on_one_page_share_no_id():
    assert picture.day_picture(sample_plan()) == picture.day_picture(sample_plan())
    wide, narrow = (ET.fromstring(day_picture(sample_plan(), narrow=narrow)) for narrow in (False, True))
    ids = [{element.get("id") for element in root.iter() if element.get("id")} for root in (wide, narrow)]
    assert not ids[0] & ids[1]


def test_pictures_drawn_at_the_same_time_are_the_same_as_drawn_one_by_one():
    wanted = [False, True] * 4
    plan = sample_plan()
    alone = [picture.day_picture(plan, narrow=narrow) for narrow in wanted[:2]] * 4
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(lambda narrow: picture.day_picture(plan, narrow=narrow), wanted)) == alone


@pytest.mark.parametrize("plan", [sample_plan(), stormy()], ids=["sample", "weather"])
def test_a_narrow_picture_is_taller_than_wide_and_its_letters_can_be_read_on_a_phone(plan):
    svg = day_picture(plan, narrow=True)
    width, height = map(float, ET.fromstring(svg).get("viewBox", "").split()[2:])
    assert height > width
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
    assert min(sizes) * 360 / width >= 9.5  # pixels on the narrowest common screen, 360 wide


@pytest.mark.parametrize("plan", [sample_plan(), stormy()], ids=["sample", "weather"])
def test_without_colour_the_picture_has_only_greys_and_the_same_words(plan):
    grey, colour = day_picture(plan, grey=True), day_picture(plan)
    for red, green, blue in re.findall(r'"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})"', grey):
        assert red == green == blue
    assert letters(grey) == letters(colour)


# ---- what it says ----


def test_dives_windows_and_tide_are_said_in_the_picture():
    said = " ".join(letters(day_picture(sample_plan())))
    for words in ("Petrels 1", "09:20 to 10:02", "Puffins 1", "Petrels 2", "12:30 to 13:12", "11:30", "3.6 m",
                  "in from 09:15, out by 13:45", "going in from", "coming out from", "stream, up to"):  # fmt: skip
        assert words in said


def test_heights_that_work_are_rounded_inwards():
    rows = dict(day_table(sample_plan()))
    # The sample's limits: 1.25 to 3.45 m going in, from 1.51 m coming out.
    assert rows["Going in, tide"].startswith("from 1.3 m to 3.4 m")
    assert rows["Coming out, tide"].startswith("from 1.6 m")
    # and its stream: 0.55 kn at its strongest.
    assert rows["Stream"] == "up to 0.6 kn; 0.5 kn allowed"


def test_station_and_datum_are_said_in_the_table():
    assert dict(day_table(sample_plan()))["Tide"].startswith("Skerry station, heights above chart datum.")


def test_hours_without_a_known_tide_or_stream_are_said_in_picture_and_table():
    known = curve_of()
    gap = known.tide_m[:600] + (math.nan,) * 120 + known.tide_m[720:]
    plan = sample_plan(curve=replace(known, tide_m=gap, stream_kn=(math.nan,) * known.minutes))
    rows = dict(day_table(plan))
    assert rows["Tide not known"] == "from 10:00 until 12:00"
    assert rows["Stream"] == "not known; 0.5 kn allowed"
    assert rows["Stream not known"] == "from 00:00 until 00:00 next day"
    said = letters(day_picture(plan))
    assert "not known" in said
    assert "stream, not known; 0.5 kn allowed" in said
    assert "nan" not in day_picture(plan).lower()


def test_a_day_without_a_usable_minute_says_so_and_why():
    plan = sample_plan(windows=())
    assert "no usable minute" in letters(day_picture(plan))
    assert "at no time: The sun rises at 06:22. The stream is above 0.5 kn." in dict(day_table(plan))["Usable"]


def test_a_dive_past_midnight_ends_on_the_next_day():
    dive = replace(
        sample_plan().dives[0], entry=at("23:40"), exit=at("00:20", date(2026, 6, 13)), exit_by=None, overdue_at=None
    )
    assert dict(day_table(sample_plan(dives=(dive,))))["Petrels, dive 1"] == "in 23:40, out 00:20 next day"


# ---- light ----


def fills(plan: DayPlan) -> list[str]:
    """Return the greys of the light strip, from left to right."""
    root = ET.fromstring(day_picture(plan, grey=True))
    strip = next(element for element in root.iter() if (element.get("id") or "").endswith("axes_1"))
    found = []
    for group in strip:
        for path in group.iter(f"{SVG}path"):
            if path.get("fill") in ("#9a9a9a", "#d2d2d2"):
                found.append((float(re.search(r"M ([\d.]+)", path.get("d", ""))[1]), path.get("fill")))
    return [fill for _, fill in sorted(found)]


def test_an_ordinary_day_is_dark_dim_light_dim_dark():
    assert fills(sample_plan()) == ["#9a9a9a", "#d2d2d2", "#d2d2d2", "#9a9a9a"]


def test_a_sun_that_sets_after_midnight_and_rises_again_leaves_the_day_light():
    # Just south of the polar day the sun sets for an hour or two after midnight and it never gets dark.
    plan = sample_plan(light=Light(None, at("02:10"), at("00:40"), None, "full", "no civil dusk"))
    drawn = day_picture(plan)
    assert fills(plan) == ["#d2d2d2"]  # one stretch of twilight, from 00:40 to 02:10, and no other
    assert "sun 02:10 to 00:40" in " ".join(letters(drawn))


def test_between_two_events_that_disagree_the_darker_light_is_drawn():
    # Sunset is not known: the day after sunrise is drawn as twilight until the civil dusk that is known.
    plan = sample_plan(light=Light(at("05:49"), at("06:22"), None, at("21:48"), "full", "sunset not known"))
    assert fills(plan) == ["#9a9a9a", "#d2d2d2", "#d2d2d2", "#9a9a9a"]
    assert "day" not in letters(day_picture(plan))


def test_a_day_on_which_the_sun_neither_rises_nor_sets_says_what_it_is_and_never_day():
    said = letters(day_picture(sample_plan(light=Light(None, None, None, None, "new", "the sun stays down all day"))))
    assert "the sun stays down all day" in said
    assert "day" not in said
    unsaid = letters(day_picture(sample_plan(light=Light(None, None, None, None, "new"))))
    assert "the light is not known" in unsaid


# ---- days on which the clock changes ----


def test_a_day_of_23_hours_leaves_out_the_hour_that_is_not_there():
    # IANA tz database: in London clocks went from 01:00 to 02:00 on 29 March 2026.
    labels = hours(whole_day(on_day(date(2026, 3, 29), "Europe/London")))
    assert [label for label, _ in labels] == ["00", *(f"{hour:02d}" for hour in range(2, 24)), "00"]
    steps = {round(b - a, 1) for (_, a), (_, b) in pairwise(labels)}
    assert max(steps) - min(steps) < 0.2  # an hour is an hour


def test_a_day_of_25_hours_shows_the_hour_that_comes_twice_twice():
    # IANA tz database: in London clocks went from 02:00 back to 01:00 on 25 October 2026.
    labels = hours(whole_day(on_day(date(2026, 10, 25), "Europe/London")))
    assert [label for label, _ in labels] == ["00", "01", "01", *(f"{hour:02d}" for hour in range(2, 24)), "00"]


def test_a_day_whose_midnight_does_not_exist_starts_at_one():
    # IANA tz database: in the Azores clocks went from 00:00 to 01:00 on 29 March 2026.
    labels = hours(whole_day(on_day(date(2026, 3, 29))))
    assert [label for label, _ in labels] == [*(f"{hour:02d}" for hour in range(1, 24)), "00"]


@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 10, 25)])
def test_a_dive_stands_under_its_own_hour_after_the_clock_has_changed(day):
    plan = whole_day(on_day(day, "Europe/London"))
    root = ET.fromstring(day_picture(plan))
    words = next(e for e in root.iter(f"{SVG}text") if "".join(e.itertext()) == "Petrels 1")
    place = float(words.get("x") or re.search(r"translate\(([\d.]+)", words.get("transform", ""))[1])
    at_hour = dict(hours(plan))
    assert at_hour["10"] - 2 < place < at_hour["11"]  # its label stands right of its end, 10:02


# ---- names are names ----


@pytest.mark.parametrize(
    "name", ["$x$", "$\\frac$", "新井", "שלום", "<b>\"&'", "W" * 60, "#eval(1)", "𝔊roup", "हिन्दी", ""]
)
@pytest.mark.parametrize("narrow", [False, True])
def test_a_group_keeps_its_name_whatever_it_looks_like(name, narrow):
    plan = sample_plan()
    dives = tuple(replace(dive, group=name) for dive in plan.dives)
    windows = tuple(replace(window, groups=(name,)) for window in plan.windows)
    svg = day_picture(replace(plan, dives=dives, windows=windows), narrow=narrow)
    assert f"{name} 1".strip() in [words.strip() for words in letters(svg)]
    assert f"{name}, dive 1: in 09:20, out 10:02" in description(svg)


def test_control_characters_never_reach_the_drawing():
    plan = sample_plan(site_name="Sound\x07\x00 \u202eof")
    assert ET.fromstring(day_picture(plan)).findtext(f"{SVG}title") == "The day at Sound    of"


# ---- nothing hidden, nothing misread ----


def placed(svg: str) -> list[tuple[str, float, float, float]]:
    """Return texts with their left end, right end and height on the page, measured in the font they are drawn with."""
    from matplotlib.font_manager import FontProperties
    from matplotlib.textpath import TextPath

    found = []
    for element in ET.fromstring(svg).iter(f"{SVG}text"):
        words = "".join(element.itertext())
        move = re.search(r"translate\(([-\d.]+)[ ,]+([-\d.]+)\)", element.get("transform", ""))
        x, y = (float(move[1]), float(move[2])) if move else (float(element.get("x", "")), float(element.get("y", "")))
        size = float(element.get("font-size", "10px").removesuffix("px"))
        long = TextPath((0, 0), words, size, prop=FontProperties("DejaVu Sans")).get_extents().width if words else 0.0
        left = x - long * {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", "start"), 0.0)
        found.append((words, left, left + long, y))
    return found


@pytest.mark.parametrize("narrow", [False, True])
def test_words_of_neighbouring_windows_never_print_over_each_other(narrow):
    # Three windows of a June day between the tides: on a phone none has room for its own words.
    edges = (("05:29", "06:40"), ("11:10", "13:57"), ("16:10", "19:09"))
    windows = tuple(UsableWindow(at(a), at(b), (Span(at(a), at(b)),)) for a, b in edges)
    texts = placed(day_picture(sample_plan(windows=windows), narrow=narrow))
    mine = [next(text for text in texts if text[0] == f"{a} to {b}") for a, b in edges]
    for index, (_, left, right, y) in enumerate(mine):
        for _, other_left, other_right, other_y in mine[:index]:
            assert abs(y - other_y) > 10 or right < other_left or other_right < left


@pytest.mark.parametrize("narrow", [False, True])
def test_a_window_for_some_groups_says_which_and_from_when_until_when(narrow):
    said = letters(day_picture(sample_plan(), narrow=narrow))
    assert "Puffins" in said
    assert "09:15 to 12:00" in said


def test_a_height_that_the_tide_never_reaches_is_drawn_with_its_words():
    # The sample's tide runs from 0.8 to 3.6 m.
    plan = sample_plan(curve=curve_of(going_in_m=(6.0, None), coming_out_m=(None, 0.2)))
    said = letters(day_picture(plan))
    assert "going in from 6.0 m" in said
    assert "coming out up to 0.2 m" in said


def test_a_stream_that_is_not_known_for_some_hours_never_looks_like_slack_water():
    known = curve_of()
    gap = known.stream_kn[:700] + (math.nan,) * 200 + known.stream_kn[900:]
    assert "not known" in letters(day_picture(sample_plan(curve=replace(known, stream_kn=gap))))
    assert "not known" not in letters(day_picture(sample_plan()))


# London's clocks: forward on 29 March 2026, so noon is 11 of 23 hours after midnight; back on 25 October, 13 of 25.
@pytest.mark.parametrize(
    ("day", "share"),
    [(date(2026, 3, 29), 11 / 23), (date(2026, 6, 12), 12 / 24), (date(2026, 10, 25), 13 / 25)],
)
def test_noon_stands_where_the_hours_gone_by_put_it(day, share):
    labels = hours(whole_day(on_day(day, "Europe/London")))
    start, end, noon = labels[0][1], labels[-1][1], dict(labels)["12"]
    assert (noon - start) / (end - start) == pytest.approx(share, abs=0.001)


@pytest.mark.parametrize("name", REQUESTS)
def test_the_table_holds_the_times_of_every_window_and_dive(name):
    plan = plan_of(name)
    rows = day_table(plan)
    usable = [when for what, when in rows if what == "Usable"]
    assert len(usable) == len(plan.windows) > 0
    for window, words in zip(plan.windows, usable, strict=True):
        assert f"{window.start:%H:%M}" in words and f"{window.end:%H:%M}" in words
    timed = [dive for dive in plan.dives if dive.entry and dive.exit]
    assert timed
    for dive in timed:
        assert (f"{dive.group}, dive {dive.number}", f"in {dive.entry:%H:%M}, out {dive.exit:%H:%M}") in rows


# ---- surf, wind and closed minutes ----


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize(
    ("left_out", "labels"),
    [
        ({}, {"surf, m", "wind, kn"}),
        ({"surf_m": ()}, {"wind, kn"}),
        ({"wind_kn": ()}, {"surf, m"}),
        ({"surf_m": (), "wind_kn": ()}, set()),
    ],
)
def test_a_strip_is_there_exactly_when_somebody_told_it(left_out, labels, narrow):
    # light, tide, stream, usable, dives; with surf or wind also the closed minutes
    svg = day_picture(with_weather(sample_plan(), **left_out), narrow=narrow)
    assert {"surf, m", "wind, kn"} & set(letters(svg)) == labels
    assert strips(svg) == 5 + len(labels) + bool(labels)


def test_without_tide_and_stream_surf_and_wind_stand_alone():
    plan = with_weather(sample_plan(), tide_m=(), stream_kn=())
    assert strips(day_picture(plan)) == 6
    assert "tide, m" not in letters(day_picture(plan))


def test_without_a_forecast_nothing_is_added_to_picture_or_table():
    plan = sample_plan()
    assert not bars(day_picture(plan))
    assert not [what for what, _ in day_table(plan) if what.startswith(("Surf", "Wind", "Closed"))]


def test_without_a_forecast_a_closed_gate_still_gets_its_row():
    plan = sample_plan()
    plan = replace(plan, closures=(*plan.closures, closed_for(plan, "access-hours", 1080, 1200)))
    assert "gate" in [kind for kind, *_ in bars(day_picture(plan))]
    assert dict(day_table(plan))["Closed by gate"] == "nobody in the water from 18:00 until 20:00"


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("day", [date(2026, 3, 29), date(2026, 6, 12), date(2026, 10, 25)])
def test_each_closed_interval_has_its_own_row_and_stands_at_its_minutes(day, narrow):
    # IANA tz database: London's clocks go forward on 29 March 2026 and back on 25 October: 23 and 25 hours.
    plan = stormy(whole_day(on_day(day, "Europe/London")))
    labels = hours(plan, narrow)
    left, right = labels[0][1], labels[-1][1]  # midnight and midnight
    drawn = {kind: (a, b) for kind, a, b, _ in bars(day_picture(plan, narrow=narrow))}
    assert list(drawn) == [kind for *_, kind in EVERY_KIND_ROWS]
    for _, first, end, kind in EVERY_KIND_ROWS:
        wanted = [left + (right - left) * minute / plan.curve.minutes for minute in (first, end)]
        assert drawn[kind] == pytest.approx(wanted, abs=0.3), kind


@pytest.mark.parametrize("narrow", [False, True])
def test_rows_are_named_in_words_once_each_and_do_not_share_a_line(narrow):
    svg = day_picture(stormy(), narrow=narrow)
    rows = {}
    for words, _, _, y in placed(svg):
        if words in {kind for *_, kind in EVERY_KIND_ROWS} - {"light"}:  # the strip of light is called so too
            assert words not in rows
            rows[words] = y
    assert list(rows) == [kind for *_, kind in EVERY_KIND_ROWS if kind != "light"]
    assert min(b - a for a, b in pairwise(rows.values())) > 10


def test_reasons_of_one_kind_share_a_row_and_a_rule_that_no_kind_lists_is_not_lost():
    plan = with_weather(sample_plan())
    rules = (("surf", 600, 660), ("surf-steep", 630, 700), ("wind-offshore", 600, 660), ("volcano-ash", 700, 760))
    svg = day_picture(replace(plan, closures=tuple(closed_for(plan, *row) for row in rules)))
    assert [kind for kind, *_ in bars(svg)] == ["surf", "wind", "volcano-ash"]
    assert "volcano ash" in letters(svg)


def test_a_bar_is_low_where_somebody_may_still_be_in_the_water():
    plan = with_weather(sample_plan())  # its groups: Petrels and Puffins
    closures = (
        closed_for(plan, "surf", 600, 660),
        closed_for(plan, "wind", 600, 660, "entry"),
        closed_for(plan, "thunder", 600, 660, "water", "Puffins"),
        closed_for(plan, "cold", 600, 660, "water", "Puffins"),
        closed_for(plan, "suit", 600, 660, "water", "Petrels"),
    )
    svg = day_picture(replace(plan, closures=closures))
    high = {kind: height for kind, _, _, height in bars(svg)}
    assert high["wind"] == pytest.approx(high["thunder"])
    assert high["surf"] == pytest.approx(high["cold"])  # both groups together are everybody
    assert high["surf"] > 2 * high["wind"]
    assert any("low bar: going in only, or some groups only" in words for words in letters(svg))
    table = dict(day_table(replace(plan, closures=closures)))
    assert table["Closed by wind"] == "no going in from 10:00 until 11:00"
    assert table["Closed by thunder"] == "nobody in the water (Puffins) from 10:00 until 11:00"


def test_minutes_closed_outside_the_hours_shown_are_in_the_table_only():
    plan = with_weather(sample_plan())
    plan = replace(plan, closures=(closed_for(plan, "thunder", 60, 120), closed_for(plan, "surf", 600, 660)))
    assert [kind for kind, *_ in bars(day_picture(plan))] == ["surf"]
    assert dict(day_table(plan))["Closed by thunder"] == "nobody in the water from 01:00 until 02:00"


def test_surf_and_wind_are_said_with_their_highest_their_hours_and_their_limits():
    # 0.91 m from 13:00 until 17:00; 6.2 kn, from 14:00 18.4 kn with gusts of 23.92 kn: all rounded up.
    plan = with_weather(sample_plan())
    rows = dict(day_table(plan))
    assert rows["Surf"] == "up to 1.0 m from 13:00 until 17:00; stop above 0.5 m"
    assert rows["Wind"] == (
        "up to 19 kn from 14:00 until 00:00 next day; gusts up to 24 kn from 14:00 until 00:00 next day"
    )
    assert rows["Wind from"] == "south; west from 14:00"
    assert rows["Wind limit"] == (
        "from 00:00 until 14:00 stop above 16 kn; from 14:00 until 00:00 next day stop above 10 kn"
    )
    said = description(day_picture(plan))
    assert "stop above 0.5 m" in said and "stop above 16 kn" in said and "stop above 10 kn" in said
    drawn = letters(day_picture(plan))
    for words in ("surf up to 1.0 m from 13:00", "stop above 0.5 m", "from S", "from W", "stop above 10 kn",
                  "stop above 16 kn"):  # fmt: skip
        assert words in drawn


def test_a_limit_that_holds_all_day_is_said_with_the_wind():
    minutes = sample_plan().curve.minutes
    calm = {name: (value,) * minutes for name, value in (("wind_kn", 4.0), ("gust_kn", 6.0), ("wind_limit_kn", 21.0))}
    rows = dict(day_table(with_weather(sample_plan(), **calm)))
    assert rows["Wind"] == "up to 4 kn all day; gusts up to 6 kn all day; stop above 21 kn"
    assert "Wind limit" not in rows


def test_a_direction_without_a_limit_and_one_that_is_not_known_are_said_so():
    minutes = sample_plan().curve.minutes
    plan = with_weather(
        sample_plan(),
        wind_limit_kn=(16.0,) * 720 + (math.inf,) * (minutes - 720),
        wind_from_deg=(180.0,) * 720 + (math.nan,) * (minutes - 720),
    )
    rows = dict(day_table(plan))
    assert rows["Wind from"] == "south; not known from 12:00"
    assert "from 12:00 until 00:00 next day no limit is given for its direction" in rows["Wind limit"]
    svg = day_picture(plan)
    assert any("no line: no limit for its direction" in words for words in letters(svg))
    assert "from ?" in letters(svg)
    assert not any("inf" in path for path in re.findall(r' d="([^"]*)"', svg))


@pytest.mark.parametrize("narrow", [False, True])
def test_hours_without_a_known_surf_or_wind_are_said_and_never_look_calm(narrow):
    plan = with_weather(sample_plan())
    gap = (math.nan,) * 180
    curve = replace(
        plan.curve,
        surf_m=plan.curve.surf_m[:600] + gap + plan.curve.surf_m[780:],
        wind_kn=plan.curve.wind_kn[:720] + gap + plan.curve.wind_kn[900:],
        gust_kn=plan.curve.gust_kn[:720] + gap + plan.curve.gust_kn[900:],
    )
    rows = dict(day_table(replace(plan, curve=curve)))
    assert rows["Surf not known"] == "from 10:00 until 13:00"
    assert rows["Wind not known"] == "from 12:00 until 15:00"
    assert "as far as known" in rows["Surf"] and "as far as known" in rows["Wind"]
    svg = day_picture(replace(plan, curve=curve), narrow=narrow)
    assert letters(svg).count("not known") == 2
    assert "nan" not in svg.lower()


def test_surf_told_but_not_known_all_day_is_drawn_as_not_known():
    plan = with_weather(sample_plan(), surf_m=(math.nan,) * sample_plan().curve.minutes)
    assert dict(day_table(plan))["Surf"] == "not known; stop above 0.5 m"
    assert {"surf not known", "not known"} <= set(letters(day_picture(plan)))


@pytest.mark.parametrize("narrow", [False, True])
def test_no_word_of_a_full_day_leaves_the_picture(narrow):
    svg = day_picture(stormy(), narrow=narrow)
    width = float(ET.fromstring(svg).get("viewBox", "").split()[2])
    for words, left, right, _ in placed(svg):
        if words not in ("tide, m", "surf, m", "wind, kn", "kn"):  # written upwards
            assert left >= 0 and right <= width, words


@pytest.mark.parametrize("narrow", [False, True])
def test_the_picture_grows_with_its_strips_and_the_strips_keep_their_height(narrow):
    def size(plan: DayPlan) -> tuple[float, float]:
        width, height = map(float, ET.fromstring(day_picture(plan, narrow=narrow)).get("viewBox", "").split()[2:])
        return width, height

    few, many = size(with_weather(sample_plan())), size(stormy())
    assert many[0] == few[0]
    assert many[1] > few[1] > size(sample_plan())[1]


def test_a_full_day_stays_small_enough_for_a_phone_on_a_beach():
    # 185 kB of words, before the server packs it: the sample without weather has 123 kB, most of it dots of the stream.
    assert len(day_picture(stormy())) < 185_000
