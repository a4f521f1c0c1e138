"""Cut the faces of this folder out of their whole fonts; README.md says which, and why.

python cut_fonts.py FOLDER_OF_NOTO_TTF FOLDER_OF_NOTO_CJK_TTC OUTPUT_FOLDER

Equal fonts and an equal fonttools give equal bytes.
"""

from __future__ import annotations

import sys
import unicodedata
from collections.abc import Iterable
from pathlib import Path

from fontTools import subset
from fontTools.ttLib import TTFont

SCRIPTS = (
    "Arabic", "Armenian", "Bengali", "Devanagari", "Ethiopic", "Georgian", "Gujarati", "Gurmukhi", "Hebrew", "Kannada",
    "Khmer", "Lao", "Malayalam", "Myanmar", "Oriya", "Sinhala", "Tamil", "Telugu", "Thaana", "Thai",
)  # fmt: skip
WEIGHTS = ("Regular", "Bold")
KANA = set(range(0x3041, 0x3100)) | set(range(0x31F0, 0x3200))
PRIVATE = range(0xE000, 0xF900)  # each maker's own use of these codes differs


def codes_of(codec: str, leads: Iterable[int] = range(0x80, 0x100)) -> set[int]:
    """Return the code points above ASCII of a codec of one or two bytes, those with one of the leading bytes."""
    found: set[int] = set()
    for lead in leads:
        for tail in (b"", *(bytes([byte]) for byte in range(0x30, 0x100))):
            try:
                text = (bytes([lead]) + tail).decode(codec)
            except UnicodeDecodeError:
                continue
            if len(text) == 1:
                found.add(ord(text))
    return {code for code in found if code > 0x7F and code not in PRIVATE}


def east_asian_codes() -> set[int]:
    """Return the letters of Japanese, Chinese and Korean that are kept."""
    korean = {code for code in codes_of("euc_kr") if 0x3131 <= code <= 0x318E or 0xAC00 <= code <= 0xD7A3}
    # CP932 is JIS X 0208 with the makers' additions, among them common letters of names; the leading bytes of Big5 are
    # those of its first level, the common letters.
    codes = KANA | codes_of("cp932") | codes_of("shift_jis") | codes_of("gb2312") | korean
    codes |= codes_of("big5", range(0xA4, 0xC7))
    # A sheet prints composed text (NFC), in which some letters of CP932 are others.
    return codes | {ord(part) for code in codes for part in unicodedata.normalize("NFC", chr(code))}


def cut(source: Path, target: Path, codes: set[int] | None, features: list[str], number: int = -1) -> None:
    """Write a face without hints, which paper does not need; ``codes`` None keeps every letter."""
    options = subset.Options(
        layout_features=features, hinting=False, name_IDs=["*"], notdef_outline=True, font_number=number
    )
    options.drop_tables += ["BASE", "VORG", "vhea", "vmtx"]  # for vertical writing only
    font: TTFont = subset.load_font(source, options)
    names = " ".join(str(name) for name in font["name"].names)
    if "Reserved Font Name" in names:
        raise SystemExit(f"{source} reserves its name: give the cut face another one")
    cutter = subset.Subsetter(options)
    cutter.populate(unicodes=font.getBestCmap() if codes is None else codes)
    cutter.subset(font)
    subset.save_font(font, target, options)
    print(f"{target.name}: {len(font.getBestCmap())} letters, {target.stat().st_size} bytes")


def main(noto: Path, cjk: Path, output: Path) -> None:
    """Write every cut face into the output folder."""
    for weight in WEIGHTS:
        for script in SCRIPTS:
            name = f"NotoSans{script}-{weight}.ttf"
            cut(noto / name, output / name, None, ["*"])
        collection = cjk / f"NotoSansCJK-{weight}.ttc"
        cut(collection, output / f"NotoSansCJKjp-{weight}.otf", east_asian_codes(), [], number=0)


if __name__ == "__main__":
    main(*(Path(argument) for argument in sys.argv[1:4]))
