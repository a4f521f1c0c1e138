"""What meets each requirement is held against the program: nothing is claimed that is not there.

Names of checks, rules, fields, lines and pages are looked up in the code, the papers are printed, and the checks that
are claimed must really come out of plans.
"""

from __future__ import annotations

import ast
import importlib
import io
import pkgutil
import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, date, datetime, timedelta
from functools import cache
from itertools import product
from pathlib import Path

import pytest
from printed_plans import folder, plan_of
from pypdf import PdfReader

import tripplan
from tripplan.catalogue.site import Site
from tripplan.check import Check
from tripplan.documents.briefing_sheet import briefing_sheets_pdf
from tripplan.documents.coverage import (
    SHEETS,
    STATE_MARKS,
    STATE_WORDS,
    STATES,
    Bound,
    Coverage,
    counts,
    coverage_rows,
    requirements,
)
from tripplan.documents.coverage_table import _ALL, TABLE
from tripplan.documents.data import plan_json
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.dive_record import COLUMNS, KeptDay
from tripplan.documents.emergency_sheet import action_sheets_pdf
from tripplan.documents.record_sheet import record_sheet_pdf
from tripplan.emergency.confirmed import Confirmation
from tripplan.emergency.contacts import RESCUE_ROLES
from tripplan.environment.conditions import Conditions, Seen
from tripplan.language import ENGLISH
from tripplan.planning.action_sheet import action_sheet
from tripplan.planning.actual import actual_dives
from tripplan.planning.day import plan_day
from tripplan.planning.event import Event
from tripplan.planning.plan import DayPlan
from tripplan.planning.request import Altitude, Crew, Drive, RecentDive, Request
from tripplan.planning.world import World
from tripplan.record import Record
from tripplan.rulebook import RuleBook, baseline

PACKAGE = Path(tripplan.__file__).parent
ROOT = PACKAGE.parent
RULES = baseline().rules
BY_ID = {each.id: each for each in requirements()}
ENTRIES = pytest.mark.parametrize("entry", _ALL, ids=lambda entry: entry.id)


# ---- the catalogue ----


def test_the_catalogue_has_every_requirement_once_with_its_source_and_how_it_is_known():
    assert len(requirements()) == 153
    assert len(BY_ID) == 153
    for each in requirements():
        assert each.words and each.area and each.source
        assert re.fullmatch(r"[A-Z]{3}-[0-9]{2}", each.id)
        assert each.provenance in ("from_memory", "common practice") or each.read_in, each.id


def test_from_memory_stays_from_memory():
    """Counted in the catalogue as collected: these six were read nowhere."""
    memory = {each.id for each in requirements() if each.sureness == "from memory"}
    assert memory == {"PEO-12", "PEO-15", "PEO-16", "RAT-09", "DEP-10", "EMG-12"}
    assert not any(each.read_in for each in requirements() if each.id in memory)


def test_a_copy_or_summary_of_a_code_does_not_pass_for_the_code_itself():
    for each in requirements():
        if "secondary" in each.provenance:
            assert each.sureness == "second hand", each.id


def test_every_requirement_is_covered_exactly_once_and_nothing_else_is():
    assert sorted(each.id for each in _ALL) == sorted(BY_ID)
    assert len(TABLE) == len(_ALL)


# ---- what an entry says ----


@ENTRIES
def test_an_entry_says_in_full_sentences_what_its_state_asks_for(entry):
    assert entry.state in STATES
    told = {"met": entry.how, "partly": entry.missing, "own_task": entry.task, "not_for_shore": entry.task}
    assert told[entry.state]
    for words in (entry.how, entry.missing, entry.task):
        assert not words or (words.endswith(".") and "  " not in words)
    if entry.state == "met":
        assert not entry.missing
        assert means(entry), "met by nothing"
    if entry.state == "partly":
        assert means(entry)
    if entry.state == "not_for_shore":
        assert not means(entry)


