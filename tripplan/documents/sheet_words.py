"""The emergency action sheet in words: every value said in one language, every gap said where the value is missing.

One set of words serves all faces (paper, page, pocket file). What a site file says (names, roads, notes) and the
sentences of checks stay in the language in which they were written. Each figure is rounded against the casualty:
minutes of oxygen down, minutes that are needed and the length of every way up.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from datetime import datetime
from typing import Any
from zoneinfo import ZoneInfo

from tripplan.catalogue.site import Care
from tripplan.check import Outcome
from tripplan.documents.search_picture import search_picture, search_rows, search_words
from tripplan.emergency.call_script import Script, figure_words, mayday_script, pan_pan_script, phone_script, spelled
from tripplan.emergency.confirmed import Confirmation
from tripplan.emergency.contacts import RESCUE_ROLES
from tripplan.emergency.evacuation import Opened
from tripplan.emergency.oxygen_supply import NOT_READ, UNKNOWN_NEED, OxygenLine
from tripplan.emergency.readiness import Drill, RescueKit, TellAfter
from tripplan.emergency.scenarios import (
    caution,
    first_minute,
    gear_and_record,
    neuro_look,
    posture,
    report_fields,
    scenarios,
)
from tripplan.emergency.search_area import SearchStep, method_words
from tripplan.language import Language
from tripplan.planning.action_sheet import ActionSheet, SheetCare, SheetContact, SheetDive
from tripplan.sources import SOURCES

BLANK = "____"
# The lines of the telephone call that stand on the front: what must be heard even when the line breaks.
BREATH = ("nature", "place", "position", "rendezvous", "gate", "casualties", "conscious", "breathing", "callback")
FONT = "Noto Sans"


def sheet_text(sheet: ActionSheet, language: Language) -> dict[str, Any]:
    """Return every word of a sheet in a language, as plain values that JSON can hold.

    The ``cautions`` are the sentences of the checks that are not in order, stops first, in English as checks are;
    ``stops`` are those of them that forbid the dive.
    """
    gaps = gap_words(language)
    return {
        "language": language.code,
        "direction": language.direction,
        "notice": language.notice,
        "demonstration": language.say("DEMONSTRATION - NOT FOR USE") if sheet.demonstration else "",
        "caution": _caution(language),
        "title": language.say("Emergency sheet: {site}, {day}", site=sheet.site_name, day=language.day(sheet.date)),
        "slug": sheet.site,
        "site": sheet.site_name,
        "centre": sheet.centre,
        "code_of_practice": sheet.code_of_practice or language.say("no code of practice on file"),
        "day": sheet.date.isoformat(),
        "date": language.day(sheet.date),
        "timezone": sheet.timezone,
        "revision": sheet.revision,
        "superseded": language.say(
            "Superseded if the page of this site shows another revision than {revision}.", revision=sheet.revision
        ),
        "printed_from": _printed_from(sheet, language),
        "labels": label_words(language),
        "first_minute": list(first_minute(language)),
        "posture": list(posture(language)),
        "where": _where(sheet, gaps, language),
        "roles": _roles(sheet, gaps, language),
        "contacts": [_contact(line, sheet, language) for line in in_calling_order(sheet)],
        "missing_contacts": _missing_contacts(sheet, language),
        "country_numbers": _country_numbers(sheet, gaps, language),
        "care": [_care(line, sheet, language) for line in sheet.care],
        "oxygen": _oxygen(sheet, gaps, language),
        "kits": [_kit(kit, language) for kit in sheet.kits],
        "breath": [line.say for line in phone_script(sheet.facts, language).lines if line.key in BREATH],
        "scripts": _scripts(sheet, language),
        "spelled": spelled(sheet.site_name) or language.say("the name has no letters that the alphabet spells"),
        "figures": [[row.figure, _marked(row.say, row.say_provenance, language)] for row in figure_words()],
        "scenarios": [
            {
                "key": each.key,
                "title": each.title,
                "steps": list(each.steps),
                "never": list(each.never),
                "sources": _sources(each.sources, language),
            }
            for each in scenarios(language)
        ],
        "gear": list(gear_and_record(language)),
        "report": list(report_fields(language)),
        "look": list(neuro_look(language)),
        "dives": [_dive(dive, sheet, language) for dive in sheet.dives],
        "searches": [_search(dive, sheet, language) for dive in sheet.dives],
        "search_head": _search_head(language),
        "search_method": list(method_words(language)),
        "drill": _drill(sheet.drill, sheet.drill_overdue, gaps, language),
        "tell_after": [_tell(one, language) for one in sheet.tell_after] or [gaps["no_tell_after"]],
        "hazards": [list(hazard) for hazard in sheet.hazards],
        "unconfirmed": _unconfirmed(sheet, language),
        "cautions": [check.sentence for check in sheet.cautions],
        "stops": [check.sentence for check in sheet.cautions if check.outcome is Outcome.STOP],
        "gaps": [gaps[key] for key in sheet.gaps],
        "gap_kit": gaps["no_kit"],
        "gap_dives": gaps["no_dives"],
    }


# ---- what is missing, and what things are called ----


def gap_words(language: Language) -> Mapping[str, str]:
    """Return for each key of planning.action_sheet.GAPS what stands in its place."""
    return {
        "no_director": language.say("nobody named to be in charge"),
        "no_oxygen_giver": language.say("nobody named to give first aid and oxygen"),
        "no_caller": language.say("nobody named to call"),
        "no_rescuer": language.say("nobody named for rescue from the water"),
        "no_recorder": language.say("nobody named to write down"),
        "no_meeter": language.say("nobody named to meet the ambulance"),
        "no_crew": language.say("no crew named: write the names in before the first dive"),
        "no_dives": language.say("no dives planned here: write in who dives, and when they are overdue"),
        "no_gate_code": language.say("no gate code on file"),
        "no_vhf": language.say("nothing known of VHF here: use the telephone"),
        "no_landline": language.say("no landline on file"),
        "no_helicopter": language.say("no landing place on file: ask the rescue service"),
        "no_ambulance_time": language.say("not known how long an ambulance takes: ask its service"),
        "no_landmark": language.say("no feature of the chart on file to be found from"),
        "no_beach_phone": language.say("no telephone named on the beach: write its number in"),
        "no_oxygen": language.say("NO OXYGEN on file for this site"),
        "no_kit": language.say("no rescue kit on file for this site"),
        "no_drill": language.say("no emergency drill on record: walk through this sheet before the first dive"),
        "no_tell_after": language.say("nobody on file who must be told: write them in"),
        "no_extraction": language.say("no place on file where a casualty can be brought out: find one before diving"),
        "no_alternative_exit": language.say("no other way out known"),
        "no_country": language.say("country not on file: find out its emergency number"),
    }


def role_words(language: Language) -> Mapping[str, str]:
    """Return what each role of the emergency plan is called, by its key."""
    return {
        "in_charge": language.say("In charge"),
        "rescue": language.say("Rescue from the water"),
        "oxygen": language.say("First aid and oxygen"),
        "caller": language.say("Calls"),
        "recorder": language.say("Writes down"),
        "meeter": language.say("Meets the ambulance"),
        "crowd": language.say("Keeps others away"),
    }


def contact_words(language: Language) -> Mapping[str, str]:
    """Return what each role of a contact is called, by its key."""
    return {
        "emergency": language.say("Emergency services"),
        "coastguard": language.say("Coastguard"),
        "ambulance": language.say("Ambulance"),
        "hospital": language.say("Hospital"),
        "chamber": language.say("Recompression chamber"),
        "diving_doctor": language.say("Diving doctor"),
        "diver_hotline": language.say("Divers' emergency line"),
        "transport": language.say("Casualty transport"),
        "police": language.say("Police"),
        "harbour": language.say("Harbour"),
        "landowner": language.say("Landowner"),
        "centre": language.say("Dive centre"),
    }


def scenario_words(language: Language) -> Mapping[str, str]:
    """Return the title of each scenario by its key."""
    return {each.key: each.title for each in scenarios(language)}


def label_words(language: Language) -> dict[str, str]:
    """Return every heading and label of the faces; ``____`` in one is a blank to write in."""
    return {
        "act": language.say("Act"),
        "details": language.say("Details"),
        "scenarios": language.say("If this happens"),
        "where_to_look": language.say("Where to look"),
        "revision": language.say("Revision"),
        "page": language.say("Page {page} of {pages}", page="{page}", pages="{pages}"),
        "local_times": language.say("Times are local"),
        "call_first": language.say("CALL FIRST"),
        "say": language.say("SAY"),
        "we_are_at": language.say("WE ARE HERE"),
        "position": language.say("Position"),
        "spoken": language.say("Read it out"),
        "decimal": language.say("Decimal degrees"),
        "road": language.say("Road"),
        "meet": language.say("Meet help at"),
        "meet_position": language.say("Its position"),
        "meet_notes": language.say("Notes"),
        "gate": language.say("Gate code"),
        "ambulance": language.say("Ambulance"),
        "helicopter": language.say("Helicopter"),
        "landmark": language.say("From the sea"),
        "signal": language.say("Telephone signal"),
        "vhf": language.say("VHF"),
        "landline": language.say("Landline"),
        "beach_phone": language.say("Telephone on the beach"),
        "place_notes": language.say("More on the place"),
        "out": language.say("Bring casualties out at"),
        "alternative": language.say("Other way out"),
        "first_minute": language.say("FIRST MINUTE"),
        "posture": language.say("How they lie"),
        "roles": language.say("Who does what"),
        "role": language.say("Task"),
        "who": language.say("Who"),
        "then_call": language.say("Then call, in this order"),
        "number": language.say("Number"),
        "inside": language.say("inside the country: {number}", number="{number}"),
        "contact": language.say("Whom"),
        "contact_notes": language.say("More on the numbers"),
        "status": language.say("How sure"),
        "on_the_day": language.say("On the day"),
        "checked_today": language.say("checked today ____ by ____"),
        "missing_contacts": language.say("No number on file"),
        "country_numbers": language.say("Numbers of the country"),
        "care": language.say("Hospitals and chambers"),
        "directions": language.say("The way"),
        "first_choice": language.say("FIRST CHOICE"),
        "closed": language.say("CLOSED"),
        "oxygen": language.say("Oxygen"),
        "oxygen_unit": language.say("Unit"),
        "oxygen_size": language.say("Size"),
        "oxygen_pressure": language.say("Gauge"),
        "oxygen_device": language.say("Gives by"),
        "oxygen_minutes": language.say("Lasts one"),
        "oxygen_kept": language.say("Where"),
        "oxygen_read": language.say("Read"),
        "oxygen_givers": language.say("Trained and named"),
        "oxygen_need": language.say("Needed"),
        "kits": language.say("Rescue kit"),
        "scripts": language.say("What to say"),
        "read_in_both": language.say("A line that runs across is read in both calls."),
        "after_call": language.say("After the call"),
        "spelled": language.say("Spell the name"),
        "figures": language.say("Say figures one by one"),
        "never": language.say("Never"),
        "sources": language.say("Sources"),
        "gear": language.say("Gear and record"),
        "report": language.say("Goes with the casualty"),
        "look": language.say("Look and ask"),
        "dives": language.say("Dives"),
        "dive": language.say("Dive"),
        "people": language.say("People"),
        "entry": language.say("In"),
        "exit_by": language.say("Overdue from"),
        "depth": language.say("Depth"),
        "place": language.say("Place"),
        "last_seen_at": language.say("Last seen at ____, time ____, by ____"),
        "search_method": language.say("How this is reckoned"),
        "fill_in": language.say("Fill in by hand"),
        "drill": language.say("Drill"),
        "next_drill": language.say("Next drill on ____"),
        "tell_after": language.say("Tell afterwards"),
        "hazards": language.say("Hazards here"),
        "hazard_control": language.say("What is done about it"),
        "unconfirmed": language.say("NOT CONFIRMED TODAY"),
        "cautions": language.say("Not in order"),
        "gaps": language.say("Not on file"),
        "times": language.say("Write the times"),
        "time_of_event": language.say("It happened"),
        "time_of_call": language.say("Call made"),
        "time_of_oxygen": language.say("Oxygen on"),
        "time_of_ambulance": language.say("Ambulance here"),
        "code_position": language.say("Position"),
        "code_call": language.say("First call"),
        "code_revision": language.say("Newest sheet?"),
        "code_of_practice": language.say("Code of practice"),
        "printed_from": language.say("Filled from"),
        "confirmed_mark": language.say("confirmed"),
        "unconfirmed_mark": language.say("not confirmed"),
    }


def _caution(language: Language) -> str:
    more = language.say("Every number can be wrong: what is seen on the beach counts.")
    return f"{caution(language)} {more}"


def _printed_from(sheet: ActionSheet, language: Language) -> str:
    if not sheet.plans:
        return language.say("no day plan: dives and roles are to be written in")
    if len(sheet.plans) == 1:
        return language.say("the day plan of revision {revision}", revision=sheet.plans[0])
    return language.say("the day plans of revisions {revisions}", revisions=", ".join(sheet.plans))


# ---- where ----


def _where(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> dict[str, str]:
    ambulance = (
        gaps["no_ambulance_time"]
        if sheet.ambulance_min is None
        else language.say("here after {minutes} min at most, says its service", minutes=_up(sheet.ambulance_min))
    )
    return {
        "position": sheet.position.degrees_minutes,
        "spoken": sheet.position.spoken,
        "decimal": sheet.position.decimal,
        "geo": sheet.position.geo_uri,
        "landmark": _landmark(sheet, gaps, language),
        "road": sheet.road,
        "meet": sheet.rendezvous,
        "meet_position": sheet.rendezvous_position.degrees_minutes,
        "meet_notes": sheet.rendezvous_notes or language.say("no notes on the meeting place"),
        "gate": sheet.gate_code or gaps["no_gate_code"],
        "access": sheet.access_notes or language.say("no notes on the way in"),
        "helicopter": sheet.helicopter or gaps["no_helicopter"],
        "ambulance": ambulance,
        "signal": sheet.phone_signal or language.say("not known where a telephone has signal"),
        "vhf": sheet.vhf or gaps["no_vhf"],
        "landline": sheet.landline or gaps["no_landline"],
        "beach_phone": sheet.beach_phone or gaps["no_beach_phone"],
        "out": "; ".join(sheet.extraction) or gaps["no_extraction"],
        "alternative": gaps["no_alternative_exit"] if "no_alternative_exit" in sheet.gaps else sheet.alternative_exit,
    }


def _landmark(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> str:
    facts = sheet.facts
    if facts.landmark is None or facts.landmark_bearing_deg is None or facts.landmark_distance_nm is None:
        return gaps["no_landmark"]
    return language.say(
        "bearing {bearing} degrees true, {distance} nautical miles from {landmark}",
        bearing=_bearing(facts.landmark_bearing_deg),
        distance=f"{facts.landmark_distance_nm:.2f}",
        landmark=facts.landmark,
    )


# ---- who ----


def _roles(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> list[dict[str, str]]:
    names = role_words(language)
    nobody = {
        "in_charge": gaps["no_director"],
        "rescue": gaps["no_rescuer"],
        "oxygen": gaps["no_oxygen_giver"],
        "caller": gaps["no_caller"],
        "recorder": gaps["no_recorder"],
        "meeter": gaps["no_meeter"],
        "crowd": language.say("nobody named to keep others away"),
    }
    lines = []
    for line in sheet.roles:
        notes = [_in_the_water(name, sheet, language) for name in line.people if name in line.diving]
        lines.append(
            {
                "key": line.key,
                "role": names[line.key],
                "who": ", ".join(line.people) or BLANK,
                "note": "; ".join(notes) if line.people else nobody[line.key],
            }
        )
    return lines


def _in_the_water(name: str, sheet: ActionSheet, language: Language) -> str:
    spans = [
        language.say(
            "{start} to {end}", start=_clock(dive.entry, sheet, language), end=_clock(dive.exit_by, sheet, language)
        )
        for dive in sheet.dives
        if name in dive.people
    ]
    if not spans:
        return language.say("{name}: in the water on a dive of the day", name=name)
    return language.say("{name}: in the water {spans}", name=name, spans=", ".join(spans))


def _contact(line: SheetContact, sheet: ActionSheet, language: Language) -> dict[str, Any]:
    return {
        "order": line.order,
        "key": line.role,
        "role": contact_words(language)[line.role],
        "name": line.name,
        "number": line.phone.printed,
        "national": line.phone.national,
        "link": line.phone.link,
        "hours": line.hours,
        "status": _status(line, sheet, language),
        "confirmed": line.confirmed,
        "fresh": line.fresh,
        "doubt": line.phone.doubt,
        "notes": line.notes,
    }


def _status(line: SheetContact | SheetCare, sheet: ActionSheet, language: Language) -> str:
    """Return how well a number is known on the day, what was found on it today before what stands in the file."""
    if line.today is not None:
        return _today(line.today, sheet, language)
    known: SheetContact | Care = line if isinstance(line, SheetContact) else line.care.way.care
    if known.checked is None:
        return language.say("NEVER CHECKED: ring it before the first dive")
    day, by = language.short_day(known.checked), known.checked_by or language.say("nobody named")
    if known.checked > sheet.date:
        return language.say("checked {day} by {who}, which is after this day: ring it", day=day, who=by)
    if not line.fresh:
        return language.say("NOT CHECKED SINCE {day}, by {who}: ring it before the first dive", day=day, who=by)
    return language.say("checked {day} by {who}, not yet confirmed today", day=day, who=by)


def _today(found: Confirmation, sheet: ActionSheet, language: Language) -> str:
    clock = _clock(found.at, sheet, language)
    if found.found == "right":
        said = language.say("confirmed today {time} by {who}", time=clock, who=found.by)
    elif found.found == "no_answer":
        said = language.say("DID NOT ANSWER today {time}, tried by {who}", time=clock, who=found.by)
    elif found.found == "wrong":
        said = language.say("WRONG NUMBER, found today {time} by {who}", time=clock, who=found.by)
    else:
        said = language.say("TAKES NO CASUALTIES TODAY, told {time} to {who}", time=clock, who=found.by)
    return f"{said}. {found.note}" if found.note else said


def _missing_contacts(sheet: ActionSheet, language: Language) -> list[str]:
    held = {line.role for line in sheet.contacts} | {line.care.way.kind for line in sheet.care}
    missing = []
    if not held.intersection(RESCUE_ROLES):
        missing.append(language.say("NO RESCUE SERVICE on file: nobody to call first"))
    gaps = {
        "coastguard": language.say("no coastguard or rescue centre on file"),
        "hospital": language.say("no hospital on file"),
        "chamber": language.say("no recompression chamber on file"),
        "diving_doctor": language.say("no diving doctor on file"),
        "diver_hotline": language.say("no divers' emergency line on file"),
        "transport": language.say("no casualty transport on file"),
        "police": language.say("no police number on file"),
    }
    return missing + [words for key, words in gaps.items() if key not in held]


def _country_numbers(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> list[str]:
    if sheet.country is None:
        return [gaps["no_country"]]
    country = _country(sheet.country, language)
    if not sheet.country_numbers:
        return [language.say("no emergency number known for {country}: find it out before diving", country=country)]
    services = {
        "any": language.say("emergency services"),
        "ambulance": language.say("ambulance"),
        "police": language.say("police"),
        "fire": language.say("fire brigade"),
        "coastguard": language.say("coastguard"),
        "divers": language.say("divers' emergency line"),
    }
    lines = []
    for each in sheet.country_numbers:
        said = language.say(
            "{number}: {service} ({country})",
            number=each.number,
            service=services.get(each.service, each.service),
            country=country,
        )
        notes = [each.note] if each.note else []
        if each.provenance != "verified":
            notes.append(language.say("from memory: check it before you rely on it"))
        lines.append(", ".join([said, *notes]))
    return lines


def _country(code: str, language: Language) -> str:
    from babel import Locale

    names = Locale.parse(language.code).territories
    return str(names[code]) if code in names else language.say("country {code}", code=code)


# ---- care ----


def _care(line: SheetCare, sheet: ActionSheet, language: Language) -> dict[str, Any]:
    way = line.care.way
    place = way.care
    return {
        "kind": contact_words(language)[way.kind],
        "key": way.kind,
        "name": place.name,
        "number": line.phone.printed,
        "national": line.phone.national,
        "link": line.phone.link,
        "doubt": line.phone.doubt,
        "drive": language.say("drive not known: find it out before diving")
        if place.drive_min is None
        else language.say("{minutes} min by road", minutes=_up(place.drive_min)),
        "distance": language.say(
            "{distance} km in a straight line, bearing {bearing} degrees true",
            distance=_km_up(way.distance_km),
            bearing=_bearing(way.bearing_deg),
        ),
        "opened": _opened(line, language),
        "position": place.position.degrees_minutes,
        "directions": place.directions or language.say("no directions on file: use the position"),
        "height": _heights(line, language),
        "status": _status(line, sheet, language),
        "confirmed": line.confirmed,
        "fresh": line.fresh,
        "first_choice": line.care.first_choice,
        "closed": line.care.opened is Opened.CLOSED,
        "notes": place.notes,
    }


def _opened(line: SheetCare, language: Language) -> str:
    words = line.care.opened_words
    if language.code == "en":
        return words
    said = {
        Opened.OPEN: language.say("open during the dives"),
        Opened.CLOSED: language.say("CLOSED during some of the dives"),
        Opened.UNKNOWN: language.say("not known whether it is open"),
    }[line.care.opened]
    return f"{said} ({words})"


def _heights(line: SheetCare, language: Language) -> str:
    """Return how high the way to care goes above the water: bubbles grow with height."""
    road, flight = line.care.road_climb_m, line.care.flight_climb_m
    parts = [
        language.say("not known how high the road goes")
        if road is None
        else language.say("the road climbs {metres} m above the water", metres=_up(max(road, 0.0)))
    ]
    if flight is not None:
        parts.append(language.say("a flight goes {metres} m above the water", metres=_up(max(flight, 0.0))))
    if line.care.climbs:
        parts.append(language.say("TELL THE RESCUE SERVICE: a casualty with bubbles should not go higher"))
    return "; ".join(parts)


# ---- oxygen and kits ----


def _oxygen(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> dict[str, Any]:
    supply = sheet.oxygen
    givers = ", ".join(sheet.oxygen_givers)
    return {
        "headline": _oxygen_headline(sheet, gaps, language),
        "enough_one": bool(supply.lines) and not supply.enough_one,
        "enough_two": bool(supply.lines) and not supply.enough_two,
        "lines": [_oxygen_line(line, sheet, language) for line in supply.lines],
        "need": _oxygen_need(sheet, language),
        "shortfall": _shortfall(sheet, language),
        "shared": [
            language.say(
                "{unit} is counted at {site} on the same day too: it can be at one of them only", unit=unit, site=site
            )
            for unit, site in sheet.shared_oxygen
        ],
        "givers": givers or gaps["no_oxygen_giver"],
    }


def _needed(sheet: ActionSheet, language: Language) -> str:
    supply = sheet.oxygen
    if supply.needed_min is not None:
        return language.say("{minutes} min", minutes=supply.needed_min)
    if supply.known_min:
        return language.say("at least {minutes} min", minutes=supply.known_min)
    return language.say("not known")


def _oxygen_headline(sheet: ActionSheet, gaps: Mapping[str, str], language: Language) -> str:
    supply, needed = sheet.oxygen, _needed(sheet, language)
    if not supply.lines:
        return language.say("{gap}. Needed: {needed}.", gap=gaps["no_oxygen"], needed=needed)
    if supply.minutes_two == 0:
        return language.say(
            "{one} min for one casualty; two at once cannot be given it. Needed: {needed}.",
            one=supply.minutes_one,
            needed=needed,
        )
    return language.say(
        "{one} min for one casualty, {two} min for two at once. Needed: {needed}.",
        one=supply.minutes_one,
        two=supply.minutes_two,
        needed=needed,
    )


def _oxygen_line(line: OxygenLine, sheet: ActionSheet, language: Language) -> dict[str, str]:
    devices = {
        "demand": language.say("demand valve"),
        "non_rebreather": language.say("non-rebreather mask"),
        "bag_mask": language.say("bag and mask with reservoir"),
    }
    if line.pressure_words == NOT_READ or line.read is None:
        read = language.say("NEVER READ: counts as empty, read the gauge now")
        if line.pressure_words != NOT_READ:
            read = language.say("nobody wrote down when: read the gauge now")
    else:
        day, by = language.short_day(line.read), line.read_by or language.say("nobody named")
        read = language.say("{day} by {who}", day=day, who=by)
        if not line.fresh:
            read = language.say("{day} by {who}, NOT TODAY: read the gauge now", day=day, who=by)
    device = devices.get(line.device, line.device)
    device = language.say("{device}, {flow} L/min", device=device, flow=f"{line.flow_l_min:g}")
    if line.casualties > 1:
        device = language.say("{device}, {number} casualties at once", device=device, number=line.casualties)
    return {
        "name": line.name,
        "size": line.size_words,
        "pressure": language.say("not read") if line.pressure_words == NOT_READ else line.pressure_words,
        "device": device,
        "minutes": language.say("{minutes} min", minutes=line.minutes_one),
        "kept": line.kept,
        "read": read,
    }


def _oxygen_need(sheet: ActionSheet, language: Language) -> str:
    supply = sheet.oxygen
    parts = [
        language.say("ambulance: time not known")
        if supply.ambulance_min is None
        else language.say("ambulance {minutes} min", minutes=_up(supply.ambulance_min)),
        language.say("drive to care: not known")
        if supply.drive_min is None
        else language.say("drive to {place} {minutes} min", place=supply.slowest_care, minutes=_up(supply.drive_min)),
        language.say("{percent} % more for safety", percent=f"{supply.margin_share * 100:g}"),
    ]
    return language.say("{needed}: {parts}", needed=_needed(sheet, language), parts=", ".join(parts))


def _shortfall(sheet: ActionSheet, language: Language) -> list[str]:
    supply = sheet.oxygen
    one = language.say("NOT ENOUGH for one casualty. Enough would be: {what}.", what=supply.enough_one)
    two = language.say("Not enough for two casualties. Enough would be: {what}.", what=supply.enough_two)
    unknown = language.say("Not known whether the oxygen lasts: find out what is not known of the need.")
    lines = []
    for enough, words in ((supply.enough_one, one), (supply.enough_two, two)):
        if enough:
            lines.append(unknown if enough == UNKNOWN_NEED else words)
    return list(dict.fromkeys(lines))


def _kit(kit: RescueKit, language: Language) -> dict[str, str]:
    if kit.checked is None:
        status = language.say("NEVER COUNTED: open it before the first dive")
    else:
        by = kit.checked_by or language.say("nobody named")
        status = language.say("counted {day} by {who}", day=language.short_day(kit.checked), who=by)
    return {"name": kit.name, "kept": kit.kept, "content": ", ".join(kit.content), "status": status}


# ---- what to say ----


def _scripts(sheet: ActionSheet, language: Language) -> list[dict[str, Any]]:
    titles = {
        "phone": language.say("On the telephone"),
        "mayday": language.say("VHF channel 16, life in danger: MAYDAY"),
        "pan_pan": language.say("VHF channel 16, urgent: PAN PAN"),
    }
    written: list[Script] = [
        phone_script(sheet.facts, language),
        mayday_script(sheet.facts, language),
        pan_pan_script(sheet.facts, language),
    ]
    return [
        {
            "kind": script.kind,
            "title": titles[script.kind],
            "when": script.when,
            "lines": [line.say for line in script.lines],
            "keys": [line.key for line in script.lines],
            "after": list(script.after),
        }
        for script in written
    ]


def _sources(keys: tuple[str, ...], language: Language) -> str:
    said = []
    for key in keys:
        source = SOURCES[key]
        said.append(_marked(source.title, source.provenance, language))
    return "; ".join(said)


def _marked(words: str, provenance: str, language: Language) -> str:
    """Return words with the mark that they were read nowhere, where so."""
    return words if provenance != "from memory" else language.say("{words} (from memory)", words=words)


# ---- dives and searches ----


def _dive_name(dive: SheetDive, language: Language) -> str:
    return language.say("{group}, dive {number}", group=dive.group, number=dive.number)


def _dive(dive: SheetDive, sheet: ActionSheet, language: Language) -> dict[str, str]:
    return {
        "name": _dive_name(dive, language),
        "leader": dive.leader or language.say("nobody leads it"),
        "people": ", ".join(dive.people) or language.say("nobody named"),
        "entry": _clock(dive.entry, sheet, language),
        "exit_by": _clock(dive.exit_by, sheet, language),
        "depth": language.say("not known") if dive.depth_m is None else f"{_tenths_up(dive.depth_m)} m",
        "gas": language.say("{percent} % oxygen", percent=", ".join(f"{each:g}" for each in dive.oxygen_percents)),
        "place": dive.place,
    }


def _search(dive: SheetDive, sheet: ActionSheet, language: Language) -> dict[str, Any]:
    area = dive.search
    return {
        "title": language.say(
            "{dive}: last seen going under at {time}, {position}",
            dive=_dive_name(dive, language),
            time=_clock(area.last_seen_at, sheet, language),
            position=area.last_seen.degrees_minutes,
        ),
        "head": _search_head(language),
        "rows": [
            [row[0], row[1], _middle(step, language), _radius(step, language), *row[4:]]
            for row, step in zip(search_rows(area, sheet.timezone), area.steps, strict=True)
        ],
        "words": list(search_words(area, sheet.timezone, language)),
        "picture": search_picture(area, sheet.position, sheet.timezone, font_family=FONT),
    }


def _search_head(language: Language) -> list[str]:
    """Return the heads of search_head in a language."""
    return [
        language.say("Time"),
        language.say("Minutes after"),
        language.say("Middle of the area"),
        language.say("Radius"),
        language.say("Limit to the north"),
        language.say("Limit to the south"),
        language.say("Limit to the east"),
        language.say("Limit to the west"),
    ]


def _middle(step: SearchStep, language: Language) -> str:
    """Return the middle of an area as search_rows says it, in a language."""
    if step.carried is None:
        return language.say("way not known")
    if step.toward_deg is None:
        return language.say("no drift")
    return language.say(
        "toward {bearing}°, {metres} m", bearing=_bearing(step.toward_deg), metres=round(step.away_m / 10) * 10
    )


def _radius(step: SearchStep, language: Language) -> str:
    return language.say("radius {metres} m", metres=math.ceil(step.radius_m / 10) * 10)


# ---- after ----


def _drill(drill: Drill | None, overdue: bool, gaps: Mapping[str, str], language: Language) -> str:
    if drill is None:
        return gaps["no_drill"]
    said = language.say(
        "last drill {day}: {scenario}, led by {who}",
        day=language.short_day(drill.held),
        scenario=scenario_words(language).get(drill.scenario, drill.scenario),
        who=drill.led_by,
    )
    late = language.say("A DRILL IS OVERDUE: walk through this sheet before the first dive")
    return f"{said}. {late}" if overdue else said


def _tell(one: TellAfter, language: Language) -> str:
    said = language.say(
        "{name}, {number}: {when}",
        name=one.name,
        number=one.number or language.say("no number on file"),
        when=one.when,
    )
    return f"{said} ({one.what})" if one.what else said


def _unconfirmed(sheet: ActionSheet, language: Language) -> str:
    names = sheet.unconfirmed
    if not names:
        return ""
    return language.say("Nobody confirmed today: {names}. Ring before the first dive.", names=", ".join(names))


# ---- figures ----


def in_calling_order(sheet: ActionSheet) -> tuple[SheetContact, ...]:
    """Return the contacts as they are called today: whose number was found wrong or closed today comes last."""
    useless = {
        line.order for line in sheet.contacts if line.today is not None and line.today.found in ("wrong", "closed")
    }
    return tuple(sorted(sheet.contacts, key=lambda line: line.order in useless))


def _clock(moment: datetime, sheet: ActionSheet, language: Language) -> str:
    """Return a local time; with the date where it is not on the day of the sheet."""
    said = language.clock(moment, sheet.timezone)
    local = moment.astimezone(ZoneInfo(sheet.timezone))
    if _shown_twice(local):  # the clock goes back: the offset tells which of the two it is
        said = f"{said} UTC{local:%z}"
    day = moment.astimezone(ZoneInfo(sheet.timezone)).date()
    return said if day == sheet.date else f"{said} ({language.short_day(day)})"


def _shown_twice(local: datetime) -> bool:
    """Return whether the clock on the wall shows this time twice in the night."""
    return local.replace(fold=0).utcoffset() != local.replace(fold=1).utcoffset()


def _bearing(degrees: float) -> str:
    return f"{round(degrees) % 360:03d}"


def _up(value: float) -> int:
    """Return a whole number that is never below the value; the noise of binary fractions does not count."""
    return math.ceil(round(value, 6))


def _tenths_up(value: float) -> str:
    return f"{math.ceil(round(value * 10, 6)) / 10:g}"


def _km_up(kilometres: float) -> str:
    return _tenths_up(kilometres) if kilometres < 10 else f"{_up(kilometres)}"
