"""What the form for a site asks, in the order in which somebody stands there and looks; every field of a site file."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final, get_args

from tripplan.catalogue.site import ContactRole
from tripplan.emergency.contacts import ROLE_WORDS
from tripplan.people.level import Level
from tripplan.record import Location
from tripplan.web.forms import Box, Part, Step, Words, values_of, whole_of, words_of

POSITION_HINT: Final = "like 47.0512, -17.1234 or 47 03.072 N, 17 07.404 W"
BEARING_HINT: Final = "degrees true, 0 to below 360"
SUITS: Final = {
    "confined_skills": "confined-water skills",
    "first_open_water": "first open-water dives",
    "further_training": "further training",
    "guided": "guided dives",
    "night": "night dives",
}
USED: Final = {
    "any": "at any height of tide, or no tide",
    "limits": "only between heights of tide",
    "not_used": "not used",
}
_WAYS: Final = ("going_in", "coming_out")
# Tables that every site has: their fields are asked for one by one, and not as a table that is missing.
_ALWAYS_THERE: Final = ("water", "tide", "stream", "communications", "capacity", "rendezvous")
_HOURS_HINT: Final = 'always, or a line each like "mon-fri 08:00 to 22:00"; empty: not known, and said so'
_CHECKED: Final = (
    Box("checked", "Number last tried on", "day", "empty: never tried, a caution on every plan"),
    Box("checked_by", "Tried by"),
)


def _way(key: str, label: str) -> tuple[Box, ...]:
    return (
        Box(f"{key}.use", label, "choice", needed=True, choices=USED),
        Box(f"{key}.lowest_m", f"{label}: lowest tide, metres", "number", "above the station's datum"),
        Box(f"{key}.highest_m", f"{label}: highest tide, metres", "number", "above the station's datum"),
    )


def _care(words: str) -> Part:
    return Part(
        words,
        (
            Box("name", "Name", needed=True),
            Box("number", "Telephone, as dialled", needed=True),
            Box("position", "Position", hint=POSITION_HINT, needed=True),
            Box("drive_min", "Drive, minutes", "number", "as driven or timed; empty: not known"),
            Box("open", "When it takes casualties", "open", _HOURS_HINT),
            *_CHECKED,
            Box("directions", "The way by road, to be read aloud", "text"),
            Box("hours", "When it takes casualties, in words", more=True),
            Box("closed_on", "Days on which it takes nobody", "days", "like 2026-12-25", more=True),
            Box("highest_road_m", "Highest point of the road, metres", "number", more=True),
            Box("flight_m", "Height of a flight there, metres", "number", "empty: by road", more=True),
            Box("notes", "Notes", "text", more=True),
        ),
    )


STEPS: Final = (
    Step(
        "Where it is, and what water",
        "The rescue service is given this position. Stand at the way in and read it off twice.",
        (
            Box("name", "Name of the site", needed=True),
            Box("position", "Position", hint=POSITION_HINT, needed=True),
            Box("country", "Country", hint="two capitals by ISO 3166, like PT; empty: a caution"),
            Box("timezone", "Time zone", hint="like Atlantic/Azores", needed=True),
            Box("elevation_m", "Height of the water's surface, metres above sea level", "number", "0 at sea",
                needed=True),
            Box("water.kind", "Water", "choice", needed=True,
                choices={"sea": "sea", "brackish": "brackish", "fresh": "fresh"}),
            Box("lowest_level", "Lowest level admitted", "choice", needed=True,
                choices={level.value: level.words for level in Level}),
            Box("summary", "In a sentence", "text", "what it is like, for the list of sites"),
            Box("water.salinity", "Salinity", "number", "practical salinity; empty: not known"),
            Box("water.temperature_c", "Usual temperature by month, °C", "numbers",
                "twelve numbers, January first, a space between; empty: not known"),
            Box("demonstration", "An invented place, to practise with: everything is marked so", "tick"),
        ),
        more=("water.salinity", "water.temperature_c", "demonstration"),
        more_words="Salinity, temperature by month, an invented place",
    ),
    Step(
        "Getting there",
        "When and with whose leave one may be there. Outside these hours and seasons nobody goes in.",
        (
            Box("road", "Nearest road and parking", "text", needed=True),
            Box("capacity.divers", "Divers in the water at once, at most", "whole", needed=True),
            Box("flag_rule", "Which flag is shown, where, by whose rule", "text", needed=True),
            Box("access.hours.opens", "Opens at", "clock", "HH:MM; both empty: open day and night"),
            Box("access.hours.closes", "Closes at", "clock", "HH:MM"),
            Box("access.seasons", "Open from day to day of the year", "table",
                "a line each like 04-01 to 10-31, month first; empty: all year",
                columns=(("first", ""), ("last", " to "))),
            Box("access.permission", "Whose permission, and how it is given", "text"),
            Box("access.gate_code", "Gate code"),
            Box("access.carry_m", "Carry from the vehicle, metres", "number"),
            Box("capacity.vehicles", "Parking places", "whole"),
            Box("facilities", "What is there", "lines", "a line each: toilets, water, shelter"),
            Box("rules_here", "Code or by-law that holds here", "text"),
            Box("access.notes", "Notes on the way to the water", "text"),
        ),
        more=("access.permission", "access.gate_code", "access.carry_m", "capacity.vehicles", "facilities",
              "rules_here", "access.notes"),
        more_words="Permission, gate code, carry, parking, by-laws",
    ),
    Step(
        "Ways in and out",
        "Each way is judged apart for going in and for coming out. At least one must do for bringing out a casualty.",
        (
            Box("alternative_exit.access", "Where to come out when the usual way is closed",
                hint="the name of one of the ways; empty: none known, which is told"),
            Box("alternative_exit.swim_m", "Swim to it, metres", "number"),
            Box("alternative_exit.notes", "Notes on it", "text"),
        ),
        {
            "entries": Part(
                "way",
                (
                    Box("name", "Name of the way", needed=True),
                    Box("kind", "What it is", "choice", needed=True, choices={
                        each: each for each in ("beach", "steps", "slipway", "ledge", "ladder", "pontoon", "rocks")
                    }),
                    Box("position", "Position", hint=f"{POSITION_HINT}; empty: not on the sketch"),
                    Box("facing_deg", "Which way the shore faces", "number", BEARING_HINT, needed=True),
                    Box("slope", "Slope of the beach", "number", "rise over run, 0.05 is gentle; empty: not known",
                        more=True),
                    *_way("going_in", "Going in"),
                    *_way("coming_out", "Coming out"),
                    Box("casualty", "A casualty can be brought out here", "tick"),
                    Box("casualty_people", "People it takes to lift", "whole", more=True),
                    Box("notes", "Notes", "text", more=True),
                ),
            ),
        },
        more=("alternative_exit.access", "alternative_exit.swim_m", "alternative_exit.notes"),
        more_words="Another way out when the usual one is closed",
    ),
    Step(
        "Places under water",
        "Depths at the lowest tide that one dives there.",
        (),
        {
            "places": Part(
                "place",
                (
                    Box("name", "Name of the place", needed=True),
                    Box("shallowest_m", "Shallowest, metres", "number", needed=True),
                    Box("deepest_m", "Deepest, metres", "number", needed=True),
                    Box("bottom", "Bottom", hint="sand, rock, weed", needed=True),
                    Box("suits", "Suits", "several", needed=True, choices=SUITS),
                    Box("swim_min", "Swim from the way in, minutes", "number", "empty: not known"),
                    Box("notes", "Notes", "text", more=True),
                ),
            ),
        },
    ),
    Step(
        "Tide and stream",
        "Choose the station whose tide holds here. Where there is a tide and no station on file yet, give the name "
        "that its file will have: until it is there, every plan is a stop.",
        (
            Box("tide.station", "Tide station", "station", "the name of its file without .toml"),
            Box("tide.none_because", "No tide here, because", "line", "a lake, a quarry, a sea without one"),
            Box("tide.high_time_min", "High water, minutes after the station's", "number", "empty: at the same time"),
            Box("tide.low_time_min", "Low water, minutes after the station's", "number", "empty: at the same time"),
            Box("tide.high_ratio", "Factor on high water", "number", "empty: 1"),
            Box("tide.low_ratio", "Factor on low water", "number", "empty: 1"),
            Box("tide.high_add_m", "Added to high water, metres", "number", "empty: 0"),
            Box("tide.low_add_m", "Added to low water, metres", "number", "empty: 0"),
            Box("stream.kind", "Stream", "choice", needed=True, choices={
                "none": "none to speak of",
                "slack": "slack by minutes from high and low water",
                "table": "by hours from high water, as printed",
                "constants": "by harmonic constants",
            }),
            Box("stream.high_water_slack_min", "Slack, minutes from high water", "number", "before it below 0"),
            Box("stream.low_water_slack_min", "Slack, minutes from low water", "number", "before it below 0"),
            Box("stream.spring_rate_kn", "Fastest at springs, knots", "number"),
            Box("stream.neap_rate_kn", "Fastest at neaps, knots", "number"),
            Box("stream.spring_range_m", "Range of tide at springs, metres", "number"),
            Box("stream.neap_range_m", "Range of tide at neaps, metres", "number"),
            Box("stream.flood_toward_deg", "The flood runs to", "number", BEARING_HINT),
            Box("stream.ebb_toward_deg", "The ebb runs to", "number", BEARING_HINT),
            Box("stream.table", "Table of the stream", "table",
                "a line each like -5.5 0.4 0.2 70: hours from high water, knots at springs, at neaps, direction",
                columns=(("hours_from_high_water", ""), ("spring_kn", " "), ("neap_kn", " "), ("toward_deg", " ")),
                rows=5),
            Box("stream.constituents", "Constants of the stream", "constants",
                "a line each like M2 1.30 62: name, knots, phase lag on Greenwich in degrees", rows=4),
            Box("stream.mean_kn", "Steady stream, knots", "number", "flood above 0; 0 for none"),
        ),
        more=(
            "tide.high_time_min", "tide.low_time_min", "tide.high_ratio", "tide.low_ratio", "tide.high_add_m",
            "tide.low_add_m", "stream.high_water_slack_min", "stream.low_water_slack_min", "stream.spring_rate_kn",
            "stream.neap_rate_kn", "stream.spring_range_m", "stream.neap_range_m", "stream.flood_toward_deg",
            "stream.ebb_toward_deg", "stream.table", "stream.constituents", "stream.mean_kn",
        ),
        more_words="Differences from the station; slack, rates, table or constants of a stream",
    ),
    Step(
        "Sea and wind",
        "What reaches the site from open water. What is left open is not known, and plans say to look on the beach.",
        (
            Box("exposure.open_to_swell", "Open to swell", "table",
                "bearings clockwise as seen from the site, a line each like 80 to 140; none: closed to all swell; "
                "empty: not known",
                columns=(("from_deg", ""), ("to_deg", " to ")), or_none=True),
            Box("exposure.fetch", "Open water", "table",
                "a line each like 90: 600, bearing and kilometres; none: no open water; empty: not known",
                columns=(("bearing_deg", ""), ("km", ": ")), rows=4, or_none=True),
            Box("limits.breaker_m", "Stops at breaking waves above, metres", "number", "empty: the rule book's"),
            Box("limits.stream_kn", "Stops at a stream above, knots", "number", "empty: the rule book's"),
            Box("limits.visibility_m", "Stops at visibility below, metres", "number", "empty: the rule book's"),
            Box("limits.wind", "Stops at wind from a sector above knots", "table", "a line each like 70 to 150: 14",
                columns=(("from_deg", ""), ("to_deg", " to "), ("most_kn", ": "))),
        ),
        more=("limits.breaker_m", "limits.stream_kn", "limits.visibility_m", "limits.wind"),
        more_words="The site's own numbers at which diving stops",
    ),
    Step(
        "Hazards",
        "What hurts people here, and what is done about it and by whom.",
        (),
        {
            "hazards": Part(
                "hazard",
                (
                    Box("kind", "Kind", "choice", needed=True, choices={
                        each: each.replace("_", " ") for each in (
                            "wreck", "line", "anglers", "traffic", "outfall", "stream", "surf", "cold", "entanglement",
                            "overhead", "falling_rock", "marine_life", "depth", "other",
                        )
                    }),
                    Box("what", "What it is and where", "text", needed=True),
                    Box("control", "What is done about it, and by whom", "text", needed=True),
                ),
            ),
        },
    ),
    Step(
        "Calling for help, and meeting the ambulance",
        "The meeting point is on a road that an ambulance can take, with somebody standing there.",
        (
            Box("communications.phone_signal", "Telephone signal", "text", "where, and how good", needed=True),
            Box("communications.vhf", "VHF", hint="channel and who answers; empty: nothing known"),
            Box("communications.landline", "Landline"),
            Box("rendezvous.place", "Meeting point", "text", "road, gate, building", needed=True),
            Box("rendezvous.position", "Position of the meeting point", hint=POSITION_HINT, needed=True),
            Box("rendezvous.ambulance_min", "Longest time until an ambulance is there, minutes", "number",
                "as its service says; empty: not known"),
            Box("rendezvous.helicopter", "Where a helicopter can land or lift", "text"),
            Box("rendezvous.notes", "Notes for whoever meets them", "text"),
            Box("landmark.name", "Feature on the chart nearby", hint="as named on the chart"),
            Box("landmark.position", "Position of that feature", hint=POSITION_HINT),
        ),
        more=("rendezvous.helicopter", "rendezvous.notes", "landmark.name", "landmark.position"),
        more_words="Helicopter, notes, a feature on the chart",
    ),
    Step(
        "Whom to call, in order",
        "The first is called first. A number counts as fresh once somebody dialled it.",
        (),
        {
            "contacts": Part(
                "contact",
                (
                    Box("role", "Who it is", "choice", needed=True,
                        choices={role: ROLE_WORDS[role] for role in get_args(ContactRole)}),
                    Box("name", "Name", needed=True),
                    Box("number", "Telephone, as dialled", needed=True),
                    Box("hours", "When it answers, in words", hint="like 24 h", needed=True),
                    *_CHECKED,
                    Box("open", "The same as hours of the week", "open", _HOURS_HINT, more=True),
                    Box("closed_on", "Days on which nobody answers", "days", "like 2026-12-25", more=True),
                    Box("notes", "Notes", "text", more=True),
                ),
            ),
        },
    ),
    Step(
        "Where care is",
        "At least the nearest hospital with an emergency department, and the nearest chamber that takes divers.",
        (),
        {"hospitals": _care("hospital"), "chambers": _care("chamber")},
    ),
    Step(
        "Who looked",
        "The day on which somebody last stood there with this list.",
        (
            Box("survey_date", "Date of the survey", "day", "like 2026-05-01", needed=True),
            Box("surveyed_by", "Surveyed by"),
        ),
    ),
)  # fmt: skip
WHOLE: Final = whole_of("site", STEPS)


def words_of_site(values: Mapping[str, Any]) -> Words:
    """Return the form filled with the values of a site's file."""
    entries = values.get("entries")
    if not isinstance(entries, list | tuple):
        return words_of(values, WHOLE)
    rows = [{**row, **{key: _opened(row[key]) for key in _WAYS if key in row}} for row in entries
            if isinstance(row, Mapping)]  # fmt: skip
    return words_of({**values, "entries": rows}, WHOLE)


def _opened(way: Any) -> Any:
    """Return a way in or out as the form shows it: how it is used, and the heights."""
    if isinstance(way, str):
        return {"use": way}
    return {"use": "limits" if way else "any", **way} if isinstance(way, Mapping) else way


def values_of_site(words: Words) -> tuple[dict[str, Any], list[tuple[Location, str]]]:
    """Return the values that the form asks for, and where and why something in it cannot be read as one."""
    found: list[tuple[Location, str]] = []
    values = values_of(words, WHOLE, found)
    for key in _ALWAYS_THERE:
        values.setdefault(key, {})
    for number, row in enumerate(values.get("entries", ())):
        for key in _WAYS:
            if key in row:
                row[key] = _closed(dict(row[key]), ("entries", number, key), found)
    return values, found


def _closed(way: dict[str, Any], at: Location, found: list[tuple[Location, str]]) -> Any:
    use = way.pop("use", "limits")
    if use == "limits":
        if not way:
            found.append(
                ((*at, "lowest_m"), "is empty, and so is the highest; give one of the two, or choose any height")
            )
        return way
    if use in USED and way:
        found.append(((*at, "use"), f'is "{USED[use]}", but heights are given; take one of the two out'))
    return {} if use == "any" else use
