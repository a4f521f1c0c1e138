from __future__ import annotations

import io
import json
import re
import unicodedata
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from printed_plans import plan_of
from pypdf import PdfReader

from tripplan.data_files import data_dir
from tripplan.documents.day_sheet import day_sheet_pdf
from tripplan.documents.fonts import (
    FACES,
    FAMILIES,
    WEIGHTS,
    codes_of,
    missing_sentences,
    paper_picture,
    printable,
    qr_svg,
    typst_fonts,
)

ARABIC, HEBREW, JAPANESE, HINDI, THAI, KOREAN = (
    "ليلى حداد",
    "נועה לוי",
    "新井 恵子",
    "प्रिया शर्मा",
    "สมชาย ใจดี",
    "김민수",
)
SINHALA = "ශ්\u200dරී"  # the joiner makes one letter of two
PERSIAN = "می\u200cشود"  # the non-joiner keeps two letters apart
CUNEIFORM = "\U00012000"
FOLDER = data_dir("templates") / "fonts"

PAGE = """
#let d = json(bytes(sys.inputs.data))
#set document(title: "letters")
#set page(width: auto, height: auto, margin: 4pt)
#set text(font: d.fonts, fallback: false, size: 12pt, lang: "en")
"""
BOTH_WEIGHTS = PAGE + '#for word in d.words [#word #text(weight: "bold", word) #linebreak()]'
DRAWINGS = PAGE + '#for word in d.words { image(bytes(word), format: "svg", width: 5cm, alt: "words") }'


def compiled(page: str, words: list[str], kind: str = "pdf", fonts: tuple[str, ...] = FAMILIES) -> bytes:
    """A PDF is made as PDF/UA-1 (ISO 14289-1), which may not hold a letter without a shape: typst then makes none."""
    import typst

    data = json.dumps({"words": words, "fonts": fonts})
    standard = {"pdf_standards": "ua-1"} if kind == "pdf" else {"ppi": 192.0}
    return bytes(
        typst.compile(input=page.encode(), font_paths=typst_fonts(), sys_inputs={"data": data}, format=kind, **standard)
    )


def ink(body: str, words: list[str]):
    """Return which points of a page of words are dark."""
    import numpy as np
    from PIL import Image

    with Image.open(io.BytesIO(compiled(PAGE + body, words, "png"))) as picture:
        dark = np.asarray(picture.convert("L")) < 128
    rows, columns = dark.any(axis=1).nonzero()[0], dark.any(axis=0).nonzero()[0]
    return dark[rows[0] : rows[-1] + 1, columns[0] : columns[-1] + 1]


def blots(word: str) -> list[int]:
    """Return the widths of the pieces that white columns cut a printed word into, from left to right."""
    columns = "".join("x" if dark else " " for dark in ink("#d.words.at(0)", [word]).any(axis=0))
    return [len(piece) for piece in columns.split()]


def fonts_in(pdf: bytes) -> set[str]:
    """Return the names of the faces that a PDF carries, without the mark of their cutting."""
    return {
        font.get_object()["/BaseFont"].split("+")[-1].removesuffix("-Identity-H")
        for page in PdfReader(io.BytesIO(pdf)).pages
        for font in page["/Resources"].get("/Font", {}).values()
    }


def letters_of(codec: str, leads: range = range(0x80, 0x100)) -> set[str]:
    """Return the characters above ASCII of a codec of Python with one or two bytes, without marks of direction."""
    found = set()
    for lead in leads:
        for tail in (b"", *(bytes([byte]) for byte in range(0x30, 0x100))):
            try:
                text = (bytes([lead]) + tail).decode(codec)
            except UnicodeDecodeError:
                continue
            if len(text) == 1 and text > "\x7f" and unicodedata.category(text) not in ("Cc", "Cf", "Zs", "Co"):
                found.add(text)
    return found


@cache
def all_codes() -> frozenset[int]:
    return frozenset().union(*(codes_of(family) for family in FAMILIES))


# ---- what the faces cover ----


