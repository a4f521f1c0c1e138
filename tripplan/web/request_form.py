"""The words of the form for a request, and the request that they ask for; every field of a request stands in it.

The form has no script: a list of names is several boxes of one name, and a row that is left empty is no row.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from pydantic import ValidationError

from tripplan.people.group import KINDS
from tripplan.people.skills import as_compared as _alike
from tripplan.planning.request import GroupWish, Request
from tripplan.planning.world import World, request_faults
from tripplan.record import Location
from tripplan.store.requests import frozen, judged

NAME_OF_FIELD: Final = re.compile(r"[a-z0-9_]+(\.[a-z0-9_]+){0,7}")
CLIMBS: Final[Mapping[str, str]] = {
    "road": "by road",
    "aircraft": "by small aircraft",
    "airliner": "by airliner",
}
TICKED: Final = "yes"
# No day of shore dives has more; each row takes its time to be read and shown.
MOST: Final[Mapping[str, int]] = {"groups": 20, "dives": 6}
MOST_OTHERS: Final = 60  # other rows of one kind, and names in one list
# What a change of day, place or people makes untrue, remembered from when the form was opened.
KNOWN_FOR: Final = ("known_date", "known_site", "known_people", "known_recent", "known_pressure")


@dataclass(frozen=True)
class Field:
    """One field of the form: its place in the request's values, and what it is called."""

    key: str
    label: str
    kind: str = "line"  # line, number, whole, clock, moment, tick, person, people, or a list to choose from
    hint: str = ""


@dataclass(frozen=True)
class Part:
    """A request, or one kind of row in it."""

    words: str  # what one row is called
    fields: tuple[Field, ...]
    tables: Mapping[str, Part] = field(default_factory=dict)

    def named(self, key: str) -> Field:
        """Return the field of a key.  Raises KeyError where there is none."""
        return {each.key: each for each in self.fields}[key]


_OXYGEN = Field("oxygen_percent", "Oxygen, per cent", "number", "empty: 21, air")
_DIVE = Part(
    "dive",
    (
        Field("depth_m", "Depth, metres", "number", "empty: the limit"),
        Field("minutes", "Bottom time, minutes", "whole", "empty: the limit"),
        Field("not_before", "Not before", "clock"),
        Field("entry", "Entry fixed at", "clock"),
        _OXYGEN,
        Field("ascents", "Ascents", "whole", "empty: 1"),
        Field("course_dive", "Number of the dive in the course", "whole"),
    ),
)
_GROUP = Part(
    "group",
    (
        Field("name", "Name of the group"),
        Field("kind", "Kind of dive", "kind"),
        Field("leader", "Leader", "person"),
        Field("assistants", "Assistants", "people"),
        Field("divers", "Divers", "people"),
        Field("pairs", "Pairs or threes", "pairs"),
        Field("place", "Place under water", "place"),
        Field("going_in_by", "Way in", "way"),
        Field("coming_out_by", "Way out", "way"),
        Field("cylinder_l", "Each cylinder, litres", "number"),
        Field("fill_bar", "Fill, bar", "number", "once as cold as the water"),
        Field("suit_mm", "Neoprene, millimetres", "number", "layers added up"),
        Field("dry_suit", "Everybody wears a dry suit", "tick"),
    ),
    {
        "dives": _DIVE,
        "mixes": Part("other gas", (Field("person", "Who", "person"), _OXYGEN)),
    },
)
WHOLE: Final = Part(
    "request",
    (
        Field("title", "What the day is called"),
        Field("site", "Site", "site"),
        Field("date", "Date", "day", "like 2027-06-12"),
        Field("crew.dive_director", "Dive director", "person"),
        Field("crew.shore_watch", "Shore watch", "people"),
        Field("crew.oxygen_provider", "Gives oxygen", "people"),
        Field("crew.rescue", "Goes in after a casualty", "people"),
        Field("crew.caller", "Calls for help", "people"),
        Field("crew.recorder", "Writes down times", "people"),
        Field("crew.meeter", "Meets the ambulance", "people"),
        Field("crew.crowd_control", "Keeps others away", "people"),
        Field("crew.beach_phone", "Telephone on the beach", "line", "as dialled"),
        Field("altitude.arrived", "Arrival at the site's altitude", "clock"),
        Field("altitude.settled", "Everybody lives at this altitude", "tick"),
        Field("measured_pressure_bar", "Pressure of the air measured there, bar", "number"),
        Field("refilled", "The cylinders of the day's earlier dives are full again", "tick"),
        Field("recent_none", "Everybody was asked, and nobody dived in the days before", "tick"),
    ),
    {
        "groups": _GROUP,
        "recent_dives": Part(
            "recent dive",
            (
                Field("person", "Who", "person"),
                Field("depth_m", "Deepest point, metres", "number"),
                Field("minutes", "Bottom time, minutes", "whole"),
                Field("surfaced", "Ended, site's clock", "moment", "like 2027-06-11 16:40"),
                Field("altitude_m", "Height of that water, metres", "number", "empty: not known"),
                _OXYGEN,
            ),
        ),
        "drives_between": Part(
            "drive between dives",
            (
                Field("name", "What it is called"),
                Field("height_m", "Highest point, metres", "number"),
                Field("leaves", "Starts at", "clock"),
            ),
        ),
        "way_home": Part(
            "height on the way home",
            (
                Field("name", "What it is called"),
                Field("kind", "How it is climbed", "climb"),
                Field("height_m", "Height, metres", "number", "empty: not known"),
                Field("leaves", "Starts at", "clock"),
            ),
        ),
    },
)


