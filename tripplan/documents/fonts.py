"""The letters that paper can show: the shipped faces, what they cover, and how a text is made fit to be printed.

Every face is shipped in the two weights that paper uses, and no system font is ever looked at, so every machine prints
the same. A page that asks for a letter that no face has is refused by typst as a whole (a tagged PDF may not lose a
letter): so every word goes through :func:`printable`, and every drawing through :func:`paper_picture`.
"""

from __future__ import annotations

import html
import io
import re
import unicodedata
from functools import cache
from typing import Any

from tripplan.data_files import data_dir

# Each family as its files name themselves, in the order in which a letter looks for a face, with its files' beginning.
FACES = {
    "Noto Sans": "NotoSans",
    "Noto Sans Arabic": "NotoSansArabic",
    "Noto Sans Hebrew": "NotoSansHebrew",
    "Noto Sans CJK JP": "NotoSansCJKjp",
    "Noto Sans Thai": "NotoSansThai",
    "Noto Sans Devanagari": "NotoSansDevanagari",
    "Noto Sans Bengali": "NotoSansBengali",
    "Noto Sans Gurmukhi": "NotoSansGurmukhi",
    "Noto Sans Gujarati": "NotoSansGujarati",
    "Noto Sans Oriya": "NotoSansOriya",
    "Noto Sans Tamil": "NotoSansTamil",
    "Noto Sans Telugu": "NotoSansTelugu",
    "Noto Sans Kannada": "NotoSansKannada",
    "Noto Sans Malayalam": "NotoSansMalayalam",
    "Noto Sans Sinhala": "NotoSansSinhala",
    "Noto Sans Khmer": "NotoSansKhmer",
    "Noto Sans Lao": "NotoSansLao",
    "Noto Sans Myanmar": "NotoSansMyanmar",
    "Noto Sans Armenian": "NotoSansArmenian",
    "Noto Sans Georgian": "NotoSansGeorgian",
    "Noto Sans Ethiopic": "NotoSansEthiopic",
    "Noto Sans Thaana": "NotoSansThaana",
}
FAMILIES: tuple[str, ...] = tuple(FACES)
WEIGHTS = ("Regular", "Bold")  # the weights that the sheets ask for
REPLACEMENT = "?"
JOINERS = "\u200c\u200d"  # between two letters: keep them apart, hold them together

# Where a joiner changes a letter's form: Arabic, the scripts of India and Sri Lanka, Myanmar and Khmer.
_JOINED = ((0x0600, 0x06FF), (0x0750, 0x077F), (0x08A0, 0x08FF), (0x0900, 0x0DFF), (0x1000, 0x109F), (0x1780, 0x17FF))
_CONTROLS = {code: " " for code in range(0x80) if not chr(code).isprintable()}


# ---- the faces ----


@cache
def typst_fonts() -> Any:
    """Return the shipped faces for typst, and none of the machine's own."""
    import typst

    folder = data_dir("templates") / "fonts"
    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(folder)])


@cache
def codes_of(family: str) -> frozenset[int]:
    """Return the code points that a family has in every weight that paper uses."""
    from fontTools.ttLib import TTFont  # type: ignore[import-untyped]

    found: list[frozenset[int]] = []
    for weight in WEIGHTS:
        (file,) = (data_dir("templates") / "fonts").glob(f"{FACES[family]}-{weight}.*")
        with TTFont(file, lazy=True) as font:
            found.append(frozenset(font["cmap"].getBestCmap()))
    return frozenset.intersection(*found)


def _one_face_has(characters: str) -> bool:
    """Return whether one family has all of some characters; the faces of rarer scripts are opened only if asked for."""
    return any(all(ord(character) in codes_of(family) for character in characters) for family in FAMILIES)


# ---- words ----


