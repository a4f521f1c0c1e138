"""The languages of the emergency sheet: message catalogues in the form of gettext, read through Babel.

English is written in the code and is complete by itself. A translation that lacks a message shows the English one, and
a test refuses a catalogue with a gap. What a site file says (names, roads, notes) stays in the language of that file.
"""

from __future__ import annotations

import io
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from functools import cache
from gettext import NullTranslations
from pathlib import Path
from zoneinfo import ZoneInfo

from tripplan.data_files import data_dir
from tripplan.errors import OutOfRange

FOLDER = "languages"  # in templates/, one NAME.po a language
RIGHT_TO_LEFT = {"ar", "he", "fa", "ur"}


def mark(message: str) -> str:
    """Return a message as it is; it is marked for translation where it is shown."""
    return message


@dataclass(frozen=True)
class Language:
    """One language: how a message, a day and an hour are said in it."""

    code: str  # "en", "es"
    name: str  # in itself: "English", "Español"
    translations: NullTranslations = field(default_factory=NullTranslations, repr=False, compare=False)
    notice: str = ""  # what a reader must know of the translation, in that language

    @property
    def direction(self) -> str:
        """How the language is written: "ltr" or "rtl"."""
        return "rtl" if self.code in RIGHT_TO_LEFT else "ltr"

    def say(self, message: str, **values: object) -> str:
        """Return a message in this language, with each {name} replaced by its value."""
        said = self.translations.gettext(message) if message else ""
        return said.format(**values) if values else said

    def day(self, day: date) -> str:
        """Return a day in full, like "Saturday 12 December 2026"."""
        from babel.dates import format_date

        return format_date(day, "EEEE d MMMM y", locale=self.code)

    def short_day(self, day: date) -> str:
        """Return a day without its weekday, like "12 Dec 2026"."""
        from babel.dates import format_date

        return format_date(day, "d MMM y", locale=self.code)

    def clock(self, moment: datetime | None, timezone: str) -> str:
        """Return the hour and minute of a moment at a place in 24 hours; "-" where there is none."""
        return "-" if moment is None else f"{moment.astimezone(ZoneInfo(timezone)):%H:%M}"


ENGLISH = Language("en", "English")


@cache
def languages() -> Mapping[str, Language]:
    """Return the languages that ship with the program by code, English first."""
    found = {"en": ENGLISH}
    for file in sorted((data_dir("templates") / FOLDER).glob("*.po")):
        found[file.stem] = _read(file)
    return found


def language(code: str) -> Language:
    """Return a language by its code.  Raises OutOfRange for one that does not ship, naming those that do."""
    known = languages()
    if code not in known:
        said = ", ".join(f"{one.code} ({one.name})" for one in known.values())
        raise OutOfRange(f'language is "{code}"; accepted: {said}')
    return known[code]


def _read(path: Path) -> Language:
    from babel.core import Locale
    from babel.messages.mofile import write_mo
    from babel.messages.pofile import read_po
    from babel.support import Translations

    with path.open("rb") as file:
        catalogue = read_po(file, locale=path.stem)
    compiled = io.BytesIO()
    write_mo(compiled, catalogue)
    compiled.seek(0)
    translations = Translations(compiled)
    own_name = Locale.parse(path.stem).get_display_name(path.stem) or path.stem
    notice = mark("This translation was not yet checked by a native speaker who dives. The English sheet counts.")
    return Language(path.stem, own_name[:1].upper() + own_name[1:], translations, translations.gettext(notice))
