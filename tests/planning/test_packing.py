"""What is packed: counts by hand, who gets what, what stops the day, and what must never happen."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from functools import cache

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.sparse import csr_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching

from tests.planning.cove_world import DAY, group, person, request, world
from tripplan.check import Check, Outcome, worst
from tripplan.data_files import data_dir
from tripplan.people.kit import Kit, cylinder_service, read_kit, regulator_service, size_fits
from tripplan.people.level import Level
from tripplan.people.person import Person, Weighting
from tripplan.planning.day import plan_day
from tripplan.planning.packing import Packing, PackLine, groups_at_once, kit_of, pack, packing_list
from tripplan.planning.plan import LeadLine
from tripplan.planning.request import DiveWish, GroupWish, RecentDive, Request
from tripplan.rulebook import baseline
from tripplan.store.folder import load_folder

RULES = baseline()
LATELY = DAY - timedelta(days=30)
SIZES = {"mask": "any", "fins": "42", "boots": "42", "suit": "M", "buoyancy_device": "M"}
RIGHT = Weighting(
    lead_kg=6.0, all_on_kg=110.0, density_kg_m3=1026.0, suit_mm=5.0, cylinder_l=12.0, fill_bar=200.0, height_m=1.8,
    body_kg=75.0,
)  # fmt: skip


def cylinder(identity: str, **more: object) -> dict[str, object]:
    return {
        "identity": identity, "volume_l": 12.0, "metal": "steel", "working_bar": 232.0, "last_visual": LATELY,
        "last_test": LATELY, **more,
    }  # fmt: skip


def regulator(identity: str, **more: object) -> dict[str, object]:
    whole = {"has_second_stage_spare": True, "has_pressure_gauge": True, "serviced": LATELY}
    return {"identity": identity, **whole, **more}


def suit(identity: str, **more: object) -> dict[str, object]:
    return {"identity": identity, "size": "M", "mm": 5.0, **more}


def store(fills: int = 6, breathers: int = 4, people: int = 4, **more: object) -> Kit:
    """Return a store that has so much of everything, and in order."""
    many = ({"size": "any", "count": people},)
    whole: dict[str, object] = {
        "cylinders": tuple(cylinder(f"C{n}") for n in range(fills)),
        "regulators": tuple(regulator(f"R{n}") for n in range(breathers)),
        "suits": tuple(suit(f"W{n}", size="any") for n in range(people)),
        "buoyancy_devices": many,
        "masks": many,
        "fins": many,
        "boots": many,
        "snorkels": many,
        "weights": ({"kg": 1.0, "count": 60},),
        "safety": tuple(
            {"thing": thing, "count": 3}
            for thing in ("oxygen_kit", "first_aid_kit", "flag", "float", "light", "spare_light")
        ),
    }
    return Kit.model_validate({**whole, **more})


def diver(name: str, **more: object) -> Person:
    return person(name, Level.LEVEL_2, **{"sizes": SIZES, "weighting": RIGHT, **more})


PEOPLE = {name: diver(name) for name in ("Guide", "Ann", "Bea", "Cal", "Dee")}


def one_each(*things: str) -> tuple[dict[str, object], ...]:
    return tuple({"thing": thing, "count": 1} for thing in things)


def terns(*divers: str, **more: object) -> GroupWish:
    return group(*(divers or ("Ann", "Bea")), **{"cylinder_l": 12.0, "fill_bar": 200.0, "suit_mm": 5.0, **more})


def packed(
    kit: Kit | None, *groups: GroupWish, people: dict[str, Person] = PEOPLE, lead: Sequence[LeadLine] = ()
) -> Packing:
    return pack(request(*(groups or (terns(),))), (), lead, people, kit, RULES)


def the(made: Packing, rule: str, subject: str | None = None) -> Check:
    (found,) = [one for one in made.checks if one.rule == rule and subject in (None, one.subject)]
    return found


def counts(made: Packing) -> dict[str, int]:
    return {line.words: line.needed for line in made.lines}


def line_of(made: Packing, words: str) -> PackLine:
    (found,) = [line for line in made.lines if line.words == words]
    return found


# ---- what one person needs ----


def test_everything_that_is_known_stands_in_the_lines():
    lines = kit_of(PEOPLE["Ann"], terns(dives=(DiveWish(), DiveWish(oxygen_percent=32))))
    assert [line.words for line in lines] == [
        "mask, size any",
        "snorkel",
        "fins, size 42",
        "boots, size 42",
        "suit, 5 mm, size M",
        "weights, 6 kg was right before: find the lead by the check at the surface",
        "cylinder, 12 l, 200 bar, air",
        "cylinder, 12 l, 200 bar, 32 % oxygen",
        "regulator",
        "buoyancy device, size M",
    ]
    assert [line.gap_words for line in lines] == [""] * 10
    assert [line.dive for line in lines if line.thing == "cylinder"] == [1, 2]


def test_what_nobody_wrote_down_is_a_gap_in_words():
    bare = diver("Ann", sizes={}, weighting=None)
    lines = {line.thing: line for line in kit_of(bare, terns(cylinder_l=None, fill_bar=None, suit_mm=None))}
    assert {thing for thing, line in lines.items() if line.gap_words} == {
        "mask", "fins", "boots", "suit", "buoyancy_device", "weights", "cylinder",
    }  # fmt: skip
    assert lines["fins"].gap_words == "the size is not on record: ask, and try it on"
    assert lines["suit"].gap_words == (
        "the request does not say how thick a suit; the size is not on record: ask, and try it on"
    )
    assert lines["weights"].gap_words == "lead is not known: find the lead by the check at the surface"
    assert "no gas was reckoned" in lines["cylinder"].gap


def test_a_dry_suit_has_its_boots_and_no_suit_is_packed_where_none_is_worn():
    dry = {line.thing: line.words for line in kit_of(PEOPLE["Ann"], terns(suit_mm=None, dry_suit=True))}
    assert dry["suit"] == "dry suit with its boots and hose, size M" and "boots" not in dry
    assert "suit" not in {line.thing for line in kit_of(PEOPLE["Ann"], terns(suit_mm=0))}


def test_two_lights_go_with_everybody_at_night():
    things = [line.thing for line in kit_of(PEOPLE["Ann"], terns(kind="night"))]
    assert things[-2:] == ["light", "spare_light"]


@pytest.mark.parametrize(
    ("change", "words", "pack_kg"),
    [
        (1.5, "weights, 6 kg was right before, about 7.5 kg today: find the lead by the check at the surface", 7.5),
        (-2.0, "weights, 6 kg was right before, about 4.0 kg today: find the lead by the check at the surface", 6.0),
        (-9.0, "weights, 6 kg was right before, about 0.0 kg today: find the lead by the check at the surface", 6.0),
        (None, "weights, 6 kg", 6.0),
    ],
)
def test_the_lead_to_pack_is_the_most_of_what_was_right_and_what_is_reckoned(change, words, pack_kg):
    lead = LeadLine("Ann", 6.0, change, (), "")
    (line,) = [line for line in kit_of(PEOPLE["Ann"], terns(), lead) if line.thing == "weights"]
    assert (line.words, line.lead_kg) == (words, pack_kg)
    assert bool(line.gap) is (change is None)


@pytest.mark.parametrize(
    ("noted", "metal", "gap"),
    [
        ("12 l steel", "steel", ""),
        ("12, aluminium", "aluminium", ""),
        ("12.0", None, ""),
        ("10 l steel", "steel", "the roster says 10 l steel, but the gas is reckoned for 12 l"),
    ],
)
def test_a_cylinder_on_the_roster_says_the_metal_and_contradicts_the_request(noted, metal, gap):
    one = diver("Ann", sizes={**SIZES, "cylinder": noted})
    (line,) = [line for line in kit_of(one, terns()) if line.thing == "cylinder"]
    assert (line.metal, line.gap, line.volume_l) == (metal, gap, 12.0)


# ---- counts by hand ----


def test_a_day_is_counted_by_hand():
    """Three people, two dives: 6 cylinders; a tenth spare is at least one; one group: one flag, one float."""
    made = packed(store(7, 4), terns(dives=(DiveWish(), DiveWish())))
    assert counts(made) == {
        "mask, size any": 3,
        "spare mask": 1,
        "snorkel": 3,
        "fins, size 42": 3,
        "spare fins": 1,
        "boots, size 42": 3,
        "suit, 5 mm, size M": 3,
        "cylinder, 12 l, 200 bar, air": 6,
        "spare cylinder, 12 l, 200 bar, air": 1,
        "regulator": 3,
        "spare regulator": 1,
        "buoyancy device, size M": 3,
        "spare buoyancy device": 1,
        "oxygen kit": 1,
        "first-aid kit": 1,
        "flag": 1,
        "float": 1,
    }
    assert made.lead.needed_kg == 18.0 and made.lead.unknown == ()
    assert worst(made.checks) is Outcome.OK
    assert {line.short for line in made.lines} == {0}


@cache
def demonstration(name: str) -> tuple[Request, Packing]:
    folder = load_folder(data_dir("sites"))
    kit = read_kit(data_dir("sites") / "centre" / "kit.toml")
    asked = folder.requests[name]
    return asked, packing_list(asked, plan_day(asked, folder.world), folder.world.people, kit, folder.world.rules)


def test_the_saturday_of_the_demonstration_is_counted_by_hand():
    """Terns: 5 people, 2 dives; Skuas: 3 people, 1 dive; both in the water at once: 13 cylinders, 8 of the rest.

    The spare ones: a tenth of 13 is 1.3, so 2; a tenth of 8 is 0.8, so 1.
    """
    _, made = demonstration("saturday-ledge")
    by_thing = Counter()
    for line in made.lines:
        by_thing[line.thing, line.spare] += line.needed
    assert by_thing == {
        ("cylinder", False): 13, ("cylinder", True): 2, ("regulator", False): 8, ("regulator", True): 1,
        ("mask", False): 8, ("mask", True): 1, ("fins", False): 8, ("fins", True): 1, ("buoyancy_device", False): 8,
        ("buoyancy_device", True): 1, ("suit", False): 8, ("boots", False): 8, ("snorkel", False): 8,
        ("oxygen_kit", False): 1, ("first_aid_kit", False): 1, ("flag", False): 2, ("float", False): 2,
    }  # fmt: skip
    cylinders = [line.identity for line in made.people if line.thing == "cylinder"]
    assert len(set(cylinders)) == 13 and "" not in cylinders
    # 22 of 24 cylinders of 15 l are in test, and two of these are labelled 32 %
    assert line_of(made, "cylinder, 15 l, 220 bar, air").in_store == 20
    assert {"S15-11", "S15-12", "S15-23", "S15-24"}.isdisjoint(cylinders)


@pytest.mark.parametrize("name", ["saturday-ledge", "beginners-cove", "lake-altitude", "pier-morning"])
def test_the_store_of_the_demonstration_is_enough_for_its_days(name):
    asked, made = demonstration(name)
    assert worst(made.checks) is Outcome.CAUTION  # the lead of most is not on record
    assert the(made, "kit-enough").outcome is Outcome.OK
    people = {name for one in asked.groups for name in one.everybody}
    assert {line.person for line in made.people} == people
    for line in made.people:
        assert bool(line.identity) is (line.thing in ("cylinder", "regulator", "suit"))
    assert any("S15-24 has no inspection on record" in words for words in made.stay)
    assert made.also == ("3 x line (30 m, on reels)", "2 x radio", "1 x recall horn")


def test_somebody_in_two_groups_takes_one_set_and_a_cylinder_for_each_dive():
    made = packed(store(8, 8, 8), terns("Ann"), terns("Bea", name="Skuas"))
    assert line_of(made, "regulator").needed == 3
    assert line_of(made, "cylinder, 12 l, 200 bar, air").needed == 4
    other_suit = packed(store(8, 8, 8), terns("Ann"), terns("Bea", name="Skuas", suit_mm=7.0))
    assert line_of(other_suit, "suit, 5 mm, size M").needed == 2
    assert line_of(other_suit, "suit, 7 mm, size M").needed == 2


@pytest.mark.parametrize(("people", "spares"), [(1, 1), (10, 1), (11, 2), (20, 2), (21, 3), (30, 3)])
def test_a_tenth_is_taken_spare_rounded_up_and_at_least_one(people, spares):
    names = [f"P{n}" for n in range(people)]
    crowd = {name: diver(name) for name in names}
    made = packed(None, terns(*names, kind="autonomous", leader=None), people=crowd)
    assert line_of(made, "spare regulator").needed == spares
    assert line_of(made, "spare cylinder, 12 l, 200 bar, air").needed == spares


def test_groups_that_meet_in_the_water_need_a_float_each():
    asked = request(terns("Ann"), terns("Bea", name="Skuas", leader="Dee"))
    (dive,) = plan_day(request(group()), world()).dives
    start = dive.entry
    assert start is not None

    def at(name: str, begins: int, ends: int) -> object:
        entry, out = start + timedelta(minutes=begins), start + timedelta(minutes=ends)
        return replace(dive, group=name, entry=entry, exit=out, exit_by=out)

    assert groups_at_once([at("Terns", 0, 40), at("Skuas", 41, 80)], asked) == 1
    assert groups_at_once([at("Terns", 0, 40), at("Skuas", 40, 80)], asked) == 2  # the float is handed over too late
    assert groups_at_once([at("Terns", 0, 40), at("Skuas", 10, 20)], asked) == 2
    assert groups_at_once([at("Terns", 0, 40), at("Terns", 60, 90), at("Skuas", 41, 50)], asked) == 1
    untimed = replace(at("Skuas", 0, 1), entry=None)
    assert groups_at_once([at("Terns", 0, 40), untimed], asked) == 2
    assert groups_at_once([at("Terns", 0, 40)], asked) == 2  # the other has no dive yet
    assert groups_at_once([], asked) == 2


# ---- checks ----


def test_a_store_that_nobody_wrote_down_is_a_caution_and_still_a_list():
    made = packed(None)
    check = the(made, "kit-known")
    assert check.outcome is Outcome.CAUTION
    assert check.sentence.startswith("The kit is not on record: count it")
    assert {one.rule for one in made.checks} == {"kit-known"}
    assert line_of(made, "regulator") == PackLine("regulator", "regulator", 3)
    assert line_of(made, "regulator").short_words == "not on record: count them"
    assert {line.identity for line in made.people} == {""} and made.stay == ()


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"last_test": DAY.replace(year=DAY.year - 5)}, "is overdue: its test of 12 June 2022 held until 11 June 2027"),
        ({"last_visual": DAY.replace(year=DAY.year - 1)}, "is overdue: its inspection of 12 June 2026"),
        ({"last_test": None}, "has no test on record"),
        ({"last_visual": None}, "has no inspection on record"),
        ({"out_of_service": "valve leaks"}, "is out of service: valve leaks"),
    ],
)
def test_a_cylinder_that_may_not_be_used_stops_the_day_once_it_is_needed(changed, words):
    bad = cylinder("BAD", **changed)
    needed = packed(store(cylinders=(*(cylinder(f"C{n}") for n in range(2)), bad)))
    check = the(needed, "kit-service", "cylinders")
    assert check.outcome is Outcome.STOP and f"BAD {words}" in check.sentence
    assert (check.found, check.limit) == (2, 3)
    assert "BAD" not in {line.identity for line in needed.people}
    spare = packed(store(cylinders=(*(cylinder(f"C{n}") for n in range(4)), bad)))
    check = the(spare, "kit-service", "cylinders")
    assert check.outcome is Outcome.OK and f"Not to be taken: BAD {words}" in check.sentence
    assert worst(spare.checks) is Outcome.OK
    assert [words for words in spare.stay if words.startswith("cylinder BAD ")]


def test_a_regulator_overdue_stops_and_one_without_a_date_goes_out_last_with_a_caution():
    three = tuple(regulator(f"R{n}") for n in range(2))
    overdue = packed(store(regulators=(*three, regulator("OLD", serviced=DAY.replace(year=DAY.year - 1)))))
    assert the(overdue, "kit-service", "regulators").outcome is Outcome.STOP
    undated = packed(store(regulators=(regulator("LOST", serviced=None), *three)))
    check = the(undated, "kit-service", "regulators")
    assert check.outcome is Outcome.CAUTION and "LOST has no service on record" in check.sentence
    assert [line.identity for line in undated.people if line.thing == "regulator"] == ["R0", "R1", "LOST"]
    enough = store(regulators=(regulator("LOST", serviced=None), *(regulator(f"R{n}") for n in range(4))))
    assert the(packed(enough), "kit-service", "regulators").outcome is Outcome.OK


@pytest.mark.parametrize(
    ("table", "value", "subject", "outcome"),
    [
        ("masks", ({"count": 2},), "masks", Outcome.STOP),
        ("masks", ({"count": 3},), "spare masks", Outcome.CAUTION),
        ("fins", ({"size": "44", "count": 9},), "pairs of fins", Outcome.STOP),
        ("fins", ({"size": "42-43", "count": 4},), None, Outcome.OK),
        ("boots", (), "pairs of boots", Outcome.CAUTION),
        ("snorkels", ({"count": 9, "out_of_service": "perished"},), "snorkels", Outcome.CAUTION),
        ("buoyancy_devices", ({"size": "M", "count": 2},), "buoyancy devices", Outcome.STOP),
        ("suits", (suit("W1"), suit("W2"), suit("W3", mm=3.0)), "suits", Outcome.STOP),
        ("cylinders", (cylinder("C1"), cylinder("C2"), cylinder("C3", volume_l=10.0)), "cylinders", Outcome.STOP),
        ("cylinders", (cylinder("C1"), cylinder("C2"), cylinder("C3", working_bar=150.0)), "cylinders", Outcome.STOP),
        ("cylinders", tuple(cylinder(f"C{n}") for n in range(3)), "spare cylinders", Outcome.CAUTION),
        ("regulators", tuple(regulator(f"R{n}") for n in range(3)), "spare regulators", Outcome.CAUTION),
        ("weights", ({"kg": 2.0, "count": 8},), "weights", Outcome.CAUTION),
        ("safety", one_each("oxygen_kit", "first_aid_kit", "flag"), "floats", Outcome.STOP),
        ("safety", one_each("oxygen_kit", "first_aid_kit", "float"), "flags", Outcome.STOP),
        ("safety", one_each("flag", "first_aid_kit", "float"), "oxygen kits", Outcome.CAUTION),
        ("safety", one_each("flag", "oxygen_kit", "float"), "first-aid kits", Outcome.CAUTION),
    ],
)  # fmt: skip
def test_what_is_short_is_said_once_and_weighed(table, value, subject, outcome):
    made = packed(store(**{table: value}))
    check = the(made, "kit-enough")
    assert (check.outcome, check.subject) == (outcome, subject or "")
    assert worst(made.checks) is outcome


def test_who_goes_without_is_named():
    made = packed(store(1), terns(dives=(DiveWish(), DiveWish())))
    (check,) = [one for one in made.checks if one.subject == "cylinders" and one.rule == "kit-enough"]
    assert check.sentence == (
        "The store is short of 5 x cylinder, 12 l, 200 bar, air. Nothing is left for Guide, Terns dive 2; "
        "Ann, Terns dive 1; Ann, Terns dive 2; Bea, Terns dive 1; Bea, Terns dive 2. "
        "They stay ashore until it is found."
    )
    assert the(made, "kit-service", "cylinders").outcome is Outcome.OK  # none is out of service: there are too few


def test_no_light_at_night_stops_and_no_spare_light_is_a_caution():
    night = terns(kind="night")
    lamps = {"light": 3, "spare_light": 3}
    rest = one_each("oxygen_kit", "first_aid_kit", "flag", "float")
    for thing, outcome in (("light", Outcome.STOP), ("spare_light", Outcome.CAUTION)):
        some = tuple({"thing": one, "count": n - (one == thing)} for one, n in lamps.items())
        made = packed(store(safety=(*rest, *some)), night)
        assert the(made, "kit-enough").outcome is outcome
    all_there = tuple({"thing": one, "count": n} for one, n in lamps.items())
    assert worst(packed(store(safety=(*rest, *all_there)), night).checks) is Outcome.OK


def test_people_without_sizes_are_counted_but_get_no_suit_by_its_mark():
    crowd = {**PEOPLE, "Ann": diver("Ann", sizes={})}
    made = packed(store(suits=(suit("W1"), suit("W2"), suit("W3", size="XS"))), people=crowd)
    suits = {line.person: line.identity for line in made.people if line.thing == "suit"}
    assert suits == {"Guide": "W1", "Ann": "", "Bea": "W2"}
    check = the(made, "kit-known", "sizes")
    assert check.outcome is Outcome.CAUTION
    assert check.sentence.startswith("Sizes are not on record: Ann (mask, fins, boots, suit, buoyancy device).")
    assert the(made, "kit-enough").sentence.endswith("Whether it fits those whose size is not on record is not known.")


def test_lead_that_is_not_known_is_said_and_known_lead_is_rounded_up_to_whole_pieces():
    crowd = {**PEOPLE, "Ann": diver("Ann", weighting=None)}
    made = packed(store(weights=({"kg": 2.5, "count": 10},)), people=crowd)
    assert made.lead.unknown == ("Ann",)
    assert made.lead.needed_kg == 15.0  # twice 6 kg, each 3 pieces of 2.5 kg
    assert the(made, "kit-known", "lead").outcome is Outcome.CAUTION


def test_a_rich_gas_goes_into_a_clean_cylinder_and_a_labelled_one_never_to_somebody_on_air():
    kit = store(
        cylinders=(
            cylinder("RICH", oxygen_clean=True, oxygen_percent=32.0),
            cylinder("OTHER", oxygen_clean=True, oxygen_percent=36.0),
            cylinder("CLEAN", oxygen_clean=True),
            cylinder("AIR", oxygen_percent=21.0),
            cylinder("PLAIN"),
        )
    )
    made = packed(kit, terns(mixes={"Ann": 32.0, "Bea": 32.0}))
    given = {line.person: line.identity for line in made.people if line.thing == "cylinder"}
    assert given == {"Guide": "PLAIN", "Ann": "CLEAN", "Bea": "RICH"}
    few = packed(store(cylinders=(cylinder("RICH", oxygen_clean=True, oxygen_percent=32.0),)), terns("Ann"))
    assert the(few, "kit-enough", "cylinders").found == 0
    nobody_clean = packed(store(), terns(mixes={"Ann": 32.0}))
    assert the(nobody_clean, "kit-enough", "cylinders").outcome is Outcome.STOP
    assert worst(packed(store(), terns(mixes={"Ann": 23.5})).checks) is Outcome.OK


def test_two_metals_for_one_person_are_a_caution():
    two = (cylinder("S"), cylinder("A", metal="aluminium"))
    alone = terns("Ann", kind="autonomous", leader=None, dives=(DiveWish(), DiveWish()))
    check = the(packed(store(cylinders=two), alone), "kit-metal")
    assert check.outcome is Outcome.CAUTION and "Ann" in check.sentence
    one = (cylinder("S"), cylinder("S2"))
    assert "kit-metal" not in {each.rule for each in packed(store(cylinders=one), alone).checks}
    wished = {**PEOPLE, "Ann": diver("Ann", sizes={**SIZES, "cylinder": "12 aluminium"})}
    made = packed(store(cylinders=two), alone, people=wished)
    assert [line.identity for line in made.people if line.thing == "cylinder"] == ["A", ""]


def test_the_plan_of_a_day_packs_what_its_request_packs():
    asked = request(terns("Ann", "Bea"))
    plan = plan_day(asked, world(people={**PEOPLE, **world().people}))
    made = packing_list(asked, plan, {**PEOPLE, **world().people}, store(), RULES)
    assert made.on == DAY
    assert line_of(made, "cylinder, 12 l, 200 bar, air").identities == ("C0", "C1", "C2")


# ---- what must never happen ----

MAYBE_DAY = st.none() | st.dates(DAY - timedelta(days=2200), DAY + timedelta(days=40))
WORDS = st.sampled_from(["", "", "", "broken"])
VOLUMES = st.sampled_from([10.0, 12.0])
LETTERS = st.sampled_from(["S", "M", "L", "M/L", "any"])


@st.composite
def cylinders(draw: st.DrawFn, identity: str) -> dict[str, object]:
    return cylinder(
        identity,
        volume_l=draw(VOLUMES),
        metal=draw(st.sampled_from(["steel", "aluminium"])),
        working_bar=draw(st.sampled_from([150.0, 232.0])),
        last_visual=draw(MAYBE_DAY | st.just(LATELY)),
        last_test=draw(MAYBE_DAY | st.just(LATELY)),
        oxygen_clean=draw(st.booleans()),
        oxygen_percent=draw(st.none() | st.sampled_from([21.0, 32.0])),
        out_of_service=draw(WORDS),
    )


@st.composite
def regulators(draw: st.DrawFn, identity: str) -> dict[str, object]:
    known = st.sampled_from([True, True, False, None])
    return regulator(
        identity,
        serviced=draw(MAYBE_DAY | st.just(LATELY)),
        has_second_stage_spare=draw(known),
        has_pressure_gauge=draw(known),
        out_of_service=draw(WORDS),
    )


@st.composite
def suits(draw: st.DrawFn, identity: str) -> dict[str, object]:
    mm = draw(st.sampled_from([None, 3.0, 5.0]))
    return suit(identity, size=draw(LETTERS), mm=mm, dry=mm is None, out_of_service=draw(WORDS))


@st.composite
def kits(draw: st.DrawFn) -> Kit:
    def many(of: object, mark: str, most: int) -> tuple[object, ...]:
        number = draw(st.integers(0, most))
        return tuple(draw(of(f"{mark}{n}")) for n in range(number))  # type: ignore[operator]

    def counted() -> tuple[object, ...]:
        rows = draw(st.lists(st.tuples(LETTERS, st.integers(0, 4), WORDS), max_size=4))
        return tuple({"size": size, "count": count, "out_of_service": why} for size, count, why in rows)

    return store(
        cylinders=many(cylinders, "C", 9),
        regulators=many(regulators, "R", 6),
        suits=many(suits, "W", 6),
        buoyancy_devices=counted(),
        masks=counted(),
        fins=counted(),
        boots=counted(),
        snorkels=counted(),
    )


@st.composite
def days(draw: st.DrawFn) -> tuple[Request, dict[str, Person]]:
    names = ["Guide", "Ann", "Bea", "Cal"]
    letters = st.sampled_from(["S", "M", "L"])
    crowd = {}
    for name in names:
        sizes = draw(st.dictionaries(st.sampled_from(["mask", "fins", "boots", "suit", "buoyancy_device"]), letters))
        crowd[name] = diver(name, sizes=sizes, weighting=draw(st.sampled_from([None, RIGHT])))
    dives = tuple(DiveWish() for _ in range(draw(st.integers(1, 2))))
    dry = draw(st.booleans())
    one = group(
        *names[1 : 1 + draw(st.integers(1, 3))],
        cylinder_l=draw(st.none() | VOLUMES),
        fill_bar=draw(st.sampled_from([None, 140.0, 200.0])),
        dry_suit=dry,
        suit_mm=None if dry else draw(st.sampled_from([None, 3.0, 5.0])),
        mixes=draw(st.sampled_from([{}, {"Ann": 32.0}])),
        dives=dives,
    )
    return request(one), crowd


@settings(deadline=None, max_examples=150)
@given(day=days(), kit=kits())
def test_what_is_overdue_is_never_handed_out_and_nothing_twice(day, kit):
    asked, crowd = day
    made = pack(asked, (), (), crowd, kit, RULES)
    by_mark = {one.identity: one for one in (*kit.cylinders, *kit.regulators, *kit.suits)}
    marks = [mark for line in made.lines for mark in line.identities]
    assert len(marks) == len(set(marks))
    for mark in marks:
        item = by_mark[mark]
        assert not item.out_of_service
        if mark.startswith("C"):
            assert cylinder_service(item, DAY, RULES).outcome is Outcome.OK
            assert item.last_test is not None and DAY - timedelta(days=1827) < item.last_test <= DAY
            assert item.last_visual is not None and DAY - timedelta(days=366) < item.last_visual <= DAY
        elif mark.startswith("R"):
            assert regulator_service(item, DAY, RULES).usable
            assert item.has_pressure_gauge is not False and item.has_second_stage_spare is not False
    own = [line for line in made.people if line.identity]
    assert len({line.identity for line in own}) == len(own)
    for line in own:
        item = by_mark[line.identity]
        if line.thing == "suit":
            assert size_fits(line.size, item.size) and item.dry is line.dry_suit
            assert line.suit_mm in (None, item.mm)
        if line.thing == "cylinder":
            assert item.volume_l == line.volume_l and (line.fill_bar or 0) <= item.working_bar
            assert (item.oxygen_percent or line.oxygen_percent) == line.oxygen_percent
            assert item.oxygen_clean or line.oxygen_percent == 21.0


def with_one_more(kit: Kit, what: str) -> Kit:
    """Return the store with one more piece of a kind, in order and fit for many."""
    more = {
        "cylinders": cylinder("NEW", volume_l=12.0, oxygen_clean=True),
        "regulators": regulator("NEW"),
        "suits": suit("NEW"),
        "masks": {"size": "M", "count": 1},
        "fins": {"size": "any", "count": 1},
        "boots": {"size": "L", "count": 1},
        "snorkels": {"count": 1},
        "buoyancy_devices": {"size": "M/L", "count": 1},
        "weights": {"kg": 0.5, "count": 1},
        "safety": {"thing": "float", "count": 1},
    }[what]
    held = {name: getattr(kit, name) for name in Kit.model_fields}
    return Kit.model_validate({**held, what: (*held[what], more)})


@settings(deadline=None, max_examples=200)
@given(day=days(), kit=kits(), what=st.sampled_from(sorted(Kit.model_fields)), first=st.booleans())
def test_one_more_piece_in_service_never_makes_anything_worse(day, kit, what, first):
    asked, crowd = day
    more = with_one_more(kit, what)
    if first:
        items = getattr(more, what)
        more = more.model_copy(update={what: (items[-1], *items[:-1])})
    before, after = pack(asked, (), (), crowd, kit, RULES), pack(asked, (), (), crowd, more, RULES)

    def severities(made: Packing) -> dict[str, int]:
        found: dict[str, int] = {}
        for check in made.checks:
            if check.rule in ("kit-service", "kit-enough", "kit-known"):
                key = check.rule if check.rule == "kit-enough" else f"{check.rule} {check.subject}"
                found[key] = max(found.get(key, 0), check.outcome.severity)
        return found

    assert worst(before.checks) is Outcome.STOP or worst(after.checks) is not Outcome.STOP
    was = severities(before)
    assert all(severity <= was.get(key, 0) for key, severity in severities(after).items())


@pytest.mark.parametrize(
    ("wanted", "have", "short"),
    [  # by hand
        (["40", "38"], ["38-40", "40-42"], {}),  # 40 leaves the only pair that fits 38
        (["40", "38"], ["38-40", "42"], {"boots, size 38": 1}),
        (["", "40"], ["38-40"], {"boots, size not known": 1}),  # who has no size on record is served last
        (["40", "42", "38"], ["40-42", "38-40", "42"], {}),
    ],
)
def test_nobody_goes_without_while_another_pair_would_do_for_somebody_else(wanted, have, short):
    crowd = {f"P{n}": diver(f"P{n}", sizes={**SIZES, "boots": size} if size else {}) for n, size in enumerate(wanted)}
    boots = tuple({"size": size, "count": 1} for size in have)
    made = packed(store(boots=boots), terns(*crowd, kind="autonomous", leader=None), people=crowd)
    assert {line.words: line.short for line in made.lines if line.thing == "boots" and line.short} == short


@settings(deadline=None, max_examples=150)
@given(
    wanted=st.lists(st.sampled_from(["", "38", "40", "42", "44"]), min_size=1, max_size=7),
    have=st.lists(st.sampled_from(["38", "38-40", "40-42", "42-44", "44"]), max_size=8),
)
def test_as_many_as_can_be_are_served(wanted, have):
    """Against the maximum matching of an independent library."""
    crowd = {f"P{n}": diver(f"P{n}", sizes={**SIZES, "boots": size} if size else {}) for n, size in enumerate(wanted)}
    boots = tuple({"size": size, "count": 1} for size in have)
    made = packed(store(boots=boots), terns(*crowd, kind="autonomous", leader=None), people=crowd)
    short = sum(line.short or 0 for line in made.lines if line.thing == "boots")
    fits = np.array([[int(not size or size_fits(size, item)) for item in have] for size in wanted], dtype=np.int8)
    most = 0
    if fits.size and fits.any():
        most = int((maximum_bipartite_matching(csr_matrix(fits), perm_type="column") >= 0).sum())
    assert short == len(wanted) - most


def test_a_long_day_of_many_people_is_packed_with_half_of_its_cylinders_missing():
    names = [f"P{n}" for n in range(40)]
    crowd = {name: diver(name) for name in names}
    long = terns(*names, kind="autonomous", leader=None, dives=tuple(DiveWish() for _ in range(6)))
    made = packed(store(120, 20, 20), long, people=crowd)
    line = line_of(made, "cylinder, 12 l, 200 bar, air")
    assert (line.needed, line.short, len(line.identities)) == (240, 120, 120)
    assert math.isclose(made.lead.needed_kg, 240.0)


def test_a_store_of_another_day_is_judged_on_that_day():
    leap = date(2028, 2, 29)
    asked = request(terns()).model_copy(update={"date": leap})
    kit = store(cylinders=tuple(cylinder(f"C{n}", last_visual=date(2027, 3, 1)) for n in range(4)))
    assert the(pack(asked, (), (), PEOPLE, kit, RULES), "kit-service", "cylinders").outcome is Outcome.OK
    later = asked.model_copy(update={"date": date(2028, 3, 1)})
    assert the(pack(later, (), (), PEOPLE, kit, RULES), "kit-service", "cylinders").outcome is Outcome.STOP


# ---- what the dives of today have emptied ----


def test_each_dive_of_today_has_emptied_a_cylinder_and_nobody_says_which():
    """By hand: of 8 cylinders Ann and Cal, who is done, emptied one each; Bea dived the evening before: 6 left."""
    recent = tuple(
        RecentDive(person=name, depth_m=9, minutes=30, surfaced=datetime.combine(day, time(9), tzinfo=UTC))
        for name, day in (("Ann", DAY), ("Cal", DAY), ("Bea", DAY - timedelta(days=1)))
    )
    words = "cylinder, 12 l, 200 bar, air"
    for dives, left, has in (((), 8, True), (recent[2:], 8, True), (recent, 6, False)):
        asked = request(terns(), recent_dives=dives or "none")
        made = pack(asked, (), (), PEOPLE, store(8), RULES)
        line = line_of(made, words)
        assert (line.needed, line.in_store, bool(line.identities)) == (3, left, has)
        assert any(one.identity for one in made.people if one.thing == "cylinder") is has
        told = [check for check in made.checks if check.subject == "cylinders" and check.rule == "kit-known"]
        assert bool(told) is not has
    assert told[0].outcome is Outcome.CAUTION and told[0].sentence.startswith("2 cylinders count as emptied")
    short = pack(request(terns(), recent_dives=recent), (), (), PEOPLE, store(4), RULES)
    assert the(short, "kit-enough", "cylinders").outcome is Outcome.STOP  # 2 left for 3
