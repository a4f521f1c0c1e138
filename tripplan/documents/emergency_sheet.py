"""The printed emergency sheets: A4 or Letter, readable in grey, tagged for screen readers, equal bytes for equals.

Front: what to do in the first minutes. Back: details. Then the scenarios, then where to look for a missing diver.
"""

from __future__ import annotations

import json
import re
from collections import OrderedDict
from collections.abc import Mapping, Sequence
from datetime import UTC, datetime
from difflib import SequenceMatcher
from hashlib import sha256
from itertools import groupby
from threading import Lock
from typing import Any

from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import PAPERS
from tripplan.documents.fonts import FAMILIES, missing_sentences, printable, qr_svg, typst_fonts
from tripplan.documents.sheet_words import in_calling_order, sheet_text
from tripplan.errors import OutOfRange
from tripplan.language import ENGLISH, Language
from tripplan.planning.action_sheet import ActionSheet

KEPT_DOCUMENTS = 10  # by typst
KEPT_FITS = 64  # sheets
FITTED_AT_ONCE = 5  # sheets; they share what they measure, but all of it stays in memory until the last is done
FIGURES = re.compile(r"[+0-9](?:[0-9 ().:°'/+-]*[0-9'°])?")
LONG_WORD = re.compile(r"[!-~\u00a1-\u024f]{26,}")  # only letters that are not joined or put together

_known_fits: OrderedDict[bytes, Any] = OrderedDict()  # by what they were found from, the last used at the end
_lock = Lock()


def action_sheets_pdf(
    sheets: Sequence[ActionSheet], paper: str = "a4", language: Language = ENGLISH, address: str = ""
) -> bytes:
    """Return all sheets in one tagged PDF (PDF/UA-1), each with its own count of pages.

    paper   -- "a4" or "letter"
    address -- where the pages of this program are found, like "http://10.0.0.4:8000", for the code that tells whether
               a sheet is the newest; without one that code holds plain text

    Equal sheets give equal bytes: the document's date is that of the last sheet. Raises OutOfRange for another paper
    and for no sheet at all.
    """
    import typst

    if paper not in PAPERS:
        raise OutOfRange(f'paper is "{paper}"; it must be "a4" or "letter"')
    if not sheets:
        raise OutOfRange("sheets is empty; there must be at least one")
    values = {"paper": PAPERS[paper], "families": list(FAMILIES)}
    words = [_values(sheet, language, address) for sheet in sheets]
    last = max(sheet.date for sheet in sheets)
    date = datetime(last.year, last.month, last.day, tzinfo=UTC)
    fits = _fits(values, words)
    try:
        return _compiled(values, words, fits, date)
    except typst.TypstError:  # a part does not go in as it was found to: all is measured again while it is set
        return _compiled(values, words, None, date)


def _compiled(values: Mapping[str, Any], words: Sequence[Mapping[str, Any]], fits: Any, date: datetime) -> bytes:
    """Return the document of the words of sheets, with no fits found while it is set (some 70 MB a sheet)."""
    import typst

    try:
        pdf = typst.compile(
            input=_template(),
            font_paths=typst_fonts(),
            sys_inputs={"data": _json({**values, "sheets": words, "only-fits": False, "fits": fits})},
            pdf_standards="ua-1",
            timestamp=date,
        )
    finally:
        _forget()
    return bytes(pdf)


def _fits(values: Mapping[str, Any], words: Sequence[Mapping[str, Any]]) -> list[Any]:
    """Return for each sheet how large its parts are set and where their blocks stand, as the template found it.

    What was found for the same words on the same paper before holds again.
    """
    import typst

    template = _template()
    # What can run on to another page is not measured, and its pictures are large.
    needed = [{key: part for key, part in each.items() if key not in ("searches", "dives")} for each in words]
    keys = [sha256(template + _json({**values, "sheet": each}).encode()).digest() for each in needed]
    with _lock:
        found = {key: _known_fits[key] for key in keys if key in _known_fits}
    new = [(key, each) for key, each in dict(zip(keys, needed, strict=True)).items() if key not in found]
    for start in range(0, len(new), FITTED_AT_ONCE):
        some = new[start : start + FITTED_AT_ONCE]
        data = {**values, "sheets": [each for _, each in some], "only-fits": True}
        try:
            answer = typst.query(
                template, "<fit>", field="value", font_paths=typst_fonts(), sys_inputs={"data": _json(data)}
            )
        finally:
            _forget()
        found.update(zip((key for key, _ in some), json.loads(answer), strict=True))
    with _lock:
        _known_fits.update(found)
        for key in keys:
            _known_fits.move_to_end(key)
        while len(_known_fits) > KEPT_FITS:
            _known_fits.popitem(last=False)
    return [found[key] for key in keys]