def test_every_family_names_itself_so_and_has_both_weights_and_nothing_else_stands_there():
    from fontTools.ttLib import TTFont

    expected = {"Regular": 400, "Bold": 700}  # OpenType, OS/2 usWeightClass
    assert tuple(expected) == WEIGHTS
    named = {}
    for file in FOLDER.iterdir():
        if file.suffix not in (".ttf", ".otf"):
            assert file.name in ("OFL.txt", "README.md", "cut_fonts.py", "__pycache__")
            continue
        with TTFont(file, lazy=True) as font:
            named[file.stem] = (font["name"].getDebugName(1), font["OS/2"].usWeightClass)
    assert named == {
        f"{stem}-{weight}": (family, expected[weight]) for family, stem in FACES.items() for weight in WEIGHTS
    }


@pytest.mark.parametrize(
    "codec",
    # Western, central, southern and northern Europe, Turkish, the Baltic, Cyrillic, Greek, Vietnamese, Arabic, Hebrew,
    # Thai, Japanese, simplified Chinese.
    [
        "iso8859_1", "iso8859_2", "iso8859_3", "iso8859_4", "iso8859_5", "iso8859_7", "iso8859_9", "iso8859_10",
        "iso8859_13", "iso8859_14", "iso8859_15", "iso8859_16", "koi8_u", "cp1251", "ptcp154", "cp1258", "iso8859_6",
        "cp1256", "iso8859_8", "cp1255", "iso8859_11", "shift_jis", "cp932", "gb2312",
    ],
)  # fmt: skip
def test_every_letter_and_digit_of_a_codec_has_a_face_in_both_weights(codec):
    letters = {letter for letter in letters_of(codec) if unicodedata.category(letter)[0] in "LMN"}
    assert len(letters) > 30
    codes = {ord(part) for letter in letters for part in unicodedata.normalize("NFC", letter)}
    assert codes <= all_codes()


def test_the_common_letters_of_traditional_chinese_and_the_syllables_of_korean_have_a_face():
    first_level = letters_of("big5", range(0xA4, 0xC6)) | {"乙"}
    assert len(first_level) > 5200
    assert {ord(letter) for letter in first_level} <= all_codes()
    syllables = {letter for letter in letters_of("euc_kr") if "가" <= letter <= "힣"}
    assert len(syllables) == 2350  # KS X 1001
    assert {ord(letter) for letter in syllables} <= all_codes()


# The charts of the Unicode Standard lay the scripts of India out alike, after the Indian standard IS 13194: letters,
# vowel signs and digits at equal distances from the beginning of a block.
INDIAN = {
    "Devanagari": 0x0900, "Bengali": 0x0980, "Gurmukhi": 0x0A00, "Gujarati": 0x0A80, "Oriya": 0x0B00, "Tamil": 0x0B80,
    "Telugu": 0x0C00, "Kannada": 0x0C80, "Malayalam": 0x0D00,
}  # fmt: skip


@pytest.mark.parametrize("script", INDIAN)
def test_the_letters_vowel_signs_and_digits_of_a_script_of_india_have_a_face(script):
    places = (*range(0x01, 0x3A), *range(0x3E, 0x4E), *range(0x66, 0x70))
    wanted = {code for code in (INDIAN[script] + place for place in places) if unicodedata.name(chr(code), "")}
    assert len(wanted) > 55
    assert wanted <= codes_of(f"Noto Sans {script}")


@pytest.mark.parametrize(
    ("family", "first", "last"),
    # From the charts of the Unicode Standard.
    [
        ("Noto Sans Armenian", "Ա", "Ֆ"),
        ("Noto Sans Armenian", "ա", "և"),
        ("Noto Sans Georgian", "ა", "ჰ"),
        ("Noto Sans Ethiopic", "ሀ", "ሆ"),
        ("Noto Sans Khmer", "ក", "អ"),
        ("Noto Sans Lao", "ຢ", "ຣ"),
        ("Noto Sans Myanmar", "က", "အ"),
        ("Noto Sans Sinhala", "ක", "න"),
        ("Noto Sans Thaana", "ހ", "ޱ"),
        ("Noto Sans CJK JP", "ぁ", "ゖ"),
        ("Noto Sans CJK JP", "ァ", "ヿ"),
        ("Noto Sans Hebrew", "א", "ת"),
    ],
)
def test_an_alphabet_has_a_face(family, first, last):
    assert set(range(ord(first), ord(last) + 1)) <= codes_of(family)


# ---- what is printed ----


def test_every_letter_of_every_face_is_printed_in_both_weights():
    letters = [chr(code) for code in sorted(all_codes())]
    assert len(letters) > 20_000
    compiled(BOTH_WEIGHTS, printable(["".join(letters[at : at + 40]) for at in range(0, len(letters), 40)], {}))


