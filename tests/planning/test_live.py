"""Who is where by the entries of a day: nobody vanishes, and doubt keeps a person in the water."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from functools import cache
from itertools import count as numbers
from itertools import permutations
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_world import DAY, group, plan, rules_with, wish

from tripplan.planning.event import Event
from tripplan.planning.live import DANGER, LiveDay, alike, live_day, standing
from tripplan.planning.plan import DivePlan
from tripplan.rulebook import baseline

MANY = settings(max_examples=150, deadline=None)
CREW = ("Shore", "Oxy")
EXPECTED = ("Ida", "Ann", "Ben", *CREW)
MARKS = numbers(1)


@cache
def planned() -> tuple[DivePlan, ...]:
    """Two dives, in at 09:30 and 12:00, each 12 m for 30 min.

    By hand: swim 3 min, bottom 30 min, up at 9 m/min (1.3 min) with 3 min on the way makes 5, swim back 3 min: 41 min
    in the water. Out at 10:11, out by 10:21 with the 10 min of the rule; the second is 10 m: 41 min too.
    """
    return plan(group("Ann", "Ben", dives=(wish(12, 30, entry="09:30"), wish(10, 30, entry="12:00")))).dives


def at(clock: str, days: int = 0) -> datetime:
    hour, minute = clock.split(":")
    return datetime(2027, 6, 12, int(hour), int(minute), tzinfo=UTC) + timedelta(days=days)


def entry(clock: str | datetime, kind: str, person: str = "", **other: Any) -> Event:
    """Return an entry; of a dive it is Group, dive 1, where nothing else is said, and coming out says no dive."""
    given: dict[str, Any] = {"uid": f"entry-{next(MARKS):06d}", "day": DAY, "site": "plain-cove", "by": "Shore"}
    if kind in ("in", "start_bar", "end_bar", "depth", "discomfort", "signed", "verified"):
        given |= {"group": "Group", "dive": 1}
    moment = at(clock) if isinstance(clock, str) else clock
    return Event(at=moment, kind=kind, person=person, **{**given, **other})  # type: ignore[arg-type]


def back(clock: str, target: Event, why: str = "slip of the thumb", **other: Any) -> Event:
    return entry(clock, "withdrawn", corrects=target.uid, text=why, **other)


def counted(clock: str, people: int, by: str, moment: str = "after exit", **other: Any) -> Event:
    return entry(clock, "count", value=people, by=by, text=moment, **other)


def live(
    *events: Event, now: str | datetime = "18:00", dives: Sequence[DivePlan] | None = None, expected=EXPECTED
) -> LiveDay:
    moment = at(now) if isinstance(now, str) else now
    return live_day(events, planned() if dives is None else dives, expected, moment, baseline())


def where(day: LiveDay) -> dict[str, str]:
    return {person.name: person.where for person in day.people}


def slugs(day: LiveDay) -> list[str]:
    return [alarm.slug for alarm in day.alarms]


def come(*names: str, clock: str = "08:30") -> tuple[Event, ...]:
    return tuple(entry(clock, "assembled", name) for name in names)


def one(day: LiveDay, slug: str) -> str:
    """Return the sentence of the only alarm with a slug."""
    (found,) = [alarm.sentence for alarm in day.alarms if alarm.slug == slug]
    return found


# ---- one person ----


def test_everybody_expected_or_planned_is_listed_before_anything_is_written():
    day = live(now="08:00", expected=("Zoe",))
    assert where(day) == dict.fromkeys(("Zoe", "Ida", "Ann", "Ben"), "expected")
    assert day.not_here == ("Zoe", "Ida", "Ann", "Ben")
    assert not day.clear


def test_a_plain_day_of_one_person():
    events = (*come("Ann"), entry("09:31", "in", "Ann"), entry("10:09", "out", "Ann"), entry("11:00", "left", "Ann"))
    shown = [live(*events[:n], now="11:05").people[1] for n in range(1, 5)]
    assert [(p.where, p.since) for p in shown] == [
        ("ashore", at("08:30")),
        ("in_water", at("09:31")),
        ("ashore", at("10:09")),
        ("left", at("11:00")),
    ]
    assert (shown[1].group, shown[1].dive) == ("Group", 1)
    assert (shown[2].group, shown[2].dive) == ("", 0)
    assert live(*events).odd == ()


def test_a_double_tap_changes_nothing_and_is_told():
    first = (*come("Ann"), entry("09:31", "in", "Ann"))
    day = live(*first, entry("09:33", "in", "Ann", by="Oxy"), now="09:40")
    assert day.in_water == ("Ann",)
    assert (day.entered, day.people[1].since) == (1, at("09:31"))
    (odd,) = day.odd
    assert odd == (
        "“Ann: went in (Group, dive 1), 09:33”, written by Oxy: they were in the water already, since 09:31."
    )
    assert day.people[1].notes == (odd,)


def test_out_of_the_water_without_having_been_in_it_counts_as_ashore_and_is_told():
    day = live(entry("10:10", "out", "Ben"))
    assert where(day)["Ben"] == "ashore"
    assert (day.entered, day.came_out) == (0, 0)
    assert "no entry says that they were in the water" in day.odd[0]


def test_who_has_left_without_coming_out_stays_in_the_water_with_an_alarm_until_somebody_writes_when():
    events = (*come("Ann"), entry("09:31", "in", "Ann"), entry("10:00", "left", "Ann"))
    day = live(*events, now="10:05")
    assert day.in_water == ("Ann",)
    assert day.left == ()
    assert "they count as in it. Find Ann" in one(day, "left-in-water")
    after = live(*events, entry("10:06", "out", "Ann"), now="10:07")
    assert after.ashore == ("Ann",)
    assert "left-in-water" not in slugs(after)
    assert any("left the site" in sentence for sentence in after.odd), "what was odd stays told"


def test_who_is_said_to_be_at_the_site_without_coming_out_stays_in_the_water():
    day = live(*come("Ann"), entry("09:31", "in", "Ann"), entry("10:00", "assembled", "Ann"), now="10:05")
    assert day.in_water == ("Ann",)
    assert "ashore-in-water" in slugs(day)


def test_going_in_unannounced_counts_as_come_and_in():
    day = live(entry("09:31", "in", "Cy"), now="09:40")
    assert day.in_water == ("Cy",)
    assert "they count as at the site" in day.odd[0]
    assert "not-of-the-dive" in slugs(day)


def test_names_are_one_person_however_they_are_typed():
    events = (*come("Zoé"), entry("09:31", "in", " ZOE\u0301 "), entry("10:00", "out", "zoé"))
    assert [(p.name, p.where) for p in live(*events, expected=(), dives=()).people] == [("Zoé", "ashore")]


def test_clocks_with_other_offsets_are_one_time():
    elsewhere = timezone(timedelta(hours=2))
    events = (
        entry(datetime(2027, 6, 12, 12, 5, tzinfo=elsewhere), "out", "Ann"),  # 10:05
        entry("09:31", "in", "Ann"),
    )
    assert where(live(*events))["Ann"] == "ashore"


def test_going_in_on_the_next_dive_without_coming_out_of_the_one_before_keeps_the_earlier_time_to_be_out():
    first, second = entry("09:31", "in", "Ann"), entry("12:01", "in", "Ann", dive=2)
    day = live(first, second, now="12:05")
    assert (day.people[1].dive, day.entered) == (1, 1)
    assert "Write when they came out" in one(day, "in-again")
    assert "overdue" in slugs(day)
    mended = live(first, second, entry("10:10", "out", "Ann"), now="12:05")
    assert (mended.people[1].dive, mended.entered, mended.came_out) == (2, 2, 1)
    assert slugs(mended)[0] not in ("overdue", "in-again")


def test_the_late_word_that_the_first_dive_had_ended_does_not_end_the_second():
    first, second = entry("09:31", "in", "Ann"), entry("12:01", "in", "Ann", dive=2)
    late = entry("12:10", "out", "Ann", group="Group", dive=1)
    day = live(first, second, late, now="12:15")
    assert day.in_water == ("Ann",)
    assert (day.people[1].dive, day.people[1].since) == (2, at("12:01"))
    assert (day.entered, day.came_out) == (2, 1)
    out = live(first, second, late, entry("12:40", "out", "Ann", group="Group", dive=2), now="12:41")
    assert (out.ashore, out.entered, out.came_out) == (("Ann",), 2, 2)
    third = entry("12:05", "in", "Ann", dive=3)
    second_too = entry("12:12", "out", "Ann", group="Group", dive=2)
    deep = live(first, second, third, late, second_too, now="12:15")
    assert (deep.in_water, deep.people[1].dive, deep.entered, deep.came_out) == (("Ann",), 3, 3, 2)
    assert "in-again" in slugs(live(first, second, third, late, now="12:15"))
    plain = live(first, second, entry("12:40", "out", "Ann", group="Group", dive=2), now="12:41")
    assert (plain.ashore, plain.entered, plain.came_out) == (("Ann",), 1, 1)


def test_the_end_of_another_dive_takes_nobody_out_of_the_water():
    events = (
        entry("09:31", "in", "Ann"),
        entry("10:10", "out", "Ann", group="Group", dive=1),
        entry("12:01", "in", "Ann", dive=2),
        entry("12:10", "out", "Ann", group="Group", dive=1),
    )
    day = live(*events, now="12:15")
    assert day.in_water == ("Ann",)
    assert "out-of-another-dive" in slugs(day)


# ---- corrections ----


def test_an_entry_that_arrives_twice_is_one_entry():
    went = entry("09:31", "in", "Ann")
    came = entry("10:09", "out", "Ann")
    assert live(went, came, went, came) == live(went, came)


def test_the_same_mark_on_two_entries_keeps_the_first_and_tells_of_the_second():
    went = entry("09:31", "in", "Ann")
    day = live(went, replace(went, person="Eva"), now="09:40")
    assert day.in_water == ("Ann",)
    assert where(day)["Eva"] == "expected", "she is named, so she is listed"
    assert "Eva: went in" in one(day, "same-mark")


def test_a_correction_replaces_and_a_correction_of_it_replaces_again():
    wrong = entry("09:31", "in", "Ann")
    better = entry("09:31", "in", "Ben", corrects=wrong.uid)
    right = entry("09:31", "in", "Ida", corrects=better.uid)
    for order in permutations((wrong, better, right)):
        day = live(*order, now="09:40")
        assert day.in_water == ("Ida",)
        assert len([sentence for sentence in day.odd if "was replaced by" in sentence]) == 2


def test_what_is_taken_back_does_not_count_and_taking_back_the_taking_back_restores_it():
    went = entry("09:31", "in", "Ann")
    first = back("09:35", went)
    second = back("09:36", first, "it was right")
    third = back("09:37", second, "no, wrong")
    assert live(went, now="09:40").in_water == ("Ann",)
    assert live(went, first, now="09:40").in_water == ()
    assert live(went, first, second, now="09:40").in_water == ("Ann",)
    assert live(third, second, first, went, now="09:40").in_water == ()
    assert "was taken back by Shore: slip of the thumb" in live(went, first, now="09:40").odd[0]


def test_taking_back_a_correction_never_brings_back_that_somebody_came_out():
    went = entry("09:31", "in", "Ann")
    out = entry("10:00", "out", "Ann")
    later = entry("10:05", "out", "Ann", corrects=out.uid)
    day = live(went, out, later, back("10:06", later, "it was Ben"), now="10:10")
    assert day.in_water == ("Ann",)


def test_a_withdrawal_that_is_replaced_by_another_entry_still_takes_out():
    out = entry("10:00", "out", "Ann")
    withdrawal = back("10:01", out)
    instead = entry("10:02", "out", "Ben", corrects=withdrawal.uid)
    day = live(entry("09:31", "in", "Ann"), entry("09:31", "in", "Ben"), out, withdrawal, instead, now="10:10")
    assert (day.in_water, day.ashore) == (("Ann",), ("Ben",))


def test_corrections_in_a_circle_or_of_nothing_take_nothing_out_and_are_told():
    one_way = entry("09:31", "in", "Ann", uid="circle-1", corrects="circle-2")
    other_way = entry("09:32", "in", "Ben", uid="circle-2", corrects="circle-1")
    itself = entry("09:33", "in", "Ida", uid="circle-3", corrects="circle-3")
    nothing = entry("09:34", "in", "Eva", corrects="never-arrived")
    day = live(one_way, other_way, itself, nothing, now="09:40")
    assert set(day.in_water) == {"Ann", "Ben", "Ida", "Eva"}
    assert slugs(day).count("correction-unclear") == 4


def test_two_corrections_of_one_entry_both_hold_and_are_told():
    wrong = entry("09:31", "in", "Ann")
    corrections = [entry("09:31", "in", name, corrects=wrong.uid) for name in ("Ben", "Ida")]
    day = live(wrong, *corrections, now="09:40")
    assert day.in_water == ("Ida", "Ben")
    assert "All of them hold" in one(day, "two-corrections")


def test_a_long_chain_of_withdrawals_is_followed_to_its_end():
    chain = [entry("09:31", "in", "Ann")]
    for _ in range(3001):
        chain.append(back("09:32", chain[-1]))
    assert live(*chain, now="09:40").in_water == ()
    assert live(*chain[:-1], now="09:40").in_water == ("Ann",)


# ---- other days, and clocks that are wrong ----


def test_who_left_yesterday_is_expected_again_today():
    yesterday = [entry(at("09:00", -1), kind, "Ann", day=DAY - timedelta(days=1)) for kind in ("assembled", "left")]
    day = live(*yesterday, now="08:00")
    assert where(day)["Ann"] == "expected"
    assert len(day.odd) == 2
    assert where(live(*yesterday, *come("Ann"), now="08:40"))["Ann"] == "ashore"


def test_who_never_left_yesterday_comes_anew_today():
    yesterday = entry(at("09:00", -1), "assembled", "Ann", day=DAY - timedelta(days=1))
    day = live(yesterday, *come("Ann"), now="08:40")
    assert [(person.where, person.since) for person in day.people if person.name == "Ann"] == [("ashore", at("08:30"))]
    assert len(day.odd) == 1


def test_nobody_stays_behind_in_the_water_of_another_day_or_site():
    for other in ({"day": DAY - timedelta(days=1)}, {"site": "far-bay"}):
        day = live(entry(at("07:00"), "in", "Eva", **other), now="08:00")
        assert day.in_water == ("Eva",)
        assert "Find Eva now" in one(day, "in-water-another-day")
        assert not day.clear


def test_a_time_to_come_puts_into_the_water_and_takes_nobody_out():
    went, came = entry("09:31", "in", "Ann"), entry("10:10", "out", "Ann")
    day = live(went, came, now="09:20")
    assert day.in_water == ("Ann",)
    assert slugs(day).count("from-the-future") == 2
    assert live(went, came, now="10:09").in_water == ("Ann",)
    assert live(went, came, now="10:10").ashore == ("Ann",)
    assert "from-the-future" not in slugs(live(went, came, now="10:10"))


# ---- dives ----


def test_a_dive_is_overdue_from_the_minute_by_which_it_is_out():
    went = [entry("09:30", "in", name) for name in ("Ida", "Ann", "Ben")]
    shown = {clock: live(*went, now=clock).dives[0] for clock in ("09:30", "10:10", "10:11", "10:20", "10:21", "10:23")}
    assert [(dive.state, dive.overdue_min) for dive in shown.values()] == [
        ("in_water", None),
        ("in_water", None),
        ("late", None),
        ("late", None),
        ("overdue", 0),
        ("overdue", 2),
    ]
    assert live(*went, now=at("10:21") + timedelta(seconds=1)).dives[0].overdue_min == 1, "rounded up"
    day = live(*went, entry("10:10", "out", "Ann"), now="10:23")
    assert one(day, "overdue") == (
        "OVERDUE: Group, dive 1: Ida and Ben had to be out by 10:21, 2 min ago. Start the missing-diver steps now: "
        "call first, then search."
    )
    assert day.alarms[0].since == at("10:21")
    assert day.count.state == "missing-diver"


def test_who_goes_in_before_the_planned_minute_is_overdue_before_it_too():
    """41 min in the water and 10 min: in at 09:10, overdue at 10:01; late in, the plan's own 10:21 holds."""
    assert live(entry("09:10", "in", "Ann"), now="09:20").dives[0].out_by == at("10:01")
    assert live(entry("09:50", "in", "Ann"), now="09:55").dives[0].out_by == at("10:21")
    eager = live_day([entry("09:10", "in", "Ann")], planned(), (), at("09:20"), rules_with(overdue__after_min=4.0))
    assert eager.dives[0].out_by == at("09:55")


