"""The table of what meets each requirement, written by hand and judged honestly; tests hold it against the program.

Rules that have a number to keep stand as bounds: the sentence that says where the rule book in force leaves the
requirement is made from them. Names in ``checks`` are those of Check.rule, in ``closures`` those of Closure.rule.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from tripplan.documents.coverage import Bound, Coverage


def _met(key: str, how: str, **more: Any) -> Coverage:
    return Coverage(key, "met", how, **more)


def _partly(key: str, how: str, missing: str, **more: Any) -> Coverage:
    return Coverage(key, "partly", how, missing, **more)


def _own(key: str, task: str, how: str = "", **more: Any) -> Coverage:
    return Coverage(key, "own_task", how, task=task, **more)


def _most(rule: str, value: float) -> Bound:
    return Bound(rule, "at most", value)


def _least(rule: str, value: float) -> Bound:
    return Bound(rule, "at least", value)


def _no_kind_deeper_than(depth_m: float) -> tuple[Bound, ...]:
    """Hold every kind of dive to a depth: whoever dives, the kind is one of the candidates for the limit."""
    kinds = (
        "first_experience_dive", "level_1_course", "level_2_course", "further_training", "guided", "refresher", "night",
        "autonomous",
    )  # fmt: skip
    return tuple(_most(f"depth.{kind}_m", depth_m) for kind in kinds)


_PEOPLE = (
    _partly(
        "PEO-01",
        "No plan goes without a named dive director, and the director is warned of being in the water; the emergency "
        "sheet has who is in charge and who calls. A schedule gives each site on each day a director who stays ashore "
        "there from the first group's arrival until the last is away.",
        "that the director is at the place of water entry is not judged; the page of the day only lists who has come.",
        checks=("director-named", "director-ashore"),
        fields=("Crew.dive_director", "ShoreTeam.director"),
        lines=("sheet of the day: Dive director", "emergency sheet: In charge"),
        pages=("live.sites",),
    ),
    _partly(
        "PEO-02",
        "The written plan names the director and is printed for the day.",
        "the centre's letter of appointment and the handing over of the sheet are not recorded.",
        task="The centre appoints in writing and hands over the sheet: a program cannot appoint anybody.",
        checks=("director-named",),
        fields=("Crew.dive_director",),
        lines=("sheet of the day: Dive director",),
    ),
    _own(
        "PEO-03",
        "The centre judges how much one supervisor can oversee, since the code gives no number, and writes a request "
        "of its own for each operation.",
        "A request has one director, and the site's own number of divers in the water at once is kept.",
        fields=("Request.crew", "Capacity.divers"),
        pages=("requests.listing",),
    ),
    _partly(
        "PEO-04",
        "Leaders, ratio, shore watch, who is ashore during each dive, oxygen provider and every task of the emergency "
        "plan are judged before the day; first aid is judged of who leads and assists.",
        "of those ashore the first-aid paper is not judged, only the oxygen qualification is.",
        checks=(
            "leader-level",
            "ratio",
            "in-charge",
            "shore-watch",
            "surface-support",
            "oxygen-provider",
            "oxygen-qualified",
            "two-ashore",
            "first-aid-valid",
            "emergency-roles",
            "crew-drilled",
        ),
        rules=("crew.shore_watch_fewest", "crew.oxygen_provider_ashore_fewest", "crew.guided_ashore_fewest"),
        fields=("Person.first_aid_until", "Person.oxygen_provider_until"),
        lines=("emergency sheet: Who does what",),
    ),
    _partly(
        "PEO-05",
        "A led group has a leader of the level, age and logged dives that its kind of dive asks for, and the day has a "
        "named director.",
        "the competence of the director is not judged.",
        checks=("leader-named", "leader-level", "leader-experience", "in-charge", "director-named"),
        rules=("leader.guided_level", "leader.first_experience_level"),
    ),
    _own(
        "PEO-06",
        "The centre shows each instructor the site and keeps the paper of it: the program has no place for a site "
        "induction, and nothing here says that one was held.",
        "The leader's level is judged, not what the leader knows of the site.",
        checks=("leader-level",),
    ),
    _partly(
        "PEO-07",
        "Somebody qualified to give oxygen must be named; who is in the water on a dive of the day while first aid and "
        "oxygen stand in their name is told. In a schedule nobody who gives oxygen at a site dives while a group is "
        "there.",
        "in the plan of a day a provider who dives is a caution and no stop, and of several providers only the first "
        "is looked at.",
        checks=("oxygen-provider", "oxygen-qualified", "emergency-roles", "two-ashore"),
        rules=("crew.oxygen_provider_ashore_fewest",),
        fields=("Crew.oxygen_provider", "Person.oxygen_provider_until", "ShoreTeam.oxygen_providers"),
        lines=("sheet of the day: Oxygen by", "emergency sheet: First aid and oxygen"),
    ),
    _partly(
        "PEO-08",
        "The number of people qualified for oxygen is judged and can be raised by the centre.",
        "whether they hold first aid too is not judged.",
        checks=("oxygen-provider", "oxygen-qualified"),
        fields=("Person.oxygen_provider_until", "Person.first_aid_until"),
        bounds=(_least("crew.oxygen_provider_ashore_fewest", 2),),
    ),
    _partly(
        "PEO-09",
        "Somebody of a leader's level is named for rescue from the water, and the plan says where nobody is.",
        "it is a caution and no stop, and nobody is asked to stand ready in their kit.",
        checks=("emergency-roles",),
        fields=("Crew.rescue",),
        lines=("emergency sheet: Rescue from the water",),
    ),
    _met(
        "PEO-10",
        "Nobody is planned alone: groups go in from two, pairs or threes are proposed and judged, and who has nobody "
        "to dive with is a stop. The briefing says how near to stay.",
        task="Staying in sight is done under water, where no program looks.",
        checks=("group-size", "leader-named", "pairs", "pair-nobody"),
        fields=("GroupWish.pairs", "DivePlan.pairs"),
        lines=("briefing sheet: Nobody dives alone", "sheet of the day: Pairs"),
        bounds=(_least("ratio.autonomous_fewest", 2),),
    ),
    _met(
        "PEO-11",
        "The plan names the shore watch, the telephone and the minute from which a group is overdue, and counts who "
        "with a duty is ashore during each dive.",
        checks=("shore-watch", "surface-support"),
        rules=("crew.shore_watch_fewest", "overdue.after_min"),
        fields=("Crew.shore_watch", "Communications.phone_signal", "DivePlan.overdue_at"),
        lines=("sheet of the day: Shore watch", "sheet of the day: OUT BY"),
        bounds=(_least("crew.guided_ashore_fewest", 1), _least("crew.autonomous_ashore_fewest", 1)),
    ),
    _partly(
        "PEO-12",
        "A shore watch must be named, somebody with a duty must be ashore during each dive, and calling is a task of "
        "the emergency sheet. In a schedule the named watch of a site does not dive while a group is there.",
        "in the plan of a day it is not judged that it is the named watch who stays ashore: another with a duty there "
        "counts too.",
        checks=("shore-watch", "surface-support", "emergency-roles"),
        fields=("Crew.shore_watch", "Crew.caller", "ShoreTeam.watch"),
        lines=("sheet of the day: Shore watch", "emergency sheet: Calls"),
        bounds=(_least("crew.shore_watch_fewest", 1), _least("crew.guided_ashore_fewest", 1)),
    ),
    _met(
        "PEO-13",
        "A led group has a leader and at least one diver, a group without a leader at least {ratio.autonomous_fewest}; "
        "who has nobody to dive with is a stop. Solo dives are not planned.",
        checks=("group-size", "leader-named", "pair-nobody"),
        bounds=(_least("ratio.autonomous_fewest", 2),),
    ),
    _met(
        "PEO-14",
        "Pairs are proposed, a three only where the number is odd; a three is a caution and more a stop, also where "
        "the leader asked for it.",
        checks=("pairs", "pair-three"),
        fields=("GroupWish.pairs", "DivePlan.pairs"),
        lines=("briefing sheet: Together", "sheet of the day: Pairs"),
        bounds=(_most("ratio.autonomous_most", 3), _least("ratio.autonomous_fewest", 2)),
    ),
    _met(
        "PEO-15",
        "Everybody who leads must be of age.",
        checks=("leader-age",),
        fields=("Person.born",),
        bounds=(_least("age.leader_years", 18),),
    ),
    _met(
        "PEO-16",
        "Fewer logged dives of who leads are a caution, which says that the number is from memory.",
        task="Whether the logged dives were in open water is in the log only.",
        checks=("leader-experience", "leader-level"),
        fields=("Person.logged_dives",),
        bounds=(_least("people.leader_logged_fewest", 60),),
    ),
    _met(
        "PEO-17",
        "A minor without a guardian's consent on record is not planned.",
        task="The centre keeps the signed paper itself.",
        checks=("guardian-consent",),
        fields=("Person.guardian_consent", "Person.guardian"),
        bounds=(_least("age.adult_years", 18),),
    ),
    _met(
        "PEO-18",
        "Nobody younger dives in a group without a leader.",
        checks=("age-without-leader",),
        bounds=(_least("age.autonomous_years", 18),),
    ),
    _partly(
        "PEO-19",
        "The card and the level behind it are kept, and a group without a leader is for {diver.autonomous_level} or "
        "above.",
        "logged minutes are not kept, and no experience is asked for before diving unguided.",
        task="The centre looks at the log itself before it enters a card.",
        checks=("diver-level",),
        rules=("diver.autonomous_level",),
        fields=("Person.card", "Person.logged_dives"),
    ),
    _met(
        "PEO-20",
        "Whoever has not dived for {people.lay_off_days}, or of whom it is not known, gets a caution that a check dive "
        "comes first.",
        task="The leader decides what the check dive is; the caution stops nobody.",
        checks=("lay-off",),
        fields=("Person.last_dive",),
        bounds=(_most("people.lay_off_days", 90),),
    ),
    _own(
        "PEO-21",
        "The leader asks where each diver has dived and decides who needs to be shown this place: the program keeps no "
        "log of the conditions in which somebody dived.",
    ),
    _partly(
        "PEO-22",
        "Groups without a leader are held to {depth.autonomous_m} and to {diver.autonomous_level} or above.",
        "a certificate to 30 m is not asked for, as the level of an autonomous diver reaches to {depth.level_2_m}: a "
        "centre under this code sets diver.autonomous_level to level 3.",
        checks=("diver-level", "depth-within-limit"),
        rules=("diver.autonomous_level", "depth.autonomous_m", "depth.level_2_m"),
    ),
)

_RATIOS = (
    _met(
        "RAT-01",
        "More divers than a leader may take are not planned, and more than {ratio.reach_most} to one who leads alone "
        "are a caution; an assistant who adds to the number must be a dive leader too.",
        task="Only the leader can tell whether each of them is within reach.",
        checks=("ratio", "leader-reach", "assistant-level"),
        rules=("ratio.guided_per_assistant", "ratio.reach_most", "leader.assistant_level"),
        lines=("briefing sheet: can see and reach you",),
        bounds=(_most("ratio.guided_per_leader", 4),),
    ),
    _met(
        "RAT-02",
        "More are not planned for one instructor.",
        checks=("ratio", "leader-level"),
        bounds=(_most("ratio.first_experience_per_leader", 4),),
    ),
    _met(
        "RAT-03",
        "One assistant adds {ratio.first_experience_per_assistant}, and no more than {ratio.first_experience_most} go "
        "with one instructor.",
        checks=("ratio", "assistant-level"),
        rules=("ratio.first_experience_per_assistant",),
        bounds=(_most("ratio.first_experience_most", 6),),
    ),
    _met(
        "RAT-04",
        "More are not planned for one instructor; an assistant adds {ratio.first_experience_per_assistant} and counts "
        "as another supervisor.",
        checks=("ratio",),
        rules=("ratio.first_experience_per_assistant",),
        bounds=(_most("ratio.first_experience_per_leader", 2),),
    ),
    _partly(
        "RAT-05",
        "Without assistants no more are planned for one instructor.",
        "an assistant, who need not be an instructor, adds students up to {ratio.level_1_course_most} and "
        "{ratio.level_2_course_most}: a centre under this code sets those to 4.",
        checks=("ratio",),
        rules=("ratio.level_1_course_most", "ratio.level_2_course_most"),
        bounds=(
            _most("ratio.level_1_course_per_leader", 4),
            _most("ratio.level_2_course_per_leader", 4),
            _most("ratio.further_training_per_leader", 4),
        ),
    ),
    _partly(
        "RAT-06",
        "The number of first-experience divers for an instructor is a rule, and more than one child to each is a "
        "caution.",
        "whether it is somebody's very first dive is not asked.",
        checks=("ratio", "children-ratio"),
        rules=("ratio.child_first_experience_per_leader",),
        bounds=(_most("ratio.first_experience_per_leader", 1),),
    ),
    _met(
        "RAT-07",
        "A larger group without a leader is not planned.",
        checks=("group-size",),
        bounds=(_most("ratio.autonomous_most", 3),),
    ),
    _partly(
        "RAT-08",
        "Children under {ratio.child_under_years} are counted for each who leads or assists; more than "
        "{ratio.child_first_experience_per_leader} to each on a first experience is a caution.",
        "dive leaders count as well as instructors, and whether a child holds the group-diving skill is not kept.",
        checks=("children-ratio",),
        rules=("ratio.child_under_years", "ratio.child_first_experience_per_leader"),
        bounds=(_most("ratio.child_per_leader", 2),),
    ),
    _met(
        "RAT-09",
        "More are not planned for one instructor without assistants.",
        checks=("ratio",),
        bounds=(_most("ratio.level_1_course_per_leader", 8), _most("ratio.level_2_course_per_leader", 8)),
    ),
    _partly(
        "RAT-10",
        "Fewer go with each who leads where the visibility is low, the stream near its limit, a language not spoken, "
        "or children or minors dive; each reason stands in the sentence.",
        "low ability and a rough surface lower nothing: the limits of the sea stop the dive, short of that the leader "
        "takes fewer.",
        checks=("ratio", "ratio-of-dive", "language-spoken"),
        rules=(
            "ratio.low_visibility_m",
            "ratio.low_visibility_fewer",
            "ratio.stream_share",
            "ratio.stream_fewer",
            "ratio.language_fewer",
            "ratio.children_fewer",
            "ratio.minors_fewer",
        ),
        fields=("Person.language", "Person.speaks"),
        lines=("sheet of the day: fewer divers to a leader when poor",),
    ),
    _met(
        "RAT-11",
        "Below {ratio.low_visibility_m} as seen, {ratio.low_visibility_fewer} fewer go with each who leads; below the "
        "limit nobody goes. Where nobody has looked, the sentence says what would hold.",
        task="Somebody looks under water before the group goes in: nobody forecasts it.",
        checks=("ratio-of-dive", "visibility-under-water"),
        rules=("ratio.guided_per_leader", "observe.visibility_m", "observe.visibility_training_m"),
        lines=("sheet of the day: fewer divers to a leader when poor",),
        bounds=(_least("ratio.low_visibility_m", 3), _least("ratio.low_visibility_fewer", 2)),
    ),
)

_DEPTH = (
    _met(
        "DEP-01",
        "It is one of the candidates for the depth limit of each dive, of which the smallest binds.",
        checks=("depth-within-limit",),
        bounds=(_most("depth.level_1_m", 12),),
    ),
    _met(
        "DEP-02",
        "It is one of the candidates for the depth limit of each dive, of which the smallest binds.",
        checks=("depth-within-limit",),
        bounds=(_most("depth.level_2_m", 20), _most("depth.autonomous_m", 20)),
    ),
    _met(
        "DEP-03",
        "Level, age, leader, kind of dive, place, gas and no-stop time of everybody compete; the smallest binds and "
        "the others stay in sight.",
        checks=("depth-within-limit", "bottom-within-limit"),
        fields=("DivePlan.depth",),
        lines=("sheet of the day: Depth limit",),
    ),
    _met(
        "DEP-04",
        "Level 1 goes no deeper than {depth.level_1_with_instructor_m} even with an instructor, level 2 with a dive "
        "leader or instructor to {depth.level_2_led_m}.",
        checks=("depth-within-limit",),
        rules=("depth.level_1_with_instructor_m", "depth.level_2_led_m", "depth.level_1_m", "depth.level_2_m"),
    ),
    _met(
        "DEP-05",
        "Every dive is planned inside the no-stop time of everybody by two methods, of which the shorter binds.",
        checks=("bottom-time", "no-stop-methods-agree"),
        rules=("model.gradient_factor_high",),
        fields=("DivePlan.time",),
        lines=("sheet of the day: Longest time",),
    ),
    _partly(
        "DEP-06",
        "Each level has a depth of its own, and no kind of dive is planned below 60 m.",
        "supervised and autonomous skills by the bands of this code are not kept apart: a centre under it gives its "
        "cards the level whose depth is within the band.",
        checks=("depth-within-limit",),
        rules=("depth.first_experience_m",),
        fields=("Person.level", "Person.card"),
        bounds=_no_kind_deeper_than(60),
    ),
    _met(
        "DEP-07",
        "No kind of dive is planned deeper, and none with stops.",
        checks=("depth-within-limit", "bottom-time"),
        bounds=_no_kind_deeper_than(40),
    ),
    _met(
        "DEP-08",
        "No kind of dive is planned deeper, whoever dives.",
        checks=("depth-within-limit",),
        bounds=(*_no_kind_deeper_than(30), _most("depth.level_2_m", 20)),
    ),
    _met(
        "DEP-09",
        "130 feet of sea water are 39.6 m: no kind of dive is planned so deep, and the oxygen has a limit of its own.",
        checks=("depth-within-limit", "oxygen-partial-pressure"),
        bounds=(*_no_kind_deeper_than(39.6), _most("oxygen.partial_pressure_bar", 1.4185)),
    ),
    _met(
        "DEP-10",
        "No kind of dive is planned so deep.",
        checks=("depth-within-limit",),
        bounds=_no_kind_deeper_than(50),
    ),
    _met(
        "DEP-11",
        "It holds for ages 8 and 9 on every dive, after the first too.",
        checks=("depth-within-limit", "age-youngest"),
        rules=("age.youngest_years", "age.band_first_years"),
        bounds=(_most("age.depth_8_9_m", 2),),
    ),
    _partly(
        "DEP-12",
        "It holds for ages 10 to 13 without a certificate outside a course.",
        "on a level 1 course, or with a certificate, the depth is {age.depth_10_11_m}: another body's figure, and this "
        "code asks for 3 m first, then 6 m. At 14 the next band begins.",
        checks=("depth-within-limit",),
        rules=("age.depth_10_11_m", "age.depth_12_13_m", "age.band_third_years"),
        bounds=(_most("age.depth_10_13_first_experience_m", 3),),
    ),
    _met(
        "DEP-13",
        "It holds for ages 10 to 13 with a certificate or on a course.",
        checks=("depth-within-limit",),
        bounds=(_most("age.depth_10_11_m", 12), _most("age.depth_12_13_m", 12)),
    ),
    _met(
        "DEP-14",
        "More oxygen than that in the gas of a minor is a stop.",
        checks=("minor-gas",),
        bounds=(_most("oxygen.minor_percent", 21),),
    ),
    _partly(
        "DEP-15",
        "Depth is held to the level's; courses and first experience have stricter limits of sea, stream and light.",
        "in which conditions somebody was trained is not kept, so nothing is compared with it.",
        task="The leader asks, and takes nobody beyond what they were trained in.",
        checks=("depth-within-limit", "site-admits", "stream"),
        rules=("observe.breaker_training_m", "stream.training_limit_kn"),
        fields=("Site.lowest_level", "Place.suits"),
    ),
)

_GAS = (
    _met(
        "GAS-01",
        "Contents, the gas of the dive and the reserve are reckoned for each diver where cylinder and fill are given; "
        "where they are not, the plan says that no gas was reckoned. There is a line for each gauge before the dive.",
        checks=("gas-enough", "gas-reckoned", "gas-turn"),
        rules=("gas.rate_l_min", "gas.surface_with_bar"),
        fields=("GroupWish.cylinder_l", "GroupWish.fill_bar", "Person.gas_rate_l_min"),
        lines=("briefing sheet: Gauge before, bar", "page of the day on the beach: Gauge before, bar"),
    ),
    _met(
        "GAS-02",
        "It is one of the candidates for the depth limit, with the richest gas of the group.",
        checks=("oxygen-partial-pressure", "depth-within-limit"),
        bounds=(_most("oxygen.partial_pressure_bar", 1.4),),
    ),
    _met(
        "GAS-03",
        "1.40 atmospheres are 1.4185 bar; the rule is in bar.",
        checks=("oxygen-partial-pressure", "depth-within-limit"),
        bounds=(_most("oxygen.partial_pressure_bar", 1.4185),),
    ),
    _met(
        "GAS-04",
        "The plan keeps to {oxygen.partial_pressure_bar}; no centre can set more than 1.6 bar.",
        checks=("oxygen-partial-pressure",),
        bounds=(_most("oxygen.partial_pressure_bar", 1.6),),
    ),
    _met(
        "GAS-05",
        "What is asked for at the start of the stop is kept to the surface.",
        checks=("gas-enough",),
        bounds=(_least("gas.surface_with_bar", 50),),
    ),
    _met(
        "GAS-06",
        "The plan keeps it as gas that is not used, and the record is held against it.",
        checks=("gas-enough", "actual-reserve"),
        bounds=(_least("gas.surface_with_bar", 30),),
    ),
    _met(
        "GAS-07",
        "Of the centre's regulators none is handed out that is known to have no spare second stage, for any dive; "
        "where that is not known it is a caution.",
        task="Divers with kit of their own show it: nobody's own kit is on record.",
        checks=("kit-service",),
        fields=("RegulatorItem.has_second_stage_spare",),
        pages=("kit.show",),
    ),
    _met(
        "GAS-08",
        "The gas of each person's dive and how deep it may go stand in the plan and in the record.",
        task="Whoever breathes it analyses and labels it.",
        checks=("nitrox-qualified", "oxygen-partial-pressure"),
        fields=("GroupWish.mixes", "DivePlan.oxygen_percent"),
        lines=("record of the day: oxygen_percent", "record sheet: Maximum operating depth"),
    ),
    _met(
        "GAS-09",
        "The minimum gas is that of two divers who share one cylinder from the deepest point, each breathing "
        "{gas.stressed_rate_l_min}, with {gas.problem_min} before they start up.",
        checks=("gas-enough",),
        rules=("gas.stressed_rate_l_min", "gas.problem_min", "gas.shared_surface_with_bar", "ascent.rate_m_min"),
        lines=("briefing sheet: minimum gas",),
    ),
    _partly(
        "GAS-10",
        "The surface swim of the place, out and back, is in the gas, and the turn leaves {gas.turn_share} of the gas "
        "above the reserve for the way out.",
        "the swim to the alternative exit is told but is in no gas.",
        checks=("gas-turn", "gas-enough", "swim-known"),
        rules=("gas.swim_rate_l_min", "gas.turn_share"),
        fields=("Place.swim_min", "AlternativeExit.swim_m"),
        lines=("briefing sheet: Turn",),
    ),
)

_ENVIRONMENT = (
    _met(
        "ENV-01",
        "Minutes in which the stream runs harder are closed; courses have {stream.training_limit_kn}.",
        checks=("stream",),
        closures=("stream",),
        rules=("stream.training_limit_kn",),
        fields=("Limits.stream_kn",),
        bounds=(_most("stream.limit_kn", 1),),
    ),
    _met(
        "ENV-02",
        "Where the stream runs too hard between slacks, only the minutes around slack stay open, less a margin at each "
        "end.",
        checks=("stream",),
        closures=("stream",),
        rules=("stream.slack_margin_min",),
        fields=("Stream.high_water_slack_min", "Stream.low_water_slack_min"),
    ),
    _met(
        "ENV-03",
        "Breaking waves at the way in stop courses and first experience above it; certified divers have "
        "{observe.breaker_m}.",
        checks=("surf",),
        closures=("surf",),
        rules=("observe.breaker_m",),
        lines=("sheet of the day: Breaking waves at the way in and out",),
        bounds=(_most("observe.breaker_training_m", 0.5),),
    ),
    _met(
        "ENV-04",
        "Courses stop below it, first experience below {observe.visibility_first_experience_m}; certified divers have "
        "{observe.visibility_m}. It is looked at on arrival: nobody forecasts it.",
        checks=("visibility-under-water",),
        rules=("observe.visibility_m", "observe.visibility_first_experience_m"),
        lines=("sheet of the day: Visibility under water",),
        bounds=(_least("observe.visibility_training_m", 4),),
    ),
    _met(
        "ENV-05",
        "A beginner fins against {stream.training_limit_kn}, the limit of courses and first experience; certified "
        "divers have {stream.limit_kn}.",
        checks=("stream",),
        closures=("stream",),
        rules=("stream.training_limit_kn", "stream.limit_kn"),
        lines=("sheet of the day: Stream at the surface",),
    ),
    _met(
        "ENV-06",
        "Going in begins {light.entry_after_sunrise_min} after sunrise, and everybody is out "
        "{light.exit_before_sunset_min} before sunset, courses {light.training_exit_before_sunset_min}. Night dives "
        "are a kind of their own.",
        closures=("light",),
        rules=(
            "light.entry_after_sunrise_min",
            "light.exit_before_sunset_min",
            "light.training_exit_before_sunset_min",
        ),
    ),
    _partly(
        "ENV-07",
        "Where visibility above water is forecast or was seen, less than {visibility.shore_watch_m} is a stop and "
        "closes the minutes.",
        "the list of what to look at on arrival has no line for fog or heavy rain above water.",
        checks=("visibility",),
        closures=("visibility",),
        rules=("visibility.shore_watch_m",),
    ),
    _met(
        "ENV-08",
        "Every number at which diving stops stands in the rule book, a site's own in its file, and the sheet lists "
        "them to tick.",
        rules=(
            "observe.breaker_m",
            "observe.wind_onshore_beaufort",
            "observe.wind_offshore_kn",
            "stream.limit_kn",
            "observe.visibility_m",
        ),
        fields=("Limits.breaker_m", "Limits.stream_kn", "Limits.visibility_m", "Limits.wind"),
        lines=("sheet of the day: On arrival: look, write down, tick",),
        pages=("books.rules", "sites.listing"),
    ),
    _met(
        "ENV-09",
        "Sea, wind, stream, tide, visibility and hazards are judged for the minutes of each dive, and what nobody "
        "tells is said.",
        checks=("surf", "wind", "stream", "visibility", "surge", "surface-drift", "conditions-known", "tide-known"),
        fields=("Site.hazards",),
        lines=("sheet of the day: Hazards",),
    ),
    _met(
        "ENV-10",
        "The suit of each group is held against the coldest water of its dive.",
        checks=("suit", "water-temperature-known"),
        rules=("cold.suit_7_mm_c", "cold.suit_stop_c"),
        fields=("GroupWish.suit_mm", "GroupWish.dry_suit"),
    ),
    _met(
        "ENV-11",
        "Colder water is a stop for everybody under {ratio.child_under_years}.",
        checks=("cold-children",),
        rules=("ratio.child_under_years",),
        bounds=(_least("cold.child_water_c", 12),),
    ),
    _partly(
        "ENV-12",
        "Too few floats for the groups in the water at once are a stop.",
        "colour and size of a float are not kept.",
        task="The centre buys floats of the colour and size that its code asks for.",
        checks=("kit-enough",),
        fields=("SafetyItem.thing", "Site.flag_rule"),
        lines=("sheet of the day: Flag",),
    ),
    _met(
        "ENV-13",
        "Thunder that is forecast or heard closes its minutes, and the wait after it, and is a line to tick on "
        "arrival.",
        checks=("thunder",),
        closures=("thunder",),
        lines=("sheet of the day: Thunder heard", "emergency sheet: minutes after the last thunder"),
        bounds=(_least("observe.thunder_wait_min", 30),),
    ),
)

_SITE = (
    _partly(
        "SIT-01",
        "Each site has a file with hazards, what is done about each, ways in and out, care and contacts; its age is "
        "judged.",
        "how likely a harm is, and whom it may hit, has no place in it, and a file may list no hazard.",
        checks=("survey-fresh",),
        rules=("site.survey_fresh_days",),
        fields=("Site.survey_date", "Hazard.what", "Hazard.control"),
        pages=("sites.listing",),
    ),
    _partly(
        "SIT-02",
        "The file says when the site was surveyed and may say by whom.",
        "who surveyed may be left out, and whether they were competent is not judged.",
        task="The centre sends somebody competent.",
        checks=("survey-fresh",),
        fields=("Site.surveyed_by", "Site.survey_date"),
    ),
    _met(
        "SIT-03",
        "Each hazard of the site stands with its control on the plan and is told in the briefing.",
        checks=("survey-fresh",),
        fields=("Hazard.control",),
        lines=(
            "sheet of the day: Hazards",
            "briefing sheet: Hazards, and what is done about each",
            "emergency sheet: Hazards here",
        ),
    ),
    _met(
        "SIT-04",
        "The centre's code and the by-law of the site stand on the plan; the emergency sheet says where none is on "
        "file.",
        fields=("Centre.code_of_practice", "Site.rules_here"),
        lines=("sheet of the day: Rules here", "emergency sheet: Code of practice"),
    ),
    _met(
        "SIT-05",
        "Each way in and out has the heights of tide between which it can be used, with a margin; minutes outside are "
        "closed, as long as anybody is in the water.",
        task="Whether steps or a ladder bear a diver is the survey's judgement.",
        checks=("tide-known",),
        closures=("tide-going-in", "tide-coming-out"),
        rules=("tide.height_margin_m",),
        fields=("Access.coming_out", "Access.going_in"),
        lines=("sheet of the day: Tide on the way in and out",),
    ),
    _met(
        "SIT-06",
        "No site file is taken that has no place for bringing out a casualty; the sheets name it and how many people "
        "it takes.",
        fields=("Access.casualty", "Access.casualty_people"),
        lines=("sheet of the day: Lift out at", "emergency sheet: Bring casualties out at"),
    ),
    _met(
        "SIT-07",
        "A site without one gets a caution; it stands on every sheet.",
        checks=("alternative-exit",),
        fields=("AlternativeExit.access",),
        lines=("sheet of the day: Other way out", "briefing sheet: Other exit"),
    ),
    _met(
        "SIT-08",
        "Each site says which flag is shown and where; too few flags or floats in the store are a stop.",
        checks=("kit-enough",),
        fields=("Site.flag_rule",),
        lines=("sheet of the day: Flag", "briefing sheet: Flag"),
    ),
    _own(
        "SIT-09",
        "Divers stay near their float: where they swim is not known to the program. The site's flag rule can say how "
        "near, and is told in the briefing.",
        fields=("Site.flag_rule",),
        lines=("briefing sheet: Flag",),
    ),
    _partly(
        "SIT-10",
        "Each site has its flag rule in words, with whose it is.",
        "there is no table of designs and sizes by country: the survey writes what holds.",
        fields=("Site.flag_rule", "Site.country"),
        lines=("sheet of the day: Flag",),
    ),
    _own(
        "SIT-11",
        "The centre has a rigid flag of that size and puts it up: its size is not kept here, only the site's flag rule "
        "and how many flags the store has.",
        checks=("kit-enough",),
        fields=("Site.flag_rule", "SafetyItem.count"),
        lines=("sheet of the day: Flag",),
    ),
    _partly(
        "SIT-12",
        "Anglers, traffic and outfalls are kinds of hazard with what is done about each, and a permission that is "
        "needed is asked after.",
        "what happens there on that one day is in no plan.",
        task="The leader talks with the others at the water and with the harbour.",
        checks=("permission",),
        fields=("Hazard.kind", "Hazard.control", "SiteAccess.permission"),
        lines=("sheet of the day: Hazards",),
    ),
)

_EMERGENCY = (
    _met(
        "EMG-01",
        "Each site and day has an emergency sheet of its own, on paper, as a page and as a file for the phone.",
        task="Somebody takes it to the water and keeps it there until all are out.",
        lines=("emergency sheet: WE ARE HERE",),
        pages=("sheets.morning",),
    ),
    _met(
        "EMG-02",
        "The sheet has steps for each of the eight, and for injury.",
        lines=(
            "emergency sheet: A diver is missing",
            "emergency sheet: A diver is unconscious at the surface",
            "emergency sheet: Bubble illness (the bends): anyone who feels unwell after a dive",
            "emergency sheet: A fast ascent or a missed stop",
            "emergency sheet: Out of gas, or gear that fails",
            "emergency sheet: Fire",
            "emergency sheet: The weather turns, or thunder is heard",
            "emergency sheet: Ending a dive early, or a diver in panic",
        ),
    ),
    _met(
        "EMG-03",
        "Drills are on record with day, steps and who took part; a drill that is overdue and a crew member who was in "
        "none are told.",
        checks=("drill-held", "crew-drilled", "oxygen-qualified"),
        rules=("drill.fresh_days",),
        fields=("Readiness.drills", "Drill.who"),
        lines=("emergency sheet: Next drill on",),
    ),
    _met(
        "EMG-04",
        "A site file has at least one hospital and one chamber; a kind of help without a number is told, and so is "
        "whether each place takes casualties during the dives and the hours after.",
        checks=("contact-kinds", "care-open", "rescue-contact", "numbers-in-use"),
        fields=("Site.contacts", "Site.hospitals", "Site.chambers", "Care.open"),
        lines=("sheet of the day: Where care is", "emergency sheet: Hospitals and chambers"),
    ),
    _partly(
        "EMG-05",
        "Hours are known or asked for, numbers are tried in the morning and what was found is written down.",
        "open until {care.open_after_h} after the last exit is asked for, not day and night, and that the chamber was "
        "told of the dives is not recorded.",
        task="Whoever rings the numbers tells the chamber.",
        checks=("care-open", "contact-hours", "contact-answers"),
        rules=("care.open_after_h",),
        fields=("Care.open", "Contact.open", "Confirmation.found"),
        pages=("sheets.morning",),
    ),
    _met(
        "EMG-06",
        "A longer way to a chamber that may be open is a stop; a drive that is not known is a caution.",
        checks=("chamber-within-reach", "drive-time-known"),
        fields=("Care.drive_min",),
        bounds=(_most("chamber.furthest_h", 4),),
    ),
    _met(
        "EMG-07",
        "Each number has a box for the day, on paper and on the page of the morning, with who and when; what nobody "
        "confirmed stands on the sheet.",
        checks=("contact-fresh", "contact-answers"),
        fields=("Confirmation.by", "Confirmation.at"),
        lines=("emergency sheet: checked today ____ by ____", "emergency sheet: Nobody confirmed today"),
        pages=("sheets.morning",),
    ),
    _met(
        "EMG-08",
        "The call is written out with the position and the words to say; each hospital has position, distance and the "
        "way in words.",
        fields=("Care.directions", "Care.position"),
        lines=("emergency sheet: This is a diving emergency.", "emergency sheet: The way"),
    ),
    _met(
        "EMG-09",
        "Each site says where a telephone has a signal, and its VHF; where no call goes out nobody goes in.",
        task="The call is tried on arrival.",
        fields=("Communications.phone_signal", "Communications.vhf", "Crew.beach_phone"),
        lines=("sheet of the day: Telephone signal", "emergency sheet: Telephone signal"),
    ),
    _met(
        "EMG-10",
        "The oxygen at the site must last until the ambulance is there and through the slowest drive to care, with "
        "{oxygen.margin_share} more.",
        checks=("oxygen-lasts", "oxygen-on-site", "oxygen-two-casualties", "oxygen-gauge-read"),
        rules=("oxygen.margin_share",),
        fields=("OxygenUnit.pressure_bar", "Rendezvous.ambulance_min", "Care.drive_min"),
        lines=("emergency sheet: Oxygen",),
    ),
    _met(
        "EMG-11",
        "A non-rebreather mask is reckoned with it; a demand valve with {oxygen.demand_l_min}.",
        checks=("oxygen-lasts",),
        rules=("oxygen.demand_l_min",),
        bounds=(_least("oxygen.non_rebreather_l_min", 15),),
    ),
    _partly(
        "EMG-12",
        "Contents and flow give the minutes that each unit lasts.",
        "they are held against the time until care and not against 20 minutes: where care is near, less may pass.",
        checks=("oxygen-lasts",),
        rules=("oxygen.non_rebreather_l_min", "oxygen.margin_share"),
        fields=("OxygenUnit.volume_l", "OxygenUnit.pressure_bar"),
    ),
    _met(
        "EMG-13",
        "It is made for the place and the day and carries a revision; the briefing says where it lies, with a box for "
        "what was said to everybody, and drills show who of the crew has practised it.",
        checks=("crew-drilled",),
        fields=("ActionSheet.revision",),
        lines=("emergency sheet: Revision", "briefing sheet: All of this was said"),
        pages=("sheets.check",),
    ),
    _met(
        "EMG-14",
        "It is a step of the sheet, and left to the emergency service that is called before.",
        lines=("emergency sheet: Send them to hospital first, unless the emergency service says otherwise.",),
    ),
    _met(
        "EMG-15",
        "It is a line of the first minute and of its own part of the sheet.",
        lines=(
            "emergency sheet: Keep the dive computer with the casualty.",
            "emergency sheet: Keep the gear assembled. Do not take it apart or rinse it.",
        ),
    ),
    _met(
        "EMG-16",
        "It is a line of the first minute and of its own part of the sheet.",
        lines=(
            "emergency sheet: Lay them flat on the back. Do not raise the legs.",
            "emergency sheet: If they vomit, or breathe but are not awake, turn them on one side, still flat.",
        ),
    ),
    _partly(
        "EMG-17",
        "Each sheet of the day says where the chambers are and which is the nearest.",
        "no line of the briefing tells it to the divers before they leave.",
        task="The leader tells every diver.",
        lines=("sheet of the day: Where care is",),
    ),
    _met(
        "EMG-18",
        "It is told in the briefing and is a step of the emergency sheet.",
        lines=(
            "briefing sheet: Look for one minute, no longer.",
            "emergency sheet: If you lose your buddy, look for one minute, then come up and wait.",
        ),
    ),
)

_RECORDS = (
    _met(
        "REC-01",
        "Date, place, name, group and dive, with whom, and who verified it stand in the record of each dive; the "
        "record sheet has a line for the computer or tables that the diver went by.",
        task="By what somebody dived is written on the sheet by hand: it is no entry of the day.",
        checks=("record-complete",),
        fields=("ActualDive.person", "ActualDive.group", "ActualDive.verified"),
        lines=(
            "record sheet: Computer or tables that the diver went by",
            "record sheet: An authorised person verifies",
            "record of the day: verified",
        ),
        pages=("live.sites",),
    ),
    _met(
        "REC-02",
        "Going in, being out, minutes and greatest depth are written for each diver; what is missing is told. The "
        "times are those at the water's edge, a little longer than under water.",
        checks=("record-complete", "actual-time", "actual-depth"),
        fields=("ActualDive.time_in", "ActualDive.time_out", "ActualDive.elapsed_min", "ActualDive.depth_m"),
        lines=("record of the day: greatest_depth_m", "record of the day: elapsed_min"),
    ),
    _met(
        "REC-03",
        "How each diver felt is asked, and “none” is an answer; incidents are entries in words.",
        checks=("discomfort", "record-complete"),
        fields=("ActualDive.discomfort",),
        lines=(
            "page of the day on the beach: How they feel; “none” is an answer",
            "page of the day on the beach: Incident or note",
            "record sheet: Incident, problem, discomfort or injury; “none” is an answer",
        ),
    ),
    _met(
        "REC-04",
        "Repetitive group before and after, as long as the dive was made as planned, and the surface interval stand in "
        "the record; the factor has a line on the record sheet.",
        task="The factor, and the groups after a dive that was not as planned, are read from the tables and written by "
        "hand.",
        checks=("actual-interval", "actual-no-stop"),
        fields=("ActualDive.interval_min", "PersonDive.group_before", "PersonDive.group_after"),
        lines=(
            "record sheet: Repetitive group before",
            "record sheet: Repetitive factor",
            "record sheet: Surface interval before",
            "record of the day: group_after",
        ),
    ),
    _met(
        "REC-05",
        "The diver signs and another signs for it, each with a number; what is missing is told.",
        checks=("record-complete",),
        fields=("Signature.by", "Signature.identity"),
        lines=("page of the day on the beach: The diver signs", "page of the day on the beach: I sign for it"),
        pages=("live.sites",),
    ),
    _met(
        "REC-06",
        "Entries and plans only grow in the store; a purge takes out whole days that are old enough by the rules, and "
        "says so before.",
        task="The centre keeps the store, its backups and the signed papers.",
        fields=("KeptPlan.plan", "Event.at"),
        lines=("record sheet: How long this sheet is kept",),
        bounds=(_least("retention.record_years", 1),),
    ),
    _met(
        "REC-07",
        "The plan of each day that began is kept whole, with all that it was made from, the site file included, and "
        "goes with the record of the day at the soonest.",
        task="The centre keeps the store and its backups.",
        fields=("KeptPlan.inputs",),
        bounds=(_least("retention.record_years", 1), _least("retention.incident_years", 2)),
    ),
    _met(
        "REC-08",
        "The plan of each day that began is kept whole and goes with the record of the day at the soonest.",
        task="The centre keeps the store, its backups and the signed papers.",
        fields=("KeptPlan.plan",),
        bounds=(_least("retention.record_years", 1),),
    ),
    _met(
        "REC-09",
        "Every row of the record has what was done beside what was planned, and each difference in words.",
        checks=("actual-depth", "actual-time", "actual-depth-limit", "actual-out-by", "actual-reserve"),
        fields=("ActualDive.planned",),
        lines=("record of the day: planned_depth_m", "record of the day: planned_water_min"),
    ),
    _met(
        "REC-10",
        "A day on which somebody felt unwell, or with an incident on a day of dives, is kept longer than others: "
        "whether it was bubble illness the program cannot tell.",
        task="The centre keeps the store, its backups and medical records.",
        fields=("KeptPlan.plan", "Event.at"),
        bounds=(_least("retention.record_years", 1), _least("retention.decompression_incident_years", 5)),
    ),
    _partly(
        "REC-11",
        "An incident is an entry with its time; the record sheet has a part for each with who was told, and the "
        "emergency sheet a form that goes with the casualty.",
        "a stay in hospital is not asked after.",
        task="The centre asks after the casualty on the next day and writes the report.",
        fields=("Event.text", "Readiness.tell_after"),
        lines=(
            "emergency sheet: Tell afterwards",
            "emergency sheet: Goes with the casualty",
            "record sheet: Who was told, when, by whom",
        ),
    ),
    _own(
        "REC-12",
        "The centre keeps the signed declarations: the program has their date and outcome only, in the list of people.",
        "Nobody is taken out of the list of people by the program; it tells whose papers are older than the rule.",
        rules=("retention.medical_days",),
        fields=("Person.medical", "Person.medical_clear"),
    ),
    _partly(
        "REC-13",
        "Every sheet carries its revision, which changes with everything that the plan is made from, and a page tells "
        "whether a sheet is the newest.",
        "the time of the last change is not printed.",
        fields=("DayPlan.revision",),
        lines=("sheet of the day: Revision",),
        pages=("sheets.check",),
    ),
    _met(
        "REC-14",
        "Kind of dive, who does what, gas, suit and kit, times and limits, hazards with their controls, and the "
        "emergency part stand in the plan.",
        fields=("DivePlan.kind_words", "DivePlan.gas", "DayPlan.packing"),
        lines=(
            "sheet of the day: The dives",
            "sheet of the day: To pack",
            "sheet of the day: Hazards",
            "sheet of the day: If it goes wrong",
        ),
    ),
)

_BRIEFING = (
    _met(
        "BRF-01",
        "Each dive has a briefing on one page, with a box for when and by whom it was said and a line for who was not "
        "there.",
        lines=("briefing sheet: All of this was said", "briefing sheet: Who was not there, and was told later"),
        pages=("requests.listing",),
    ),
    _met(
        "BRF-02",
        "Each of them is a part of the page, with lines to write on where the plan does not know.",
        lines=(
            "briefing sheet: The place today",
            "briefing sheet: Way in",
            "briefing sheet: Route",
            "briefing sheet: Limits",
            "briefing sheet: Gas",
            "briefing sheet: Signals: shown now, answered under water",
            "briefing sheet: Pairs",
            "briefing sheet: Separated, or called back",
        ),
    ),
    _met(
        "BRF-03",
        "On first experience and courses the page says how to come up alone and how to float, and has a line for who "
        "saw it practised.",
        lines=(
            "briefing sheet: Learners who must come up alone",
            "sheet of the day: practise floating and breathing out on the way up",
        ),
    ),
    _met(
        "BRF-04",
        "The page says so in words for each kind of dive.",
        lines=("briefing sheet: can touch you; in front or beside, never behind", "briefing sheet: nobody lags behind"),
    ),
    _met(
        "BRF-05",
        "The page has a line for when the leader looked at each diver and asked, and what to report for two days.",
        checks=("discomfort",),
        lines=(
            "briefing sheet: The leader looks at each diver and asks how they are",
            "briefing sheet: at once of anything that feels wrong, now or in the next two days",
        ),
    ),
    _met(
        "BRF-06",
        "The page says when each person may fly or climb, and that nobody does before.",
        checks=("wait-before-ascent",),
        lines=("briefing sheet: No flying and no drive over a height before these times.",),
    ),
)

_KIT = (
    _partly(
        "KIT-01",
        "Buoyancy device, mask, fins, cylinder, regulator with spare second stage and gauge, and suit are packed for "
        "each diver; what is short is a stop.",
        "cutter, depth gauge, watch, computer or tables, whistle and surface marker are told in a line and not "
        "counted, and nobody's own kit is on record.",
        checks=("kit-enough", "kit-service", "kit-known"),
        fields=("Kit.buoyancy_devices", "Kit.masks", "Kit.fins", "Kit.cylinders", "Kit.regulators"),
        lines=("sheet of the day: To pack", "sheet of the day: Everybody also carries a cutter"),
        pages=("kit.packing",),
    ),
    _partly(
        "KIT-02",
        "A flag and a float for each group in the water at once are counted; too few are a stop.",
        "a signalling device is told in a line and not counted.",
        checks=("kit-enough",),
        fields=("SafetyItem.thing",),
        lines=("sheet of the day: To pack", "sheet of the day: a whistle and a surface marker"),
        pages=("kit.packing",),
    ),
    _partly(
        "KIT-03",
        "A rescue kit at the site is asked for, and when its content was counted.",
        "its content is a list in words: whether a resuscitation bag and a transparent mask are in it is not judged.",
        checks=("rescue-kit", "kit-enough"),
        rules=("drill.kit_fresh_days",),
        fields=("RescueKit.content", "RescueKit.checked"),
        lines=("emergency sheet: Rescue kit",),
    ),
    _partly(
        "KIT-04",
        "The content of the kit stands on the sheet, oxygen is judged, and the form that goes with the casualty is "
        "printed.",
        "the content is not held against this list.",
        checks=("rescue-kit", "oxygen-on-site"),
        fields=("RescueKit.content",),
        lines=("emergency sheet: Rescue kit", "emergency sheet: Goes with the casualty"),
    ),
    _partly(
        "KIT-05",
        "A spare cylinder and a spare regulator are packed, at least one of each; the plan prints the tables of a "
        "further dive.",
        "a slate is not counted.",
        checks=("kit-enough",),
        rules=("kit.spare_share",),
        lines=("sheet of the day: If the first dive was not as planned",),
    ),
    _met(
        "KIT-06",
        "Dates of cylinders and regulators are judged before the day; the packing list says what to look at before "
        "each dive, and the briefing has a line for each gauge.",
        task="Each diver and buddy look: nothing here can see a regulator.",
        checks=("kit-service",),
        lines=(
            "sheet of the day: Before each dive look at everybody's gas, spare second stage, mask and suit.",
            "briefing sheet: Gauge before, bar",
        ),
        pages=("kit.packing",),
    ),
    _own(
        "KIT-07",
        "The centre takes one along: the program asks for none. A rescue kit can list it, and the steps say to get it.",
        fields=("RescueKit.content",),
        lines=("emergency sheet: Get a defibrillator.",),
    ),
    _met(
        "KIT-08",
        "A cylinder that is overdue, or of which it is not known, is not handed out.",
        checks=("kit-service",),
        fields=("CylinderItem.last_visual", "CylinderItem.last_test"),
        pages=("kit.show",),
        bounds=(_most("kit.visual_years", 1),),
    ),
)

_MEDICAL = (
    _met(
        "MED-01",
        "Nobody is planned without a declaration on record that is clear and not too old.",
        task="The centre has it signed in the regulator's form, reads it and doubts it where there is reason.",
        checks=("medical",),
        fields=("Person.medical", "Person.medical_clear"),
    ),
    _partly(
        "MED-02",
        "A declaration that asks for a doctor stops every dive until one has cleared the person.",
        "a doctor's clearance counts for courses too, where this code lets only those learn who needed none.",
        checks=("medical",),
        fields=("Person.medical_clear", "Person.medical_doctor"),
    ),
    _met(
        "MED-03",
        "How long a declaration holds is a rule that the centre can set; an older one is a stop.",
        checks=("medical",),
        rules=("people.medical_valid_days",),
        fields=("Person.medical",),
    ),
    _met(
        "MED-04",
        "Whoever is as old is named, with what the leader asks about.",
        checks=("heart-question",),
        bounds=(_most("people.heart_check_years", 50),),
    ),
    _met(
        "MED-05",
        "Whoever is as old is named, with what the leader asks about.",
        checks=("heart-question",),
        bounds=(_most("people.heart_check_years", 40),),
    ),
    _own(
        "MED-06",
        "The centre sets the person's declaration to not clear until a specialist agrees: the program does not know an "
        "illness by its name. While it is not clear, no plan takes the person.",
        checks=("medical",),
        fields=("Person.medical_clear",),
    ),
    _met(
        "MED-07",
        "The plan and the briefing tell everybody to say at once what feels wrong, and that anyone may end the dive.",
        task="The diver says it and the leader decides.",
        lines=("sheet of the day: Say at once if anything feels wrong", "briefing sheet: Cold, unwell, afraid"),
    ),
)

_ALTITUDE = (
    _met(
        "TRA-01",
        "The wait is one of the candidates for each height on the way home and for any flight, of which the longest "
        "decides.",
        checks=("wait-before-ascent",),
        fields=("Request.way_home",),
        bounds=(_least("after_dive.single_h", 12),),
    ),
    _met(
        "TRA-02",
        "It holds where another dive was made within {after_dive.repetitive_within_h}, and where that is not known.",
        checks=("wait-before-ascent", "wait-dives-unknown", "wait-repetitive-unknown"),
        rules=("after_dive.repetitive_within_h",),
        bounds=(_least("after_dive.repetitive_h", 18),),
    ),
    _met(
        "TRA-03",
        "No such dive is planned; where one was made, {after_dive.stops_h} are taken as a convention and a doctor is "
        "to be asked.",
        checks=("wait-after-stops", "wait-model-stops"),
        rules=("after_dive.stops_h",),
    ),
    _partly(
        "TRA-04",
        "The waits are rules that a centre can lengthen.",
        "the wait after dives without stops is that of the consensus, {after_dive.single_h} or "
        "{after_dive.repetitive_h}, unless a longer rule decides.",
        checks=("wait-before-ascent",),
        bounds=(_least("after_dive.single_h", 24), _least("after_dive.repetitive_h", 24)),
    ),
    _met(
        "TRA-05",
        "Roads over a pass count as flights do; the handbook's table is entered with the highest group of the last "
        "{after_dive.highest_group_h}.",
        checks=("wait-before-ascent", "drive-between", "wait-group-unknown"),
        fields=("HomeStage.height_m", "Drive.height_m"),
        bounds=(_least("after_dive.highest_group_h", 24),),
    ),
    _met(
        "TRA-06",
        "300 feet are 91.44 m: below that no dive is corrected.",
        bounds=(_most("altitude.uncorrected_below_m", 91.44),),
    ),
    _met(
        "TRA-07",
        "Above it, from {altitude.corrected_from_m} on, every dive is corrected.",
        bounds=(_most("altitude.uncorrected_to_depth_m", 44), _most("altitude.corrected_from_m", 300)),
    ),
    _partly(
        "TRA-08",
        "Depths are turned into what counts the same at sea level; the printed example of 60 feet is a test.",
        "stop depths are not scaled, as no dive with stops is planned: the safety stop stays at {safety_stop.depth_m}.",
        rules=("safety_stop.depth_m",),
        fields=("DivePlan.equivalent_depth_m", "DivePlan.gauge_zeroed_m"),
        lines=("sheet of the day: Gauge at most",),
    ),
    _met(
        "TRA-09",
        "Whoever has not been at the altitude for {altitude.acclimatised_h} starts with the group of the table; nobody "
        "is taken as settled who is not said to be.",
        checks=("arrival-time-unknown",),
        rules=("altitude.acclimatised_h",),
        fields=("Altitude.arrived", "Altitude.settled", "PersonDive.group_before"),
    ),
    _met(
        "TRA-10",
        "No site file is taken whose water lies higher, and no dive is planned there.",
        fields=("Site.elevation_m",),
        bounds=(_most("altitude.highest_m", 3048),),
    ),
)

_ROLL_CALL = (
    _met(
        "ROL-01",
        "The page of the day says who is expected, ashore, in the water and gone; the sheet has a table for counts.",
        task="Somebody at the water's edge writes each going in and coming out.",
        fields=("LiveDay.people", "LiveDay.clear"),
        lines=(
            "sheet of the day: Head count: two people count, each for themselves",
            "record sheet: Head counts",
            "record sheet: Everybody signed in and out",
        ),
        pages=("live.sites",),
    ),
    _met(
        "ROL-02",
        "Two counts by two names are compared with each other and with the list; one person's second count counts as "
        "one.",
        fields=("HeadCount.pairs",),
        lines=(
            "sheet of the day: Head count: two people count, each for themselves",
            "page of the day on the beach: Two people count, each for themselves, and each writes here under their own "
            "name.",
        ),
        pages=("live.sites",),
    ),
    _met(
        "ROL-03",
        "Counts that do not agree ask for a recount; a second time, the page says to start the missing-diver steps.",
        lines=(
            "page of the day on the beach: Recount: two people, each for themselves, everybody by name.",
            "page of the day on the beach: Start the missing-diver steps now: call first, then search.",
        ),
        pages=("live.sites",),
    ),
    _partly(
        "ROL-04",
        "A count carries the name of who counted, and where accounts are used that of who is signed in; the paper has "
        "a line for each counter.",
        "a count on the page asks for no number of the counter, as the signatures of a dive do.",
        task="Where phones are shared, each signs in under their own name.",
        fields=("Event.by", "Event.identity"),
        lines=("sheet of the day: First counter",),
    ),
    _met(
        "ROL-05",
        "The page takes counts when all are assembled, before entry, after exit and before leaving; a site is not "
        "clear before a count of everybody agrees after the last exit.",
        fields=("LiveDay.missing",),
        lines=("page of the day on the beach: before entry", "page of the day on the beach: before leaving"),
        pages=("live.sites",),
    ),
    _met(
        "ROL-06",
        "The diver signs and another signs for it; whoever was expected and of whom nothing is written keeps the site "
        "from being clear.",
        checks=("record-complete",),
        fields=("Signature.identity", "LiveDay.missing"),
        lines=("page of the day on the beach: The diver signs", "page of the day on the beach: I sign for it"),
        pages=("live.sites",),
    ),
    _met(
        "ROL-07",
        "{overdue.after_min} after the planned time out, or sooner where the water closes, a group is overdue and the "
        "page says to start the missing-diver steps.",
        rules=("overdue.after_min",),
        fields=("DivePlan.overdue_at", "DiveNow.overdue_min"),
        lines=("sheet of the day: OUT BY", "emergency sheet: Overdue from"),
        pages=("live.sites",),
    ),
)

_ALL = (
    *_PEOPLE, *_RATIOS, *_DEPTH, *_GAS, *_ENVIRONMENT, *_SITE, *_EMERGENCY, *_RECORDS, *_BRIEFING, *_KIT, *_MEDICAL,
    *_ALTITUDE, *_ROLL_CALL,
)  # fmt: skip

TABLE: Mapping[str, Coverage] = MappingProxyType({each.id: each for each in _ALL})
