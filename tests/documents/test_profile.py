"""The pictures of each dive's course and of the no-stop time used, and the slate on paper and in text."""

from __future__ import annotations

import io
import math
import xml.etree.ElementTree as ET

import pytest
from printed_plans import HOSTILE, hostile_plan, plan_of
from pypdf import PdfReader

from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.profile import allowance_picture, allowance_words, profile_picture, profile_words
from tripplan.documents.text import plan_text
from tripplan.documents.words import clock, slate_cells, slate_row_words

SVG = "{http://www.w3.org/2000/svg}"


def letters(svg: str) -> str:
    return " ".join("".join(element.itertext()) for element in ET.fromstring(svg).iter(f"{SVG}text"))


def test_the_course_of_each_dive_says_depth_time_limits_and_turn():
    plan = plan_of("saturday-ledge")
    for dive in plan.dives:
        svg, words = profile_picture(plan, dive), profile_words(plan, dive)
        assert ET.fromstring(svg).findtext(f"{SVG}desc") == words
        assert "style=" not in svg
        assert f"{dive.bottom_time_min} min, {dive.depth_m:g} m" in letters(svg)
        assert f"longest {math.floor(dive.time.value)} min" in letters(svg)
        assert f"turn at {dive.gas.turn_bar} bar" in letters(svg)
        assert clock(dive.descent, plan.date) in words and clock(dive.exit, plan.date) in words


def test_each_person_s_share_is_rounded_up():
    plan = plan_of("saturday-ledge")
    svg = letters(allowance_picture(plan))
    for dive in plan.dives:
        for person in dive.people:
            share = math.ceil(100 * dive.bottom_time_min / person.no_stop_min)
            assert person.name in svg and person.name in allowance_words(plan)
            assert f"{dive.bottom_time_min} of {person.no_stop_min} min, {share} %" in svg


def test_no_two_pictures_of_a_plan_share_an_id():
    plan = plan_of("saturday-ledge")
    drawn = [allowance_picture(plan), *(profile_picture(plan, dive) for dive in plan.dives)]
    ids = [element.get("id") for svg in drawn for element in ET.fromstring(svg).iter() if element.get("id")]
    assert len(ids) == len(set(ids))


def test_names_that_look_like_code_stay_names():
    plan = hostile_plan()
    ET.fromstring(allowance_picture(plan))
    assert HOSTILE["tag"] not in allowance_picture(plan)


@pytest.mark.parametrize("name", ["saturday-ledge", "lake-altitude"])
def test_every_row_of_a_slate_is_printed_on_paper_and_in_text(name):
    plan = plan_of(name)
    assert plan.slates
    pages = PdfReader(io.BytesIO(day_sheet_pdf(plan))).pages
    paper, text = "".join("".join(page.extract_text() for page in pages).split()), plan_text(plan, 200)
    for slate in plan.slates:
        for row in slate.rows:
            assert "".join("".join([slate_row_words(row), *slate_cells(row)]).split()) in paper
            assert any(
                slate_row_words(row) in line and all(cell in line for cell in slate_cells(row))
                for line in text.splitlines()
            )
