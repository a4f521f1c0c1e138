"""What is packed for a day: each person's kit, what the store has of it, what is short, and what must stay behind."""

from __future__ import annotations

import math
import re
from collections import Counter, deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import TYPE_CHECKING, get_args

from tripplan.check import Check, Outcome
from tripplan.people.kit import (
    ANY_SIZE,
    Kit,
    Metal,
    SafetyThing,
    Service,
    SuitItem,
    cylinder_service,
    day_words,
    out_of_service,
    regulator_service,
    size_fits,
)
from tripplan.people.person import KitName, Person
from tripplan.planning.request import GroupWish, Request
from tripplan.rulebook import RuleBook

if TYPE_CHECKING:  # a plan may hold its packing
    from tripplan.planning.plan import DayPlan, DivePlan, LeadLine

SINGULAR = {"buoyancy_device": "buoyancy device", "spare_light": "spare light"}
PLURAL = {
    "mask": "masks", "snorkel": "snorkels", "fins": "pairs of fins", "boots": "pairs of boots", "suit": "suits",
    "cylinder": "cylinders", "regulator": "regulators", "buoyancy_device": "buoyancy devices", "light": "lights",
    "spare_light": "spare lights",
}  # fmt: skip
SAFETY_WORDS: Mapping[str, str] = {
    "oxygen_kit": "oxygen kit", "first_aid_kit": "first-aid kit", "flag": "flag", "float": "float", "line": "line",
    "radio": "radio", "light": "light", "spare_light": "spare light", "other": "other",
}  # fmt: skip
FITTED = ("mask", "fins", "boots", "suit", "buoyancy_device")  # what must be of the person's size
SPARED = ("cylinder", "regulator", "buoyancy_device", "mask", "fins")  # what the day ends without
NOBODY_WITHOUT = (*SPARED, "light")
LINES = (*(thing for thing in get_args(KitName) if thing != "weights"), "light", "spare_light")
AIR_PERCENT = 21.0
FIND_LEAD = "find the lead by the check at the surface"
BEFORE_EACH_DIVE = (
    "Before each dive look at everybody's gas, spare second stage, mask and suit.",
    "OSHA_T",
)
OWN_KIT = ("Everybody is counted as diving in the store's kit; nobody's own is on record.", "KIT_FILE")
SMALL_THINGS = (
    "Everybody also carries a cutter, depth, time and no-stop limits in sight, a whistle and a surface marker; the "
    "store's file does not count them.",
    "ES_550",
)


@dataclass(frozen=True)
class KitLine:
    """One thing that one person needs today, and the item of the store that is set aside for it."""

    person: str
    group: str
    thing: str  # a KitName, "light" or "spare_light"
    words: str  # what is wanted: "suit, 7 mm, size M"
    gap: str = ""  # what is not known about it besides the size; empty: nothing
    size_known: bool = True  # false: it must be of the person's size, and nobody wrote that down
    dive: int | None = None  # number of the group's dive, for a cylinder; None: all day
    size: str = ""  # as in the roster; empty: none, or not known
    suit_mm: float | None = None
    dry_suit: bool = False
    volume_l: float | None = None
    metal: Metal | None = None  # None: either
    fill_bar: float | None = None
    oxygen_percent: float | None = None
    lead_kg: float | None = None  # to pack; None: not known
    identity: str = ""  # of the item set aside; empty: counted alike, to be chosen, or none is left
    item_words: str = ""  # about that item: "steel, label 32 %"
    item_metal: str = ""  # of a cylinder set aside

    @property
    def gap_words(self) -> str:
        """Everything that is not known about it, in words; empty where nothing is."""
        size = "" if self.size_known else "the size is not on record: ask, and try it on"
        return "; ".join(part for part in (self.gap, size) if part)


@dataclass(frozen=True)
class PackLine:
    """So many of one thing for the day, and what the store has of it."""

    thing: str
    words: str
    needed: int
    spare: bool = False  # taken along in case another fails
    in_store: int | None = None  # in service and fit for it; one item may fit several lines; None: not on record
    short: int | None = None  # None: not on record
    identities: tuple[str, ...] = ()

    @property
    def short_words(self) -> str:
        """What is short, in words; empty where nothing is."""
        if self.short is None:
            return "not on record: count them"
        return f"{self.short} short" if self.short else ""


@dataclass(frozen=True)
class LeadToPack:
    """The lead of the day."""

    needed_kg: float  # of those whose lead is known, each rounded up to whole pieces
    in_store_kg: float | None  # None: not on record
    unknown: tuple[str, ...]  # whose lead must be found