def test_a_dive_tells_who_is_in_who_came_out_and_who_never_went():
    events = (
        entry("09:30", "in", "Ida"),
        entry("09:31", "in", "Ann"),
        entry("10:05", "out", "Ida"),
        entry("10:06", "out", "Ann"),
    )
    first, second = live(*events[:3], now="10:06").dives
    assert (first.in_water, first.came_out, first.never_in) == (("Ann",), ("Ida",), ("Ben",))
    assert (first.should_be, first.started, first.ended) == (("Ida", "Ann", "Ben"), at("09:30"), None)
    assert (second.state, second.never_in) == ("not_started", ("Ida", "Ann", "Ben"))
    over = live(*events, now="12:00").dives
    assert [(dive.state, dive.ended) for dive in over] == [("over", at("10:06")), ("due", None)]
    assert over[0].words == "All out since 10:06. Never in: Ben."


def test_in_the_water_on_a_dive_without_a_time_is_an_alarm():
    untimed = tuple(replace(dive, entry=None, exit=None, exit_by=None, water_time_min=None) for dive in planned())
    for dives, number in ((planned(), 3), (untimed, 1)):
        day = live(entry("09:30", "in", "Ann", dive=number), now="09:40", dives=dives)
        assert "no time is planned by which they are overdue" in one(day, "no-out-by")
        assert [dive.in_water for dive in day.dives if dive.number == number] == [("Ann",)]