@dataclass
class Words:
    """What stands in the form, as typed: by key for its own fields, and a list of the same for each kind of row."""

    said: dict[str, tuple[str, ...]] = field(default_factory=dict)
    tables: dict[str, list[Words]] = field(default_factory=dict)

    def one(self, key: str) -> str:
        """Return what stands in a field; empty for nothing."""
        return next(iter(self.said.get(key, ())), "")

    def many(self, key: str) -> tuple[str, ...]:
        """Return what stands in the boxes of one name."""
        return self.said.get(key, ())

    def rows(self, key: str) -> list[Words]:
        """Return the rows of a kind."""
        return self.tables.get(key, [])

    @property
    def out(self) -> bool:
        """Whether the row is to be taken out."""
        return self.one("out") == TICKED

    @property
    def blank(self) -> bool:
        """Whether nothing at all stands in it."""
        return not any(text for texts in self.said.values() for text in texts) and not any(self.tables.values())

    def flat(self, before: str = "") -> Iterator[tuple[str, str]]:
        """Yield name and text of every box, for a form that carries them on unseen."""
        for key, texts in self.said.items():
            yield from ((f"{before}{key}", text) for text in texts)
        for key, rows in self.tables.items():
            for number, row in enumerate(rows):
                yield from row.flat(f"{before}{key}.{number}.")


# ---- from a form, and from values ----

OWN: Final = ("by", "version", "base", *KNOWN_FOR)  # fields of the form that are none of the request's
_LEAF: Final = "="
_DAY_AND_TIME: Final = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[ T][0-9]{2}:[0-9]{2}")


def words_of_form(form: Any, whole: Part | None = None, own: Iterable[str] | None = None) -> Words:
    """Return what was typed; rows in which nothing stands are no rows, and keys that the form does not have are not
    read.

    whole, own -- of another form than that for a request: its fields, and those that are none of its record's
    """
    tree: dict[str, Any] = {}
    for name in form:
        if not NAME_OF_FIELD.fullmatch(name):
            continue
        node = tree
        for part in name.split("."):
            node = node.setdefault(part, {})
        node[_LEAF] = tuple(text.strip() for text in form.getlist(name))
    words = _words(tree, WHOLE if whole is None else whole)
    for key in OWN if own is None else own:
        _put(words, key, tree.get(key, {}).get(_LEAF, ()))
    return words


def _words(tree: Mapping[str, Any], part: Part) -> Words:
    words = Words()
    for each in (*part.fields, Field("out", "")):
        node: Any = tree
        for key in each.key.split("."):
            node = node.get(key, {})
        _put(words, each.key, node.get(_LEAF, ()))
        if len(words.many(each.key)) > MOST_OTHERS:
            words.said[each.key] = words.many(each.key)[: MOST_OTHERS + 1]
    for key, sub in part.tables.items():
        numbers = sorted((int(number), number) for number in tree.get(key, {}) if re.fullmatch(r"[0-9]{1,3}", number))
        rows = (_words(tree[key][number], sub) for _, number in numbers)
        words.tables[key] = _as_many_as_fit((row for row in rows if not row.blank), _most(key))
    return words