@dataclass(frozen=True)
class Packing:
    """What is packed for a day of one request."""

    on: date
    lines: tuple[PackLine, ...]
    people: tuple[KitLine, ...]
    lead: LeadToPack
    stay: tuple[str, ...]  # what must not be taken, each with why
    also: tuple[str, ...]  # what else the store has for everybody's safety
    notes: tuple[tuple[str, str], ...]  # a sentence and its source
    checks: tuple[Check, ...]


# ---- what one person needs ----


def kit_of(person: Person, group: GroupWish, lead: LeadLine | None = None) -> tuple[KitLine, ...]:
    """Return what one person of a group needs today: one line a thing, and one cylinder a dive.

    lead -- what changes in the person's lead today; None: only what was found right before counts

    A size, thickness or cylinder that nobody wrote down stands in the line's ``gap_words``.
    """

    def line(thing: str, words: str, gap: str = "", **more: object) -> KitLine:
        return KitLine(person.name, group.name, thing, words, gap, **more)  # type: ignore[arg-type]

    def sized(thing: KitName, what: str, gap: str = "", **more: object) -> KitLine:
        size = person.sizes.get(thing, "")
        known = bool(size) or thing not in FITTED
        parts = [what, *([f"size {size}"] if size else [] if known else ["size not known"])]
        return line(thing, ", ".join(parts), gap, size=size, size_known=known, **more)

    lines = [sized("mask", "mask"), sized("snorkel", "snorkel"), sized("fins", "fins")]
    if group.dry_suit:
        lines.append(sized("suit", "dry suit with its boots and hose", dry_suit=True))
    else:
        lines.append(sized("boots", "boots"))
        if group.suit_mm is None:
            lines.append(sized("suit", "suit, thickness not known", "the request does not say how thick a suit"))
        elif group.suit_mm > 0:
            lines.append(sized("suit", f"suit, {group.suit_mm:g} mm", suit_mm=group.suit_mm))
    lines.append(_weights(person, group, lead))
    lines.extend(_cylinders(person, group))
    lines.append(sized("regulator", "regulator"))
    lines.append(sized("buoyancy_device", "buoyancy device"))
    if group.kind == "night":
        lines += [line("light", "light"), line("spare_light", "spare light")]
    return tuple(lines)


def _weights(person: Person, group: GroupWish, lead: LeadLine | None) -> KitLine:
    """Return the lead: the most of what was right and what is reckoned for today, or how to find it."""

    def line(words: str, gap: str = "", lead_kg: float | None = None) -> KitLine:
        return KitLine(person.name, group.name, "weights", words, gap, lead_kg=lead_kg)

    noted = person.sizes.get("weights", "")
    known = person.weighting.lead_kg if person.weighting else None
    if known is None:
        said = f"the roster says {noted}, but not in which suit and cylinder: " if noted else "lead is not known: "
        return line("weights, amount not known", said + FIND_LEAD)
    if lead is not None and lead.change_kg is None:
        gap = f"{known:g} kg was right before, and today's change is not known: {FIND_LEAD}"
        return line(f"weights, {known:g} kg", gap, known)
    if lead is not None and lead.change_kg:
        today = max(known + lead.change_kg, 0.0)
        words = f"weights, {known:g} kg was right before, about {today:.1f} kg today: {FIND_LEAD}"
        return line(words, lead_kg=max(known, today))
    return line(f"weights, {known:g} kg was right before: {FIND_LEAD}", lead_kg=known)


def _noted_l(person: Person | None) -> float | None:
    """Return how large a cylinder somebody dives with by the roster, litres."""
    found = re.search(r"[0-9]+(?:[.,][0-9]+)?", person.sizes.get("cylinder", "") if person else "")
    return float(found[0].replace(",", ".")) if found else None