def test_who_was_to_go_in_and_was_never_seen_is_asked_for():
    day = live(*come("Ida", "Ann"), entry("09:30", "in", "Ida"), now="09:35")
    assert [alarm.subject for alarm in day.alarms if alarm.slug == "not-here"] == ["Ben"]
    assert "not-here" not in slugs(live(*come("Ida", "Ann"), now="09:00"))


def test_discomfort_and_incidents_are_alarms_and_none_is_an_answer():
    felt = entry("10:30", "discomfort", "Ann", text="tingling in the left hand")
    day = live(felt, entry("10:31", "incident", text="mask lost"), entry("10:32", "discomfort", "Ben", text="None."))
    assert "bubble illness" in one(day, "discomfort")
    assert "mask lost" in one(day, "incident")


def test_alarms_stand_in_order_of_danger():
    day = live(
        entry("09:30", "in", "Ann"),
        entry("09:30", "in", "Cy", dive=3),
        entry("10:00", "left", "Ann"),
        counted("10:25", 7, "Oxy"),
        now="10:30",
    )
    order = [DANGER.index(slug) for slug in slugs(day)]
    assert order == sorted(order)
    assert slugs(day)[0] == "overdue"
    assert {"left-in-water", "recount", "no-out-by", "not-of-the-dive"} >= set(slugs(day)[1:4])