def printable(value: Any, missing: dict[str, None]) -> Any:
    """Return a value in which every string, in whatever lists and dicts it stands, can be printed.

    missing -- takes the characters that no shipped face has, as keys in the order of their finding

    A string comes back composed (NFC), with blanks for white space and control characters, and "?" for every missing
    character. Marks that turn the direction of writing are missing ones too: they could make a number read backwards.
    Joiners stay where they form letters. A variation selector is left out: its letter is printed in its usual form.

    Where letters are written from right to left, marks without ink are set so that no number changes its neighbour or
    its own order (UAX 9, the Unicode bidirectional algorithm, would show "NAME, 4 people" as "4, NAME people", and turn
    the groups of a telephone number round): in a text with left-to-right letters such a run ends with U+200E, and a
    text without any stands for itself between U+2067 and U+2069, each number of it between U+2066 and U+2069. So a text
    goes through here once: a second time would take these marks for foreign ones.
    """
    if isinstance(value, str):
        return _printable_text(value, missing)
    if isinstance(value, dict):
        return {key: printable(item, missing) for key, item in value.items()}
    if isinstance(value, list | tuple):
        return [printable(item, missing) for item in value]
    return value


def missing_sentences(missing: dict[str, None]) -> tuple[str, ...]:
    """Return a sentence on the characters that cannot be printed; nothing where all can be."""
    if not missing:
        return ()
    names = ", ".join(f"U+{ord(c):04X} {unicodedata.name(c, 'without a name').lower()}" for c in missing)
    return (f"Characters that this sheet cannot print stand as “{REPLACEMENT}”: {names}. The page shows them.",)


def _printable_text(text: str, missing: dict[str, None]) -> str:
    if text.isascii():
        return text.translate(_CONTROLS)
    text = unicodedata.normalize("NFC", text)
    out: list[str] = []
    cluster = ""  # a letter and its marks so far: they must share one face
    for place, character in enumerate(text):
        category = unicodedata.category(character)
        if character.isspace() or category == "Cc":
            out.append(" ")
            cluster = ""
        elif _is_variation_selector(character):
            continue
        elif character in JOINERS and _joins(text[place - 1 : place], text[place + 1 : place + 2]) and cluster:
            out.append(character)
        elif category[0] == "M" and cluster and _one_face_has(cluster + character):
            out.append(character)
            cluster += character
        elif category[0] not in "MC" and _one_face_has(character):
            out.append(character)
            cluster = character
        else:
            missing[character] = None
            out.append(REPLACEMENT)
            cluster = ""
    return _directed("".join(out))


def _is_variation_selector(character: str) -> bool:
    return 0xFE00 <= ord(character) <= 0xFE0F or 0xE0100 <= ord(character) <= 0xE01EF


def _joins(before: str, after: str) -> bool:
    """Return whether a joiner forms letters here: between two of a script that joins, or after a mark that cuts one."""
    if not _is_of_a_joined_script(before):
        return False
    return unicodedata.combining(before) == 9 or _is_of_a_joined_script(after)  # 9: virama


def _is_of_a_joined_script(character: str) -> bool:
    return (
        character != ""
        and unicodedata.category(character)[0] in "LM"
        and any(first <= ord(character) <= last for first, last in _JOINED)
    )


_LEFT_TO_RIGHT, _ISOLATE_LEFT, _ISOLATE_RIGHT, _ISOLATE_END = "\u200e\u2066\u2067\u2069"
# Such as 09:30, 3-5, +44 (0)1632 960111.
_NUMBERS = re.compile(r"\+?(?:\(\d+\)|\d++)(?:[\u200e .,:/+–-]*+(?:\(\d+\)|\d++))*+")
_BETWEEN_ARABIC_DIGITS = re.compile(r"(?<=[\u0660-\u0669])(\W+)(?=[\u0660-\u0669])")


def _directed(text: str) -> str:
    directions = {unicodedata.bidirectional(character) for character in text}
    if "AN" in directions:  # their groups would turn round in any surroundings
        kept = rf"{_LEFT_TO_RIGHT}\1{_LEFT_TO_RIGHT}"
        text = _NUMBERS.sub(lambda found: _BETWEEN_ARABIC_DIGITS.sub(kept, found[0]), text)
    if not directions & {"R", "AL"}:
        return text
    if "L" in directions:
        return _with_ends_of_right_to_left(text)
    text = _NUMBERS.sub(lambda found: f"{_ISOLATE_LEFT}{found[0]}{_ISOLATE_END}", text)
    return f"{_ISOLATE_RIGHT}{text}{_ISOLATE_END}"