def test_a_letter_without_a_face_would_stop_the_page():
    # What the tests here rely on: nothing is left out without a word.
    import typst

    with pytest.raises(typst.TypstError, match="could not be displayed"):
        compiled(BOTH_WEIGHTS, [CUNEIFORM])


NEIGHBOURS = st.one_of(
    st.text(max_size=12),
    st.text(
        st.sampled_from(
            ARABIC + HEBREW + JAPANESE + HINDI + THAI + KOREAN + SINHALA + PERSIAN + CUNEIFORM + "aé12+ -:,()<&"
            "\u0301\u0323\u064e\u05b8\u0e33\u102b\u17d2\u200b\u200c\u200d\u200e\u202e\u2066\u00ad\ufe0f\U000e0100\u3099"
        ),
        max_size=40,
    ),
)


@given(st.lists(NEIGHBOURS, min_size=1, max_size=8))
@example(["\u0301", "a\u0bc1", "क\u0301", "\u200d", "ක\u200d", "W" * 60, "\ud800"])
@settings(deadline=None, max_examples=150)
def test_no_text_at_all_can_stop_a_page_or_a_drawing(words):
    compiled(BOTH_WEIGHTS, printable(words, {}))
    pictures = [paper_picture(drawing_of(word)) for word in words]
    compiled(DRAWINGS, [picture["svg"] for picture in pictures])
    compiled(BOTH_WEIGHTS, [label["text"] for picture in pictures for label in picture["labels"]])


@given(st.text())
@settings(deadline=None)
def test_every_character_is_printed_or_named(text):
    missing: dict[str, None] = {}
    shown = re.sub("[\u200e\u2066\u2067\u2069]", "", printable(text, missing))  # the marks that it sets itself
    said = re.sub("[\ufe00-\ufe0f\U000e0100-\U000e01ef]", "", unicodedata.normalize("NFC", text))
    for before, after in zip(said, shown, strict=True):
        blank = before.isspace() or unicodedata.category(before) == "Cc"
        assert after == before or (after == " " and blank) or (after == "?" and before in missing)
    assert all(f"U+{ord(one):04X}" in " ".join(missing_sentences(missing)) for one in missing)


@given(st.text(st.characters(max_codepoint=0x24F, categories=("L", "N", "P", "S", "Zs"))))
@settings(deadline=None)
def test_a_text_in_latin_letters_stays_as_it_is(text):
    assert printable(text, {}) == "".join(" " if letter.isspace() else letter for letter in text)


def test_an_unknown_script_becomes_a_question_mark_and_is_named():
    missing: dict[str, None] = {}
    assert printable({"names": ("Lia", f"{CUNEIFORM}ra"), "age": 30}, missing) == {"names": ["Lia", "?ra"], "age": 30}
    assert missing_sentences(missing) == (
        "Characters that this sheet cannot print stand as “?”: U+12000 cuneiform sign a. The page shows them.",
    )
    assert missing_sentences({}) == ()


@pytest.mark.parametrize("mark", "\u200e\u200f\u061c\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u200b\ufeff")
def test_a_mark_of_direction_or_without_a_shape_is_never_taken_over(mark):
    # UAX 9, table of the explicit formatting characters; and the blanks without width.
    missing: dict[str, None] = {}
    assert printable(f"a{mark}b", missing) == "a?b"
    assert list(missing) == [mark]


def test_a_joiner_stays_only_where_it_forms_letters():
    missing: dict[str, None] = {}
    assert printable([SINHALA, "ന\u0d4d\u200d"], missing) == [SINHALA, "ന\u0d4d\u200d"]
    assert PERSIAN in printable(PERSIAN, missing)
    assert missing == {}
    assert printable(["a\u200db", "\u200d", "क \u200d", "ש\u200cש x"], missing) == ["a?b", "?", "क ?", "ש?ש\u200e x"]


def test_a_mark_is_printed_only_on_a_letter_of_its_own_face():
    missing: dict[str, None] = {}
    assert printable(["कि", "q\u0301", "e\u0301"], missing) == ["कि", "q\u0301", "é"]
    assert missing == {}
    assert printable(["a\u093f", "\u0301", " \u0301"], missing) == ["a?", "?", " ?"]