# ---- counting ----


def ashore(*more: Event, now: str = "11:00") -> LiveDay:
    """Five people are ashore from 08:30; then something is written."""
    return live(*come(*EXPECTED), *more, now=now)


def test_two_people_who_find_what_the_list_says_agree():
    day = ashore(counted("09:00", 5, "Shore"), counted("09:01", 5, "Oxy"))
    assert day.count.state == "agree"
    assert day.count.sentence == ("Shore and Oxy each counted 5 (after exit, 09:01), as many as the list has ashore.")


@pytest.mark.parametrize("same", [{"by": " SHORE "}, {"by": "Tablet", "identity": "centre-7"}])
def test_one_person_or_one_identity_is_not_two_counters(same: dict[str, str]):
    first = counted("09:00", 5, "Shore", identity="centre-7")
    day = ashore(first, replace(counted("09:01", 5, "x"), **same))
    assert day.count.state == "one"
    assert "A second person counts" in day.count.sentence
    assert day.count.pairs == ()


def test_counts_that_differ_ask_for_a_recount_and_a_second_difference_for_the_missing_diver_steps():
    first = (counted("09:00", 5, "Shore"), counted("09:01", 4, "Oxy"))
    day = ashore(*first)
    assert day.count.state == "recount"
    assert one(day, "recount") == (
        "Shore counted 5 and Oxy 4 (after exit, 09:01); the list had 5 ashore. Recount: two people, each for "
        "themselves, everybody by name."
    )
    half = ashore(*first, counted("09:03", 4, "Shore"))
    assert half.count.state == "recount", "half a recount is none yet"
    again = ashore(*first, counted("09:03", 4, "Shore"), counted("09:04", 4, "Oxy"))
    assert again.count.state == "missing-diver"
    assert "Start the missing-diver steps now" in one(again, "missing-diver")
    found = ashore(*first, counted("09:03", 5, "Shore"), counted("09:04", 5, "Oxy"))
    assert (found.count.state, slugs(found)) == ("agree", [])