def _as_many_as_fit(rows: Iterable[Words], most: int) -> list[Words]:
    """Return rows up to one more than may be: it tells that they are too many, and what stands in it is not lost."""
    found: list[Words] = []
    staying = 0
    for row in rows:
        if row.out and len(found) > 2 * most:
            continue
        found.append(row)
        staying += not row.out
        if staying > most:
            break
    return found


def _most(key: str) -> int:
    return MOST.get(key, MOST_OTHERS)


def too_many(words: Words) -> dict[str, tuple[str, ...]]:
    """Return a sentence for each list that is too long, by name of its box."""
    found: dict[str, tuple[str, ...]] = {}
    for where, sentence in _too_long(words, WHOLE, ()):
        box, label = _box(words, where)
        found[box] = (f"{label}: {sentence}.",)
    return found


def _too_long(words: Words, part: Part, at: Location) -> Iterator[tuple[Location, str]]:
    for each in part.fields:
        if len(words.many(each.key)) > MOST_OTHERS:
            yield (*at, *each.key.split(".")), f"at most {MOST_OTHERS} names fit into one list; leave the others away"
    for key, sub in part.tables.items():
        rows = [row for row in words.rows(key) if not row.out]
        if len(rows) > (most := _most(key)):
            yield (
                (*at, key),
                f"there are more than {most}, and at most {most} fit into one {part.words}; take the others out, of "
                "which the first alone is shown here",
            )
        for number, row in enumerate(rows):
            yield from _too_long(row, sub, (*at, key, number))


def _put(words: Words, key: str, texts: Iterable[str]) -> None:
    if given := tuple(text for text in texts if text):
        words.said[key] = given


def words_of_values(values: Mapping[str, Any]) -> Words:
    """Return the form filled with a request's values, also with those of one that cannot be read any more."""
    words = _filled(values, WHOLE)
    if values.get("recent_dives") == "none":
        words.said["recent_none"] = (TICKED,)
    words.said["known_date"] = (words.one("date"),)
    words.said["known_site"] = (words.one("site"),)
    words.said["known_people"] = tuple(sorted(_people(words)))
    words.said["known_recent"] = (words.one("recent_none"),)
    words.said["known_pressure"] = (words.one("measured_pressure_bar"),)
    return words


def _filled(values: Mapping[str, Any], part: Part) -> Words:
    words = Words()
    for each in part.fields:
        value: Any = values
        for key in each.key.split("."):
            value = value.get(key) if isinstance(value, Mapping) else None
        _put(words, each.key, _texts(value, each.kind))
    for key, sub in part.tables.items():
        rows = values.get(key)
        if key == "mixes" and isinstance(rows, Mapping):
            rows = [{"person": name, "oxygen_percent": share} for name, share in rows.items()]
        rows = rows if isinstance(rows, list | tuple) else ()
        words.tables[key] = [_filled(row, sub) for row in rows if isinstance(row, Mapping)]
    return words


def _texts(value: Any, kind: str) -> tuple[str, ...]:
    if value is None or value is False:
        return ()
    if value is True:
        return (TICKED,)
    if kind == "pairs" and isinstance(value, list | tuple):
        return ("\n".join(_pair(pair) for pair in value),)
    if kind == "people" and isinstance(value, list | tuple):
        return tuple(str(name) for name in value)
    if isinstance(value, int | float):
        return (number_text(value),)
    return (_moment_text(str(value)) if kind == "moment" else str(value),)


def _pair(pair: Any) -> str:
    line = io.StringIO()
    csv.writer(line, lineterminator="").writerow(pair if isinstance(pair, list | tuple) else [pair])
    return line.getvalue().replace(",", ", ") if '"' not in line.getvalue() else line.getvalue()


def number_text(value: float) -> str:
    """Return a number so that it reads back as the same, and so that its point cannot be taken for one of thousands."""
    text = repr(value).removesuffix(".0")
    return f"{text}0" if re.fullmatch(r"-?[1-9][0-9]{0,2}\.[0-9]{3}", text) else text


def _moment_text(text: str) -> str:
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    whole = not (moment.second or moment.microsecond)
    return moment.isoformat(" ", timespec="minutes" if whole else "auto")