def _template() -> bytes:
    return (data_dir("templates") / "sheets" / "action.typ").read_bytes()


def _json(value: Any) -> str:
    return json.dumps(value, allow_nan=False)


def _forget() -> None:
    """Let go of what typst worked out: it holds that for its next ten documents, some 10 to 70 MB a sheet."""
    import typst

    for _ in range(KEPT_DOCUMENTS + 1):
        typst.compile(input=b"", font_paths=typst_fonts())


def revision_link(sheet: ActionSheet, address: str) -> str:
    """Return what the code of the revision holds: the page that compares it, or words where there is no address."""
    if not address:
        return f"tripplan sheet {sheet.site} {sheet.date.isoformat()} revision {sheet.revision}"
    query = f"site={sheet.site}&date={sheet.date.isoformat()}&revision={sheet.revision}"
    return f"{address.rstrip('/')}/sheets/check?{query}"


def _values(sheet: ActionSheet, language: Language, address: str) -> dict[str, Any]:
    """Return all that the template needs of one sheet, in which each character can be printed."""
    missing: dict[str, None] = {}
    words: dict[str, Any] = printable(sheet_text(sheet, language), missing)
    labels = words["labels"]
    called = in_calling_order(sheet)
    first = called[0].phone.link if called else ""
    codes = [
        (labels["code_position"], sheet.position.geo_uri),
        (labels["code_call"], first),
        (labels["code_revision"], revision_link(sheet, address)),
    ]
    if language.direction == "rtl":
        words = _figures_kept(words)
    doubts: dict[str, list[str]] = {}
    for contact in words["contacts"]:
        doubts.setdefault(contact["doubt"], []).append(str(contact["order"]))
    return {
        **_breakable({key: part for key, part in words.items() if key != "searches"}),
        "searches": words["searches"],
        "radio": _breakable(radio_rows(*(each for each in words["scripts"] if each["kind"] != "phone"))),
        "radio_when": _breakable(when_rows(*(each["when"] for each in words["scripts"] if each["kind"] != "phone"))),
        "doubts": [{"doubt": doubt, "orders": ", ".join(orders)} for doubt, orders in doubts.items() if doubt],
        "replaced": " ".join(missing_sentences(missing)),
        "codes": [{"label": label, "text": text, "svg": qr_svg(text)} for label, text in codes if text],
    }


def radio_rows(first: Mapping[str, Any], second: Mapping[str, Any]) -> list[list[str]]:
    """Return two calls line by line beside each other: a row of one text is read in both, a row of two in its own.

    Lines of one kind that follow each other stand in one row. Read down either side, each call is whole.
    """
    one, two = (list(zip(script["keys"], script["lines"], strict=True)) for script in (first, second))
    rows: list[list[str]] = []
    for kind, start, end, other_start, other_end in SequenceMatcher(None, one, two, autojunk=False).get_opcodes():
        if kind == "equal":
            both = _grouped(one[start:end])
            if len(both) > 1 and end == len(one):
                both[-2:] = [" ".join(both[-2:])]  # "Over." stands with what is said before it
            rows.extend([[text] for text in both])
        else:
            rows.append(["\n".join(_grouped(one[start:end])), "\n".join(_grouped(two[other_start:other_end]))])
    return rows


def when_rows(first: str, second: str) -> list[list[str]]:
    """Return when each of two calls is right, beside each other; what both end with stands in one row below."""
    one, two = (re.split(r"(?<=[.:;]) ", text) for text in (first, second))
    same = 0
    while same < min(len(one), len(two)) and one[-1 - same] == two[-1 - same]:
        same += 1
    rows = [[" ".join(one[: len(one) - same]), " ".join(two[: len(two) - same])]]
    return [*rows, [" ".join(one[len(one) - same :])]] if same else rows


def _grouped(lines: Sequence[tuple[str, str]]) -> list[str]:
    return [" ".join(say for _, say in group) for _, group in groupby(lines, key=lambda line: line[0])]


def _figures_kept(value: Any) -> Any:
    """Return the values with marks around figures, so that a language written from the right turns no number round."""
    if isinstance(value, str):
        return value if "<svg" in value else FIGURES.sub(lambda found: f"\u200e{found[0]}\u200e", value)
    if isinstance(value, dict):
        return {key: part if key in ("page", "direction") else _figures_kept(part) for key, part in value.items()}
    if isinstance(value, list):
        return [_figures_kept(item) for item in value]
    return value


def _breakable(value: Any) -> Any:
    """Return the values with marks inside words longer than a column, at which they may break."""
    if isinstance(value, str):
        return LONG_WORD.sub(lambda word: "\u200b".join(word[0]), value)
    if isinstance(value, dict):
        return {key: _breakable(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_breakable(item) for item in value]
    return value
