"""The emergency sheets as a customer meets them: odd words on the command line, spoiled folders, hostile names, the
most that a day can hold, and the least."""

from __future__ import annotations

import html
import io
import json
import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from pydantic import ValidationError
from pypdf import PdfReader

from tests.planning.small_world import CREW, DAY, ask, group, person, site, wish, world
from tripplan.catalogue.site import Care, Contact, Site
from tripplan.cli import main
from tripplan.data_files import data_dir
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.documents.pocket import pocket_html, pocket_site
from tripplan.documents.sheet_words import gap_words, sheet_text
from tripplan.emergency.readiness import Drill, OxygenUnit, Readiness, RescueKit, TellAfter
from tripplan.language import ENGLISH, language, languages
from tripplan.people.level import Level
from tripplan.people.person import Person
from tripplan.planning.action_sheet import ActionSheet, action_sheet
from tripplan.planning.day import plan_day
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Crew, GroupWish, Request
from tripplan.planning.world import World

SITES = data_dir("sites")
PAPERS = ("a4", "letter")
SATURDAY = "2026-12-12"  # a day with a request in the demonstration
SLUG = "plain-cove"
POPPLER = shutil.which("pdftotext")


class Answer:
    def __init__(self, code: int, out: str, err: str) -> None:
        self.code, self.out = code, out
        self.lines = err.splitlines()


@pytest.fixture
def run(capsys):
    """Run `tripplan sheet` with words, in this process: an exception that escapes fails the test."""

    def answer(*words: object) -> Answer:
        code = main(["sheet", *map(str, words)])
        printed = capsys.readouterr()
        return Answer(code, printed.out, printed.err)

    return answer


@pytest.fixture
def centre(tmp_path) -> Path:
    """Return a copy of the demonstration's folder that a test may spoil."""
    return Path(shutil.copytree(SITES, tmp_path / "centre", ignore=shutil.ignore_patterns("records")))


def edit(file: Path, before: str, after: str) -> None:
    text = file.read_text(encoding="utf-8")
    assert before in text
    file.write_text(text.replace(before, after, 1), encoding="utf-8")


def flat(text: str) -> str:
    """Without white space and marks that have no ink: where a line breaks does not matter."""
    return "".join(re.sub("[\u200b\u200e\u2066-\u2069]", "", text).split())