# ---- to a request ----


def groups_in(words: Words, world: World) -> list[GroupWish | None]:
    """Return each group of the form without its pairs; None for one that is not whole yet."""
    made: list[GroupWish | None] = []
    for row in words.rows("groups"):
        values = _values(row, _GROUP, (), [], None)
        values.pop("pairs", None)
        try:
            group = GroupWish.model_validate(frozen(values))
        except ValidationError:
            group = None
        made.append(group if group and all(name in world.people for name in group.everybody) else None)
    return made


@dataclass(frozen=True)
class Asked:
    """The request that the form asks for; None with the sentences by name of the box they belong to."""

    request: Request | None
    errors: Mapping[str, tuple[str, ...]] = field(default_factory=dict)


def asked_in(words: Words, world: World) -> Asked:
    """Return the request that the words ask for, or a sentence for everything in them that cannot be used.

    What was true of another day, place or people is asked about once more; ``words`` then holds that it was asked.
    """
    found: list[tuple[Location, str]] = [*_too_long(words, WHOLE, ())]
    values = _values(words, WHOLE, (), found, _zone(words, world))
    if words.one("recent_none") == TICKED and any(not row.out for row in words.rows("recent_dives")):
        found.append(
            (("recent_none",), "it says that nobody dived, but recent dives are written down; take one of the two out")
        )
    elif words.one("recent_none") == TICKED:
        values["recent_dives"] = "none"
    request, faults = judged(values)
    plain_faults = [(where, _plain_words(sentence)) for where, sentence in faults if not _said(where, found)]
    if request is not None:
        plain_faults += request_faults(request, world)
    plain_faults += _asked_again(words)
    errors: dict[str, tuple[str, ...]] = {}
    for where, sentence in (*found, *plain_faults):
        box, label = _box(words, where)
        said = f"{label}: {sentence.rstrip('.')}." if label else f"{sentence.rstrip('.')}."
        if said not in errors.get(box, ()):
            errors[box] = (*errors.get(box, ()), said)
    return Asked(None if errors else request, errors)


def _said(where: Location, found: Sequence[tuple[Location, str]]) -> bool:
    return any(where[: len(place)] == place for place, _ in found)


def _zone(words: Words, world: World) -> ZoneInfo | None:
    site = world.sites.get(words.one("site"))
    return ZoneInfo(site.timezone) if site else None


def _values(
    words: Words, part: Part, at: Location, found: list[tuple[Location, str]], zone: ZoneInfo | None
) -> dict[str, Any]:
    """Return the values as a file would hold them; what is no number stays text, for the schema to refuse."""
    values: dict[str, Any] = {}
    for each in part.fields:
        if not words.many(each.key) or each.key == "recent_none":
            continue
        where = (*at, *each.key.split("."))
        try:
            value = _value(words, each, zone)
        except ValueError as error:
            found.append((where, str(error)))
            value = words.one(each.key)
        inner = values
        *path, last = each.key.split(".")
        for key in path:
            inner = inner.setdefault(key, {})
        inner[last] = value
    for key, sub in part.tables.items():
        rows = [row for row in words.rows(key) if not row.out]
        made = [_values(row, sub, (*at, key, number), found, zone) for number, row in enumerate(rows)]
        if key == "mixes" and made:
            values[key] = _mixes(made, (*at, key), found)
        elif made:
            values[key] = made
    return values


def _mixes(rows: list[dict[str, Any]], at: Location, found: list[tuple[Location, str]]) -> dict[str, Any]:
    mixes: dict[str, Any] = {}
    for number, row in enumerate(rows):
        if set(row) != {"person", "oxygen_percent"}:
            found.append(((*at, number), "give both the person and the oxygen of the gas, or leave both empty"))
        elif row["person"] in mixes:
            found.append(((*at, number, "person"), f'"{row["person"]}" has a gas already; name each person once'))
        else:
            mixes[row["person"]] = row["oxygen_percent"]
    return mixes


def _value(words: Words, each: Field, zone: ZoneInfo | None) -> Any:
    text = words.one(each.key)
    if each.kind == "people":
        return list(words.many(each.key))
    if each.kind == "pairs":
        return _pairs(text)
    if each.kind == "tick":
        return text == TICKED
    if each.kind in ("number", "whole"):
        return _number(text)
    if each.kind == "clock":
        return text.zfill(5) if re.fullmatch(r"[0-9]:[0-9]{2}", text) else text
    if each.kind == "moment":
        return _moment(text, zone)
    return text