def test_two_counts_that_agree_with_each_other_and_not_with_the_list_do_not_agree():
    day = ashore(counted("09:00", 4, "Shore"), counted("09:01", 4, "Oxy"))
    assert day.count.state == "recount"


def test_a_recount_under_another_name_counts_as_the_second():
    first = (counted("09:00", 4, "Shore"), counted("09:01", 4, "Oxy"))
    day = ashore(*first, counted("09:03", 4, "Shore", "before entry"), counted("09:04", 4, "Oxy", "before entry"))
    assert day.count.state == "missing-diver"


def test_a_single_count_that_is_not_the_lists_asks_for_a_second_person_at_once():
    day = ashore(counted("09:00", 4, "Shore"))
    assert day.count.state == "recount"
    assert "Shore counted 4 at 09:00; the list had 5 ashore." in one(day, "recount")


def test_counts_of_different_moments_are_no_pair():
    day = ashore(counted("09:00", 5, "Shore", "assemble"), counted("09:01", 5, "Oxy", "before entry"))
    assert (day.count.state, day.count.pairs) == ("one", ())


def test_two_counts_with_somebody_going_in_between_are_no_pair():
    day = ashore(counted("09:00", 5, "Shore"), entry("09:01", "in", "Ann"), counted("09:02", 4, "Oxy"), now="09:10")
    assert day.count.state == "one"
    assert any("so Shore counts again" in sentence for sentence in day.odd)
    wrong = ashore(counted("09:00", 4, "Shore"), entry("09:01", "in", "Ann"), counted("09:02", 4, "Oxy"), now="09:10")
    assert wrong.count.state == "recount", "a count that was wrong when it was made is not forgotten"


