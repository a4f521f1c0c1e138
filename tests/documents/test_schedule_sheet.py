from __future__ import annotations

import io
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cache
from zoneinfo import ZoneInfo

import pytest
from pypdf import PdfReader
from sample_schedule import crowded_schedule, long_schedule, outing, sample_schedule

from tripplan.check import Check, Outcome
from tripplan.documents.schedule_sheet import schedule_sheet_pdf, schedule_values
from tripplan.errors import OutOfRange
from tripplan.planning.schedule import Outing, Schedule

# A day and a fortnight that run on from page to page; the crowd has a page of its own for each of some sixty people.
MADE = {
    "week": cache(sample_schedule),
    "crowd": cache(lambda: crowded_schedule(24)),
    "fortnight": cache(lambda: long_schedule(14, 3)),
}
ON = {"week": "a4", "crowd": "a4", "fortnight": "letter"}
PRINTED = [*ON.items(), ("week", "letter")]
MARK = "DEMONSTRATION - NOT FOR USE"
needs_poppler = pytest.mark.skipif(not shutil.which("pdftotext"), reason="poppler's tools are not installed")


def flat(text: str) -> str:
    """Without white space and break marks: where a line breaks does not matter."""
    return "".join(text.replace("\u200b", "").split())


@cache
def sheet(name: str, paper: str | None = None) -> bytes:
    return schedule_sheet_pdf(MADE[name](), paper or ON[name])


def of_one_day(**changes: object) -> Schedule:
    """Return a schedule of one outing, for what does not hang on how much there is."""
    schedule = sample_schedule()
    first = schedule.outings[0]
    there = tuple(team for team in schedule.shore if (team.site, team.day) == (first.site, first.day))
    few = replace(schedule, days=(first.day,), outings=(first,), shore=there, fillings=(), trips=(), loads=())
    return replace(few, **changes)