def _cylinders(person: Person, group: GroupWish) -> Iterator[KitLine]:
    noted, noted_l = person.sizes.get("cylinder", ""), _noted_l(person)
    metal: Metal | None = "steel" if "steel" in noted.casefold() else "aluminium" if "alu" in noted.casefold() else None
    volume_l, gap = group.cylinder_l, ""
    if volume_l is None:
        volume_l = noted_l
        gap = "the request does not say which cylinder, so no gas was reckoned"
        gap += f"; the roster says {noted}" if noted else ""
    elif noted_l is not None and noted_l != volume_l:
        gap = f"the roster says {noted}, but the gas is reckoned for {volume_l:g} l"
    if group.fill_bar is None and not gap:
        gap = "the request does not say how full, so no gas was reckoned"
    for number, wish in enumerate(group.dives, start=1):
        percent = group.oxygen_percent(person.name, wish)
        yield KitLine(
            person=person.name,
            group=group.name,
            thing="cylinder",
            words=_cylinder_words(volume_l, group.fill_bar, metal, percent),
            gap=gap,
            size_known=volume_l is not None,
            dive=number,
            volume_l=volume_l,
            metal=metal,
            fill_bar=group.fill_bar,
            oxygen_percent=percent,
        )


def _cylinder_words(volume_l: float | None, fill_bar: float | None, metal: Metal | None, percent: float) -> str:
    parts = (
        "cylinder",
        "size not known" if volume_l is None else f"{volume_l:g} l",
        "" if fill_bar is None else f"{fill_bar:g} bar",
        metal,
        "air" if percent <= AIR_PERCENT else f"{percent:g} % oxygen",
    )
    return ", ".join(part for part in parts if part)


# ---- what the store has ----


@dataclass(frozen=True)
class Unit:
    """One piece of the store that can be handed to one person."""

    identity: str  # empty: one of several alike
    fits: Callable[[KitLine], bool]
    service: Service
    words: str = ""
    metal: str = ""


def stock_of(kit: Kit, on: date, rules: RuleBook) -> dict[str, list[Unit]]:
    """Return every piece of the store by what it is, the ones out of service too."""
    clean_percent = rules.value("kit.oxygen_clean_percent")
    units: dict[str, list[Unit]] = {thing: [] for thing in LINES}
    metals: Counter[str] = Counter(item.metal for item in kit.cylinders)

    def holds(volume_l: float, metal: Metal, bar: float, clean: bool, label: float | None) -> Callable[[KitLine], bool]:
        def fits(line: KitLine) -> bool:
            percent = AIR_PERCENT if line.oxygen_percent is None else line.oxygen_percent
            labelled = label is None or max(label, AIR_PERCENT) == max(percent, AIR_PERCENT)
            return (
                line.volume_l in (None, volume_l)
                and line.metal in (None, metal)
                and (line.fill_bar is None or line.fill_bar <= bar)
                and (percent <= clean_percent or clean)
                and labelled
            )

        return fits

    # Of the metal that there is most of first, so that fewer people change metal between two dives; what is cleaned or
    # labelled last, so that it is left for those who need it.
    for item in sorted(
        kit.cylinders,
        key=lambda one: (-metals[one.metal], one.metal, one.oxygen_clean, one.oxygen_percent is not None),
    ):
        label = f"label {item.oxygen_percent:g} %" if item.oxygen_percent is not None else ""
        units["cylinder"].append(
            Unit(
                item.identity,
                holds(item.volume_l, item.metal, item.working_bar, item.oxygen_clean, item.oxygen_percent),
                cylinder_service(item, on, rules),
                ", ".join(part for part in (item.metal, label, item.mix) if part),
                item.metal,
            )
        )
    for regulator in kit.regulators:
        units["regulator"].append(Unit(regulator.identity, lambda line: True, regulator_service(regulator, on, rules)))
    for suit in kit.suits:
        units["suit"].append(Unit(suit.identity, _suit_fits(suit), out_of_service(suit.out_of_service)))
    for thing, items in (
        ("buoyancy_device", kit.buoyancy_devices),
        ("mask", kit.masks),
        ("fins", kit.fins),
        ("boots", kit.boots),
        ("snorkel", kit.snorkels),
    ):
        for each in items:
            unit = Unit("", _size_is(each.size), out_of_service(each.out_of_service))
            units[thing].extend([unit] * each.count)
    for lamp in kit.safety:
        if lamp.thing in ("light", "spare_light"):
            unit = Unit("", lambda line: True, out_of_service(lamp.out_of_service))
            units[lamp.thing].extend([unit] * lamp.count)
    return units


def _size_is(size: str) -> Callable[[KitLine], bool]:
    return lambda line: not line.size or size_fits(line.size, size)


def _suit_fits(suit: SuitItem) -> Callable[[KitLine], bool]:
    def fits(line: KitLine) -> bool:
        if line.dry_suit != suit.dry or (line.size and not size_fits(line.size, suit.size)):
            return False
        return suit.dry or line.suit_mm in (None, suit.mm)

    return fits