def test_a_count_of_a_group_is_held_against_the_group():
    pair = [counted("09:01", 3, by, group="Group") for by in ("Shore", "Oxy")]
    day = ashore(*pair)
    assert day.count.state == "agree"
    assert any("of Group only" in sentence for sentence in day.missing)
    apart = [counted("09:01", people, by, group="Group") for people, by in ((3, "Shore"), (2, "Oxy"))]
    assert ashore(*apart).count.state == "recount"
    assert ashore(*apart, *[counted("09:05", 5, by) for by in ("Shore", "Oxy")]).count.state == "agree"
    other = ashore(*[counted("09:00", 4, by) for by in ("Shore", "Oxy")], *pair)
    assert other.count.state == "recount", "a group that is complete does not mend a count of everybody"


def test_the_site_is_clear_when_all_are_ashore_or_gone_and_two_people_counted_after_the_last_came_out():
    dived = [
        entry(clock, kind, name)
        for name in ("Ida", "Ann", "Ben")
        for clock, kind in (("09:30", "in"), ("10:10", "out"))
    ]
    early = [counted("10:09", 5, by) for by in ("Shore", "Oxy")]
    assert not ashore(*dived).clear
    assert ashore(*dived).missing == (
        "Nobody has counted yet. Two people count, each for themselves, and write it down.",
    )
    gone = entry("10:30", "left", "Ben")
    full = ashore(*dived, *[counted("10:20", 5, by) for by in ("Shore", "Oxy")], gone)
    assert full.clear
    assert (full.missing, full.left, full.alarms) == ((), ("Ben",), ())
    assert full.dives[0].state == "over"
    stale = ashore(*[replace(each, value=5.0, at=at("09:00")) for each in early], *dived)
    assert stale.missing == (
        "The last two counts were made before somebody went in or out at 10:10: two people count everybody again.",
    )
    unknown = ashore(
        *dived, *[counted("10:20", 5, by) for by in ("Shore", "Oxy")], entry("10:40", "note", "Eva", text="seen")
    )
    assert not unknown.clear
    assert unknown.missing[0].startswith("Eva is named in an entry, and no entry that holds says where they are")


# ---- what must never happen ----

NAMES = ("Ann", "ann ", "Ben", "Ida", "Eva", "Zoé", "Max")
KINDS = ("assembled", "in", "in", "in", "out", "out", "left", "count", "depth", "discomfort", "note")


