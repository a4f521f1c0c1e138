"""What to do, step by step, when something goes wrong at a shore dive: steps of published plans in our own words.

HSA_IE says which scenarios a plan must answer, not how; the steps are those of the other sources that stand with it.
Every line is a literal message of language.say, so that catalogues find it, and fits on one line of the sheet.
"""

from __future__ import annotations

from dataclasses import dataclass

from tripplan.emergency.readiness import Scenario
from tripplan.language import Language
from tripplan.rulebook import RuleBook, baseline

# Where first_minute, posture, gear_and_record, neuro_look and report_fields come from. The count of turns of the valve
# and the fields on the casualty's own history are common practice, not words of a plan.
SHEET_SOURCES = ("NOAA_EMERGENCY", "DIVER_SAFETY_PLAN", "OXYGEN_FIRST_AID", "COMMON_PRACTICE")


@dataclass(frozen=True)
class Steps:
    """One scenario: its steps in order, what not to do, and where they come from."""

    key: Scenario
    title: str
    steps: tuple[str, ...]  # each a short sentence in the imperative
    never: tuple[str, ...]  # what not to do
    sources: tuple[str, ...]  # keys of sources.py


def scenarios(language: Language, rules: RuleBook | None = None) -> tuple[Steps, ...]:
    """Return every scenario in the order of the sheet, said in a language.

    The wait after thunder is the rule observe.thunder_wait_min; without rules, that of the shipped book. Each scenario
    is to be shown with caution().
    """
    return (
        _missing_diver(language),
        _unconscious_at_surface(language),
        _bubble_illness(language),
        _rapid_ascent(language),
        _out_of_gas(language),
        _injury(language),
        _fire(language),
        _weather(language, rules or baseline()),
        _abort(language),
    )


def caution(language: Language) -> str:
    """Return what stands under every scenario: training and local protocol count."""
    return language.say("Follow your training and local protocol.")


def first_minute(language: Language) -> tuple[str, ...]:
    """Return the lines for the front of the sheet, right for any casualty, in order."""
    return (
        language.say("Get them out of the water. Keep yourself safe."),
        language.say("Airway, breathing, circulation: act as trained."),
        language.say("Call the emergency number. Say: diving emergency."),
        language.say("Give oxygen, as much as possible, as trained."),
        language.say("Lay them flat. Do not raise the legs."),
        language.say("If they vomit, or breathe but are not awake, turn them on one side."),
        language.say("Count everyone by name. Send someone to meet the ambulance."),
        language.say("Keep the dive computer with them and the gear assembled. Write the times."),
    )


def posture(language: Language) -> tuple[str, ...]:
    """Return how a casualty lies.

    Flat, legs not raised, on the side when vomiting: NOAA_EMERGENCY. The easiest position for who cannot breathe lying
    flat: common practice, as in the Australian and New Zealand guideline on resuscitation of divers.
    """
    return (
        language.say("Lay them flat on the back. Do not raise the legs."),
        language.say("If they vomit, or breathe but are not awake, turn them on one side, still flat."),
        language.say("If they cannot breathe lying flat, let them rest as they breathe best."),
        language.say("Keep them still, warm and dry. Keep the airway clear."),
    )


def gear_and_record(language: Language) -> tuple[str, ...]:
    """Return what to do with the gear of a casualty and what to write down, in order."""
    return (
        language.say("Keep the dive computer with the casualty."),
        language.say("Keep the gear assembled. Do not take it apart or rinse it."),
        language.say("Write what the pressure gauge shows."),
        language.say("When the gear is off, close the valve, count the turns and write the number."),
        language.say("Write the times: start of dive, surface, out of the water, calls, oxygen."),
        language.say("Write the greatest depth, the time under water, the gas and the ascent."),
        language.say("Write the first signs and when each began."),
        language.say("Write the buddy's statement in the buddy's own words."),
        language.say("Write the names and numbers of the witnesses."),
        language.say("Write who takes the gear away, and when."),
    )