def test_white_space_and_control_characters_become_blanks_and_variants_the_usual_letter():
    missing: dict[str, None] = {}
    assert printable("a\tb\nc\x00d\u00a0e\u3000f\x85g", missing) == "a b c d e f g"
    # The Ideographic Variation Database lists U+845B with selectors from U+E0100 on: two forms of one letter of a name.
    assert printable("葛\U000e0100城", missing) == "葛城"
    assert missing == {}


# ---- which way it is read ----


def test_letters_of_arabic_are_joined_and_kept_apart_where_the_name_says_so():
    assert len(blots("ببب")) == 1
    assert len(blots("ب\u200cب\u200cب")) == 3  # written as single letters
    assert len(blots(printable("بب\u200cب", {}))) == 2
    assert fonts_in(compiled(BOTH_WEIGHTS, printable([ARABIC], {}))) >= {
        "NotoSansArabic-Regular",
        "NotoSansArabic-Bold",
    }


def test_names_from_right_to_left_begin_on_the_right():
    alef, vav = blots("א")[0], blots("ו")[0]
    assert vav < alef / 2  # one is narrow, so that the order can be seen
    for shown, order in ((blots(printable("או", {})), [vav, alef]), (blots(printable("וא", {})), [alef, vav])):
        assert shown == pytest.approx(order, abs=2)


def same_picture(words: str, parts: list[str]) -> bool:
    """Whether words are printed like parts of one direction each that are set side by side from left to right."""
    import numpy as np

    whole = ink("#d.words.at(0)", [words])
    pieces = ink("#for part in d.words { box(part) }", [part.replace(" ", "\u00a0") for part in parts])
    return whole.shape == pieces.shape and bool(np.array_equal(whole, pieces))


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (f"{HEBREW}, 4 people", [HEBREW, ", 4 people"]),
        ("leads: " + HEBREW + ", 4 people", ["leads: ", HEBREW, ", 4 people"]),
        ("ליה 1, נועה 2, more", ["ליה", " 1, ", "נועה", " 2, more"]),
        (f"call {HEBREW} +44 1632 960111 or 999", ["call ", HEBREW, " +44 1632 960111 or 999"]),
        # A text in Hebrew alone is read from the right: first the word, then the number, whose own order stays.
        ("ליה +44 1632 960111", ["+44 1632 960111", " ", "ליה"]),
        ("קומה 3-5", ["3-5", " ", "קומה"]),
        ("from ٠١٦٣ ٩٦٠ on", ["from ", "٠١٦٣", " ", "٩٦٠", " on"]),
    ],
)
def test_a_number_stays_where_it_was_said_and_is_never_turned_round(words, parts):
    assert same_picture(printable(words, {}), parts)


def test_without_the_marks_a_number_would_change_sides():
    assert not same_picture("leads: ליה, 4 people", ["leads: ", "ליה", ", 4 people"])


def test_what_typst_adds_after_a_text_stays_after_it():
    both = "#(d.words.at(0) + d.words.at(1))"
    import numpy as np

    for name in (HEBREW, f"{HEBREW} 2", f"({HEBREW})"):
        plain = ink("#box(d.words.at(0))#d.words.at(1)", [printable(name, {}), ", 4 people"])
        assert np.array_equal(ink(both, [printable(name, {}), ", 4 people"]), plain)


@given(st.text(st.sampled_from("אבגابت٠١٢0123 +-:,()ab新"), max_size=30))
@settings(deadline=None)
def test_the_marks_of_direction_that_are_set_are_balanced_and_change_nothing_else(text):
    shown = printable(text, {})
    assert shown.count("\u2066") + shown.count("\u2067") == shown.count("\u2069")
    assert re.sub("[\u200e\u2066\u2067\u2069]", "", shown) == text


# ---- drawings ----


def drawing_of(words: str) -> str:
    from xml.sax.saxutils import escape

    fit = "".join(letter for letter in words if letter.isprintable() or letter in "\u200c\u200d")
    return (
        '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 200 50" font-family="Noto Sans" font-size="12" '
        f'fill="#112233"><text x="10.0" y="20.0" text-anchor="end" font-weight="bold">{escape(fit)}</text></svg>'
    )


def test_words_of_a_drawing_in_common_letters_stay_in_it():
    svg = drawing_of("Łukasz <1>, Дарья & Ελένη")
    assert paper_picture(svg) == {"svg": svg, "width": 200, "height": 50, "labels": []}