@st.composite
def entries(
    draw: st.DrawFn,
    *,
    mends: bool = True,
    elsewhere: bool = True,
    tagged: bool = True,
    apart: bool = False,
    most: int = 14,
) -> list[Event]:
    """Return entries in order of arrival.

    mends -- with corrections, also of each other and of nothing;  elsewhere -- with other days and sites
    tagged -- with the dive that somebody came out of;  apart -- no two at the same time
    """
    size = draw(st.integers(0, most))
    minutes = draw(st.lists(st.integers(0, 400), min_size=size, max_size=size, unique=apart))
    found: list[Event] = []
    for number, minute in enumerate(minutes):
        kind = draw(st.sampled_from((*KINDS, "withdrawn", "withdrawn") if mends else KINDS))
        corrects = ""
        if kind == "withdrawn" or (mends and draw(st.integers(0, 4)) == 0):
            corrects = f"uid-{draw(st.integers(0, size)):05d}"
        other: dict[str, Any] = {}
        if kind == "out" and tagged and draw(st.booleans()):
            other = {"group": "Group", "dive": draw(st.integers(1, 2))}
        if kind == "in":
            other = {"group": draw(st.sampled_from(["Group", "GROUP", "Other"])), "dive": draw(st.integers(1, 2))}
        if elsewhere and draw(st.integers(0, 5)) == 0:
            other |= draw(
                st.sampled_from([{"site": "far-bay"}, {"day": DAY - timedelta(1)}, {"day": DAY + timedelta(1)}])
            )
        if kind in ("count", "depth"):
            other["value"] = float(draw(st.integers(0, 6)))
        found.append(
            entry(
                at("08:00") + timedelta(minutes=minute),
                kind,
                "" if kind in ("count", "withdrawn") else draw(st.sampled_from(NAMES)),
                uid=f"uid-{number:05d}",
                by=f"writer {draw(st.integers(0, 2)) if kind == 'count' else number + 100}",
                text=draw(st.sampled_from(["", "before entry"])) if kind == "count" else "words",
                corrects=corrects,
                **other,
            )
        )
    return found


moments = st.integers(-30, 700).map(lambda minute: at("08:00") + timedelta(minutes=minute))


def sound(day: LiveDay, events: Sequence[Event], expected: Sequence[str]) -> None:
    """Everybody is in exactly one place, and who went in and did not come out is in the water."""
    listed = [*day.in_water, *day.ashore, *day.left, *day.not_here]
    named = {alike(event.person) for event in events if event.person} | {alike(name) for name in expected}
    named |= {alike(name) for name in ("Ida", "Ann", "Ben")}  # whom the plan lets dive
    assert len(listed) == len({alike(name) for name in listed})
    assert {alike(name) for name in listed} == named
    assert {alike(person.name) for person in day.people} == named
    assert day.entered - day.came_out == len(day.in_water)
    for person in day.people:
        assert person.entered - person.came_out == (person.where == "in_water")
        assert bool(person.group) == (person.where == "in_water")
    inside = [name for dive in day.dives for name in dive.in_water]
    strange = [alarm.subject for alarm in day.alarms if alarm.slug == "in-water-another-day"]
    assert sorted(inside + strange) == sorted(day.in_water), "each of them on one dive, or with an alarm"
    if day.clear:
        assert not day.in_water
        assert not day.not_here
        assert day.count.state == "agree"
        assert not {"overdue", "missing-diver", "recount"} & set(slugs(day))


@MANY
@given(entries(), st.sets(st.sampled_from(NAMES)), moments, st.randoms(use_true_random=False))
def test_everybody_is_in_exactly_one_place_whatever_arrives(events, expected, now, random):
    arriving = [*events, *random.sample(events, min(3, len(events)))]
    random.shuffle(arriving)
    for length in range(len(arriving) + 1):
        sound(live(*arriving[:length], now=now, expected=tuple(expected)), arriving[:length], tuple(expected))


@MANY
@given(entries(), moments, st.randoms(use_true_random=False))
def test_arriving_twice_changes_nothing(events, now, random):
    twice = list(events)
    for event in random.sample(events, min(4, len(events))):
        twice.insert(random.randint(twice.index(event) + 1, len(twice)), event)
    assert live(*twice, now=now) == live(*events, now=now)


@MANY
@given(entries(apart=True), moments, st.randoms(use_true_random=False))
def test_the_order_of_arrival_changes_nothing_where_no_two_have_the_same_time(events, now, random):
    shuffled = list(events)
    random.shuffle(shuffled)
    assert live(*shuffled, now=now) == live(*events, now=now)


@MANY
@given(entries(mends=False, elsewhere=False, tagged=False))
def test_in_the_water_are_those_whose_last_going_in_was_not_followed_by_coming_out(events):
    inside = set()
    for event in sorted(events, key=lambda each: each.at):
        if event.kind == "in":
            inside.add(alike(event.person))
        elif event.kind == "out":
            inside.discard(alike(event.person))
    assert {alike(name) for name in live(*events).in_water} == inside


@MANY
@given(entries(mends=False), moments)
def test_no_other_entry_than_coming_out_takes_anybody_out_of_the_water(events, now):
    only = [event for event in events if event.kind in ("in", "out")]
    assert set(live(*events, now=now).in_water) == set(live(*only, now=now).in_water)
    never_out = [event for event in events if event.kind != "out"]
    went_in = {alike(event.person) for event in events if event.kind == "in"}
    assert {alike(name) for name in live(*never_out, now=now).in_water} == went_in