def _number(text: str) -> float | str:
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2}[.,][0-9]{3}", text):
        plain = re.sub("[.,]", "", text)
        raise ValueError(
            f'"{text}" may be read as {plain} or as {text.replace(",", ".")}0; write it in one of these two ways'
        )
    if re.fullmatch(r"[+-]?[0-9]{1,15}", text):
        return int(text)
    if re.fullmatch(r"[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?", text):
        return float(text.replace(",", "."))
    return text


def _moment(text: str, zone: ZoneInfo | None) -> str:
    """Return a moment with its offset; a time that the clock shows twice is the later one: less time has gone by."""
    try:
        if not _DAY_AND_TIME.match(text):  # a day alone would be read as its first minute
            raise ValueError
        moment = datetime.fromisoformat(re.sub(r"(?<=[0-9]) +(?=[+-][0-9])", "", text))
    except ValueError:
        raise ValueError(
            f'"{text}" is no day and time; write it by the site\'s clock like 2027-06-11 16:40, '
            "or with its offset from UTC like 2027-06-11 16:40+01:00"
        ) from None
    if moment.tzinfo is not None or zone is None:
        return moment.isoformat()
    try:
        both = [moment.replace(tzinfo=zone, fold=fold) for fold in (0, 1)]
        return max(both, key=lambda each: each.astimezone(UTC)).isoformat()
    except OverflowError:
        return moment.isoformat()


def _pairs(text: str) -> list[list[str]]:
    lines = [line for line in text.splitlines() if line.strip()]
    return [
        [name.strip() for name in next(csv.reader([line.strip()], skipinitialspace=True)) if name.strip()]
        for line in lines
    ]


def _people(words: Words) -> set[str]:
    """Return everybody who dives by the words of a form."""
    return {
        name
        for group in words.rows("groups")
        if not group.out
        for key in ("leader", "assistants", "divers")
        for name in group.many(key)
    }


def _asked_again(words: Words) -> Iterator[tuple[Location, str]]:
    """Yield what was true when the form was opened and may not be now; it is asked once."""
    day, site = words.one("known_date"), words.one("known_site")
    moved = bool(day) and day != words.one("date")
    new = sorted(_people(words) - set(words.many("known_people")))
    if words.one("known_recent") == TICKED == words.one("recent_none") and (moved or new):
        why = f"the day was {day}" if moved else f"new in the groups: {', '.join(new)}"
        yield (
            ("recent_none",),
            f"it was ticked before, and {why}; ask everybody again, then save with the tick, or take it off",
        )
    pressure = words.one("known_pressure")
    if pressure and pressure == words.one("measured_pressure_bar") and (moved or site != words.one("site")):
        yield (
            ("measured_pressure_bar",),
            f"{pressure} bar was measured for {site} on {day}; empty it, or save once more if it holds here too",
        )
    words.said["known_date"] = (words.one("date"),)
    words.said["known_site"] = (words.one("site"),)
    words.said["known_people"] = tuple(sorted(_people(words)))


# The reader of files speaks of keys and quotes, a form of boxes and ticks.
_IN_A_FORM: Final = (
    (r", without quotes or unit", ", without its unit"),
    (r" without quotes and without a time,", ","),
    (r'"HH:MM" in quotes, from "00:00" to "23:59"', "HH:MM, from 00:00 to 23:59"),
    (r" without quotes, like", ", like"),
    (r'"HH:MM"', "HH:MM"),
    (r"\bdry_suit is true\b", "a dry suit is ticked"),
    (r"\bis true but arrived is\b", "is ticked, but the arrival is"),
    (r"\bnot_before\b", "not before"),
    (r"\bentry is\b", "the fixed entry is"),
    (r"\bentry \(fixed\) or not before \(earliest\)", "the fixed entry or the earliest"),
    (r"\bthe site's file name without \.toml", "one of the list"),
    (r"at least one \[\[groups\]\](?: with [a-z, ]+)?", "at least one group with a name, a kind, divers and dives"),
    (r"\bat least one \[\[dives\]\]", "at least one dive"),
    (r"\bgroups\[(\d+)\]", r"group \1"),
    (r"\bpairs\[(\d+)\] already", r"pair \1 already"),
    (r"\bleave pairs out altogether", "leave this empty"),
    (r"\brecent_dives\[(\d+)\]", r"recent dive \1"),
    (r"\ba \[\[recent_dives\]\] for each dive", "a row for each dive"),
    (r"holds 0; it must hold at least 1", "is empty; give at least one"),
)
_PLACE: Final = re.compile(r'^[A-Za-z0-9_]+(?:\[\d+\]|\.[A-Za-z0-9_]+|\."[^"]*")*(?=$|:? )(?:: | )?')