def neuro_look(language: Language) -> tuple[str, ...]:
    """Return what to look at and write down about a casualty who breathes; it delays nothing and treats nothing."""
    return (
        language.say("Do this only while help is coming. It must not delay the call or the oxygen."),
        language.say("Awake: write whether they answer and know their name, the place and the day."),
        language.say("Speech: write whether they speak clearly."),
        language.say("Feeling: touch both arms and both legs. Write where they feel less."),
        language.say("Movement: ask them to move both hands and both feet. Write which side is weak."),
        language.say("Walking: write how they walked earlier. Do not make them stand up for this."),
        language.say("Look again from time to time. Write each change and the time."),
    )


def report_fields(language: Language) -> tuple[str, ...]:
    """Return the blanks of the form that goes with a casualty, in order."""
    return (
        language.say("Name"),
        language.say("Age and sex"),
        language.say("Date, place and what happened"),
        language.say("Awake, breathing, pulse, and the time of each look"),
        language.say("Signs, in the order they came"),
        language.say("When each sign began"),
        language.say("Changes since then"),
        language.say("What was done, and when"),
        language.say("Oxygen: since when, flow, which mask"),
        language.say("Dive: greatest depth, time under water, gas"),
        language.say("Time out of the water"),
        language.say("Ascent: speed, stops made, stops missed, problems"),
        language.say("Earlier dives in the last 48 hours"),
        language.say("Illnesses"),
        language.say("Medicines"),
        language.say("Allergies"),
        language.say("Last meal and last drink"),
        language.say("Next of kin, with number"),
        language.say("Buddy: name and how the buddy is"),
        language.say("Dive computer: who has it"),
        language.say("Gear: where it is, gauge reading, turns of the valve"),
        language.say("Written by, number, time"),
    )


def _oxygen(language: Language) -> str:
    return language.say("Give as much oxygen as possible by demand valve or non-rebreather mask, as trained.")


def _airway(language: Language) -> str:
    return language.say("Check airway, breathing and circulation, as trained.")


def _no_raised_legs(language: Language) -> str:
    return language.say("Never raise the legs.")


def _no_water_treatment(language: Language) -> str:
    return language.say("Never take anyone back into the water to treat bubble illness.")


def _missing_diver(language: Language) -> Steps:
    return Steps(
        "missing_diver",
        language.say("A diver is missing"),
        (
            language.say("Call the emergency number once a diver is overdue or lost. Search after the call."),
            language.say("Recall all divers. Count everyone by name, also at the cars and the other exits."),
            language.say("Write when and where the diver was last seen, and by whom."),
            language.say("Mark the place last seen: drop a buoy, or line up two landmarks."),
            language.say("Keep one lookout, high up. Watch for bubbles, and look down wind and down stream."),
            language.say("Search only in pairs, with gas in reserve, within depth and time limits."),
            language.say("Give the searchers a time to be back. One person on shore writes it down."),
            language.say("Tell the rescue service at once when the diver is found."),
            language.say("End your own search when the rescue service takes over."),
        ),
        (
            language.say("Never wait for the end of a search before you call."),
            language.say("Never let anyone search alone or beyond their own limits."),
            language.say("Never leave the buddy alone or let the buddy go home unwatched."),
        ),
        ("HSA_IE", "DIVER_SAFETY_PLAN", "COMMON_PRACTICE"),
    )


