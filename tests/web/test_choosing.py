"""From a form to a request: facts written down for one day and place are never carried to another, nor wiped away."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from tripplan.data_files import data_dir
from tripplan.planning.request import RecentDive
from tripplan.store.folder import load_folder
from tripplan.web.choosing import BadChoice, Choice, all_groups, choice_at, choice_of, request_of

TODAY = date(2026, 11, 27)
LEDGE_DAY = date(2026, 12, 12)
DIVE = RecentDive(person="Owen Marsh", depth_m=18, minutes=40, surfaced=datetime(2026, 12, 11, 17, 0, tzinfo=UTC))


@pytest.fixture(scope="module")
def folder():
    return load_folder(data_dir("sites"))


def with_request(folder, name, **changes):
    changed = folder.requests[name].model_copy(update=changes)
    return replace(folder, requests={**folder.requests, name: changed})


@pytest.mark.parametrize("asked", [True, False])
def test_dives_that_a_request_wrote_down_stay_whatever_is_ticked(folder, asked):
    held = with_request(folder, "saturday-ledge", recent_dives=(DIVE,))
    choice = Choice(site="stair-ledge", day="2026-12-12", groups=("Terns",), asked=asked)
    assert request_of(choice, held, TODAY).recent_dives == (DIVE,)


def test_without_the_tick_and_without_dives_nothing_is_known(folder):
    choice = Choice(site="stair-ledge", day="2026-12-12", groups=("Terns",))
    assert request_of(choice, folder, TODAY).recent_dives is None
    assert request_of(replace(choice, asked=True), folder, TODAY).recent_dives == "none"


def test_who_was_asked_for_one_date_is_asked_again_for_another(folder):
    request = folder.requests["saturday-ledge"]
    assert request.recent_dives == "none"
    assert choice_of(request, LEDGE_DAY, folder).asked
    assert not choice_of(request, date(2026, 12, 13), folder).asked


@pytest.mark.parametrize(
    ("site", "day", "kept"),
    [("lake-orrin", "2026-11-29", 0.84), ("lake-orrin", "2026-11-30", None), ("gull-cove", "2026-11-29", None)],
)
def test_a_measured_pressure_holds_only_where_and_when_it_was_measured(folder, site, day, kept):
    held = with_request(folder, "lake-altitude", measured_pressure_bar=0.84)
    choice = Choice(site=site, day=day, groups=("Dippers",), settled=True)
    assert request_of(choice, held, TODAY).measured_pressure_bar == kept


def test_the_arrival_at_altitude_stands_in_the_form_and_only_there(folder):
    request = folder.requests["lake-altitude"]
    choice = choice_of(request, request.date, folder)
    assert choice.arrived == "08:30"
    assert request_of(choice, folder, TODAY).altitude == request.altitude
    assert request_of(replace(choice, arrived=""), folder, TODAY).altitude.arrived is None


def test_a_site_without_a_request_of_its_own_offers_the_first_one_without_its_arrival(folder):
    choice = choice_at("the-gut", TODAY, with_request(folder, "beginners-cove", site="nowhere"))
    assert choice.site == "the-gut"
    assert choice.groups == ("Dippers",)
    assert (choice.arrived, choice.settled) == ("", False)


def test_groups_of_one_name_are_chosen_by_their_requests_and_never_planned_together(folder):
    lake = folder.requests["lake-altitude"]
    named = lake.groups[0].model_copy(update={"name": " TERNS"})
    both = with_request(folder, "lake-altitude", groups=(named,))
    keys = all_groups(both)
    assert "Terns" not in keys and {"Terns (saturday-ledge)", " TERNS (lake-altitude)"} <= set(keys)
    asked = both.requests["saturday-ledge"]
    choice = choice_of(asked, LEDGE_DAY, both)
    assert choice.groups == ("Terns (saturday-ledge)", "Skuas")
    assert [group.name for group in request_of(choice, both, TODAY).groups] == ["Terns", "Skuas"]
    for groups, said in ((("Terns",), "not known"), (("Terns (saturday-ledge)", " TERNS (lake-altitude)"), "one name")):
        with pytest.raises(BadChoice) as refused:
            request_of(replace(choice, groups=groups), both, TODAY)
        assert said in refused.value.choice.errors["group"]
