"""The picture of a season: stands alone, reads in grey, and says in words what it shows; the months of its table."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from datetime import date, timedelta
from itertools import pairwise

import pytest

from tripplan.documents.season_picture import CLASSES, season_causes, season_key, season_months, season_picture
from tripplan.people.group import KINDS
from tripplan.planning.season import Season, SeasonDay


def season_of(minutes: list[int], first: date = date(2027, 1, 1), name: str = "Cove", slug: str = "cove") -> Season:
    days = tuple(
        SeasonDay(first + timedelta(days=n), (), each, "The stream runs." if each < 200 else "Out by dusk.",
                  "stream" if each < 200 else "light")
        for n, each in enumerate(minutes)
    )  # fmt: skip
    return Season(slug, name, "Atlantic/Azores", KINDS["guided"], days)


STEADY = season_of([300] * 59)
MIXED = season_of([0, 60, 150, 300, 500, *([0] * 54)], name="Ledge", slug="ledge")


def fills(svg: str) -> set[str]:
    return set(re.findall(r'fill="(#[0-9a-f]{6})"', svg))


@pytest.mark.parametrize("narrow", [False, True])
def test_the_picture_is_one_drawing_without_style_or_script(narrow):
    svg = season_picture([STEADY, MIXED], narrow=narrow)
    ET.fromstring(svg)
    assert "<style" not in svg and "<script" not in svg and " style=" not in svg
    assert svg.count('role="img"') == 1
    for name in ("Cove", "Ledge", "none", "under 2 h", "8 h and more", "Saturday and Sunday"):
        assert f">{name}</text>" in svg


def test_each_class_has_its_fill_and_none_has_a_hatch():
    svg = season_picture([MIXED])
    assert {fill for _, _, fill in CLASSES} <= fills(svg)
    assert "<pattern" in svg


def test_in_grey_no_fill_has_a_colour_and_lighter_stays_lighter():
    svg = season_picture([STEADY, MIXED], grey=True)
    for fill in fills(svg):
        assert fill[1:3] == fill[3:5] == fill[5:7]
    shades = [0.2126 * int(f[1:3], 16) + 0.7152 * int(f[3:5], 16) + 0.0722 * int(f[5:7], 16) for _, _, f in CLASSES]
    assert all(one - two > 25 for one, two in pairwise(shades))


def test_the_description_says_the_hours_of_each_month_and_the_days_with_none():
    svg = season_picture([STEADY, MIXED])
    description = re.search(r"<desc[^>]*>(.*?)</desc>", svg)
    assert description
    assert "Cove: hours a day on average Jan 2027 5.0 h; Feb 2027 5.0 h; 0 days with none." in description[1]
    assert "Ledge: hours a day on average Jan 2027 0.5 h; Feb 2027 0.0 h; 55 days with none." in description[1]


def test_two_pictures_on_one_page_share_no_name():
    one, two = season_picture([STEADY]), season_picture([STEADY], narrow=True)
    ids = [set(re.findall(r'\bid="([^"]+)"', svg)) for svg in (one, two)]
    assert not ids[0] & ids[1]


def test_the_same_season_is_drawn_the_same_and_another_has_another_key():
    assert season_picture([MIXED]) == season_picture([MIXED])
    assert season_key([MIXED]) != season_key([STEADY])


def test_letters_that_the_measuring_font_lacks_stay_themselves():
    svg = season_picture([season_of([100] * 40, name="潮の入江 $x$")])
    assert "潮の入江 $x$" in svg


def test_a_short_span_shows_hours_in_figures_on_a_wide_page():
    svg = season_picture([season_of([45, 130, 700])])
    for figure in ("&lt;1", "2", "11"):
        assert f">{figure}</text>" in svg


def test_a_year_draws_no_more_than_its_stretches():
    """A year of changing days stays a picture that a phone can load: under 300 kB for nine sites."""
    changing = [season_of([(n * 37 * (k + 2)) % 600 for n in range(366)], slug=f"s{k}") for k in range(9)]
    assert len(season_picture(changing).encode()) < 300_000


# ---- the months ----


def test_months_count_means_and_days_and_round_down():
    first, second = season_months(season_of([119] * 31 + [120] * 14 + [0] * 14))
    assert (first.name, first.days, first.enough_days, first.none_days) == ("Jan 2027", 31, 0, 0)
    assert first.hours_words == "1.9"  # 119 min are 1.98 h
    assert (second.name, second.days, second.enough_days, second.none_days) == ("Feb 2027", 28, 14, 14)
    assert second.hours_words == "1.0"


def test_the_best_weekend_is_the_one_whose_worse_day_leaves_most():
    """January 2027 begins on a Friday: its Saturdays are 2, 9, 16, 23 and 30."""
    minutes = [0] * 31
    minutes[1], minutes[2] = 600, 30  # 2 and 3
    minutes[8], minutes[9] = 200, 210  # 9 and 10
    (month,) = season_months(season_of(minutes))
    assert month.weekend is not None
    assert [day.day.day for day in month.weekend] == [9, 10]
    assert month.weekend_words.replace("\u00a0", " ") == "9–10: 3:20 + 3:30"


def test_a_weekend_across_two_months_belongs_to_its_saturday():
    """31 July 2027 is a Saturday."""
    july, august = season_months(season_of([0, 90, 90, 0], first=date(2027, 7, 30)))
    assert july.weekend_words.replace("\u00a0", " ") == "31–1 Aug: 1:30 + 1:30"
    assert august.weekend is None and august.weekend_words == "none"


def test_a_weekend_with_one_impossible_day_is_none():
    (month,) = season_months(season_of([0, 300, 0, *([0] * 28)]))
    assert month.weekend_words == "none"


def test_what_closes_most_is_counted_without_the_light():
    assert season_causes(STEADY) == ()
    assert season_causes(MIXED) == ((57, "The stream runs."),)