def _with_ends_of_right_to_left(text: str) -> str:
    """Return a text with a mark after each run of right-to-left letters that has no other letter or number in it."""
    out: list[str] = []
    end = -1  # where in out the last right-to-left letter with its marks ends; -1 once that has been said
    for character in text:
        direction = unicodedata.bidirectional(character)
        if direction in ("L", "EN", "AN") and end >= 0:
            out.insert(end, _LEFT_TO_RIGHT)
            end = -1
        out.append(character)
        if direction in ("R", "AL") or (direction in ("NSM", "BN") and end == len(out) - 1):
            end = len(out)
    if end >= 0:
        out.insert(end, _LEFT_TO_RIGHT)
    return "".join(out)


# ---- drawings ----


def paper_picture(svg: str) -> dict[str, Any]:
    """Return a drawing for paper: ``svg`` with its ``width`` and ``height``, and ``labels``, the words to set over it.

    svg -- a drawing with a viewBox, whose texts have no parts of their own

    A text of which the first family has every letter stays in the drawing. Any other is taken out of it and becomes a
    label: inside a drawing typst neither joins nor orders all scripts, and refuses the page for some. A label has its
    ``text``, the place ``x``, ``y`` of its baseline, its ``size`` (all in the drawing's own units), what is at that
    place (``anchor``: 0 the beginning, 0.5 the middle, 1 the end), ``turn`` (degrees clockwise), ``bold``, ``fill``.
    """
    box = re.search(r'viewBox="([^"]+)"', svg)
    assert box, "the drawing has no viewBox"
    left, top, width, height = (float(number) for number in box[1].split())
    root = svg[: svg.index(">")]
    labels: list[dict[str, Any]] = []

    def lift(found: re.Match[str]) -> str:
        words = str(printable(html.unescape(found[2]), {}))
        label = None if _plain(words) == words else _label(root, found[1])
        if label is None:
            return f"<text{found[1] or ''}>{html.escape(_plain(words), quote=False)}</text>"
        label["x"] -= left
        label["y"] -= top
        labels.append({"text": words, **label})
        return ""

    return {
        "svg": re.sub(r"<text(\s[^>]*)?>([^<]*)</text>", lift, svg),
        "width": width,
        "height": height,
        "labels": labels,
    }


def _plain(words: str) -> str:
    """Return words with only letters that a drawing can hold: of the first family, without marks."""
    return "".join(
        character
        if ord(character) in codes_of(FAMILIES[0]) and unicodedata.category(character)[0] not in "MC"
        else REPLACEMENT
        for character in words
    )


_ANCHORS = {"start": 0.0, "middle": 0.5, "end": 1.0}
_NUMBER = r"\s*(-?[\d.]+(?:e-?\d+)?)\s*"
_MOVES = re.compile(rf"\s*(?:translate\({_NUMBER}[ ,]{_NUMBER}\))?\s*(?:rotate\({_NUMBER}(?:[ ,][^)]*)?\))?\s*")


def _label(root: str, attributes: str | None) -> dict[str, Any] | None:
    """Return where and how a text of a drawing stands; None if more is done to it than a place and a turn."""
    own = dict(re.findall(r'([\w-]+)="([^"]*)"', attributes or ""))
    inherited = dict(re.findall(r'([\w-]+)="([^"]*)"', root))
    moves = _MOVES.fullmatch(own.get("transform", ""))
    if moves is None:
        return None
    return {
        "x": float(own.get("x", 0)) + float(moves[1] or 0),
        "y": float(own.get("y", 0)) + float(moves[2] or 0),
        "turn": float(moves[3] or 0),
        "size": float((own.get("font-size") or inherited.get("font-size") or "16").removesuffix("px")),
        "anchor": _ANCHORS[own.get("text-anchor", "start")],
        "bold": own.get("font-weight", "normal") in ("bold", "700"),
        "fill": own.get("fill") or inherited.get("fill") or "#000000",
    }


def qr_svg(text: str) -> str:
    """Return a QR code as SVG that can be read with some 15 % of it unreadable (level M of ISO/IEC 18004)."""
    import segno

    out = io.BytesIO()
    segno.make(text, error="m", micro=False).save(out, kind="svg", scale=4, border=2, xmldecl=False, light="white")
    return out.getvalue().decode()