# ---- who gets what ----


def without_kit(needs: Sequence[KitLine], units: Sequence[Unit]) -> tuple[KitLine, ...]:
    """Return the needs of one thing for which nothing is left when all of them are served at once."""
    return tuple(need for need, unit in zip(needs, _hand_out(needs, units), strict=True) if unit is None)


def _hand_out(needs: Sequence[KitLine], units: Sequence[Unit]) -> list[int | None]:
    """Give each need a unit of its own, as many needs as can be; return the number of the unit of each, or None.

    An earlier need never goes without for a later one. What is known to be in order goes out before what is in doubt;
    what is out of service never does. Augmenting paths in a bipartite graph: a further unit never leaves more without.
    """
    fits: dict[KitLine, list[int]] = {}
    specs = [replace(need, person="", group="", dive=None) for need in needs]
    for spec in dict.fromkeys(specs):
        fits[spec] = [n for n, unit in enumerate(units) if unit.service.usable and unit.fits(spec)]
    holder: dict[int, int] = {}  # by unit, the need that has it
    given: list[int | None] = [None] * len(needs)
    for doubtful in (False, True):
        allowed = {
            spec: [n for n in found if doubtful or units[n].service.outcome is Outcome.OK]
            for spec, found in fits.items()
        }
        options = [allowed[spec] for spec in specs]
        for start in range(len(needs)):
            if given[start] is None:
                _augment(start, options, holder, given)
    return given


def _augment(start: int, options: Sequence[Sequence[int]], holder: dict[int, int], given: list[int | None]) -> None:
    """Find a unit for a need, moving others to another unit where that makes one free (breadth first)."""
    came_from: dict[int, int] = {}  # by unit, the need that was looked at when it was reached
    waiting = deque([start])
    while waiting:
        need = waiting.popleft()
        for unit in options[need]:
            if unit in came_from:
                continue
            came_from[unit] = need
            if unit in holder:
                waiting.append(holder[unit])
                continue
            free: int | None = unit
            while free is not None:
                taker = came_from[free]
                holder[free], given[taker], free = taker, free, given[taker]
                if taker == start:
                    return
            return


def packing_list(
    request: Request, plan: DayPlan, people: Mapping[str, Person], kit: Kit | None, rules: RuleBook
) -> Packing:
    """Return what is packed for a planned day; see ``pack``."""
    return pack(request, plan.dives, plan.lead, people, kit, rules)


def pack(
    request: Request,
    dives: Sequence[DivePlan],
    lead: Sequence[LeadLine],
    people: Mapping[str, Person],
    kit: Kit | None,
    rules: RuleBook,
) -> Packing:
    """Return what is packed for a day, what the store has of it, and the checks of both.

    kit -- what the store holds; None: nobody wrote it down

    Everybody is counted as diving in the centre's kit, with one filled cylinder for each dive and no refill between.
    What one person has stays theirs all day. People whose size is not on record are served last. Each recent dive of
    the day has emptied a cylinder, unless the request says that they are full again; as nobody writes down which, none
    is then set aside for a person.
    """
    by_name = {line.name: line for line in lead}
    wanted: dict[tuple[str, str, int | None, int | None, str], KitLine] = {}
    for index, group in enumerate(request.groups):
        for name in group.everybody:
            for line in kit_of(people[name], group, by_name.get(name)):
                words = "" if line.thing == "weights" else line.words
                of = None if line.dive is None else index
                wanted.setdefault((name, line.thing, of, line.dive, words), line)
    lines = list(wanted.values())
    units = stock_of(kit, request.date, rules) if kit is not None else None
    packed: list[PackLine] = []
    set_aside: dict[KitLine, KitLine] = {}
    judged: list[_Handed] = []
    for thing in LINES:
        needs = [line for line in lines if line.thing == thing]
        needs.sort(key=lambda line: not line.size_known)
        spares = _spares(thing, needs, rules)
        if not needs:
            continue
        store = units[thing] if units is not None else []
        used = _used(request, lines, people) if thing == "cylinder" else []
        handed = _handed(thing, needs, spares, store, used)
        packed.extend(handed.lines(known=units is not None))
        set_aside.update(handed.named())
        judged.append(handed)
    packed.extend(_safety(kit, groups_at_once(dives, request)))
    own = tuple(set_aside.get(line, line) for line in lines)
    leads = _lead(lines, kit)
    notes = [OWN_KIT, BEFORE_EACH_DIVE, SMALL_THINGS]
    if request.crew.rescue:
        who = ", ".join(request.crew.rescue)
        notes.append(
            (f"Mask, fins and suit of who goes in after a casualty ({who}) are not counted.", "COMMON_PRACTICE")
        )
    return Packing(
        on=request.date,
        lines=tuple(packed),
        people=own,
        lead=leads,
        stay=tuple(_staying(units, kit)) if units is not None and kit is not None else (),
        also=tuple(_also(kit)) if kit is not None else (),
        notes=tuple(notes),
        checks=tuple(_checks(request.date, kit, judged, packed, own, leads, rules)),
    )