def means(entry: Coverage) -> tuple[object, ...]:
    return (
        *entry.checks, *entry.closures, *entry.rules, *entry.fields, *entry.lines, *entry.pages, *entry.bounds
    )  # fmt: skip


# ---- checks and closures ----


def literals_of(node: ast.expr | None, within: ast.AST) -> set[str]:
    """Return what an expression can be: its text, either side of a choice, or what its name is given nearby."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return {node.value}
    if isinstance(node, ast.IfExp):
        return literals_of(node.body, within) | literals_of(node.orelse, within)
    if isinstance(node, ast.JoinedStr):
        parts = [literals_of(p.value if isinstance(p, ast.FormattedValue) else p, within) for p in node.values]
        return {"".join(each) for each in product(*parts)}
    found: set[str] = set()
    if isinstance(node, ast.Name):
        for target, given in assigned(within):
            both = isinstance(target, ast.Tuple) and isinstance(given, ast.Tuple)
            pairs = zip(target.elts, given.elts, strict=True) if both else [(target, given)]
            for name, value in pairs:
                if isinstance(name, ast.Name) and name.id == node.id and not isinstance(value, ast.Name):
                    found |= literals_of(value, within)
    return found


def assigned(within: ast.AST) -> Iterator[tuple[ast.expr, ast.expr]]:
    """Yield each target with what it is given: by an assignment, or item by item by a loop over written items."""
    for each in ast.walk(within):
        if isinstance(each, ast.Assign):
            yield from ((target, each.value) for target in each.targets)
        elif isinstance(each, ast.For) and isinstance(each.iter, ast.Tuple | ast.List):
            yield from ((each.target, item) for item in each.iter.elts)


def rules_given_to(function: str, place: int = 0) -> set[str]:
    """Return every text that the package gives as the rule of a call of a function."""
    found: set[str] = set()
    for path in PACKAGE.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for scope in ast.walk(tree):
            if not isinstance(scope, ast.FunctionDef | ast.AsyncFunctionDef):
                continue
            for call in ast.walk(scope):
                if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == function:
                    named = next((word.value for word in call.keywords if word.arg == "rule"), None)
                    given = call.args[place] if len(call.args) > place else None
                    found.update(literals_of(named or given, scope))
    return found


@cache
def check_names() -> frozenset[str]:
    return frozenset(rules_given_to("Check"))


@cache
def closure_names() -> frozenset[str]:
    """Both modules of closures have a helper of their own, with the rule in another place."""
    return frozenset(
        rules_given_to("Closure", 3) | rules_given_to("_whole_day", 1) | rules_given_to("_close", 3)
    )  # fmt: skip


def test_the_search_for_checks_finds_those_written_in_each_way():
    assert {"shore-watch", "medical", "actual-no-stop", "ratio", "group-size-of-dive"} <= check_names()
    assert "no-such-check" not in check_names()


@ENTRIES
def test_every_check_that_is_claimed_is_made_somewhere(entry):
    assert set(entry.checks) <= check_names()
    assert len(set(entry.checks)) == len(entry.checks)


@ENTRIES
def test_every_closure_that_is_claimed_is_made_somewhere(entry):
    assert set(entry.closures) <= closure_names()


# ---- rules ----


@ENTRIES
def test_every_rule_that_is_named_is_in_the_rule_book(entry):
    words = " ".join((entry.how, entry.missing, entry.task))
    named = {*entry.rules, *re.findall(r"\{([^}]*)\}", words), *(bound.rule for bound in entry.bounds)}
    assert named <= set(RULES)
    assert not set(re.findall(r"\b[a-z_]+\.[a-z0-9_]+_[a-z0-9]+\b", re.sub(r"\{[^}]*\}", "", words))) - set(RULES)


CONVERTED = {  # a bound that the catalogue gives in another unit: requirement, the bound's number, how it comes about
    ("PEO-11", 1.0): "support at the surface: at least one person",
    ("REC-10", 5.0): "5 with decompression sickness, by the unit",
    ("REC-07", 2.0): "2 years if a notifiable incident occurred, by the note",
    ("REC-07", 1.0): "28 days are less than a year",
    ("RAT-11", 3.0): "under about 3 m, by the note",
    ("PEO-20", 90.0): "3 months, of 30 days each: the shorter reading",
    ("DEP-08", 20.0): "entry-level divers 20 m, by the note",
    ("DEP-09", 39.6): "130 feet of 0.3048 m, rounded down",
    ("DEP-09", 1.4185): "1.40 atmospheres of 1.01325 bar, rounded down",
    ("GAS-03", 1.4185): "1.40 atmospheres of 1.01325 bar, rounded down",
    ("PEO-17", 18.0): "majority is set by local law; 18 is usual",
    ("PEO-10", 2.0): "accompanied by another diver",
    ("KIT-08", 1.0): "12 months",
    ("TRA-05", 24.0): "the last 24 h, in the words",
    ("TRA-06", 91.44): "300 feet of 0.3048 m",
    ("TRA-07", 300.0): "above 300 m, in the words",
    ("TRA-10", 3048.0): "10,000 feet of 0.3048 m",
}


def test_the_conversions_are_right():
    assert pytest.approx(39.624) == 130 * 0.3048 and 39.6 < 130 * 0.3048
    assert pytest.approx(1.41855) == 1.40 * 1.01325 and 1.4185 < 1.40 * 1.01325
    assert pytest.approx(91.44) == 300 * 0.3048
    assert pytest.approx(3048) == 10_000 * 0.3048


@ENTRIES
def test_every_bound_is_the_number_of_the_requirement(entry):
    asked = BY_ID[entry.id]
    numbers = {float(each) for each in re.findall(r"[0-9]+(?:\.[0-9]+)?", asked.value)}
    for bound in entry.bounds:
        assert bound.value in numbers or (entry.id, bound.value) in CONVERTED, (bound, asked.value)


def test_no_conversion_is_left_over():
    for key, number in CONVERTED:
        asked = {float(each) for each in re.findall(r"[0-9]+(?:\.[0-9]+)?", BY_ID[key].value)}
        assert number in {bound.value for bound in TABLE[key].bounds}
        assert number not in asked


def changed(key: str, value: float) -> RuleBook:
    return RuleBook({**RULES, key: replace(RULES[key], value=value)})


@pytest.mark.parametrize(
    ("entry", "bound"), [(entry, bound) for entry in _ALL for bound in entry.bounds], ids=lambda each: str(each)[:60]
)
def test_a_centre_that_leaves_a_requirement_by_its_own_rule_is_told_so(entry, bound):
    past = bound.value + 1 if bound.wanted == "at most" else bound.value - 1
    row = next(row for row in coverage_rows(changed(bound.rule, past)) if row.requirement.id == entry.id)
    assert row.state != "met"
    assert any("It asks for" in sentence and RULES[bound.rule].title.lower() in sentence for sentence in row.missing)
    kept = next(row for row in coverage_rows(changed(bound.rule, bound.value)) if row.requirement.id == entry.id)
    assert not any(f"({RULES[bound.rule].title.lower()})" in sentence for sentence in kept.missing)


def test_a_bound_is_kept_at_its_number_and_broken_beyond():
    most, least = Bound("depth.level_1_m", "at most", 12), Bound("light.exit_before_sunset_min", "at least", 30)
    assert most.kept_by(changed("depth.level_1_m", 12)) and not most.kept_by(changed("depth.level_1_m", 12.1))
    assert least.kept_by(changed("light.exit_before_sunset_min", 30))
    assert not least.kept_by(changed("light.exit_before_sunset_min", 29))


def test_two_oxygen_providers_where_the_house_has_one_is_said_in_words():
    row = next(row for row in coverage_rows() if row.requirement.id == "PEO-08")
    assert row.state == "partly"
    assert "It asks for at least 2 people; the rule book has 1 person" in " ".join(row.missing)
    two = coverage_rows(changed("crew.oxygen_provider_ashore_fewest", 2))
    assert "It asks for" not in " ".join(next(row for row in two if row.requirement.id == "PEO-08").missing)


def test_the_amounts_in_the_words_are_those_in_force():
    row = next(row for row in coverage_rows(changed("overdue.after_min", 8)) if row.requirement.id == "ROL-07")
    assert row.how.startswith("8 min after the planned time out")
    assert not any("{" in words for row in coverage_rows() for words in (row.how, row.task, *row.missing))


# ---- fields ----


@cache
def classes() -> dict[str, type]:
    """Return every record and value class of the package by its name; the first module in order of import wins."""
    found: dict[str, type] = {}
    for module in pkgutil.walk_packages(tripplan.__path__, "tripplan."):
        if ".migrations" in module.name or module.name.endswith("__main__"):
            continue
        for value in vars(importlib.import_module(module.name)).values():
            if isinstance(value, type) and value.__module__.startswith("tripplan."):
                found.setdefault(value.__name__, value)
    return found


def has_field(kind: type, name: str) -> bool:
    if issubclass(kind, Record):
        return name in kind.model_fields
    if is_dataclass(kind):
        return name in {field.name for field in fields(kind)} or isinstance(getattr(kind, name, None), property)
    return False


@ENTRIES
def test_every_field_that_is_named_is_one_of_a_record(entry):
    for dotted in entry.fields:
        kind, name = dotted.split(".")
        assert kind in classes(), dotted
        assert has_field(classes()[kind], name), dotted


# ---- lines on paper ----


def spaced(text: str) -> str:
    return " ".join(text.split())


@cache
def words_of(path: str) -> str:
    """Return the text of a file; of a program also each of its texts as they are put together."""
    text = (ROOT / path).read_text(encoding="utf-8")
    if not path.endswith(".py"):
        return spaced(text)
    parts = [text]
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            parts.append(node.value)
        elif isinstance(node, ast.JoinedStr):
            parts.append("".join(str(p.value) if isinstance(p, ast.Constant) else "{}" for p in node.values))
    return spaced("\n".join(parts))


@ENTRIES
def test_every_line_stands_in_a_file_of_its_paper(entry):
    for line in entry.lines:
        sheet, words = line.split(": ", 1)
        assert sheet in SHEETS, line
        assert any(words in words_of(path) for path in SHEETS[sheet]), line


# ---- the papers, printed ----


def flat(text: str) -> str:
    """Without white space, break marks and marks of direction: where a line breaks does not matter."""
    return "".join(re.sub("[\u200b\u200e\u2066-\u2069]", "", text).split())


@cache
def printed(sheet: str) -> str:
    """Return all that stands on a kind of paper for two days of the demonstration, one of them of courses."""
    held = folder()
    pdfs = []
    if sheet == "record sheet":
        plan = plan_of("saturday-ledge")
        kept = KeptDay(
            plan.date, plan.site, plan.site_name, plan.timezone, True, True, (plan_json(plan),), beach_entries()
        )  # fmt: skip
        pdfs.append(record_sheet_pdf(kept, ("Greta Holm",), datetime(2026, 12, 12, 18, 0, tzinfo=UTC), baseline()))
    for name in () if pdfs else ("beginners-cove", "saturday-ledge"):
        plan, request = plan_of(name), held.requests[name]
        if sheet == "sheet of the day":
            pdfs.append(day_sheet_pdf(plan))
        elif sheet == "briefing sheet":
            pdfs.append(briefing_sheets_pdf(plan))
        else:
            made = action_sheet(request.site, request.date, held.world, [(request, plan)])
            pdfs.append(action_sheets_pdf([made], "a4", ENGLISH, ""))
    pages = [page.extract_text() for pdf in pdfs for page in PdfReader(io.BytesIO(pdf)).pages]
    return flat("".join(pages))


PRINTED = ("sheet of the day", "briefing sheet", "emergency sheet", "record sheet")
LINES = sorted({line for entry in _ALL for line in entry.lines})


@pytest.mark.parametrize("line", [line for line in LINES if line.startswith(PRINTED)])
def test_every_line_is_really_printed(line):
    sheet, words = line.split(": ", 1)
    for part in re.split(r"_{4}", words):  # blanks are drawn as lines
        assert flat(part) in printed(sheet)


@pytest.mark.parametrize("line", [line for line in LINES if line.startswith("record of the day: ")])
def test_every_line_of_the_record_is_a_column_of_its_table(line):
    assert line.removeprefix("record of the day: ") in COLUMNS


# ---- the checks, made ----


DAY = date(2026, 12, 12)  # of the request saturday-ledge


def asked(name: str = "saturday-ledge", **changes: object) -> Request:
    return folder().requests[name].model_copy(update=changes)


def of_group(**changes: object) -> Request:
    """Return the day at the ledge with its first group changed."""
    first, *others = asked().groups
    return asked(groups=(first.model_copy(update=changes), *others))


def told_world(world: World) -> World:
    """Return the world with the forecasts that the demonstration brings along."""
    return replace(world, conditions={slug: Conditions(found, ()) for slug, found in folder().forecasts.items()})


def site_world(slug: str = "stair-ledge", **changes: object) -> World:
    """Return the demonstration with one site changed."""
    world = folder().world
    return replace(world, sites={**world.sites, slug: world.sites[slug].model_copy(update=changes)})


def with_person(name: str, **changes: object) -> World:
    """Return the demonstration with one person changed."""
    world = folder().world
    return replace(world, people={**world.people, name: world.people[name].model_copy(update=changes)})


def ledge() -> Site:
    return folder().world.sites["stair-ledge"]


def days() -> Iterator[tuple[Request, World]]:
    """Yield the days of the demonstration, and days on which something is wrong or missing, one thing after another."""
    world = folder().world
    for name in folder().requests:
        yield asked(name), world
        yield asked(name), told_world(world)
    yield asked(crew=Crew(), recent_dives=None), world
    yield of_group(kind="autonomous", leader=None, divers=("Theo Garnier", "Nadia Petit")), world
    yield of_group(leader=None), world
    yield of_group(kind="autonomous", leader=None, divers=("Nadia Petit",)), world
    yield asked(), with_person("Owen Marsh", language="Quechua")
    yield of_group(cylinder_l=None), world
    rich = asked().groups[0].dives[0].model_copy(update={"oxygen_percent": 32.0})
    yield of_group(divers=("Lily Marsh", "Owen Marsh"), dives=(rich,)), world
    alone = Crew(dive_director="Luca Benti", shore_watch=("Greta Holm",), oxygen_provider=("Greta Holm",))
    yield asked(crew=alone), world
    yield asked("lake-altitude", altitude=Altitude()), world
    up = plan_of("saturday-ledge").dives[0].exit
    assert up is not None
    yield asked(drives_between=(Drive(name="Ridge road", height_m=420.0, leaves=up.time()),)), world
    long = RecentDive(
        person="Owen Marsh", depth_m=40.0, minutes=60, surfaced=datetime(2026, 12, 12, 6, 0, tzinfo=UTC)
    )  # fmt: skip
    yield asked(recent_dives=(long,)), world
    first, *others = ledge().contacts
    closed = first.model_copy(update={"closed_on": (DAY,)})
    yield asked(), site_world(contacts=(closed, *others))
    yield asked(), site_world(contacts=tuple(each for each in ledge().contacts if each.role not in RESCUE_ROLES))
    yield asked(), site_world(hospitals=tuple(c.model_copy(update={"drive_min": None}) for c in ledge().hospitals))
    yield asked(), site_world(places=tuple(p.model_copy(update={"swim_min": None}) for p in ledge().places))
    water = ledge().water.model_copy(update={"temperature_c": None})
    yield asked(), site_world(water=water)
    tried = Confirmation(datetime(2026, 12, 12, 7, 0, tzinfo=UTC), first.number, first.name, "Greta Holm", "no_answer")
    yield asked(), replace(world, confirmed=(tried,))
    yield asked(), replace(world, conditions={"stair-ledge": Conditions(folder().forecasts["stair-ledge"], seen())})


def seen() -> tuple[Seen, ...]:
    """Return thunder, fog, murky water and a stream, as seen in the morning."""
    at = datetime(2026, 12, 12, 9, 0, tzinfo=UTC)
    found = {"thunder": 1.0, "visibility_m": 100.0, "underwater_visibility_m": 2.0, "stream_kn": 3.0}
    return tuple(Seen(quantity, value, at, "Greta Holm") for quantity, value in found.items())


@cache
def plans() -> tuple[DayPlan, ...]:
    return tuple(plan_day(request, world) for request, world in days())


def beach_entries() -> tuple[Event, ...]:
    """Return the entries of a day: two dives of one person, too deep and too long, who felt unwell; an incident."""
    plan = plan_of("saturday-ledge")
    dives = [dive for dive in plan.dives if dive.group == "Terns"]
    assert len(dives) == 2
    events: list[Event] = []
    for dive in dives:
        assert dive.entry is not None and dive.exit is not None
        late = dive.exit + timedelta(minutes=30)
        for moment, kind, value, text in (
            (dive.entry, "in", None, ""),
            (late, "out", None, ""),
            (late, "depth", 31.0, ""),
            (dive.entry, "start_bar", 220.0, ""),
            (late, "end_bar", 20.0, ""),
            (late, "discomfort", None, "tingling in one arm"),
        ):
            events.append(
                Event(
                    uid=f"entry-{len(events):04d}",
                    at=moment,
                    day=plan.date,
                    site=plan.site,
                    kind=kind,
                    by="Greta Holm",
                    person="Owen Marsh",
                    group=dive.group,
                    dive=dive.number,
                    value=value,
                    text=text,
                )
            )
    last = events[-1]
    about_nobody = {"person": "", "group": "", "dive": 0}
    events.append(replace(last, uid="entry-last", kind="incident", text="taken to hospital", **about_nobody))
    return tuple(events)


def on_the_beach() -> Iterator[Check]:
    """Yield the checks of that day."""
    for made in actual_dives(beach_entries(), plan_of("saturday-ledge").dives):
        yield from made.checks


@cache
def made_checks() -> frozenset[str]:
    planned = {check.rule for plan in plans() for check in plan.checks}
    return frozenset(planned | {check.rule for check in on_the_beach()})


@pytest.mark.parametrize("name", sorted({name for entry in _ALL for name in entry.checks}))
def test_every_check_that_is_claimed_really_comes_out_of_a_plan_or_a_record(name):
    assert name in made_checks()


@pytest.mark.parametrize("name", sorted({name for entry in _ALL for name in entry.closures}))
def test_every_closure_that_is_claimed_really_closes_minutes_of_a_day(name):
    assert name in {closure.rule for plan in plans() for closure in plan.closures}


# ---- pages ----


@ENTRIES
def test_every_page_that_is_named_is_in_the_table_of_pages(entry):
    from tripplan.web.roles import MAY

    assert set(entry.pages) <= set(MAY)


# ---- the whole ----


def test_the_counts_are_those_of_the_rows():
    rows = coverage_rows()
    assert sum(counts(rows).values()) == len(rows) == 153
    assert set(STATE_WORDS) == set(STATES) == set(STATE_MARKS)
    assert [row.requirement.id for row in rows] == [each.id for each in requirements()]
