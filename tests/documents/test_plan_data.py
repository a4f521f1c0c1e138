from __future__ import annotations

import dataclasses
import json
import math
from dataclasses import replace
from datetime import datetime

import pytest
from printed_plans import REQUESTS, hostile_plan, plan_of
from sample_plan import sample_plan

from tripplan.check import Contest
from tripplan.documents.data import dives_from_json, plan_json
from tripplan.errors import OutOfRange
from tripplan.planning.plan import DivePlan

ALL = (*REQUESTS, "stop")

# The command contract: keys that scripts depend on.
PLAN_KEYS = {
    *("revision", "verdict", "site", "site_name", "date", "timezone", "headline", "windows", "dives", "checks"),
    *("contacts", "care", "closures", "light", "tide_events", "observations", "overrides", "emergency", "what_ifs"),
}
DIVE_KEYS = {
    *("group", "kind", "number", "entry", "descent", "exit", "exit_by", "overdue_at", "depth_limit_m", "depth_m"),
    *("longest_min", "bottom_time_min", "depth", "time", "people"),
}


def _leaves(value):
    if isinstance(value, dict):
        for item in value.values():
            yield from _leaves(item)
    elif isinstance(value, list):
        for item in value:
            yield from _leaves(item)
    else:
        yield value


@pytest.mark.parametrize("name", ALL)
def test_a_plan_goes_through_json_and_back_without_a_not_a_number(name):
    values = plan_json(plan_of(name))
    assert json.loads(json.dumps(values, allow_nan=False)) == values


@pytest.mark.parametrize("name", ALL)
def test_every_key_of_the_contract_is_there(name):
    values = plan_json(plan_of(name))
    assert values.keys() >= PLAN_KEYS
    assert values["verdict"] in ("ok", "caution", "stop")
    for dive in values["dives"]:
        assert dive.keys() >= DIVE_KEYS
        assert dive.keys() >= {field.name for field in dataclasses.fields(DivePlan)}
    for window in values["windows"]:
        assert window.keys() == {"start", "end", "entries", "groups"}
        assert all(entry.keys() == {"from", "until"} for entry in window["entries"])
    for contact in values["contacts"]:
        assert contact.keys() >= {"order", "role", "name", "number", "hours", "checked", "fresh"}


@pytest.mark.parametrize("name", ALL)
def test_times_carry_their_offset_and_are_the_plans_own(name):
    plan = plan_of(name)
    for dive, shown in zip(plan.dives, plan_json(plan)["dives"], strict=True):
        for key in ("entry", "descent", "exit", "exit_by", "overdue_at"):
            moment = getattr(dive, key)
            if moment is None:
                assert shown[key] is None
            else:
                read = datetime.fromisoformat(shown[key])
                assert read.utcoffset() == moment.utcoffset()
                assert read == moment


@pytest.mark.parametrize("name", ALL)
def test_every_check_is_there_passed_ones_too(name):
    plan = plan_of(name)
    assert [check["sentence"] for check in plan_json(plan)["checks"]] == [check.sentence for check in plan.checks]


def test_what_is_not_a_number_becomes_null():
    plan = plan_of("saturday-ledge")
    dive = dataclasses.replace(plan.dives[0], tide_entry_m=math.nan, equivalent_depth_m=math.inf)
    shown = plan_json(dataclasses.replace(plan, dives=(dive,)))["dives"][0]
    assert shown["tide_entry_m"] is None
    assert shown["equivalent_depth_m"] is None


def test_a_dive_without_a_time_has_null_and_not_a_number():
    plan = plan_of("saturday-ledge")
    dive = dataclasses.replace(
        plan.dives[0], entry=None, exit_by=None, bottom_time_min=None, time=Contest("longest bottom time", "min", ())
    )
    shown = plan_json(dataclasses.replace(plan, dives=(dive,)))["dives"][0]
    assert (shown["entry"], shown["exit_by"], shown["bottom_time_min"], shown["longest_min"]) == (None,) * 4


def test_the_sample_shows_windows_contacts_and_both_contests_as_written():
    shown = plan_json(sample_plan())
    assert shown["windows"][0] == {
        "start": "2026-06-12T09:15:00+00:00",
        "end": "2026-06-12T13:45:00+00:00",
        "entries": [
            {"from": "2026-06-12T09:15:00+00:00", "until": "2026-06-12T10:35:00+00:00"},
            {"from": "2026-06-12T12:25:00+00:00", "until": "2026-06-12T13:20:00+00:00"},
        ],
        "groups": [],
    }
    assert [(c["number"], c["role"], c["fresh"]) for c in shown["contacts"]] == [
        ("+44 1632 960400", "emergency", True),
        ("+44 1632 960401", "coastguard", True),
        ("+44 1632 960450", "harbour", False),
    ]
    first = shown["dives"][0]
    assert (first["depth_limit_m"], first["depth"]["binding"]) == (16.04, "place")
    assert (first["longest_min"], first["time"]["binding"]) == (51, "model")
    assert shown["care"][1]["drive_min"] is None


def test_names_come_out_as_they_went_in():
    plan = hostile_plan()
    shown = plan_json(plan)
    assert shown["site_name"] == plan.site_name
    assert [person["name"] for person in shown["dives"][0]["people"]] == [p.name for p in plan.dives[0].people]


def test_every_value_is_plain():
    kinds = {type(leaf) for leaf in _leaves(plan_json(plan_of("beginners-cove")))}
    assert kinds <= {str, int, float, bool, type(None)}


@pytest.mark.parametrize("name", REQUESTS)
def test_the_dives_of_a_plan_kept_as_json_come_back_as_they_were(name):
    plan = plan_of(name)
    kept = json.loads(json.dumps(plan_json(plan)))
    for before, after in zip(plan.dives, dives_from_json(kept), strict=True):
        # The binding candidate stays the same; the others come back in order of value.
        for limit in ("depth", "time"):
            one, two = getattr(before, limit), getattr(after, limit)
            assert one.binding == two.binding and set(one.candidates) == set(two.candidates)
            after = replace(after, **{limit: one})
        assert after == replace(before, **{
            moment: getattr(before, moment) and getattr(before, moment).replace(microsecond=0)
            for moment in ("entry", "descent", "exit", "exit_by", "overdue_at", "window_closes")
        })  # fmt: skip


@pytest.mark.parametrize("kept", [{}, {"dives": [{}]}, {"dives": [{"entry": "soon"}]}, {"dives": 3}])
def test_what_is_no_kept_plan_is_refused_in_words(kept):
    with pytest.raises(OutOfRange, match="cannot be read"):
        dives_from_json(kept)