def _used(request: Request, lines: Sequence[KitLine], people: Mapping[str, Person]) -> list[KitLine]:
    """Return a line for each cylinder that a dive of the day has emptied already.

    As large as the person's cylinder of the request, else as the roster says; neither known: of any size.
    """
    recent = request.recent_dives if isinstance(request.recent_dives, tuple) and not request.refilled else ()
    found = []
    for dive in recent:
        if dive.surfaced.date() != request.date:
            continue
        own = [line.volume_l for line in lines if line.thing == "cylinder" and line.person == dive.person]
        volume_l = own[0] if own else _noted_l(people.get(dive.person))
        found.append(KitLine(dive.person, "", "cylinder", "", volume_l=volume_l, oxygen_percent=dive.oxygen_percent))
    return found


def _handed(
    thing: str, needs: Sequence[KitLine], spares: Sequence[KitLine], store: Sequence[Unit], used: Sequence[KitLine]
) -> _Handed:
    """Hand out one thing of the store, without what is used up."""
    given = _hand_out([*used, *needs, *spares], store)
    gone = {unit for unit in given[: len(used)] if unit is not None}
    left = [n for n in range(len(store)) if n not in gone]
    place = {unit: n for n, unit in enumerate(left)}
    return _Handed(
        thing,
        needs,
        spares,
        [store[n] for n in left],
        [None if unit is None else place[unit] for unit in given[len(used) :]],
        used=len(used),
    )


def _spares(thing: str, needs: Sequence[KitLine], rules: RuleBook) -> list[KitLine]:
    """Return the spare ones to take: a share of the needs, at least one; cylinders like most of the others."""
    if thing not in SPARED or not needs:
        return []
    share = rules.value("kit.spare_share")
    number = max(math.ceil(round(len(needs) * share, 9)), 1)
    if thing == "cylinder":
        alike = Counter(replace(line, person="", group="", dive=None, gap="", metal=None, words="") for line in needs)
        like = alike.most_common(1)[0][0]
        words = _cylinder_words(like.volume_l, like.fill_bar, None, like.oxygen_percent or AIR_PERCENT)
        return [replace(like, words=f"spare {words}")] * number
    return [KitLine("", "", thing, f"spare {SINGULAR.get(thing, thing)}")] * number


@dataclass(frozen=True)
class _Handed:
    """One thing, handed out: the needs of people first, then the spare ones."""

    thing: str
    needs: Sequence[KitLine]
    spares: Sequence[KitLine]
    units: Sequence[Unit]
    given: Sequence[int | None]
    used: int = 0  # so many more are used up, and nobody knows which

    @property
    def without(self) -> list[KitLine]:
        """The needs of people for which nothing is left."""
        return [need for need, unit in zip(self.needs, self.given, strict=False) if unit is None]

    @property
    def spares_short(self) -> int:
        return sum(unit is None for unit in self.given[len(self.needs) :])

    def unusable(self, fit_for: Iterable[KitLine]) -> list[Unit]:
        """The units that would do, were they in service."""
        wanted = list(fit_for)
        return [u for u in self.units if not u.service.usable and any(u.fits(need) for need in wanted)]

    def doubtful(self) -> list[Unit]:
        """The units handed out of which something is not known."""
        found = [self.units[n] for n in self.given if n is not None]
        return [unit for unit in found if unit.service.outcome is not Outcome.OK]

    def lines(self, *, known: bool) -> Iterator[PackLine]:
        everything = [*self.needs, *self.spares]
        for words in dict.fromkeys(need.words for need in everything):
            numbers = [n for n, need in enumerate(everything) if need.words == words]
            like, spare = everything[numbers[0]], numbers[0] >= len(self.needs)
            units = [self.given[n] for n in numbers]
            yield PackLine(
                thing=self.thing,
                words=words,
                needed=len(numbers),
                spare=spare,
                in_store=sum(u.service.usable and u.fits(like) for u in self.units) if known else None,
                short=units.count(None) if known else None,
                identities=tuple(
                    self.units[n].identity
                    for n in units
                    if n is not None and self.units[n].identity and like.size_known and not self.used
                ),
            )

    def named(self) -> Iterator[tuple[KitLine, KitLine]]:
        """Yield each need with the item that was set aside for it; where the size is not known, nobody chose yet."""
        if self.used:
            return
        for need, number in zip(self.needs, self.given, strict=False):
            if number is not None and self.units[number].identity and need.size_known:
                unit = self.units[number]
                yield need, replace(need, identity=unit.identity, item_words=unit.words, item_metal=unit.metal)


