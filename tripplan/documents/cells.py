"""Cells of a table that a spreadsheet could take for formulas."""

from __future__ import annotations

import re

# What a spreadsheet takes for the begin of a formula, in the full-width letters of East Asia too. Apostrophes in front
# count in, so that one more is put before a text that has some already, and exactly that one is taken off again.
FORMULA = re.compile(r"'*(?:\s*[=+\-@＝＋－＠]|[\t\r\n])")


def harmless(text: str) -> str:
    """Return a text that no spreadsheet takes for a formula.

    >>> harmless("=1+1"), harmless("Ann")
    ("'=1+1", 'Ann')
    """
    return f"'{text}" if FORMULA.match(text) else text


def meant(text: str) -> str:
    """Return the text of a cell without the apostrophe that ``harmless`` put before it.

    >>> meant("'=1+1"), meant("'tis")
    ('=1+1', "'tis")
    """
    return text[text.startswith("'") and FORMULA.match(text, 1) is not None :]
