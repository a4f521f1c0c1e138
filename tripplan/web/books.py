"""What the plans rest on: the rule book, the sources, the method and its limits."""

from __future__ import annotations

from flask import Blueprint, render_template

from tripplan.documents.words import set_words
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.web.app import shelf

bp = Blueprint("books", __name__)


@bp.get("/rules")
def rules() -> str:
    """Show the whole rule book."""
    book = shelf().world.rules
    areas: dict[str, list[object]] = {}
    for rule in book.rules.values():
        areas.setdefault(rule.key.split(".")[0], []).append(rule)
    return render_template(
        "rules.html",
        areas=areas,
        overridden=book.overridden,
        shipped=baseline().rules,
        sources=SOURCES,
        set_words=set_words,
    )


@bp.get("/sources")
def sources() -> str:
    """Show every source and how well we know it."""
    return render_template("sources.html", sources=SOURCES.values())


@bp.get("/about")
def about() -> str:
    """Say how the numbers are made and where they stop being valid."""
    return render_template("about.html", rules=shelf().world.rules)