def groups_at_once(dives: Sequence[DivePlan], request: Request) -> int:
    """Return how many groups are in the water at once at most; one that has no time yet counts as always in it.

    Minutes of going in and of being out both count: a float that one group still tows cannot go with the next.
    """
    spans: list[tuple[str, datetime, datetime]] = []
    always = {group.name for group in request.groups} - {dive.group for dive in dives}
    for dive in dives:
        out = dive.exit_by or dive.window_closes
        if dive.entry is None or out is None:
            always.add(dive.group)
        else:
            spans.append((dive.group, dive.entry, out))
    most = len(always)
    for _, moment, _ in spans:
        there = {name for name, start, end in spans if start <= moment <= end}
        most = max(most, len(there | always))
    return most


def _safety(kit: Kit | None, groups: int) -> Iterator[PackLine]:
    """Yield what is taken for everybody: oxygen, first aid, a flag and a float for each group in the water."""
    wanted: tuple[tuple[SafetyThing, int], ...] = (
        ("oxygen_kit", 1), ("first_aid_kit", 1), ("flag", groups), ("float", groups),
    )  # fmt: skip
    for thing, needed in wanted:
        have = None if kit is None else counted(kit, thing)
        short = None if have is None else max(needed - have, 0)
        yield PackLine(thing, SAFETY_WORDS[thing], needed, in_store=have, short=short)


def counted(kit: Kit, thing: str) -> int:
    return sum(item.count for item in kit.safety if item.thing == thing and not item.out_of_service)


def _also(kit: Kit) -> Iterator[str]:
    for item in kit.safety:
        if item.thing in ("line", "radio", "other") and item.count and not item.out_of_service:
            what = item.notes if item.thing == "other" and item.notes else SAFETY_WORDS[item.thing]
            more = f" ({item.notes})" if item.notes and item.thing != "other" else ""
            yield f"{item.count} x {what}{more}"


def _staying(units: Mapping[str, Sequence[Unit]], kit: Kit) -> Iterator[str]:
    """Yield everything that must not be taken, with why."""
    for thing in LINES:
        for unit in units[thing]:
            if unit.identity and not unit.service.usable:
                yield f"{SINGULAR.get(thing, thing)} {_why(unit)}"
    for what, items in (
        ("buoyancy device", kit.buoyancy_devices), ("mask", kit.masks), ("fins", kit.fins), ("boots", kit.boots),
        ("snorkel", kit.snorkels),
    ):  # fmt: skip
        for item in items:
            if item.out_of_service:
                size = "" if item.size == ANY_SIZE else f" of size {item.size}"
                yield f"{item.count} x {what}{size}, out of service: {item.out_of_service}"
    for weight in kit.weights:
        if weight.out_of_service:
            yield f"{weight.count} x weight of {weight.kg:g} kg, out of service: {weight.out_of_service}"
    for safety in kit.safety:
        if safety.out_of_service:
            what = safety.notes if safety.thing == "other" and safety.notes else SAFETY_WORDS[safety.thing]
            yield f"{safety.count} x {what}, out of service: {safety.out_of_service}"


def _lead(lines: Sequence[KitLine], kit: Kit | None) -> LeadToPack:
    """Add up the lead of those whose lead is known, each rounded up to the smallest piece that the store has."""
    pieces = [item for item in kit.weights if not item.out_of_service and item.count] if kit is not None else []
    smallest = min((item.kg for item in pieces), default=0.0)
    needed, unknown = 0.0, []
    for line in lines:
        if line.thing != "weights":
            continue
        if line.lead_kg is None:
            unknown.append(line.person)
        else:
            needed += math.ceil(round(line.lead_kg / smallest, 9)) * smallest if smallest else line.lead_kg
    have = None if kit is None else round(sum(item.kg * item.count for item in pieces), 3)
    return LeadToPack(round(needed, 3), have, tuple(unknown))