def _unconscious_at_surface(language: Language) -> Steps:
    return Steps(
        "unconscious_at_surface",
        language.say("A diver is unconscious at the surface"),
        (
            language.say("Shout for help. Have someone call the emergency number: diving emergency."),
            language.say("Go in only if it is safe for you, and take something that floats."),
            language.say("Turn the diver face up. Keep the mouth and nose out of the water."),
            language.say("Make the diver float: fill the jacket and drop the weights."),
            language.say("Tow to the exit for casualties, as trained. Use every hand to lift the diver out."),
            _airway(language),
            language.say("If they do not breathe normally, start resuscitation as trained. Get a defibrillator."),
            language.say("If they breathe but are not awake, lay them on one side, flat. Watch each breath."),
            _oxygen(language),
        ),
        (
            language.say("Never leave them alone, not for a moment."),
            _no_raised_legs(language),
            language.say("Never forget the buddy: someone else may still be in the water."),
        ),
        ("HSA_IE", "NOAA_EMERGENCY", "OXYGEN_FIRST_AID", "COMMON_PRACTICE"),
    )


def _bubble_illness(language: Language) -> Steps:
    return Steps(
        "bubble_illness",
        language.say("Bubble illness (the bends): anyone who feels unwell after a dive"),
        (
            language.say("Act on any pain, tingling, weakness, dizziness or odd feeling after a dive."),
            _airway(language),
            language.say("Call the emergency number. Say: diving emergency, perhaps the bends."),
            _oxygen(language),
            language.say("Lay them flat on the back. If they vomit, turn them on one side."),
            language.say("Look and ask as the sheet says. Write what you find and when."),
            language.say("Keep the dive computer with them. Keep the gear assembled."),
            language.say("Take the buddy's statement. Ask whether the buddy feels well."),
            language.say("Send them to hospital first, unless the emergency service says otherwise."),
        ),
        (
            _no_water_treatment(language),
            _no_raised_legs(language),
            language.say("Never stop the oxygen or cancel the call because they feel better."),
        ),
        ("NOAA_EMERGENCY", "USN_EMERGENCY", "OXYGEN_FIRST_AID", "HSA_IE", "COMMON_PRACTICE"),
    )


def _rapid_ascent(language: Language) -> Steps:
    return Steps(
        "rapid_ascent",
        language.say("A fast ascent or a missed stop"),
        (
            language.say("End the dive. Bring the diver and the buddy out of the water."),
            language.say("Ask both how they feel. Look and ask as the sheet says."),
            language.say("If anything at all is wrong, do the steps for bubble illness now."),
            language.say("If nothing is wrong, call a diving doctor all the same and ask."),
            language.say("Keep both at rest, warm and watched. Have the oxygen ready."),
            language.say("Look and ask again from time to time. Write each time and answer."),
            language.say("Write the depth, the time, the gas and how fast they came up."),
            language.say("Keep both from diving, flying and mountain roads until a doctor agrees."),
        ),
        (
            language.say("Never go back down to make up for a missed stop."),
            language.say("Never let either of the two go home unwatched."),
        ),
        ("HSA_IE", "USN_EMERGENCY", "OSHA_T", "COMMON_PRACTICE"),
    )


def _out_of_gas(language: Language) -> Steps:
    return Steps(
        "out_of_gas",
        language.say("Out of gas, or gear that fails"),
        (
            language.say("Give your buddy a mouthpiece that works."),
            language.say("Hold on to each other. Breathe slowly."),
            language.say("Go up together at the planned speed. Breathe all the way."),
            language.say("Make a stop on the way only if there is gas for two."),
            language.say("If there is no gas in reach, swim up and breathe out all the way."),
            language.say("Float at the surface: fill the jacket by mouth, drop weights if you sink."),
            language.say("Signal to the shore. Leave the water by the nearest safe exit."),
            language.say("After a fast ascent, or if anyone feels unwell, do the steps for that."),
            language.say("Write both gauge readings. Put the gear aside as it is."),
        ),
        (
            language.say("Never hold your breath on the way up."),
            language.say("Never let go of each other before both float."),
            language.say("Never dive with that gear again before it is checked."),
        ),
        ("HSA_IE", "USN_EMERGENCY", "COMMON_PRACTICE"),
    )


