from __future__ import annotations

import math
import re
import xml.etree.ElementTree as ET
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from printed_plans import REQUESTS, plan_of
from sample_plan import at, curve_of, on_day, sample_plan

from tripplan.documents.picture import day_picture, day_table, style_as_attributes
from tripplan.planning.plan import DayPlan, Light, Span, UsableWindow

SVG = "{http://www.w3.org/2000/svg}"
NO_SUN = Light(None, None, None, None, "full", "the sun stays up all day")


def letters(svg: str) -> list[str]:
    return ["".join(element.itertext()) for element in ET.fromstring(svg).iter(f"{SVG}text")]


def description(svg: str) -> str:
    return ET.fromstring(svg).findtext(f"{SVG}desc") or ""


def hours(plan: DayPlan, narrow: bool = False) -> list[tuple[str, float]]:
    """Return the labels of the full hours with their places."""
    found = []
    for element in ET.fromstring(day_picture(plan, narrow=narrow)).iter(f"{SVG}text"):
        if re.fullmatch(r"\d\d", element.text or ""):
            place = element.get("x") or re.search(r"translate\(([\d.]+)", element.get("transform", ""))[1]
            found.append((element.text, float(place)))
    return found


def whole_day(plan: DayPlan) -> DayPlan:
    """Without sunrise and sunset the picture shows the day from midnight to midnight."""
    return replace(plan, light=NO_SUN)


# ---- fit for a page ----


@pytest.mark.parametrize("narrow", [False, True])
@pytest.mark.parametrize("name", [*REQUESTS, "stop", "sample"])
def test_the_picture_is_well_formed_says_what_it_is_and_carries_no_style(name, narrow):
    plan = sample_plan() if name == "sample" else plan_of(name)
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
    assert day_picture(sample_plan()) == day_picture(sample_plan())
    wide, narrow = (ET.fromstring(day_picture(sample_plan(), narrow=narrow)) for narrow in (False, True))
    ids = [{element.get("id") for element in root.iter() if element.get("id")} for root in (wide, narrow)]
    assert not ids[0] & ids[1]


def test_pictures_drawn_at_the_same_time_are_the_same_as_drawn_one_by_one():
    wanted = [False, True] * 4
    plan = sample_plan()
    alone = [day_picture(plan, narrow=narrow) for narrow in wanted]
    with ThreadPoolExecutor(4) as threads:
        assert list(threads.map(lambda narrow: day_picture(plan, narrow=narrow), wanted)) == alone


def test_a_narrow_picture_is_taller_than_wide_and_its_letters_can_be_read_on_a_phone():
    svg = day_picture(sample_plan(), narrow=True)
    width, height = map(float, ET.fromstring(svg).get("viewBox", "").split()[2:])
    assert height > width
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
    assert min(sizes) * 360 / width >= 9.5  # pixels on the narrowest common screen, 360 wide


def test_without_colour_the_picture_has_only_greys_and_the_same_words():
    grey, colour = day_picture(sample_plan(), grey=True), day_picture(sample_plan())
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
    picture = day_picture(plan)
    assert fills(plan) == ["#d2d2d2"]  # one stretch of twilight, from 00:40 to 02:10, and no other
    assert "sun 02:10 to 00:40" in " ".join(letters(picture))


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