def test_other_words_of_a_drawing_become_labels_with_their_place():
    picture = paper_picture(drawing_of(f"{HEBREW} 1: <b> 30 min"))
    assert "<text" not in picture["svg"]
    assert picture["labels"] == [
        {
            "text": f"{HEBREW}\u200e 1: <b> 30 min",
            "x": 10,
            "y": 20,
            "turn": 0,
            "size": 12,
            "anchor": 1,
            "bold": True,
            "fill": "#112233",
        }
    ]


@pytest.mark.parametrize(
    ("attributes", "place"),
    [
        ('transform="translate(399.5 258.25)" font-size="9px"', (399.5 - 5, 258.25 - 6, 0, 9)),
        ('x="50" y="18.5" transform="rotate(-0 50 18.5)"', (50 - 5, 18.5 - 6, 0, 12)),
        ('x="34" y="111" transform="rotate(-90 34 111)"', (34 - 5, 111 - 6, -90, 12)),
    ],
)
def test_a_label_stands_where_the_text_stood(attributes, place):
    svg = f'<svg viewBox="5 6 200 50" font-size="12"><text {attributes}>{JAPANESE}</text></svg>'
    (label,) = paper_picture(svg)["labels"]
    assert (label["x"], label["y"], label["turn"], label["size"]) == pytest.approx(place)


def test_words_that_a_drawing_stretches_lose_the_letters_that_it_cannot_hold():
    svg = f'<svg viewBox="0 0 200 50"><text transform="matrix(1 0 0 2 0 0)">{JAPANESE} 1</text></svg>'
    assert paper_picture(svg)["labels"] == []
    assert ">?? ?? 1<" in paper_picture(svg)["svg"]


# ---- the sheet ----


@cache
def sheet_of_many_scripts() -> bytes:
    plan = plan_of("saturday-ledge")
    names = (ARABIC, HEBREW, JAPANESE, HINDI, THAI, KOREAN, SINHALA, PERSIAN)

    def renamed(dive, first):
        people = tuple(replace(person, name=names[(first + at) % len(names)]) for at, person in enumerate(dive.people))
        return replace(dive, group=names[first], leader=names[first], people=people)

    return day_sheet_pdf(replace(plan, dives=tuple(renamed(dive, at) for at, dive in enumerate(plan.dives))))


def test_a_sheet_with_names_in_many_scripts_carries_the_faces_of_each():
    assert fonts_in(sheet_of_many_scripts()) >= {
        f"NotoSans{script}-{weight}" for script in ("", "Arabic", "Hebrew", "CJKjp") for weight in WEIGHTS
    } | {"NotoSansDevanagari-Regular", "NotoSansThai-Regular"}


def test_a_sheet_in_latin_letters_carries_no_other_face():
    assert fonts_in(day_sheet_pdf(plan_of("saturday-ledge"))) == {"NotoSans-Regular", "NotoSans-Bold"}


def test_a_name_stands_in_table_and_picture_and_no_letter_is_said_to_be_missing():
    text = "".join(page.extract_text() for page in PdfReader(io.BytesIO(sheet_of_many_scripts())).pages)
    assert "cannot print" not in text
    assert f"{JAPANESE}, dive" in text
    assert re.search(f"{JAPANESE} \\d\n", text)  # the label of its bar


# ---- codes and licence ----


def test_a_code_is_a_drawing_of_dark_squares_on_white():
    svg = qr_svg("geo:46.83300,-16.97000")
    assert svg.startswith("<svg") and 'fill="#fff"' in svg.replace("white", "#fff")
    compiled(DRAWINGS, [svg])


def test_the_licence_holds_the_copyright_line_and_version_of_every_face():
    from fontTools.ttLib import TTFont

    licence = (FOLDER / "OFL.txt").read_text(encoding="utf-8")
    assert "SIL OPEN FONT LICENSE Version 1.1" in licence
    for stem in FACES.values():
        for weight in WEIGHTS:
            (file,) = FOLDER.glob(f"{stem}-{weight}.*")
            with TTFont(file, lazy=True) as font:
                names = {record.nameID: str(record) for record in font["name"].names}
            assert "Reserved Font Name" not in " ".join(names.values())
            assert "SIL Open Font License, Version 1.1" in names[13]
            head = licence[licence.index(stem if stem != "NotoSans" else "NotoSans-") :].split("\n", 2)
            assert names[5].split(";")[0] in head[0]
            assert names[0] in head[1]
