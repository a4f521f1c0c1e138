"""The picture of the board: every number stands in it, reads without colour, and says when, and what nobody tells."""

from __future__ import annotations

import re
from datetime import date, datetime, timedelta
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest

from tripplan.check import Outcome
from tripplan.documents.board_picture import board_in_words, board_picture, day_words, key_words, window_list
from tripplan.planning.board import Board, Cell, SiteRow
from tripplan.planning.plan import Span, UsableWindow

FIRST = date(2027, 6, 12)
ZONE = ZoneInfo("Atlantic/Azores")
SVG = "{http://www.w3.org/2000/svg}"


def at(day: date, clock: str) -> datetime:
    hour, minute = map(int, clock.split(":"))
    return datetime(day.year, day.month, day.day, hour, minute, tzinfo=ZONE)


def cell(day: date, *windows: tuple[str, str], sea="known", site="cove") -> Cell:
    spans = [(at(day, a), at(day, b)) for a, b in windows]
    found = tuple(UsableWindow(a, b, (Span(a, b),)) for a, b in spans)
    minutes = sum(round((b - a).total_seconds() / 60) for a, b in spans)
    outcome = Outcome.CAUTION if minutes else Outcome.STOP
    return Cell(site, day, minutes, found, () if minutes else ("Too much wind.",), outcome, sea)


def sample() -> Board:
    """Return two sites over three days: long and short, none, and one whose sea nobody tells."""
    days = tuple(FIRST + timedelta(days=ahead) for ahead in range(3))
    one = SiteRow(
        "cove", "Test cove", (cell(days[0], ("09:00", "17:00")), cell(days[1], ("10:05", "11:10")), cell(days[2]))
    )
    two = SiteRow("ledge", "A ledge with <a & b>", (
        cell(days[0], ("08:30", "09:00"), ("15:00", "15:45")), cell(days[1], sea="unknown"),
        cell(days[2], ("12:00", "12:40"), sea="part"),
    ))  # fmt: skip
    return Board("Terns", "guided dive", days, (one, two))


def letters(svg: str) -> list[str]:
    return ["".join(node.itertext()).strip() for node in ET.fromstring(svg).iter(f"{SVG}text")]


def test_sites_days_and_every_usable_time_stand_in_the_picture():
    said = letters(board_picture(sample()))
    for words in ("Test cove", "A ledge with <a & b>", "8 h", "1 h 5 min", "1 h 15 min", "40 min", "Sat", "12 Jun"):
        assert words in said, words
    assert said.count("none") == 2
    assert "9 h 5 min in all" in said  # 8 h and 1 h 5 min


def test_a_phone_gets_the_same_in_a_picture_taller_for_its_width_and_readable():
    wide, narrow = (board_picture(sample(), narrow=narrow) for narrow in (False, True))
    assert " ".join(letters(narrow)).count("none") == 2
    width, height = map(float, ET.fromstring(narrow).get("viewBox", "").split()[2:])
    wide_width, wide_height = map(float, ET.fromstring(wide).get("viewBox", "").split()[2:])
    assert height / width > wide_height / wide_width


def test_letters_can_be_read_on_the_narrowest_common_phone():
    days = tuple(FIRST + timedelta(days=ahead) for ahead in range(7))
    week = Board(
        "Terns", "guided dive", days, (SiteRow("cove", "Test cove", tuple(cell(d, ("09:00", "17:05")) for d in days)),)
    )
    svg = board_picture(week, narrow=True)
    width = float(ET.fromstring(svg).get("viewBox", "").split()[2])
    sizes = [float(size) for size in re.findall(r'font-size="([\d.]+)px"', svg)]
    assert sizes and min(sizes) * 320 / width >= 9.5  # pixels, at 360 wide with the page's margins
    assert "8 h 05" in " ".join(letters(svg))


def test_without_colour_there_are_only_greys_and_the_same_words():
    grey, colour = board_picture(sample(), grey=True), board_picture(sample())
    for red, green, blue in re.findall(r'"#([0-9a-f]{2})([0-9a-f]{2})([0-9a-f]{2})"', grey):
        assert red == green == blue
    assert letters(grey) == letters(colour)