# ---- checks ----


def _why(unit: Unit) -> str:
    return f"{unit.identity} {' and '.join(unit.service.reasons)}"


def _listed(parts: Sequence[str], most: int = 8, between: str = "; ") -> str:
    shown = between.join(parts[:most])
    return shown + (f"{between}and {len(parts) - most} more" if len(parts) > most else "")


def _who(line: KitLine) -> str:
    return line.person if line.dive is None else f"{line.person}, {line.group} dive {line.dive}"


def _checks(
    on: date,
    kit: Kit | None,
    handed: Sequence[_Handed],
    packed: Sequence[PackLine],
    own: Sequence[KitLine],
    lead: LeadToPack,
    rules: RuleBook,
) -> Iterator[Check]:
    if kit is None:
        sentence = "The kit is not on record: count it, and read the dates on cylinders and regulators before leaving."
        yield Check("kit-known", Outcome.CAUTION, sentence, "KIT_FILE")
    else:
        yield Check("kit-known", Outcome.OK, "The kit of the store is on record.", "KIT_FILE")
        for each in handed:
            if each.thing in ("cylinder", "regulator"):
                yield _check_service(each, on)
        if used := sum(each.used for each in handed):
            many = "1 cylinder counts" if used == 1 else f"{used} cylinders count"
            sentence = (
                f"{many} as emptied by the dives of today that are over, and nobody wrote down which: read the gauge, "
                "the label and the metal of each cylinder before it is handed out."
            )
            yield Check("kit-known", Outcome.CAUTION, sentence, "KIT_FILE", subject="cylinders")
        yield from _check_enough(handed, packed, lead, rules)
        yield from _check_metals(own)
    yield from _check_gaps(own)


def _check_service(handed: _Handed, on: date) -> Check:
    """Judge the dates of cylinders or regulators: nobody goes in with one that is overdue, or that nobody can tell."""
    what = PLURAL[handed.thing]
    name = f"{what[0].upper()}{what[1:]}"
    source = "kit.test_years" if handed.thing == "cylinder" else "kit.regulator_years"
    without = handed.without
    needed = len(handed.needs)
    useless = handed.unusable(without)
    doubtful = handed.doubtful()
    if useless:
        outcome, source = Outcome.STOP, useless[0].service.source
        sentence = (
            f"{name} in service on {day_words(on)} are too few: {needed} are needed, {needed - len(without)} can be "
            f"handed out, and the others must not be used: {_listed([_why(unit) for unit in useless])}."
        )
    elif doubtful:
        outcome, source = Outcome.CAUTION, doubtful[0].service.source
        sentence = (
            f"{name} are handed out of which something is not known: {_listed([_why(unit) for unit in doubtful])}. "
            "Look at each before it goes in."
        )
    else:
        outcome = Outcome.OK
        stays = handed.unusable([*handed.needs, *handed.spares])
        left = f" Not to be taken: {_listed([_why(unit) for unit in stays])}." if stays else ""
        sentence = f"{name} that are handed out are in service on {day_words(on)}.{left}"
    found = needed - len(without)
    return Check("kit-service", outcome, sentence, source, found, needed, what, subject=what)


def _check_enough(
    handed: Sequence[_Handed], packed: Sequence[PackLine], lead: LeadToPack, rules: RuleBook
) -> Iterator[Check]:
    """Yield what is short; one line that says so where nothing is."""
    found: list[Check] = []
    for each in handed:
        without = each.without
        if without:
            stop = any(stays_ashore(need) for need in without)
            wanted = Counter(need.words for need in without)
            what = _listed([f"{number} x {words}" for words, number in wanted.items()])
            whom = _listed(list(dict.fromkeys(_who(need) for need in without)))
            end = " They stay ashore until it is found." if stop else " Find it, or say why they dive without."
            sentence = f"The store is short of {what}. Nothing is left for {whom}.{end}"
            outcome = Outcome.STOP if stop else Outcome.CAUTION
            have = len(each.needs) - len(without)
            what = PLURAL[each.thing]
            found.append(Check("kit-enough", outcome, sentence, "KIT_FILE", have, len(each.needs), what, what))
        elif each.spares_short:
            rule = rules["kit.spare_share"]
            sentence = f"Short of spare {PLURAL[each.thing]}: {len(each.spares)} wanted, {each.spares_short} missing."
            have = len(each.spares) - each.spares_short
            what = PLURAL[each.thing]
            found.append(
                Check("kit-enough", Outcome.CAUTION, sentence, rule.key, have, len(each.spares), what, f"spare {what}")
            )
    for line in packed:
        if line.thing in ("oxygen_kit", "first_aid_kit", "flag", "float") and line.short:
            found.append(_safety_short(line))
    if lead.in_store_kg is not None and lead.in_store_kg < lead.needed_kg:
        sentence = (
            f"The lead of those whose lead is known is {lead.needed_kg:g} kg; the store has {lead.in_store_kg:g} kg."
        )
        found.append(
            Check(
                "kit-enough", Outcome.CAUTION, sentence, "KIT_FILE", lead.in_store_kg, lead.needed_kg, "kg", "weights"
            )
        )
    if not found:
        open_ones = any(not need.size_known for each in handed for need in each.needs)
        sentence = "The store has as much kit as is counted for everybody, with the spare ones."
        sentence += " Whether it fits those whose size is not on record is not known." if open_ones else ""
        found.append(Check("kit-enough", Outcome.OK, sentence, "KIT_FILE"))
    yield from found