def _injury(language: Language) -> Steps:
    return Steps(
        "injury",
        language.say("Injury: sting, bite, wound, fall, or sudden illness"),
        (
            language.say("Get them away from the danger and out of the water."),
            _airway(language),
            language.say("Press hard on a wound that bleeds. Keep pressing."),
            language.say("Call the emergency number if they bleed much, breathe badly, or you are in doubt."),
            language.say("After a sting or bite, keep them still and give the first aid taught for this coast."),
            language.say("After a fall or a blow to the head, move them only out of danger."),
            language.say("Keep them warm. Stay with them."),
            language.say("If they dived today, watch for bubble illness too."),
            language.say("Write what happened, when, and what was done."),
        ),
        (
            language.say("Never touch or catch the animal."),
            language.say("Never pull out what sticks deep in a wound."),
        ),
        ("HSA_IE", "USN_EMERGENCY", "COMMON_PRACTICE"),
    )


def _fire(language: Language) -> Steps:
    return Steps(
        "fire",
        language.say("Fire"),
        (
            language.say("Shout: fire! Lead everyone away, up wind."),
            language.say("Call the fire service. Say that there are gas and oxygen cylinders."),
            language.say("Count everyone by name."),
            language.say("Recall the divers to an exit that is clear of fire and smoke."),
            language.say("Close the oxygen valve only if you can do so without danger."),
            language.say("Fight only a small fire, only if trained, with a free way out behind you."),
            language.say("Cool a burn with clean running water, as trained."),
            language.say("Meet the fire crew. Show them where the cylinders are."),
        ),
        (
            language.say("Never go back for gear."),
            language.say("Never go near a cylinder that is hot: it may burst."),
            language.say("Never use oxygen near flames, sparks, oil or grease."),
        ),
        ("HSA_IE", "OXYGEN_FIRST_AID", "COMMON_PRACTICE"),
    )


def _weather(language: Language, rules: RuleBook) -> Steps:
    minutes = f"{rules.value('observe.thunder_wait_min'):g}"
    return Steps(
        "weather",
        language.say("The weather turns, or thunder is heard"),
        (
            language.say("Let nobody else go into the water."),
            language.say("Recall all divers."),
            language.say("Show them the other exit if waves or stream close the first."),
            language.say("If no exit is safe, float together outside the breaking waves and signal."),
            language.say("Call the emergency number as soon as anyone cannot get out."),
            language.say("Count everyone by name."),
            language.say("After thunder or lightning, go into a solid building or a closed car."),
            language.say("Stay there until {minutes} minutes after the last thunder.", minutes=minutes),
            language.say("Check the whole plan again before anyone goes back in."),
        ),
        (
            language.say("Never wait for rain: where you hear thunder, lightning can strike."),
            language.say("Never shelter under a tree or on open ground."),
            language.say("Never go into breaking waves to help without a float and a lookout."),
        ),
        ("HSA_IE", "NWS_30_30", "COMMON_PRACTICE"),
    )


def _abort(language: Language) -> Steps:
    return Steps(
        "abort",
        language.say("Ending a dive early, or a diver in panic"),
        (
            language.say("End the dive when any diver gives the signal. Ask why on shore."),
            language.say("Wait until your buddy answers the signal. Stay together."),
            language.say("Go up together at the planned speed. Make your stops if you have the gas."),
            language.say("If you lose your buddy, look for one minute, then come up and wait."),
            language.say("If your buddy does not come up, signal to the shore: a diver is missing."),
            language.say("Float first: fill your jacket before you do anything else."),
            language.say("Keep a float between you and a diver in panic. Speak slowly."),
            language.say("Leave the water by the nearest safe exit. Count everyone by name."),
            language.say("Hold the next group back until the leader knows the reason."),
        ),
        (
            language.say("Never leave your buddy to finish the dive alone."),
            language.say("Never send anyone back in to fetch gear."),
        ),
        ("HSA_IE", "USN_EMERGENCY", "OSHA_T", "COMMON_PRACTICE"),
    )