def lightness(colour: str) -> float:
    """Return the relative luminance of a colour by the Web Content Accessibility Guidelines 2.1."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


@pytest.mark.parametrize("grey", [False, True])
def test_longer_is_darker_in_grey_too_and_ink_reads_on_the_darkest(grey):
    svg = board_picture(sample(), grey=grey)
    shades = [lightness(fill) for fill in re.findall(r'<path d="[^"]*z\s*"[^>]*fill="(#[0-9a-f]{6})"', svg)]
    cells = [shade for shade in shades if 0.2 < shade < 0.95]  # neither the bars nor the white ones
    minutes = dict(zip((480, 65, 75, 40), cells, strict=True))
    assert minutes[480] < minutes[75] < minutes[65] < minutes[40]
    assert (min(cells) + 0.05) / (lightness("#161616") + 0.05) > 7  # the guidelines' enhanced contrast


def test_a_day_without_a_dive_is_hatched_and_a_sea_that_nobody_tells_has_a_dashed_edge():
    svg = board_picture(sample())
    assert svg.count("url(#") >= 2
    assert svg.count("stroke-dasharray") == 2  # one unknown, one in part
    key = " ".join(key_words(sample()))
    assert "Hatched: no dive." in key
    assert "Dashed edge: sea and wind are not told" in key


def test_the_key_speaks_only_of_what_the_picture_shows_and_says_the_hours_of_the_bar():
    days = (FIRST,)
    plain = Board("Terns", "guided dive", days, (SiteRow("cove", "Test cove", (cell(FIRST, ("09:20", "16:40")),)),))
    assert key_words(plain) == (
        "Darker: longer usable.",
        "The bar shows when, from 09:00 at its left to 17:00 at its right.",
    )
    shut = Board("Terns", "guided dive", days, (SiteRow("cove", "Test cove", (cell(FIRST),)),))
    assert key_words(shut) == ("Darker: longer usable.", "Hatched: no dive.")
    assert "none" in letters(board_picture(shut))


def test_the_description_says_all_numbers_and_what_nobody_tells():
    words = board_in_words(sample())
    assert "Test cove: Saturday 12 June 2027 8 h; Sunday 13 June 2027 1 h 5 min; Monday 14 June 2027 no dive." in words
    assert "Sunday 13 June 2027 no dive (tide, light and access only)" in words
    assert "40 min (sea and wind are told only in part)" in words
    description = ET.fromstring(board_picture(sample())).find(f"{SVG}desc")
    assert description is not None and description.text == words


def test_windows_are_listed_by_the_clock_and_midnight_is_the_next_day():
    assert window_list(sample().rows[1].cells[0]) == "08:30 to 09:00 and 15:00 to 15:45"
    start, end = at(FIRST, "22:00"), at(FIRST + timedelta(days=1), "00:00")
    night = Cell("cove", FIRST, 120, (UsableWindow(start, end, (Span(start, end),)),), (), Outcome.CAUTION, "known")
    assert window_list(night) == "22:00 to 00:00 next day"
    board = Board("Owls", "night dive", (FIRST,), (SiteRow("cove", "Test cove", (night,)),))
    assert "from 22:00 at its left to 24:00 at its right" in " ".join(key_words(board))
    assert "2 h" in letters(board_picture(board))


def test_a_board_without_a_site_is_still_a_picture():
    empty = Board("Terns", "guided dive", (FIRST,), ())
    assert letters(board_picture(empty)) == [day_words(FIRST).split(" ", 1)[0], "12 Jun"]
    assert board_in_words(empty) == "There is no site."


def test_a_long_name_is_cut_and_the_same_board_gives_the_same_picture():
    long = Board(
        "Terns", "guided dive", (FIRST,), (SiteRow("x", "The " + "very " * 8 + "long strand", (cell(FIRST),)),)
    )
    assert any(words.endswith("…") for words in letters(board_picture(long)))
    assert board_picture(sample()) == board_picture(sample())
