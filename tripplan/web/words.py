"""Hand the words of the documents to the templates."""

from __future__ import annotations

from flask import Flask
from markupsafe import Markup

from tripplan.documents.glossary import marked
from tripplan.documents.one_file import FILTERS


def install(app: Flask) -> None:
    """Give the templates the same filters that the file for the phone uses."""
    app.jinja_env.filters.update(FILTERS)
    app.jinja_env.filters["terms"] = lambda page: Markup(marked(str(page)))