@cache
def pages_of(pdf: bytes) -> list[str]:
    return [flat(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]


def text_of(pdf: bytes) -> str:
    return "".join(pages_of(pdf))


def row_of(schedule: Schedule, one: Outing) -> str:
    """Return the row of an outing's facts, put together from its values and nothing else."""
    dives = "".join(
        f"{dive.number}: {dive.entry:%H:%M}, {dive.exit:%H:%M}, {dive.exit_by:%H:%M}; "
        f"{dive.depth_m:g} m, {dive.minutes} min"
        for dive in one.dives
    )
    ways = (
        f"in and out by {one.going_in_by}"
        if one.going_in_by == one.coming_out_by
        else f"in by {one.going_in_by}, out by {one.coming_out_by}"
    )
    (team,) = (each for each in schedule.shore if (each.site, each.day) == (one.site, one.day))
    (filling,) = (each for each in schedule.fillings if each.outing == one.key)
    ((size, count),) = filling.sizes.items()
    return flat(
        f"{one.leaves:%H:%M}{one.on_site:%H:%M}{dives}{one.off_site:%H:%M}{one.back:%H:%M}"
        f"{one.site_name}{one.place}; {ways}{one.group}{one.kind_words}{'; settled beforehand' if one.pinned else ''}"
        f"{len(one.divers)}{one.leader}{', '.join(one.assistants) or '-'}{', '.join(team.people)}"
        f"{', '.join(one.vehicles)}{count} x {size}, {filling.starts:%H:%M} to {filling.ends:%H:%M}"
    )


# ---- nothing is lost ----


@pytest.mark.parametrize(("name", "paper"), PRINTED)
def test_every_outing_stands_in_full_in_the_table_of_its_day(name, paper):
    schedule = MADE[name]()
    text = text_of(sheet(name, paper))
    assert len(schedule.outings) >= 12
    for one in schedule.outings:
        assert row_of(schedule, one) in text, one.title


def test_a_fact_that_is_not_on_the_sheet_is_not_found():
    schedule = sample_schedule()
    one = replace(schedule.outings[0], off_site=schedule.outings[0].off_site + timedelta(minutes=1))
    assert row_of(schedule, one) not in text_of(sheet("week"))


@needs_poppler
@pytest.mark.parametrize("name", MADE)
def test_another_reader_finds_every_group_time_and_person_too(name, tmp_path):
    schedule = MADE[name]()
    file = tmp_path / "sheet.pdf"
    file.write_bytes(sheet(name))
    text = flat(subprocess.run(["pdftotext", "-raw", str(file), "-"], capture_output=True, check=True).stdout.decode())
    for one in schedule.outings:
        assert row_of(schedule, one) in text, one.title
    for team in schedule.shore:
        assert flat(f"leave {team.leaves:%H:%M}, on site {team.on_site:%H:%M} - {team.off_site:%H:%M}") in text
        for person in team.people:
            assert flat(person) in text


@pytest.mark.parametrize("name", MADE)
def test_the_page_of_all_days_holds_a_box_for_each_outing(name):
    schedule = MADE[name]()
    pages = pages_of(sheet(name))
    before_days = "".join(pages[: next(i for i, page in enumerate(pages) if "Groupsbysite" in page)])
    for one in schedule.outings:
        dives = one.title.removeprefix(f"{one.group}, ")
        box = f"{one.leaves:%H:%M} - {one.back:%H:%M}{one.group}{dives}, in {one.dives[0].entry:%H:%M}{one.leader}"
        assert flat(box) in before_days, one.title
    if name == "week":
        assert len(pages) == 17  # all days on one page, six days with outings, what has no place, nine of the crew
        assert flat("No outing: Sun 13 Dec") in pages[0]


@pytest.mark.parametrize("name", MADE)
def test_each_of_the_crew_has_a_page_with_every_task(name):
    schedule = MADE[name]()
    pages = pages_of(sheet(name))
    people = {name for one in schedule.outings for name in one.crew} | {
        name for team in schedule.shore for name in team.people
    }
    for person in list(people)[:30]:
        mine = [number for number, page in enumerate(pages) if flat(f"{person}{days(schedule)}. W") in page]
        assert len(mine) == 1, person
        text = pages[mine[0]] + "".join(page for page in pages if flat(f"{person}, continued") in page)
        for one in schedule.outings:
            if person in one.crew:
                assert flat(f"{one.leaves:%H:%M} - {one.back:%H:%M}") in text
                assert flat(f"{'Leads' if person == one.leader else 'Assists'}{one.title}") in text
                for dive in one.dives:
                    assert flat(f"Dive {dive.number}: in {dive.entry:%H:%M}, out by {dive.exit_by:%H:%M}") in text
        for team in schedule.shore:
            if person in team.people:
                assert flat(f"{team.leaves:%H:%M} - {team.back:%H:%M}Ashore") in text


def days(schedule: Schedule) -> str:
    first, last = (f"{day:%A} {day.day} {day:%B %Y}" for day in (schedule.days[0], schedule.days[-1]))
    return first if first == last else f"{first} to {last}"


def test_what_has_no_place_stands_with_why_and_what_would_place_it():
    schedule = sample_schedule()
    pages = pages_of(sheet("week"))
    (page,) = (page for page in pages if flat("Not placed, and how good this schedule is") in page)
    for each in schedule.unplaced:
        for sentence in (*each.because, *(change.sentence for change in each.would_fit_if)):
            assert flat(sentence) in page
    for words in (
        "No single change that was tried would place it.",
        "best found; at most 1.5 % (240 points) from the best possible",
        "seed 1",
        "Revision 5c1e0fa2 of everything it was made from",
        "CAUTION: All 8 cylinders",
        "Terns, dives 1 to 2: Tuesday 8 December instead of Monday 7 December.",
        "The drive to Lake Orrin is not entered",
        "Kilometres-208",
    ):
        assert flat(words) in page, words
    assert flat("Not placed: Shearwaters, dives 1 and 2; Knots, dive 3") in pages[0]


def test_a_proved_schedule_with_everything_placed_says_so():
    schedule = replace(sample_schedule(), status="optimal", unplaced=())
    text = text_of(schedule_sheet_pdf(schedule))
    assert flat("All 17 dives have a place; proved best.") in text
    assert flat("Every dive that was asked for has a place.") in text
    assert flat("Best found") not in text


def test_a_schedule_without_any_outing_is_still_a_sheet():
    schedule = replace(
        sample_schedule(), outings=(), shore=(), fillings=(), trips=(), loads=(), status="none", objective=0, terms={}
    )
    pages = pages_of(schedule_sheet_pdf(schedule))
    assert len(pages) == 2
    assert flat("No outing is planned on these days.") in pages[0]
    assert flat("None of 3 dives has a place: no schedule was found.") in pages[0]


# ---- paper ----


@pytest.mark.parametrize(("name", "paper"), PRINTED)
def test_the_page_has_the_size_that_was_asked_for_and_lies_on_its_side(name, paper):
    # ISO 216: A4 is 210 by 297 mm; ANSI Y14.1: Letter is 8.5 by 11 inches. A point is 1/72 inch.
    wanted = (297 / 25.4 * 72, 210 / 25.4 * 72) if paper == "a4" else (11 * 72, 8.5 * 72)
    for page in PdfReader(io.BytesIO(sheet(name, paper))).pages:
        assert (float(page.mediabox.width), float(page.mediabox.height)) == pytest.approx(wanted, abs=0.1)


def test_another_paper_is_refused_with_what_is_accepted():
    with pytest.raises(OutOfRange, match='paper is "a5"; it must be "a4" or "letter"'):
        schedule_sheet_pdf(sample_schedule(), "a5")


@pytest.mark.parametrize("name", MADE)
def test_every_page_is_marked_and_numbered_and_says_revision_and_days(name):
    schedule = MADE[name]()
    pages = pages_of(sheet(name))
    for number, page in enumerate(pages, 1):
        assert page.count(flat(MARK)) == 3  # above, below and across
        assert flat(f"Page {number} of {len(pages)}") in page
        assert flat(f"Revision {schedule.revision}") in page
        assert flat(days(schedule)) in page
        assert flat("does not replace training, local codes or the judgement of the leader on the beach") in page


def test_a_real_schedule_is_not_marked_as_a_demonstration():
    assert flat("NOT FOR USE") in text_of(schedule_sheet_pdf(of_one_day()))
    assert flat("NOT FOR USE") not in text_of(schedule_sheet_pdf(of_one_day(demonstration=False)))


def test_equal_schedules_give_equal_bytes_and_the_file_is_tagged_and_titled():
    pdf = sheet("week")
    assert pdf == schedule_sheet_pdf(sample_schedule())
    reader = PdfReader(io.BytesIO(pdf))
    root = reader.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert reader.metadata.title == f"Verrow Shore Diving, {days(sample_schedule())}, revision 5c1e0fa2"
    assert b"pdfuaid:part" in reader.xmp_metadata.stream.get_data()  # ISO 14289-1: the claim to be PDF/UA-1


def boxes(pdf: bytes, tmp_path) -> list[tuple[float, float, list[tuple[float, float, float, float, str]]]]:
    """Return each page's width and height, and the box and the letters of every word on it."""
    file = tmp_path / "sheet.pdf"
    file.write_bytes(pdf)
    out = subprocess.run(["pdftotext", "-bbox", str(file), "-"], capture_output=True, check=True).stdout.decode()
    number = r'"([-\d.]+)"'
    word = rf"<word xMin={number} yMin={number} xMax={number} yMax={number}>(.*?)</word>"
    found = []
    for page in re.findall(rf"<page width={number} height={number}>(.*?)</page>", out, re.DOTALL):
        words = [(*map(float, each[:4]), each[4]) for each in re.findall(word, page[2])]
        found.append((float(page[0]), float(page[1]), words))
    return found


@needs_poppler
@pytest.mark.parametrize(("name", "paper"), PRINTED)
def test_no_word_is_cut_by_the_edge_or_stands_on_another(name, paper, tmp_path):
    for number, (width, height, found) in enumerate(boxes(sheet(name, paper), tmp_path), 1):
        # Without the slanting letters of the mark across the page, which stands behind everything on purpose.
        words = [word for word in found if word[3] - word[1] < 40]
        assert words and sorted("".join(word[4] for word in found if word not in words)) == sorted(flat(MARK))
        for left, top, right, bottom, said in words:
            assert left >= 20 and right <= width - 20, (number, said)
            assert top >= (7 if said in MARK else 10) and bottom <= height - 10, (number, said)
        ordered = sorted(words)
        for (_, top, right, bottom, said), (left, other_top, other_right, other_bottom, other) in near(ordered):
            across = min(right, other_right) - left
            down = min(bottom, other_bottom) - max(top, other_top)
            # A line's box holds room for accents and tails, so neighbouring lines touch by some of it.
            assert across < 0.6 or down < 0.45 * min(bottom - top, other_bottom - other_top), (number, said, other)


def near(words):
    """Yield each two words of which the second begins before the first ends."""
    for index, first in enumerate(words):
        for second in words[index + 1 :]:
            if second[0] >= first[2]:
                break
            yield first, second


def test_the_overlap_that_is_looked_for_would_be_found():
    words = [(10.0, 10.0, 50.0, 20.0, "one"), (40.0, 12.0, 80.0, 22.0, "two"), (90.0, 10.0, 99.0, 20.0, "three")]
    assert [(first[4], second[4]) for first, second in near(words)] == [("one", "two")]


def test_nothing_on_it_is_told_by_colour():
    from PIL import Image

    if not shutil.which("pdftoppm"):
        pytest.skip("poppler's tools are not installed")
    for number in ("1", "3"):
        out = subprocess.run(
            ["pdftoppm", "-r", "40", "-f", number, "-l", number, "-png", "-"],
            input=sheet("week"),
            capture_output=True,
            check=True,
        ).stdout
        red, green, blue = Image.open(io.BytesIO(out)).convert("RGB").split()
        assert red.tobytes() == green.tobytes() == blue.tobytes()


# ---- bars ----


def test_every_bar_stands_where_its_times_say():
    schedule = sample_schedule()
    values = schedule_values(schedule)
    tuesday = next(day for day in values["days"] if day["date"].startswith("Tuesday"))
    first, last = tuesday["ticks"][0], tuesday["ticks"][-1]
    assert (first, last) == ([0.0, "08:00"], [1.0, "14:00"])  # from before 08:05 until after 13:47
    assert [tick[1] for tick in tuesday["ticks"]] == [f"{hour:02d}:00" for hour in range(8, 15)]
    ledge = next(site for site in tuesday["sites"] if site["name"] == "Stair Ledge")
    terns = next(bar for bar in ledge["bars"] if bar["label"].startswith("Terns"))
    water = [part for part in terns["parts"] if part["kind"] == "water"]
    # In at 09:15 and out at 09:57, 75 and 117 minutes after 08:00, of 360.
    assert (water[0]["from"], water[0]["to"]) == pytest.approx((75 / 360, 117 / 360), abs=1e-5)
    assert (water[0]["entry"], water[0]["by"]) == ("09:15", "10:07")
    spare = [part for part in terns["parts"] if part["kind"] == "spare"]
    assert (spare[0]["from"], spare[0]["to"]) == pytest.approx((117 / 360, 127 / 360), abs=1e-5)
    lanes = {lane["label"]: [part["kind"] for part in lane["parts"]] for lane in tuesday["lanes"]}
    assert set(lanes) == {
        "Asha Rao", "Greta Holm", "Ines Faro", "Luca Benti", "Maren Dahl", "Piotr Zelek", "Sam Whitlow", "Yusuf Demir",
    }  # fmt: skip
    assert lanes["Greta Holm"] == ["road", "ashore", "road"]
    assert "water" in lanes["Luca Benti"] and "ashore" not in lanes["Luca Benti"]


def test_the_axis_of_a_night_in_which_the_clocks_go_back_is_an_hour_longer():
    zone = ZoneInfo("Atlantic/Azores")
    night = outing("Plovers", datetime(2026, 10, 25, tzinfo=zone).date(), "pilots-pier", "03:00", (1,), "Tom Okafor")
    early = replace(night, leaves=datetime(2026, 10, 25, 0, 0, tzinfo=zone))
    schedule = replace(sample_schedule(), outings=(early,), shore=(), fillings=(), trips=(), days=(night.day,))
    (day,) = schedule_values(schedule)["days"]
    # tzdata: at 01:00 UTC the clocks go from 01:00 back to 00:00, so midnight stands twice.
    assert [tick[1] for tick in day["ticks"]] == ["00:00", "00:00", "01:00", "02:00", "03:00", "04:00", "05:00"]


# ---- names ----


def test_names_are_printed_as_names_whatever_they_look_like():
    schedule = of_one_day()
    names = ("#eval(1)", '"] } \\ $x$ *b* @y // z', "W" * 60, "新井 恵子", "<script>alert(1)</script>")
    hostile = replace(
        schedule.outings[0], group=names[0], leader=names[1], assistants=(names[2], names[3]), place=names[4]
    )
    text = text_of(schedule_sheet_pdf(replace(schedule, outings=(hostile, *schedule.outings[1:]))))
    for name in names:
        assert flat(name) in text


def test_characters_that_the_fonts_lack_become_question_marks_and_the_sheet_says_which():
    schedule = of_one_day()
    lacking = replace(schedule, outings=(replace(schedule.outings[0], leader="\U00012000 x"),))
    values = schedule_values(lacking)
    assert "U+12000 cuneiform sign a" in values["replaced"]
    assert flat(values["replaced"]) in text_of(schedule_sheet_pdf(lacking))
    assert schedule_values(schedule)["replaced"] == ""


def test_divers_are_counted_and_nobody_reads_about_health_on_a_wall():
    schedule = of_one_day()
    said = "Ruben Costa has asthma on the medical form."
    check = Check("medical-form", Outcome.STOP, said, "CENTRE", subject="Ruben Costa")
    unplaced = (replace(schedule.unplaced[0], because=(said,)),)
    text = text_of(schedule_sheet_pdf(replace(schedule, checks=(check,), unplaced=unplaced)))
    assert "asthma" not in text
    assert flat("the personal papers stop this dive") in text
    assert flat("Zoe Carter") not in text