def _plain_words(sentence: str) -> str:
    """Return a sentence about a file as one about the form, without the place: the label says it."""
    said = _PLACE.sub("", sentence, count=1)
    for pattern, words in _IN_A_FORM:
        said = re.sub(pattern, words, said)
    return said


def _box(words: Words, where: Location) -> tuple[str, str]:
    """Return the name of the box that a place in the values belongs to, and what it is called."""
    part, at, row, label = WHOLE, "", words, ""
    left = list(where)
    while left and str(left[0]) in part.tables:
        key = str(left.pop(0))
        rows = [(number, each) for number, each in enumerate(row.rows(key)) if not each.out]
        chosen = left.pop(0) if left else None
        if isinstance(chosen, str):  # a gas by the name of a person
            chosen = next((n for n, (_, each) in enumerate(rows) if each.one("person") == chosen), None)
        if chosen is None or chosen >= len(rows):
            return f"{at}{key}", f"{label}{part.tables[key].words.capitalize()}s"
        number, row = rows[chosen]
        part, at = part.tables[key], f"{at}{key}.{number}."
        name = f" ({row.one('name')})" if row.one("name") else ""
        label = f"{label}{part.words if label else part.words.capitalize()} {number + 1}{name}, "
    keys = {each.key: each for each in part.fields}
    for length in range(1, len(left) + 1):
        dotted = ".".join(str(each) for each in left[:length])
        if dotted in keys:
            named = keys[dotted].label
            return f"{at}{dotted}", f"{label}{named[0].lower() + named[1:] if label else named}"
    return at.removesuffix("."), label.removesuffix(", ")


# ---- beside each other ----


def differences(columns: Sequence[Words | None], world: World) -> list[tuple[str, list[str]]]:
    """Return every field in which forms differ: what it is called, and what stands in each; None: nothing at all."""
    told = [dict(_told(words, WHOLE, "", world)) if words else {} for words in columns]
    labels = list(dict.fromkeys(label for each in told for label in each))
    rows = [(label, [each.get(label, "–") for each in told]) for label in _in_order(labels)]
    return [(label, texts) for label, texts in rows if len(set(texts)) > 1]


def _in_order(labels: list[str]) -> list[str]:
    """Put what belongs to one group together: groups of a later form come after the fields of all."""
    first = {label.split(", ")[0]: number for number, label in reversed(list(enumerate(labels)))}
    return sorted(labels, key=lambda label: first[label.split(", ")[0]])


def _told(words: Words, part: Part, before: str, world: World) -> Iterator[tuple[str, str]]:
    for each in part.fields:
        label = f"{before}{each.label[0].lower() + each.label[1:] if before else each.label}"
        yield label, _shown(words, each, world) or "–"
    for key, sub in part.tables.items():
        seen: set[str] = set()
        for number, row in enumerate(each for each in words.rows(key) if not each.out):
            name = row.one("name") if key == "groups" and _alike(row.one("name")) not in seen else ""
            seen.add(_alike(name))
            kind = sub.words if before else sub.words.capitalize()
            yield from _told(row, sub, f"{before}{kind} {name or number + 1}, ", world)


def _shown(words: Words, each: Field, world: World) -> str:
    text = ", ".join(words.many(each.key))
    if each.kind == "tick":
        return "yes" if text else "no"
    if each.kind == "kind" and text in KINDS:
        return KINDS[text].words
    if each.kind == "site" and text in world.sites:
        return world.sites[text].name
    if each.kind == "pairs":
        return "; ".join(text.splitlines()) or "as proposed"
    return CLIMBS.get(text, text) if each.kind == "climb" else text