def stays_ashore(need: KitLine) -> bool:
    """Return whether nobody goes in without it; a suit counts where the plan reckoned with it."""
    return need.thing in NOBODY_WITHOUT or (need.thing == "suit" and (need.dry_suit or need.suit_mm is not None))


def _safety_short(line: PackLine) -> Check:
    have = line.in_store or 0
    if line.thing in ("flag", "float"):
        sentence = (
            f"{line.needed} groups are in the water at once and each tows its own {line.words}; the store has {have}."
            if line.needed > 1
            else f"A group in the water tows a {line.words}; the store has none in service."
        )
        return Check(
            "kit-enough", Outcome.STOP, sentence, "NOAA_SHORE", have, line.needed, f"{line.words}s", f"{line.words}s"
        )
    sentence = (
        f"The kit file has no {line.words} in service. The emergency file says what there is: see that it is packed."
    )
    return Check(
        "kit-enough", Outcome.CAUTION, sentence, "KIT_FILE", have, line.needed, f"{line.words}s", f"{line.words}s"
    )


def _check_metals(own: Sequence[KitLine]) -> Iterator[Check]:
    """Yield everybody whose cylinders are of two metals: the lead that was right with one is wrong with the other."""
    metals: dict[str, dict[str, None]] = {}
    for line in own:
        if line.item_metal:
            metals.setdefault(line.person, {})[line.item_metal] = None
    both = [name for name, found in metals.items() if len(found) > 1]
    if both:
        sentence = (
            f"Steel for one dive and aluminium for another: {_listed(both, between=', ')}. The lead is another with "
            "each: find it anew before each dive, or swap cylinders."
        )
        yield Check("kit-metal", Outcome.CAUTION, sentence, "PHYSICS", subject=", ".join(both))


def _check_gaps(own: Sequence[KitLine]) -> Iterator[Check]:
    """Say once for the day what is not known about people's kit."""
    sizes: dict[str, dict[str, None]] = {}
    gaps: dict[str, dict[str, None]] = {}
    for line in own:
        if not line.size_known and line.thing != "cylinder":
            sizes.setdefault(line.person, {})[SINGULAR.get(line.thing, line.thing)] = None
        if line.gap and line.thing != "weights":
            gaps.setdefault(f"{line.thing}: {line.gap}", {})[line.person] = None
    alike: dict[str, list[str]] = {}
    for name, things in sizes.items():
        alike.setdefault(", ".join(things), []).append(name)
    if alike:
        who = "; ".join(f"{', '.join(names)} ({things})" for things, names in alike.items())
        sentence = f"Sizes are not on record: {who}. Ask, and try it on before leaving."
        yield Check("kit-known", Outcome.CAUTION, sentence, "ROSTER", subject="sizes")
    if names := list(dict.fromkeys(line.person for line in own if line.thing == "weights" and line.gap)):
        sentence = f"The lead is not known for today: {', '.join(names)}. Take enough, and {FIND_LEAD}."
        yield Check("kit-known", Outcome.CAUTION, sentence, "ROSTER", subject="lead")
    for what, whose in gaps.items():
        sentence = f"{what[0].upper()}{what[1:]} ({', '.join(whose)})."
        yield Check("kit-known", Outcome.CAUTION, sentence, "REQUEST", subject=", ".join(whose))
