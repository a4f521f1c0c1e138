"""The plan as one HTML file that needs nothing else: for a phone on a beach without a signal.

Page and file show the same body through the same template; the words that the template uses are gathered here.
"""

from __future__ import annotations

import math
import re
from base64 import b64encode
from collections.abc import Callable
from hashlib import sha256
from html import unescape
from typing import Any

from jinja2 import Environment, FileSystemLoader, select_autoescape

from tripplan.check import Candidate, Contest, Outcome
from tripplan.data_files import data_dir
from tripplan.documents import words
from tripplan.documents.cautions import caution_groups, unlike
from tripplan.documents.glossary import marked, used_in
from tripplan.documents.packing_words import course_words, pack_rows, skills_lines
from tripplan.documents.picture import day_picture, day_table
from tripplan.documents.profile import allowance_picture, allowance_words, profile_picture, profile_words
from tripplan.documents.words import after_words, clock, date_words, gas_words, lead_words, source_words, verdict
from tripplan.emergency.roles import ROLE_NAMES
from tripplan.people.group import KINDS
from tripplan.planning.plan import DayPlan
from tripplan.rulebook import RuleBook

WORD_PREFIX = "word-"  # before the key of a word in the file, whose parts have names of their own
MARKS = {
    "ok": "\u25cb",
    "caution": "\u25b3",
    "stop": "\u25a0",
}  # shape tells them apart, not colour


def _ordered(contest: Contest) -> list[Candidate]:
    """Return the candidates with the binding one first, then by value, unlimited ones last."""
    binding = contest.binding
    return sorted(contest.candidates, key=lambda c: (c is not binding, math.inf if c.value is None else c.value))


def _telephone(number: str) -> str:
    """Return a tel: address (RFC 3966) for a number as printed."""
    return "tel:" + "".join(sign for sign in number if sign.isdigit() or sign == "+")


FILTERS: dict[str, Callable[..., Any]] = {
    "gas": gas_words,
    "afterwards": after_words,
    "lead": lead_words,
    "clock": lambda moment, day=None: clock(moment, day),
    "longdate": date_words,
    "depth": words.depth_down,
    "depth_up": words.depth_up,
    "height": words.height,
    "edge": words.edge_words,
    "pressure": words.pressure,
    "distance": words.distance,
    "bearing": words.bearing,
    "minutes": words.duration,
    "travel": words.travel,
    "oxygen_lasts": words.oxygen_words,
    "role_name": lambda line: ROLE_NAMES[line.key],
    "role_people": words.role_words,
    "amount": words.rule_amount,
    "quantity": words.quantity,
    "limit": words.limit_words,
    "contest": words.contest_words,
    "binding": words.binding_words,
    "gauge": words.gauge_words,
    "interval": words.interval_words,
    "closure": words.closure_words,
    "override": words.override_words,
    "by_rule": words.grouped,
    "caution_groups": caution_groups,
    "unlike": unlike,
    "counted": words.counted,
    "outcome": lambda value: verdict(Outcome(value)),
    "mark": lambda value: MARKS[value],
    "source": source_words,
    "slate": words.slate_head,
    "slate_columns": words.slate_columns,
    "slate_row": words.slate_row_words,
    "slate_cells": words.slate_cells,
    "slate_notes": words.slate_notes,
    "profile": profile_picture,
    "profile_words": profile_words,
    "allowance": allowance_picture,
    "allowance_words": allowance_words,
    "ordered": _ordered,
    "tel": _telephone,
    "kind": lambda name: KINDS[name].words,
    "course": course_words,
    "skills": skills_lines,
    "pack_rows": pack_rows,
}


# Marks that turn the direction of writing: in somebody's words they would show a number behind them backwards.
_TURNING = dict.fromkeys([*range(0x202A, 0x202F), *range(0x2066, 0x206A)], "\ufffd")


def without_turning_marks(page: str) -> str:
    """Return a page in which no mark turns the direction of the writing; its own elements say where it changes."""
    return page.translate(_TURNING)


def own_policy(style: str, script: str = "") -> str:
    """Return the content policy of a file that holds everything: only this very style and script count.

    Nothing is loaded. A style or a script that a word of somebody smuggled in has another digest, and does nothing.
    """

    def only(text: str) -> str:
        return f"'sha256-{b64encode(sha256(text.encode()).digest()).decode()}'"

    runs = f" script-src {only(script)};" if script else ""
    return f"default-src 'none'; style-src {only(style)}; img-src data:;{runs} base-uri 'none'; form-action 'none'"


def policy_in(page: str) -> str:
    """Return the content policy that stands in a file; whoever serves the file sends it along."""
    found = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', page)
    if found is None:
        raise ValueError("the file has no policy of its own")
    return f"{unescape(found[1])}; frame-ancestors 'none'"


def one_file_html(plan: DayPlan, rules: RuleBook) -> str:
    """Return the plan as one self-contained page: style and pictures inside, nothing to load, nothing that runs."""
    templates = data_dir("templates")
    environment = Environment(
        loader=FileSystemLoader(templates / "pages"),
        autoescape=select_autoescape(),
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(FILTERS)
    style = (templates / "static" / "page.css").read_text(encoding="utf-8")
    page = environment.get_template("offline.html").render(
        plan=plan,
        rules=rules,
        wide=day_picture(plan),
        narrow=day_picture(plan, narrow=True),
        table=day_table(plan),
        style=style,
        policy=own_policy(style),
    )
    head, main, tail = re.split(r"(?=<main|</main>)", page, maxsplit=2)
    listed = environment.get_template("_words.html").render(words=used_in(main), prefix=WORD_PREFIX)
    return without_turning_marks("".join([head, marked(main, f"#{WORD_PREFIX}"), listed, tail]))
