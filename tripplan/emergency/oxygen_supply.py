"""How long the oxygen on the beach lasts, for one casualty and for two, against the time until others take over."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from fractions import Fraction
from math import ceil, floor

from tripplan.catalogue.site import Site
from tripplan.check import Check, Outcome
from tripplan.emergency.readiness import Device, OxygenUnit, Readiness
from tripplan.errors import OutOfRange
from tripplan.rulebook import RuleBook


@dataclass(frozen=True)
class OxygenLine:
    """One unit as counted on the day."""

    name: str
    kept: str
    device: Device
    flow_l_min: float  # for each casualty, by the device
    casualties: int  # at once
    usable_l: float  # above what stays in the cylinder; 0 where the gauge was never read
    minutes_one: int  # for one casualty on this unit alone, rounded down
    pressure_words: str  # "190 bar", "1900 psi", "not read"
    size_words: str  # "5 L", "0.28 L for each psi"
    read: date | None
    read_by: str | None
    fresh: bool  # read on the day itself


@dataclass(frozen=True)
class OxygenSupply:
    """All the oxygen at a site on a day against the need; every number of minutes rounded against the casualty."""

    lines: tuple[OxygenLine, ...]
    usable_l: float
    minutes_one: int  # rounded down
    minutes_two: int  # both at once, rounded down; 0 where only one can be given oxygen
    ambulance_min: float | None  # None: not known
    drive_min: float | None  # slowest known drive to a place of care that is not known to be closed; None: none known
    slowest_care: str  # whose drive that is; empty: none known
    needed_min: int | None  # ambulance and drive with the margin, rounded up; None: a part is not known
    known_min: int  # what is known of it with the margin, rounded up
    margin_share: float
    wanted_one_l: float | None  # free litres for one casualty over needed_min; None: not known
    wanted_two_l: float | None
    enough_one: str  # what would be enough in words, like "one 10 L cylinder at 200 bar"; empty: it is enough
    enough_two: str
    unknown_drives: tuple[str, ...] = ()  # places whose drive nobody knows
    on: date | None = None  # the day that it is counted for; None: no reading can be judged


COMMON_CYLINDERS_L = (2.0, 2.5, 3.0, 5.0, 10.0)  # oxygen cylinders in common use, as first aid handbooks list them
NOT_READ = "not read"
UNKNOWN_NEED = "not known while part of the need is not known"


def usable_l(unit: OxygenUnit, rules: RuleBook) -> float:
    """Return the free litres of a unit above what stays in its cylinder; 0 where its gauge was never read.

    Source: metric, water capacity times pressure; otherwise the cylinder's own factor times pressure in psi
    (OXYGEN_FIRST_AID, rules oxygen.reserve_bar and oxygen.reserve_psi).
    """
    return float(_usable_l(unit, rules))


def flow_l_min(device: Device, rules: RuleBook) -> float:
    """Return the oxygen that a device takes for each casualty, litres a minute (OXYGEN_FIRST_AID)."""
    keys: dict[Device, str] = {
        "non_rebreather": "oxygen.non_rebreather_l_min",
        "demand": "oxygen.demand_l_min",
        "bag_mask": "oxygen.bag_mask_l_min",
    }
    return rules.value(keys[device])


def minutes_for(lines: Sequence[OxygenLine], casualties: int) -> int:
    """Return the whole minutes for which so many casualties can be given oxygen at once, rounded down.

    Casualties swap units as these run dry. With ``supply`` casualty-minutes in each unit, the largest T where the sum
    of min(supply, outlets x T) over the units is at least casualties x T: no outlet serves longer than T, and whatever
    meets that can be shared out so that nobody is ever without. 0 where too few outlets hold oxygen.

    Raises OutOfRange for fewer than one casualty.
    """
    if casualties < 1:
        raise OutOfRange(f"casualties is {casualties}; it must be at least 1")
    supplies = sorted((supply / line.casualties, supply, line.casualties) for line, supply in _supplies(lines))
    drained, outlets = Fraction(0), sum(number for _, _, number in supplies)  # units that run dry, outlets that do not
    for dry_at, supply, number in supplies:
        if outlets < casualties and drained / (casualties - outlets) <= dry_at:
            break
        drained += supply
        outlets -= number
    return floor(drained / (casualties - outlets))


def oxygen_supply(
    site: Site, readiness: Readiness, care: Sequence[tuple[str, float | None]], on: date, rules: RuleBook
) -> OxygenSupply:
    """Count the oxygen at a site on a day against the time until others take over.

    care -- name and drive in minutes (None: not known) of every hospital and chamber that is not known to be closed
    while people dive; the slowest known drive counts.

    Needed are the ambulance's longest time and that drive, with oxygen.margin_share more, rounded up.
    """
    units = readiness.oxygen_at(site.slug)
    lines = tuple(_line(unit, on, rules) for unit in units)
    ambulance_min = site.rendezvous.ambulance_min
    slowest_care, drive_min = "", None
    for name, minutes in care:
        if minutes is not None and (drive_min is None or minutes > drive_min):
            slowest_care, drive_min = name, minutes
    margin_share = rules.value("oxygen.margin_share")
    with_margin_min = (_exact(ambulance_min or 0) + _exact(drive_min or 0)) * (1 + _exact(margin_share))
    unknown_drives = tuple(name for name, minutes in care if minutes is None)
    known = ambulance_min is not None and drive_min is not None and not unknown_drives
    known_min = ceil(with_margin_min)
    flow = max((line.flow_l_min for line in lines), default=flow_l_min("non_rebreather", rules))
    wanted_l = with_margin_min * _exact(flow)
    minutes_one, minutes_two = minutes_for(lines, 1), minutes_for(lines, 2)

    def enough(minutes: int, casualties: int) -> str:
        if minutes >= known_min:
            return "" if known else UNKNOWN_NEED
        words = _enough(known_min, casualties, flow, lines, rules)
        return words if known else f"at least {words}"

    return OxygenSupply(
        lines=lines,
        usable_l=float(sum(_usable_l(unit, rules) for unit in units)),
        minutes_one=minutes_one,
        minutes_two=minutes_two,
        ambulance_min=ambulance_min,
        drive_min=drive_min,
        slowest_care=slowest_care,
        unknown_drives=unknown_drives,
        needed_min=known_min if known else None,
        known_min=known_min,
        margin_share=margin_share,
        wanted_one_l=float(wanted_l) if known else None,
        wanted_two_l=float(wanted_l * 2) if known else None,
        enough_one=enough(minutes_one, 1),
        enough_two=enough(minutes_two, 2),
        on=on,
    )


def check_oxygen(supply: OxygenSupply, rules: RuleBook) -> tuple[Check, ...]:
    """Judge the oxygen: whether there is any, how long it lasts one casualty and two, and how old each reading is."""
    return (
        _check_on_site(supply),
        _check_lasts(supply, rules),
        _check_two(supply, rules),
        *(_check_gauge(line, supply.on, rules) for line in supply.lines),
    )


# ---- what each unit holds ----


def _exact(number: float) -> Fraction:
    """Return the decimal number that was written, without the noise of binary fractions: 0.1 + 0.2 is 0.3."""
    return Fraction(f"{number:.12g}")


def _usable_l(unit: OxygenUnit, rules: RuleBook) -> Fraction:
    if unit.volume_l is not None and unit.pressure_bar is not None:
        found = _exact(unit.volume_l) * (_exact(unit.pressure_bar) - _exact(rules.value("oxygen.reserve_bar")))
    elif unit.litres_per_psi is not None and unit.pressure_psi is not None:
        found = _exact(unit.litres_per_psi) * (_exact(unit.pressure_psi) - _exact(rules.value("oxygen.reserve_psi")))
    else:
        found = Fraction(0)
    return max(found, Fraction(0))


def _supplies(lines: Sequence[OxygenLine]) -> Iterator[tuple[OxygenLine, Fraction]]:
    """Yield the units, each with the minutes for which it would serve one casualty; without a flow nothing counts."""
    for line in lines:
        if line.flow_l_min > 0:
            yield line, _exact(line.usable_l) / _exact(line.flow_l_min)


def _line(unit: OxygenUnit, on: date, rules: RuleBook) -> OxygenLine:
    if unit.pressure_bar is not None:
        pressure_words = f"{unit.pressure_bar:g} bar"
    elif unit.pressure_psi is not None:
        pressure_words = f"{unit.pressure_psi:g} psi"
    else:
        pressure_words = NOT_READ
    line = OxygenLine(
        name=unit.name,
        kept=unit.kept,
        device=unit.device,
        flow_l_min=flow_l_min(unit.device, rules),
        casualties=unit.casualties,
        usable_l=usable_l(unit, rules),
        minutes_one=0,
        pressure_words=pressure_words,
        size_words=f"{unit.litres_per_psi:g} L for each psi" if unit.volume_l is None else f"{unit.volume_l:g} L",
        read=unit.read,
        read_by=unit.read_by,
        fresh=unit.read == on and pressure_words != NOT_READ,
    )
    return replace(line, minutes_one=minutes_for((line,), 1))


def _enough(minutes: int, casualties: int, flow: float, lines: Sequence[OxygenLine], rules: RuleBook) -> str:
    """Return the fewest and smallest full cylinders that would last so long, with an outlet for everybody."""
    full_bar, reserve_bar = rules.value("oxygen.full_bar"), rules.value("oxygen.reserve_bar")
    wanted_l = minutes * _exact(flow) * casualties
    each_bar = _exact(full_bar) - _exact(reserve_bar)
    if flow <= 0:
        return "a flow above 0 L/min in the rules of the centre"
    if each_bar <= 0:
        return f"{ceil(wanted_l)} L of oxygen above what stays in the cylinder"
    single = next((size for size in COMMON_CYLINDERS_L if _exact(size) * each_bar >= wanted_l), None)
    if single is not None:
        words = f"one {single:g} L cylinder at {full_bar:g} bar"
        outlets = max((line.casualties for line in lines), default=1)
    else:
        size = COMMON_CYLINDERS_L[-1]
        words = f"{ceil(wanted_l / (_exact(size) * each_bar))} cylinders of {size:g} L at {full_bar:g} bar each"
        outlets = sum(line.casualties for line in lines)
    return (
        words if casualties == 1 or outlets >= casualties else f"{words} and something that gives oxygen to two at once"
    )


# ---- checks ----


def _check_on_site(supply: OxygenSupply) -> Check:
    number = len(supply.lines)
    if number == 0:
        sentence = (
            "No oxygen unit is on record for this site: nobody dives until one is here and in the emergency file."
        )
    else:
        places = "; ".join(f"{line.name}, {line.kept}" for line in supply.lines)
        sentence = f"{'One oxygen unit is' if number == 1 else f'{number} oxygen units are'} on record here: {places}."
    return Check(
        rule="oxygen-on-site",
        outcome=Outcome.STOP if number == 0 else Outcome.OK,
        sentence=sentence,
        source="EMERGENCY_FILE",
        found=number,
        limit=1,
        unit="units",
    )


def _check_lasts(supply: OxygenSupply, rules: RuleBook) -> Check:
    have = f"Oxygen for one casualty lasts {supply.minutes_one} min"
    if supply.usable_l == 0 and supply.lines:
        have += " (no unit holds any that counts)"
    if supply.minutes_one < max(supply.known_min, 1):
        outcome = Outcome.STOP
        parts = [f"{have}, but {_need(supply)}." if supply.known_min else f"{have}.", *_unknown(supply)]
        if supply.known_min:
            parts.append(f"Enough in all would be {supply.enough_one}.")
        sentence = " ".join(parts)
    elif supply.needed_min is None:
        outcome = Outcome.CAUTION
        sentence = " ".join(_not_known(have, supply))
    else:
        outcome, sentence = Outcome.OK, f"{have}; {_need(supply)}."
    return Check(
        rule="oxygen-lasts",
        outcome=outcome,
        sentence=sentence,
        source=rules["oxygen.margin_share"].key,
        found=supply.minutes_one,
        limit=supply.known_min or None,
        unit="min",
    )


def _check_two(supply: OxygenSupply, rules: RuleBook) -> Check:
    have = f"Oxygen for two casualties at once lasts {supply.minutes_two} min"
    if supply.minutes_two == 0:
        have = "Two casualties cannot be given oxygen at once"
    if supply.minutes_two < max(supply.known_min, 1):
        outcome = Outcome.CAUTION
        link = ";" if supply.minutes_two == 0 else ", but"
        parts = [f"{have}{link} {_need(supply)}." if supply.known_min else f"{have}.", *_unknown(supply)]
        if supply.known_min:
            parts.append(f"Enough in all would be {supply.enough_two}.")
        sentence = " ".join(parts)
    elif supply.needed_min is None:
        outcome = Outcome.CAUTION
        sentence = " ".join(_not_known(have, supply))
    else:
        outcome, sentence = Outcome.OK, f"{have}; {_need(supply)}."
    return Check(
        rule="oxygen-two-casualties",
        outcome=outcome,
        sentence=sentence,
        source=rules["oxygen.margin_share"].key,
        found=supply.minutes_two,
        limit=supply.known_min or None,
        unit="min",
    )


def _need(supply: OxygenSupply) -> str:
    """Return how long it must last and from what; only for a need of which something is known."""
    parts = []
    if supply.ambulance_min is not None:
        parts.append(f"ambulance {supply.ambulance_min:g} min")
    if supply.drive_min is not None:
        parts.append(f"drive to {supply.slowest_care} {supply.drive_min:g} min")
    least = "" if supply.needed_min is not None else "at least "
    return (
        f"the need is {least}{supply.known_min} min: {' and '.join(parts)}, with {supply.margin_share * 100:g} % more"
    )


def _unknown(supply: OxygenSupply) -> Iterator[str]:
    if supply.ambulance_min is None:
        yield "How long an ambulance takes to get here is not known: ask the ambulance service."
    if supply.drive_min is None:
        yield "No drive to a hospital or chamber that takes casualties is known: find it out before diving."
    elif supply.unknown_drives:
        names = ", ".join(supply.unknown_drives)
        yield f"The drive to {names} is not known and may be longer than the slowest known one: find it out."


def _not_known(have: str, supply: OxygenSupply) -> Iterator[str]:
    yield f"{have}; nobody knows whether that is enough."
    yield from _unknown(supply)
    if supply.known_min:
        need = _need(supply)
        yield f"{need[0].upper()}{need[1:]}."


def _check_gauge(line: OxygenLine, on: date | None, rules: RuleBook) -> Check:
    rule = rules["oxygen.read_fresh_days"]
    days = (on - line.read).days if on is not None and line.read is not None else None
    again = "Read it before the first dive."
    outcome = Outcome.CAUTION
    if line.pressure_words == NOT_READ:
        sentence = f"The gauge of {line.name} was never read: the unit counts as empty. {again}"
        if line.read is not None:
            sentence = f"No reading of the gauge of {line.name} is written down: the unit counts as empty. {again}"
    elif line.read is None or days is None:
        sentence = f"The gauge of {line.name} showed {line.pressure_words}, but nobody wrote down when. {again}"
    else:
        said = (
            f"The gauge of {line.name} showed {line.pressure_words} on {line.read.day} {line.read:%B %Y}, "
            f"read by {line.read_by}"
        )
        ago = "the same day" if days == 0 else ("1 day before" if days == 1 else f"{days} days before")
        if days < 0:
            sentence = f"{said}: that is after the day of the dive. {again}"
        elif days > rule.value:
            sentence = f"{said}, {ago}; only {rule.value:g} days are allowed. {again}"
        else:
            outcome, sentence = Outcome.OK, f"{said}, {ago}; {rule.value:g} days are allowed."
    return Check(
        rule="oxygen-gauge-read",
        outcome=outcome,
        sentence=sentence,
        source=rule.key,
        found=days,
        limit=rule.value,
        unit="days",
        subject=line.name,
    )