def pages_of(pdf: bytes) -> list[str]:
    """Return the words of each page, by poppler where it is installed: it is ten times as fast."""
    if not POPPLER:
        return [flat(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages]
    found = subprocess.run([POPPLER, "-raw", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return [flat(page) for page in found.split("\f")[:-1]]


# ---- the command line ----


ALL_SITES = sorted(file.stem for file in SITES.glob("*.toml"))
PRINTED = [  # each site in each language; two of them in every language on every paper
    ("en", "a4", ALL_SITES), ("es", "letter", ALL_SITES), ("fr", "a4", ALL_SITES),
    ("en", "letter", ["stair-ledge", "the-gut"]), ("es", "a4", ["stair-ledge", "the-gut"]),
    ("fr", "letter", ["stair-ledge", "the-gut"]),
]  # fmt: skip


def test_no_language_is_left_out_here():
    assert {code for code, _, _ in PRINTED} == set(languages())


@pytest.mark.parametrize(("code", "paper", "slugs"), PRINTED, ids=lambda value: value if isinstance(value, str) else "")
def test_every_site_of_the_demonstration_prints_in_every_language_and_on_both_papers(run, tmp_path, code, paper, slugs):
    file = tmp_path / "all.pdf"
    answer = run(*slugs, "--date", SATURDAY, "--pdf", file, "--paper", paper, "--language", code)
    stops = [int(found) for found in re.findall(r", (\d+) stops?, ", answer.out)]
    assert len(stops) == len(slugs) and answer.lines == []
    assert answer.code == (1 if any(stops) else 0)
    pages = pages_of(file.read_bytes())
    assert len(pages) >= 4 * len(slugs)
    # DEMONSTRATION - NOT FOR USE, as the catalogue of the language says it, in the head of each page and across it.
    mark = flat(language(code).say("DEMONSTRATION - NOT FOR USE"))
    assert [number for number, page in enumerate(pages, 1) if page.count(mark) != 2] == []
    first = [page for page in pages if flat(language(code).say("CALL FIRST")) in page]
    assert len(first) == len(slugs)


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--date", "2026-02-30"], '--date is "2026-02-30"'),
        (["--date", "tomorrow"], '--date is "tomorrow"'),
        (["--date", "12.12.2026"], '--date is "12.12.2026"'),
        (["--date", ""], '--date is ""'),
        (["--date", "2026-12-12T08:00"], '--date is "2026-12-12T08:00"'),
        (["--date", "0001-01-01"], "from 1901-01-01 to 2099-12-31"),
        (["--date", "9999-12-31"], "from 1901-01-01 to 2099-12-31"),
        (["--date", "-12345-01-01"], "--date"),
        ([], "--date"),
        (["--date", SATURDAY, "nowhere"], 'site "nowhere" is not in the catalogue; known: gull-cove'),
        (["--date", SATURDAY, "../stair-ledge"], "is not in the catalogue"),
        (["--date", SATURDAY, ""], 'site "" is not in the catalogue'),
        (["--date", SATURDAY, "--language", "xx"], "accepted: en (English), es (Español), fr (Français)"),
        (["--date", SATURDAY, "--language", "ES"], "accepted: en (English)"),
        (["--date", SATURDAY, "--language", ""], "accepted: en (English)"),
        (["--date", SATURDAY, "--paper", "a5"], "a4"),
        (["--date", "2026-12-13"], "no request"),
        (["--date", SATURDAY, "--folder", "/nowhere/at/all"], "no such folder"),
    ],
    ids=lambda value: " ".join(value)[:30] if isinstance(value, list) else None,
)
def test_what_cannot_be_used_is_refused_in_one_line_and_nothing_is_written(run, tmp_path, words, said):
    file = tmp_path / "sheet.pdf"
    answer = run(*words, "--pdf", file)
    assert answer.code == 2
    assert len(answer.lines) == 1 and said in answer.lines[0]
    assert answer.out == "" and not file.exists()


def test_each_unknown_site_has_a_line_of_its_own(run, tmp_path):
    answer = run("nowhere", "stair-ledge", "elsewhere", "--date", SATURDAY, "--pdf", tmp_path / "sheet.pdf")
    assert answer.code == 2
    assert [re.search(r'site "(\w+)"', line)[1] for line in answer.lines] == ["nowhere", "elsewhere"]


def test_without_a_file_to_write_there_is_nothing_to_do(run):
    answer = run("stair-ledge", "--date", SATURDAY)
    assert (answer.code, len(answer.lines)) == (2, 1) and "--pdf" in answer.lines[0]


@pytest.mark.parametrize("option", ["--pdf", "--pocket"])
@pytest.mark.parametrize("where", ["missing/sheet", "", "file/sheet", "dir"])
def test_a_file_that_cannot_be_written_is_one_line_with_its_name(run, tmp_path, option, where):
    (tmp_path / "file").write_text("not a folder")
    (tmp_path / "dir").mkdir()
    answer = run("stair-ledge", "--date", SATURDAY, option, tmp_path / where if where else "")
    assert answer.code == 2 and len(answer.lines) == 1
    assert where.split("/")[0] in answer.lines[0] and answer.out == ""


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full disk to write to")
def test_a_full_disk_is_one_line(run):
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", "/dev/full")
    assert answer.code == 2 and len(answer.lines) == 1


def test_a_site_named_twice_is_printed_once(run, tmp_path):
    once, twice = tmp_path / "once.pdf", tmp_path / "twice.pdf"
    assert run("stair-ledge", "--date", SATURDAY, "--pdf", once).code == 0
    answer = run("stair-ledge", "gull-cove", "stair-ledge", "--date", SATURDAY, "--pdf", twice)
    assert answer.out.count("Stair Ledge: revision") == 1
    assert twice.exists()
    assert run("stair-ledge", "stair-ledge", "--date", SATURDAY, "--pdf", twice).code == 0
    assert once.read_bytes() == twice.read_bytes()


def test_a_folder_without_an_emergency_file_prints_its_stop_and_ends_with_1(run, centre, tmp_path):
    (centre / "centre" / "emergency.toml").unlink()
    file = tmp_path / "sheet.pdf"
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", file, "--folder", centre)
    assert answer.code == 1 and answer.lines == [] and ", 2 stops, " in answer.out
    front = pages_of(file.read_bytes())[0]
    assert "NOOXYGENonfileforthissite" in front
    assert "nobodydivesuntiloneishereandintheemergencyfile" in front


def test_an_emergency_file_that_cannot_be_read_counts_as_no_oxygen_and_is_told_with_its_line(run, centre, tmp_path):
    edit(centre / "centre" / "emergency.toml", "volume_l = 10.0", "volume_l = ten")
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", tmp_path / "sheet.pdf", "--folder", centre)
    assert answer.code == 1 and len(answer.lines) == 1
    assert re.search(r"emergency\.toml:6: ", answer.lines[0])


def test_the_object_of_the_json_says_every_stop_that_the_exit_code_stands_for(run, centre, tmp_path):
    (centre / "centre" / "emergency.toml").unlink()
    answer = run("stair-ledge", "--date", SATURDAY, "--json", "--folder", centre)
    assert answer.code == 1
    assert "No oxygen unit is on record for this site" in json.dumps(json.loads(answer.out))


def test_an_address_too_long_for_a_code_is_refused_in_one_line(run, tmp_path):
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", tmp_path / "a.pdf", "--address", "http://x/" + "a" * 4000)
    assert answer.code == 2 and len(answer.lines) == 1


def test_one_file_for_paper_and_phone_is_refused(run, tmp_path):
    file = tmp_path / "sheet"
    assert run("stair-ledge", "--date", SATURDAY, "--pdf", file, "--pocket", file).code == 2


def test_records_that_cannot_be_written_keep_no_paper_and_no_pocket_file_from_the_leader(run, centre, tmp_path):
    (centre / "records").write_text("a file where the folder should be")
    paper, phone = tmp_path / "sheet.pdf", tmp_path / "sheet.html"
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", paper, "--pocket", phone, "--folder", centre)
    assert paper.exists() and phone.exists()
    assert any("records" in line for line in answer.lines)


def test_a_request_of_the_day_that_cannot_be_read_does_not_end_as_if_nobody_dived(run, centre, tmp_path):
    edit(centre / "requests" / "saturday-ledge.toml", 'leader = "Luca Benti"', 'leader = "Luca Benty"')
    answer = run("stair-ledge", "--date", SATURDAY, "--pdf", tmp_path / "sheet.pdf", "--folder", centre)
    assert len(answer.lines) == 1 and "Luca Benty" in answer.lines[0]
    assert answer.code != 0


def test_an_oxygen_unit_kept_at_a_site_that_is_not_in_the_catalogue_is_told(run, centre, tmp_path):
    edit(centre / "centre" / "emergency.toml", 'site = "old-slip"', 'site = "old-slipp"')
    answer = run("old-slip", "--date", SATURDAY, "--pdf", tmp_path / "sheet.pdf", "--folder", centre)
    assert any("old-slipp" in line for line in answer.lines)


def test_equal_input_gives_equal_bytes_in_another_process_with_another_clock_zone_and_hash_seed(tmp_path):
    made = []
    for number, (seed, zone) in enumerate([("1", "UTC"), ("4242", "Pacific/Kiritimati")]):
        paper, phone = tmp_path / f"{number}.pdf", tmp_path / f"{number}.html"
        words = ["sheet", "--date", SATURDAY, "--pdf", paper, "--pocket", phone, "--json"]
        done = subprocess.run(
            [sys.executable, "-c", "import sys; from tripplan.cli import main; sys.exit(main())", *map(str, words)],
            env={**os.environ, "PYTHONHASHSEED": seed, "TZ": zone}, capture_output=True, check=False,
        )  # fmt: skip
        assert (done.returncode, done.stderr) == (0, b"")
        made.append((paper.read_bytes(), phone.read_bytes(), done.stdout))
    assert made[0] == made[1]


# ---- the most that a day can hold, and the least ----

NOTE = ("The gate is stiff and opens outwards, lift it. " * 9)[:400].strip()
ROLES = (
    "emergency", "coastguard", "ambulance", "hospital", "chamber", "diving_doctor", "diver_hotline", "transport",
    "police", "harbour", "landowner", "centre",
)  # fmt: skip


def sixty(name: str) -> str:
    """Return a name of sixty letters."""
    return f"{name} of the long and winding northern shore by the lighthouse road"[:60].strip().ljust(60, "x")


def full_site() -> Site:
    """Return a site of long names and notes, with twelve contacts, six hospitals and two chambers."""
    plain = site()
    contacts = tuple(
        Contact(
            role=role, name=sixty(f"Contact {n}"), number=f"+44 1632 9601{n:02}", hours="08:00 to 22:00, then the bell",
            checked=date(2027, 6, 1), checked_by=sixty("Vera"), notes=f"Note {n}: {NOTE}",
        )
        for n, role in enumerate(ROLES)
    )  # fmt: skip
    care = [
        Care(
            name=sixty(f"Place {n}"), number=f"+44 1632 9602{n:02}", position=f"47.{n + 1}, -17.0", open="always",
            drive_min=20.0 + n, hours="24 h", highest_road_m=100, directions=f"Way {n}: {NOTE}",
            notes=f"More {n}: {NOTE}",
        )
        for n in range(8)
    ]  # fmt: skip
    return plain.model_copy(
        update={
            "name": sixty("Cove"), "contacts": contacts, "hospitals": tuple(care[:6]), "chambers": tuple(care[6:]),
            "road": f"Road: {NOTE}", "capacity": plain.capacity.model_copy(update={"divers": 40}),
            "rendezvous": plain.rendezvous.model_copy(
                update={"place": f"Gate: {NOTE}", "notes": f"Stretcher: {NOTE}", "helicopter": f"Field: {NOTE}",
                        "ambulance_min": 20.0}
            ),
            "access": plain.access.model_copy(update={"gate_code": "4711 and the star", "notes": f"Path: {NOTE}"}),
            "communications": plain.communications.model_copy(
                update={"phone_signal": f"Signal: {NOTE}", "vhf": f"Radio: {NOTE}", "landline": f"Booth: {NOTE}"}
            ),
        }
    )  # fmt: skip


def full_day(minutes: int = 20) -> tuple[World, Request]:
    """Return forty people, six groups of five with six dives each, ten oxygen units and four kits at such a site."""
    where = full_site()
    people = tuple(
        person(sixty(f"P{n:02}"), Level.INSTRUCTOR_2 if n < 6 else Level.LEVEL_2, logged_dives=200) for n in range(40)
    )
    units = tuple(
        OxygenUnit(
            name=sixty(f"Unit {n}"), volume_l=5.0, pressure_bar=200.0, device="non_rebreather",
            kept=f"Kept {n}: {NOTE}", read=DAY, read_by=sixty("Vera"),
        )
        for n in range(10)
    )  # fmt: skip
    kits = tuple(
        RescueKit(name=sixty(f"Kit {n}"), kept=f"Shelf {n}: {NOTE}", content=(f"In {n}: {NOTE}",)) for n in range(4)
    )
    drill = Drill(held=DAY, scenario="abort", led_by=sixty("Vera"), who=tuple(one.name for one in people))
    told = tuple(
        TellAfter(name=sixty(f"Office {n}"), number="+44 1632 960188", when="the same day", what=f"What {n}: {NOTE}")
        for n in range(4)
    )
    kept = Readiness(oxygen_units=units, rescue_kits=kits, drills=(drill,), tell_after=told)
    held = replace(world(where, people=people), sites={SLUG: where}, readiness=kept)
    groups = tuple(
        GroupWish(
            name=f"Group {g} of the patient northern divers"[:40], kind="guided", leader=sixty(f"P{g:02}"),
            place="Slope", divers=tuple(sixty(f"P{6 + g * 5 + n:02}") for n in range(4)),
            cylinder_l=24.0, fill_bar=300.0, dives=(wish(6, minutes),) * 6,
        )
        for g in range(6)
    )  # fmt: skip
    crew = Crew(
        dive_director=sixty("P36"), shore_watch=(sixty("P37"), sixty("P38")), oxygen_provider=(sixty("P39"),),
        beach_phone="+44 7700 900123",
    )  # fmt: skip
    return held, Request(site=SLUG, date=DAY, recent_dives="none", crew=crew, groups=groups)


@cache
def full_sheet(minutes: int = 20) -> tuple[ActionSheet, DayPlan, World]:
    held, request = full_day(minutes)
    plan = plan_day(request, held)
    return action_sheet(SLUG, DAY, held, [(request, plan)]), plan, held


def words_of(value: Any, path: tuple[Any, ...] = ()) -> list[tuple[tuple[Any, ...], str]]:
    """Return every text in nested values with its place."""
    if isinstance(value, str):
        return [(path, value)]
    parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    return [found for key, part in parts for found in words_of(part, (*path, key))]


# What is not on paper as words: keys, addresses and pictures; labels that only other faces use; what stands once for
# all scenarios (their sources) or only where its list is empty; the calls, which are set side by side.
NOT_ON_PAPER = {"labels", "slug", "day", "language", "direction", "title", "gap_kit", "gap_dives", "gaps", "scripts"}
NO_WORDS = {"key", "link", "picture", "geo", "sources"}


def lost(sheet: ActionSheet, pdf: bytes, code: str = "en") -> list[tuple[tuple[Any, ...], str]]:
    """Return every word of the sheet that does not stand on its paper; a page or a column may end within a text."""
    whole = "".join(pages_of(pdf))
    missing = []
    for path, words in words_of(sheet_text(sheet, language(code))):
        if path[0] in NOT_ON_PAPER or path[-1] in NO_WORDS:
            continue
        for part in re.split("_{4}", words):
            if not stands_in(flat(part).rstrip("."), whole):
                missing.append((path, words))
    return missing


def stands_in(sought: str, whole: str) -> bool:
    """Return whether words stand in a text, whole or in up to three pieces: a column may end within them."""
    for _ in range(3):
        low, high = 0, len(sought)
        while low < high:  # the longest beginning that is there
            middle = (low + high + 1) // 2
            low, high = (middle, high) if sought[:middle] in whole else (low, middle - 1)
        sought = sought[low:]
        if not sought:
            return True
        if low < 12:
            return False
    return False


@pytest.mark.parametrize(("paper", "code"), [("a4", "en"), ("letter", "fr")])
def test_no_word_of_the_fullest_day_is_lost_and_its_front_is_one_page(paper, code):
    sheet = full_sheet()[0]
    assert len(sheet.dives) == 36 and len(sheet.contacts) == 12 and len(sheet.oxygen.lines) == 10
    pdf = action_sheets_pdf([sheet], paper, language(code))
    pages, text = pages_of(pdf), sheet_text(sheet, language(code))
    assert lost(sheet, pdf, code) == []
    mark = flat(text["demonstration"])
    assert [number for number, page in enumerate(pages, 1) if page.count(mark) != 2] == []
    for words in (sheet.contacts[0].phone.printed, *text["first_minute"], text["oxygen"]["headline"]):
        assert flat(words) in pages[0]
    for label in ("time_of_event", "time_of_call", "time_of_oxygen", "time_of_ambulance"):
        assert flat(text["labels"][label]) in pages[0]
    assert flat(text["labels"]["details"]) in pages[1]


def test_the_fullest_day_goes_into_a_pocket_file():
    sheet, plan, held = full_sheet()
    page = pocket_html(DAY, [pocket_site(sheet, [plan], held.sites[SLUG], held)], held.rules)
    for contact in sheet.contacts:
        assert contact.phone.printed in page
    for dive in sheet.dives:
        assert html.escape(f"{dive.group}, dive {dive.number}") in page


@cache
def long_pocket() -> str:
    sheet, plan, held = full_sheet(45)
    assert len(sheet.dives) == 36
    return pocket_html(DAY, [pocket_site(sheet, [plan], held.sites[SLUG], held)], held.rules)


def test_a_full_day_of_long_dives_at_one_site_still_gets_a_pocket_file():
    page = long_pocket()
    for dive in full_sheet(45)[0].dives:
        assert html.escape(f"{dive.group}, dive {dive.number}") in page


def test_a_pocket_file_without_the_areas_of_later_times_says_so():
    assert re.search(r"times[^<]*left out|left out[^<]*times", long_pocket())


def bare_world() -> World:
    """Return the world of a site of which everything is left out that may be, and of a centre that keeps nothing."""
    plain = site()
    bare = plain.model_copy(
        update={
            "alternative_exit": None,
            "contacts": tuple(Contact(role=c.role, name=c.name, number=c.number, hours="?") for c in plain.contacts),
            "hospitals": tuple(Care(name=c.name, number=c.number, position=c.position) for c in plain.hospitals),
            "chambers": tuple(Care(name=c.name, number=c.number, position=c.position) for c in plain.chambers),
            "access": plain.access.model_copy(update={"notes": ""}),
        }
    )
    return replace(world(), sites={SLUG: bare}, readiness=Readiness(), centre_name="", code_of_practice="")


@pytest.mark.parametrize("paper", PAPERS)
def test_a_site_with_everything_optional_missing_says_each_gap_in_words(paper):
    sheet = action_sheet(SLUG, DAY, bare_world())
    pdf = action_sheets_pdf([sheet], paper)
    assert lost(sheet, pdf) == []
    text = "".join(pages_of(pdf))
    # What an emergency plan asks for and this site lacks; nobody_named_ stands at each role instead of no_crew.
    wanted = {
        "no_director", "no_oxygen_giver", "no_caller", "no_rescuer", "no_recorder", "no_meeter", "no_dives",
        "no_gate_code", "no_vhf", "no_landline", "no_helicopter", "no_ambulance_time", "no_landmark", "no_beach_phone",
        "no_oxygen", "no_kit", "no_drill", "no_tell_after", "no_alternative_exit", "no_country",
    }  # fmt: skip
    assert wanted <= set(sheet.gaps)
    said = gap_words(ENGLISH)
    assert [key for key in wanted if flat(said[key]) not in text] == []
    for words in ("drive not known", "not known how high the road goes", "NEVER CHECKED: ring it", "no diving doctor"):
        assert flat(words) in text


def test_a_bare_site_is_a_stop_and_no_check_of_something_unknown_is_ok():
    sheet = action_sheet(SLUG, DAY, bare_world())
    assert {check.rule for check in sheet.checks if check.outcome.value == "stop"} == {"oxygen-on-site", "oxygen-lasts"}
    assert [check.rule for check in sheet.checks if check.outcome.value == "ok"] == []


# ---- what an emergency plan must hold ----

# The contents that codes ask of an emergency plan at the site, each with words that must stand on the printed sheet of
# a planned day. Sources, read in summaries of them: HSA Ireland; French Sports Code A322-78 and A322-80; NOAA Diving
# Emergency Management Plan; 29 CFR 1910.421(b), 1910.440 and Subpart T appendix C; Queensland code of practice 2018 and
# Regulation 2024 s 16; US Navy Diving Manual ch 6; public plans for divers.
REQUIRED = {
    "header": ("Stair Ledge", "46° 49.980' N, 016° 58.200' W", "lay-by at the third milestone", "Gate code"),
    "access for the ambulance": ("Meet help at", "46° 50.064' N, 016° 58.272' W", "here after 25 min at most"),
    "roles": ("In charge: Ines Faro", "Rescue from the water: Tom Okafor", "First aid and oxygen: Greta Holm", "Calls:",
              "Writes down:", "Meets the ambulance: Maren Dahl", "Keeps others away:"),
    "contacts with their status": ("+44 1632 960112", "+44 1632 960116", "+44 1632 960270", "+44 7700 900145",
                                   "+44 1632 960130", "+44 1632 960240", "checked 20 Nov 2026 by Ana Lund"),
    "contacts that are missing are said": ("no divers' emergency line on file", "no casualty transport on file"),
    "checked today": ("checked today", "Nobody confirmed today"),
    "call script": ("This is a diving emergency.", "Our position is", "Number of casualties:", "Call me back on"),
    "way to the hospital": ("Hospital Road; 14 km", "21 min by road", "Verrow General"),
    "oxygen": ("Oxygen box 1", "non-rebreather mask, 15 L/min", "Trained and named: Greta Holm, Sam Whitlow",
               "for one casualty", "for two at once", "Needed:"),
    "rescue kit": ("Red rescue bag, beside the oxygen", "bag with reservoir, three masks",
                   "two high-concentration masks", "drinking water", "wool blanket"),
    "scenarios": ("A diver is missing", "A diver is unconscious at the surface", "Bubble illness",
                  "Out of gas, or gear that fails", "A fast ascent", "Fire", "panic", "The weather turns",
                  "Injury: sting, bite"),
    "missing diver": ("Count everyone by name", "when and where the diver was last seen", "Search only in pairs",
                      "Never wait for the end of a search", "Never let anyone search alone"),
    "conscious casualty": ("Airway, breathing, circulation", "by demand valve or non-rebreather mask",
                           "Keep the dive computer with", "gear assembled", "the buddy's statement", "Feeling: touch"),
    "posture": ("Lay them flat on the back. Do not raise the legs.", "on one side"),
    "form for the casualty": ("Goes with the casualty", "Next of kin, with number", "Ascent: speed, stops made"),
    "drill": ("last drill 24 Oct 2026", "Next drill on"),
    "who is told": ("Verrow Shore Diving, office", "+44 1632 960188"),
    "gear and witnesses": ("Do not take it apart or rinse it", "names and numbers of the witnesses", "Write the times"),
    "who dives": ("Luca Benti, Nadia Petit, Owen Marsh, Keiko Arai, Hana Novak", "Overdue from"),
    "current": ("Superseded if the page of this site shows another revision",),
}  # fmt: skip


@pytest.mark.parametrize("paper", PAPERS)
def test_every_field_that_codes_ask_of_an_emergency_plan_is_on_the_sheet_or_its_gap_is_said(run, tmp_path, paper):
    file = tmp_path / "sheet.pdf"
    assert run("stair-ledge", "--date", SATURDAY, "--pdf", file, "--paper", paper).code == 0
    text = "".join(pages_of(file.read_bytes()))
    missing = [f"{what}: {words}" for what, wanted in REQUIRED.items() for words in wanted if flat(words) not in text]
    assert missing == []


# ---- names of all kinds ----

SCRIPTS = {
    "arabic": "ليلى حداد",
    "hebrew": "דנה לוי",
    "japanese": "新井 恵子",
    "thai": "สมชาย ใจดี",
    "emoji": "Ana \U0001f93f Lund",
}


def named(name: str) -> tuple[ActionSheet, DayPlan, World]:
    """Return a day on which site, contact, hospital, oxygen, kit, crew, group and diver all have one name."""
    where = world().sites[SLUG]
    where = where.model_copy(
        update={
            "name": name[:60],
            "contacts": tuple(line.model_copy(update={"name": name}) for line in where.contacts),
            "hospitals": tuple(line.model_copy(update={"name": name}) for line in where.hospitals),
        }
    )
    kept = world().readiness
    kept = kept.model_copy(
        update={
            "oxygen_units": tuple(unit.model_copy(update={"name": name[:60]}) for unit in kept.oxygen_units),
            "rescue_kits": tuple(kit.model_copy(update={"name": name[:60]}) for kit in kept.rescue_kits),
            "tell_after": (TellAfter(name=name, number="+44 7700 900777", when="at once"),),
        }
    )
    somebody = person(name[:60], Level.INSTRUCTOR_2)
    held = replace(world(people=(somebody,)), sites={SLUG: where}, readiness=kept)
    crew = CREW.model_copy(update={"caller": (somebody.name,), "beach_phone": "+44 7700 900123"})
    request = ask(group("Ann", name[:60], name=name[:40]), crew=crew)
    plan = plan_day(request, held)
    return action_sheet(SLUG, DAY, held, [(request, plan)]), plan, held


@cache
def plain_pages() -> list[str]:
    return pages_of(action_sheets_pdf([named("Ann Lee")[0]]))


@pytest.mark.parametrize("key", SCRIPTS)
def test_a_name_in_any_script_leaves_every_number_and_time_as_it_is_on_paper_and_phone(key):
    sheet, plan, held = named(SCRIPTS[key])
    pages = pages_of(action_sheets_pdf([sheet]))
    plain = plain_pages()
    numbers = {contact.phone.printed for contact in sheet.contacts} | {"+44 7700 900777", "+44 7700 900123"}
    if not POPPLER and key in ("arabic", "hebrew"):
        numbers = set()  # without poppler's tools nobody can tell how a line from right to left is read
    for number in numbers:
        assert "".join(pages).count(flat(number)) == "".join(plain).count(flat(number)), number
    (dive,) = sheet.dives
    for clock in (f"{dive.entry:%H:%M}", f"{dive.exit_by:%H:%M}"):
        assert clock in "".join(pages)
    letters = {letter for letter in flat(SCRIPTS[key]) if ord(letter) < 0x1F000}
    assert {letter for letter in letters if letter not in pages[0]} == set()
    assert ("U+1F93F" in pages[0]) == (key == "emoji")
    page = pocket_html(DAY, [pocket_site(sheet, [plan], held.sites[SLUG], held)], held.rules)
    assert SCRIPTS[key] in page
    for contact in sheet.contacts:
        assert f'href="{contact.phone.link}"' in page


# ---- hostile text ----

HOSTILE = [
    '#import "@preview/x:1.0.0": *',
    "#panic()",
    "[*x*] _y_ `z` $q$ <label> @ref \\ ~",
    "<script>alert(1)</script><img src=x onerror=alert(1)>",
    "</script></style>--><svg onload=alert(1)>",
    "{braces} {0} {number} {time} {clock} {dive} {}",
    "%s %(name)s %n ${x} {{ 7*7 }} {% raw %}",
    "____ ____",
    "&amp; &#x202e; &lt;b&gt;",
    "= Heading\\ + item / term: - list",
    "W" * 60,
]


def pocket_of(sheet: ActionSheet, plan: DayPlan, held: World) -> str:
    page = pocket_html(DAY, [pocket_site(sheet, [plan], held.sites[SLUG], held)], held.rules)
    page = page.replace(sheet.revision, "REVISION").replace(plan.revision, "REVISION")
    return re.sub(r"(?<=-[a-z])[0-9a-f]{10}\b", "HASH", page)  # parts of pictures are named after the plan


def with_words(words: str) -> tuple[ActionSheet, DayPlan, World]:
    """Return a day on which a contact, a place of care, a unit and every free text of the site hold some words."""
    where = world().sites[SLUG]
    where = where.model_copy(
        update={
            "contacts": (where.contacts[0].model_copy(update={"name": words, "notes": words}), *where.contacts[1:]),
            "chambers": tuple(line.model_copy(update={"name": words, "notes": words}) for line in where.chambers),
            "access": where.access.model_copy(update={"notes": words}),
        }
    )
    kept = world().readiness
    units = tuple(unit.model_copy(update={"name": words[:60], "kept": words}) for unit in kept.oxygen_units)
    held = replace(world(), sites={SLUG: where}, readiness=kept.model_copy(update={"oxygen_units": units}))
    request = ask(group("Ann", "Ben"))
    plan = plan_day(request, held)
    return action_sheet(SLUG, DAY, held, [(request, plan)]), plan, held


QUIET = "Quiet Harbour Name"


@cache
def quiet_pocket() -> str:
    return pocket_of(*with_words(QUIET)).replace(QUIET, "NAME")


@cache
def quiet_pages() -> list[str]:
    return pages_of(action_sheets_pdf([with_words(QUIET)[0]]))


@pytest.mark.parametrize("words", HOSTILE, ids=lambda words: words[:12])
def test_words_that_try_to_be_something_else_change_nothing_but_the_words_in_the_pocket_file(words):
    """The page with some harmless words in their place is the very same page, sign by sign."""
    hostile = pocket_of(*with_words(words))
    assert hostile.count("<script") == 1
    assert hostile.replace(html.escape(words).replace("&#x27;", "&#39;").replace("&quot;", "&#34;"), "NAME") == (
        quiet_pocket()
    )


@pytest.mark.parametrize("words", [HOSTILE[n] for n in (0, 2, 3, 5, 6, 9, 10)], ids=lambda words: words[:12])
def test_words_that_try_to_be_something_else_are_printed_as_they_are(words):
    sheet = with_words(words)[0]
    pdf = action_sheets_pdf([sheet])
    pages = pages_of(pdf)
    assert len(pages) == len(quiet_pages())
    assert "".join(pages).count(flat(words)) >= 5
    assert lost(sheet, pdf) == []


def test_notes_of_three_thousand_letters_lose_no_word_and_no_number():
    words = ("A way of many turns, " * 150)[:3000].strip()
    sheet, plan, held = with_words(words)
    pdf = action_sheets_pdf([sheet])
    assert lost(sheet, pdf) == []
    assert flat(sheet.contacts[0].phone.printed) in pages_of(pdf)[0]
    assert flat("Get them out of the water.") in pages_of(pdf)[0]
    assert words in pocket_of(sheet, plan, held)


@pytest.mark.parametrize("words", ["Two\nlines", "A\u202eB", "Bell\u0007", "Line\u2028end"])
@pytest.mark.parametrize(
    ("record", "given"),
    [
        (OxygenUnit, {"volume_l": 5.0, "device": "demand", "kept": "in the van"}),
        (RescueKit, {"content": ("masks",), "kept": "in the van"}),
        (TellAfter, {"when": "at once"}),
        (Contact, {"role": "police", "number": "+44 1632 960130", "hours": "24 h"}),
        (Care, {"number": "+44 1632 960130", "position": "47.0, -17.0"}),
        (Person, {"born": date(1990, 1, 1), "level": Level.LEVEL_2}),
    ],
)  # fmt: skip
def test_a_name_of_more_than_one_line_or_that_turns_the_writing_round_is_refused(record, given, words):
    assert record(name="Quiet name", **given)
    with pytest.raises(ValidationError):
        record(name=words, **given)


TURNED = "Lay-by\u202e"  # U+202E: all that follows in the paragraph is shown backwards, numbers too


def test_a_mark_that_turns_the_writing_round_is_not_printed():
    sheet = with_words("Quiet name")[0]
    pdf = action_sheets_pdf([replace(sheet, rendezvous=TURNED, gate_code=TURNED, road=TURNED)])
    assert "\u202e" not in "".join(page.extract_text() for page in PdfReader(io.BytesIO(pdf)).pages)


def test_a_mark_that_turns_the_writing_round_never_comes_before_a_number_in_the_pocket_file():
    held = world()
    where = held.sites[SLUG]
    turned = where.model_copy(update={"rendezvous": where.rendezvous.model_copy(update={"place": TURNED})})
    held = replace(held, sites={SLUG: turned})
    request = ask(group("Ann", "Ben"))
    plan = plan_day(request, held)
    page = pocket_of(action_sheet(SLUG, DAY, held, [(request, plan)]), plan, held)
    assert not re.search("\u202e(?!</bdi>)[^<]*[0-9]", page)


# ---- the morning page, the sheet and the plan ----


def test_the_morning_page_the_sheet_and_the_plan_tell_the_same_of_every_number(centre):
    """Every answer for some numbers, the last word of the day after others, some of the day before, some of another
    name with the same number."""
    from tripplan.planning.action_sheet import sheets_of_day
    from tripplan.store.folder import load_folder
    from tripplan.web.app import create_app

    places = [
        ("+44 1632 960112", "Verrow emergency control"), ("+44 1632 960116", "Verrow Coastguard"),
        ("+44 7700 900145", "Dr Leila Haddad"), ("+44 1632 960130", "Verrow police station"),
        ("+44 1632 960240", "Verrow General"), ("+44 1632 960270", "Verrow recompression chamber"),
    ]  # fmt: skip
    tries = [
        (0, "11T20:00", "wrong"), (0, "12T08:00", "no_answer"), (0, "12T08:10", "right"),
        (1, "12T08:00", "right"), (1, "12T08:20", "wrong"),
        (2, "11T09:00", "right"),
        (3, "12T08:05", "no_answer"),
        (4, "12T08:06", "right"),
        (5, "12T08:07", "closed"),
    ]  # fmt: skip
    rows = [f"2026-12-{at}:00+00:00,{places[n][0]},{places[n][1]},Greta Holm,{found}," for n, at, found in tries]
    # The duty attendant has the chamber's number under another name: nobody tried that line.
    (centre / "records").mkdir()
    (centre / "records" / "confirmed.csv").write_text("\n".join(["at,number,name,by,found,note", *rows, ""]))
    last = {places[n]: found for n, at, found in tries if at.startswith("12")}

    folder = load_folder(centre)
    day = date(2026, 12, 12)
    (made,) = sheets_of_day(day, ["stair-ledge"], folder.requests.values(), folder.world)
    sheet = made.sheet
    lines: dict[tuple[str, str], str | None] = {}
    for contact in sheet.contacts:
        lines[contact.phone.typed, contact.name] = contact.today.found if contact.today else None
    for care in sheet.care:
        lines[care.phone.typed, care.care.way.care.name] = care.today.found if care.today else None
    assert lines == {key: last.get(key) for key in lines} and set(last) <= set(lines)

    words = {"right": "Confirmed today", "no_answer": "Did not answer", "wrong": "Is a wrong number",
             "closed": "Takes no casualties today"}  # fmt: skip
    client = create_app(centre, clock=lambda: datetime(2026, 12, 12, 9, tzinfo=UTC)).test_client()
    page = html.unescape(client.get("/sheets?site=stair-ledge&date=2026-12-12").get_data(as_text=True))
    seen = re.findall(r'<li class="try.*?</li>', page, re.DOTALL)
    assert len(seen) == len(lines)
    for (_, name), found in lines.items():
        (row,) = (row for row in seen if f"<bdi>{name}</bdi>" in row)
        assert {key for key, said in words.items() if said in row} == ({found} if found else set()), name

    (plan,) = made.plans
    emergency = {check for check in sheet.checks if check.rule in ("contact-fresh", "contact-answers", "care-open")}
    assert emergency <= set(plan.checks)
    in_vain = {c.subject: c.found for c in plan.checks if c.rule == "contact-answers"}
    assert in_vain == {name: found for (_, name), found in last.items() if found != "right"}
    first = {care.care.way.care.name for care in sheet.care if care.care.first_choice}
    assert first == {"Verrow General"}  # the chamber was found closed, and there is no other
    assert "chamber-within-reach" in {check.rule for check in plan.stops}
