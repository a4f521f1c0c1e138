"""What the plans rest on: the rule book, the sources, the method and its limits."""

from __future__ import annotations

from flask import Blueprint, render_template

from tripplan.documents.glossary import glossary
from tripplan.documents.words import set_words
from tripplan.rulebook import baseline
from tripplan.sources import SOURCES
from tripplan.web.here import shelf

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


@bp.get("/glossary")
def words() -> str:
    """Say what each word of the trade means, in order of the alphabet."""
    listed = list(glossary().values())
    letters = dict.fromkeys(word.term[0].lower() for word in listed)
    return render_template("glossary.html", words=listed, letters=letters, rules=shelf().world.rules)


@bp.get("/about")
def about() -> str:
    """Say how the numbers are made and where they stop being valid."""
    return render_template("about.html", rules=shelf().world.rules)