@MANY
@given(entries(mends=False), moments)
def test_no_entry_dated_later_than_now_takes_anybody_out_of_the_water(events, now):
    so_far = [event for event in events if event.at <= now]
    assert {alike(n) for n in live(*so_far, now=now).in_water} <= {alike(n) for n in live(*events, now=now).in_water}


@MANY
@given(entries(mends=False), st.data())
def test_an_entry_that_is_taken_back_leaves_everybody_where_they_were_without_it(events, data):
    if not events:
        return
    gone = data.draw(st.sampled_from(events))
    withdrawal = back("17:00", gone)
    rest = [event for event in events if event is not gone]
    before, after = live(*rest), live(*events, withdrawal)
    places = {alike(person.name): (person.where, person.since) for person in before.people}
    for person in after.people:
        assert places.get(alike(person.name), ("expected", None)) == (person.where, person.since)
    assert any(f"written by {gone.by}, was taken back" in sentence for sentence in after.odd)
    assert {alike(p.name): p.where for p in live(*events, withdrawal, back("17:01", withdrawal)).people} == {
        alike(p.name): p.where for p in live(*events).people
    }


@MANY
@given(entries(mends=False, elsewhere=False, most=10))
def test_a_going_in_or_coming_out_of_which_nothing_is_told_has_changed_something(events):
    whole = live(*events)
    told = "\n".join(whole.odd)
    for event in events:
        if event.kind in ("in", "out") and f"written by {event.by}" not in told:
            assert live(*(each for each in events if each is not event)).people != whole.people


@MANY
@given(entries())
def test_no_entry_is_lost_from_the_ledger(events):
    held = standing(events)
    kept = {event.uid for event in held.entries} | {event.uid for event, _ in held.taken_out}
    assert kept == {event.uid for event in events}
    assert not {event.uid for event in held.entries} & {event.uid for event, _ in held.taken_out}
    told = "\n".join(live(*events).odd)
    for event, _ in held.taken_out:
        assert f"written by {event.by}" in told


@MANY
@given(entries(), moments, st.integers(0, 600))
def test_an_overdue_dive_stays_overdue_until_an_entry_says_otherwise(events, now, later):
    so_far = [event for event in events if event.at <= now]
    before, after = live(*so_far, now=now), live(*so_far, now=now + timedelta(minutes=later))
    late = {alarm.subject for alarm in before.alarms if alarm.slug == "overdue"}
    assert late <= {alarm.subject for alarm in after.alarms if alarm.slug == "overdue"}
    assert not (late and after.clear)


@MANY
@given(st.lists(st.tuples(st.integers(0, 7), st.sampled_from(["Shore", "Oxy", "Ida"])), max_size=8))
def test_counts_agree_only_where_two_people_in_turn_found_what_the_list_says(found):
    day = ashore(*(counted(f"09:{minute:02d}", people, by) for minute, (people, by) in enumerate(found)))
    if day.count.state == "agree":
        (one_people, one_by), (other_people, other_by) = found[-2:]
        assert one_people == other_people == 5
        assert one_by != other_by
        assert not [alarm for alarm in day.alarms if alarm.slug in ("recount", "missing-diver")]
    if found and found[-1][0] != 5:
        assert day.count.state in ("recount", "missing-diver")
    assert day.clear == (day.count.state == "agree")


def test_two_dives_of_one_name_are_each_overdue_by_their_own_plan():
    """The second, of another request, is out by an hour later: Ann and Ben are overdue at 10:21 all the same."""
    (other,) = plan(group("Cy", leader="Ola", dives=(wish(12, 30, entry="10:30"),))).dives
    went = tuple(entry("09:30", "in", name) for name in ("Ida", "Ann", "Ben"))
    for dives in ((planned()[0], other), (other, planned()[0])):
        day = live(*went, now="10:22", dives=dives)
        assert "Ida, Ann and Ben had to be out by 10:21" in one(day, "overdue")
        assert {shown.should_be: shown.state for shown in day.dives} == {
            ("Ida", "Ann", "Ben"): "overdue",
            ("Ola", "Cy"): "not_started",
        }
        late = live(*went, *(entry("10:30", "in", name) for name in ("Ola", "Cy")), now="11:00", dives=dives)
        assert [alarm.subject for alarm in late.alarms if alarm.slug in ("overdue", "not-of-the-dive")] == [
            "Group, dive 1"
        ]
