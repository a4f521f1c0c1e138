"""The next dives planned again on the beach: nothing guessed, the new plan beside the old, one word to go by it."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import UTC, date, datetime, timedelta
from html import unescape
from shutil import copytree

import pytest

from tripplan.data_files import data_dir
from tripplan.store.database import KeptPlan, Store, StoreFault, sqlite_url
from tripplan.web.app import create_app

DAY = date(2026, 12, 12)
LIVE = "/today/stair-ledge?date=2026-12-12&by=Greta Holm"
NEXT = "/today/stair-ledge/next?date=2026-12-12&by=Ines Faro"
SEND = "/today/{site}/entries?date=2026-12-12"
TERNS = ("Luca Benti", "Nadia Petit", "Owen Marsh", "Keiko Arai", "Hana Novak")
SKUAS = ("Asha Rao", "Eric Lund", "Bruno Silva")


class Clock:
    """A clock that a test moves; the site's clock is one hour behind in winter."""

    now = datetime(2026, 12, 12, 12, 50, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def app(tmp_path, clock):
    made = create_app(data_dir("sites"), clock=clock, records=tmp_path / "records")
    made.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "store.sqlite")
    yield made
    if store := made.extensions.get("tripplan_store"):
        store.close()


@pytest.fixture
def beach(app, clock):
    return Beach(app, clock)


@pytest.fixture
def plans(tmp_path):
    """What another process finds in the store."""

    def kept() -> tuple[KeptPlan, ...]:
        store = Store(sqlite_url(tmp_path / "store.sqlite"))
        found = store.plans(DAY, "stair-ledge")
        store.close()
        return found

    return kept


class Beach:
    """Somebody with a phone."""

    def __init__(self, app, clock) -> None:
        self.client, self.clock, self.marks = app.test_client(), clock, 0

    def at(self, words: str) -> None:
        """Move the clock to a time by the clock of the site."""
        hour, minute = words.split(":")
        self.clock.now = datetime(2026, 12, 12, int(hour) + 1, int(minute), tzinfo=UTC)

    def page(self, address: str = NEXT) -> str:
        return unescape(self.client.get(address).text)

    def write(self, kind: str, *names: str, group: str = "Terns", dive: int = 1, site: str = "stair-ledge", **more):
        token = re.search(r'data-csrf="([^"]+)"', self.client.get(LIVE).text)[1]
        entries = []
        for name in names:
            self.marks += 1
            entries.append(
                {
                    "uid": f"entry-{self.marks:06d}", "at": self.clock.now.isoformat(), "kind": kind,
                    "by": "Greta Holm", "person": name, "group": group, "dive": dive, **more,
                }
            )  # fmt: skip
        told = self.client.post(SEND.format(site=site), json={"entries": entries}, headers={"X-CSRFToken": token}).json
        assert len(told["new"]) == len(names), told

    def first_dives(self, *, deep: str = "18", out: str = "12:33") -> None:
        """Both groups make their first dive as planned: in at 11:50, Skuas out at 12:24, Terns at 12:33 from 18 m."""
        self.at("11:50")
        self.write("in", *TERNS)
        self.write("in", *SKUAS, group="Skuas")
        self.at("12:24")
        self.write("out", *SKUAS, group="Skuas")
        self.write("depth", *SKUAS, group="Skuas", value="14")
        self.at(out)
        self.write("out", *TERNS)
        self.write("depth", *TERNS, value=deep)

    def form(self) -> dict[str, str]:
        text = self.page()
        return dict(re.findall(r'<input type="hidden" name="([a-z_]+)" value="([^"]*)">', text)) | {"by": "Ines Faro"}

    def go(self, form: dict[str, str] | None = None, **changes: str):
        return self.client.post(NEXT.replace("&by=Ines Faro", ""), data={**(form or self.form()), **changes})


def revision_of(kept: KeptPlan) -> str:
    """Return the mark of what a kept plan was made from: it has to be all that the plan's own mark counts."""
    text = json.dumps(dict(kept.inputs), sort_keys=True, ensure_ascii=True)
    return hashlib.sha256(text.encode()).hexdigest()[:8]


def row(text: str, what: str) -> tuple[str, str]:
    """Return what a line of the first dive says by the plan that holds and from what was done."""
    found = re.search(rf'<th scope="row">{what}</th><td>(.*?)</td><td>(.*?)</td>', text)
    return re.sub("<[^>]+>", "", found[1]), re.sub("<[^>]+>", "", found[2])


def test_before_any_dive_only_the_hour_is_another(beach):
    text = beach.page()
    assert "No dive has been made yet, so only the time of day differs from the plan before." in text
    assert "Terns, dive 1" in text and "Skuas, dive 1" in text


def test_while_somebody_is_in_the_water_there_is_no_plan_and_it_says_who_has_to_be_written(beach):
    beach.write("in", *TERNS)
    beach.at("12:20")
    beach.write("out", *TERNS[1:])
    text = beach.page()
    assert "No plan yet" in text and "when Luca Benti came out is not written down" in text
    assert "Go by this plan from now" not in text and "Not everything that has to be known" in text


def test_the_new_limits_stand_beside_those_of_the_plan_that_holds(beach):
    beach.first_dives()
    beach.at("12:40")
    text = beach.page()
    assert re.findall(r"<h2>([^<]*, dive \d+)</h2>", text) == ["Terns, dive 2"]
    # What is said of the first dive is what it counts as, and no limit of a dive to come.
    of_first = [line for line in text.splitlines() if ", dive 1" in line]
    assert of_first and all("the next plan reckons with" in line for line in of_first)
    was, now = row(text, "In")
    assert was < now and now >= "13:33"  # 60 min ashore are the least
    assert row(text, "Planned depth") == ("14 m", "14 m")
    assert row(text, "Planned bottom time") == ("30 min", "30 min")
    assert int(row(text, "At the surface before")[1].split()[-2]) >= 15
    for name in TERNS:
        assert re.search(rf"<bdi>{name}</bdi></th><td>\w+, <b>\w+</b></td><td>\d+ min, <b>\d+ min</b>", text), name
        assert re.search(rf"<bdi>{name}</bdi>, Terns 1</th><td>18 m, 30 min</td><td>43 min, 12:33</td>", text), name
    assert "begins with" in text and "as in the request" in text


def test_a_longer_first_dive_shortens_the_next_and_the_strict_reading_says_more(beach):
    beach.first_dives()
    plain = beach.page()
    strict = beach.page(NEXT + "&strict=1")
    assert "Terns 1</th><td>18 m, 43 min</td>" in strict
    assert "Do not go" in strict and "Do not go" not in plain  # 43 min at 18 m would have needed a stop
    assert "Something stops it" in strict and "Go by this plan from now" not in strict


def test_going_by_the_new_plan_keeps_it_whole_once_and_moves_the_clocks_of_dives_to_come(beach, plans):
    beach.first_dives()
    beach.at("12:40")
    (first,) = plans()
    form = beach.form()
    assert beach.go(form).status_code == beach.go(form).status_code == 303  # a double tap
    old, new = plans()
    assert old == first and new.by == "Ines Faro" and new.kept == beach.clock.now
    assert [(dive["group"], dive["number"]) for dive in new.plan["dives"]] == [("Terns", 2)]
    assert new.request["recent_dives"][0]["surfaced"] and new.plan["from_what_was_done"]["numbers"] == {"Terns": [2]}
    assert revision_of(new) == new.revision and revision_of(old) == old.revision
    live = beach.page(LIVE)
    assert f"Terns, dive 2: plan {new.revision}, since 12:40, kept by <bdi>Ines Faro</bdi>." in live
    assert f"plan {old.revision}, since 11:50, kept by <bdi>Greta Holm</bdi>." in live
    assert "Terns, dive 1; Skuas, dive 1: plan" in live or "Skuas, dive 1; Terns, dive 1: plan" in live
    planned = {dive["number"]: dive for dive in old.plan["dives"] if dive["group"] == "Terns"}
    due = datetime.fromisoformat(new.plan["dives"][0]["exit_by"])
    assert due > datetime.fromisoformat(planned[2]["exit_by"])
    beach.clock.now = datetime.fromisoformat(new.plan["dives"][0]["entry"]).astimezone(UTC)
    beach.write("in", "Luca Benti", dive=2)
    beach.clock.now = due.astimezone(UTC) - timedelta(minutes=1)
    assert "OVERDUE" not in beach.page(LIVE)
    beach.clock.now = due.astimezone(UTC)
    assert "OVERDUE: Terns, dive 2: Luca Benti had to be out" in beach.page(LIVE)


def test_what_was_written_meanwhile_is_seen_before_anybody_goes_by_the_plan(beach, plans):
    beach.first_dives()
    form = beach.form()
    beach.write("depth", "Luca Benti", value="19.5")
    answer = beach.go(form)
    assert answer.status_code == 409 and "Something was written down or has changed" in answer.text
    assert len(plans()) == 1


def test_a_plan_whose_first_dive_should_be_in_already_is_not_gone_by(beach, plans):
    beach.first_dives()
    form = beach.form()
    beach.at("14:30")
    answer = beach.go(form)
    assert answer.status_code == 409 and "to go in before now" in answer.text and len(plans()) == 1


@pytest.mark.parametrize(
    ("changes", "status", "words"),
    [
        ({"by": " "}, 400, "Say who you are"),
        ({"at": "soon"}, 400, "no time that can be used"),
        ({"at": "2026-12-12T12:40:00"}, 400, "no time that can be used"),
        ({"at": "2026-12-12T20:00:00+00:00"}, 400, "no time that can be used"),
        ({"revisions": "00000000"}, 409, "has changed"),
        ({"strict": "1"}, 409, "has changed"),
        ({"csrf_token": "x"}, 400, ""),
    ],
)
def test_a_form_that_is_not_of_the_plan_shown_changes_nothing(beach, plans, changes, status, words):
    beach.first_dives()
    answer = beach.go(**changes)
    assert answer.status_code == status and words in answer.text
    assert len(plans()) == 1


def test_who_felt_unwell_stops_the_plan_until_they_are_out_of_it(beach, plans):
    beach.first_dives()
    form = beach.form()
    beach.write("discomfort", "Luca Benti", text="a sore elbow")
    text = beach.page()
    assert "Do not go" in text and "a sore elbow" in text and "Go by this plan from now" not in text
    answer = beach.go(form)  # what was done is the same, so the plan is the same
    assert answer.status_code == 400 and "Something stops it" in answer.text and len(plans()) == 1


def test_where_a_stop_may_have_been_left_out_the_dive_director_s_decision_is_kept_with_the_plan(beach, plans):
    beach.first_dives(deep="18.4", out="12:35")
    text = beach.page()
    assert "; Hana Novak: Terns, dive 1: up to 32 min at the bottom at 18.4 m, deeper than the planned 18 m" in text
    assert "The dive director decides first" in text and "What the dive director decided" in text
    answer = beach.go()
    assert answer.status_code == 400 and "Write what the dive director decided" in answer.text and len(plans()) == 1
    assert beach.go(settled="Spoke with all five; nobody felt anything; dive 2 to 12 m.").status_code == 303
    kept = plans()[-1].plan["from_what_was_done"]
    assert kept["decided"].startswith("Spoke with all five")
    assert any("Luca Benti" in sentence for sentence in kept["decided_of"])


def test_a_dive_at_another_site_this_morning_counts(beach):
    beach.at("09:00")
    beach.write("in", "Luca Benti", site="gull-cove", group="Visitors")
    beach.at("09:30")
    beach.write("out", "Luca Benti", site="gull-cove", group="Visitors")
    beach.write("depth", "Luca Benti", site="gull-cove", group="Visitors", value="12")
    beach.first_dives()
    text = beach.page()
    assert "<bdi>Luca Benti</bdi>, Visitors 1</th><td>12 m, 30 min</td>" in text
    found = dict(re.findall(r"<bdi>([\w ]+)</bdi></th><td>\w+, <b>(\w+)</b>", text))
    assert found["Luca Benti"] > found["Nadia Petit"]  # a later letter: more nitrogen


def test_when_every_dive_is_made_nothing_is_left(beach):
    beach.first_dives()
    beach.at("13:50")
    beach.write("in", *TERNS, dive=2)
    beach.at("14:20")
    beach.write("out", *TERNS, dive=2)
    text = beach.page()
    assert "Every dive is made" in text and "There is no new plan" in text


def test_on_another_day_nobody_goes_by_it(beach):
    beach.first_dives()
    beach.clock.now += timedelta(days=1)
    text = beach.page()
    assert "No plan yet" in text and "is over" in text and "on its own day only" in text


def test_a_full_store_is_told_and_nothing_is_changed(beach, plans, monkeypatch):
    beach.first_dives()
    form = beach.form()

    def full(*_: object) -> None:
        raise StoreFault("the store did not take it: disk full; nothing of it was kept")

    monkeypatch.setattr(Store, "keep_plan", full)
    answer = beach.go(form)
    assert answer.status_code == 500 and "disk full" in answer.text and len(plans()) == 1


def test_a_plan_that_another_followed_does_not_hold_again_by_the_same_form(beach, plans):
    beach.first_dives()
    form = beach.form()
    assert beach.go(form).status_code == 303
    beach.clock.now += timedelta(minutes=7)
    assert beach.go().status_code == 303 and len(plans()) == 3
    answer = beach.go(form)
    assert answer.status_code == 409 and "so it is not the newest" in answer.text


def test_who_dived_without_being_planned_is_told_and_the_dive_director_decides(beach):
    beach.at("09:00")
    beach.write("in", "Luca Benti", group="Visitors")
    beach.at("09:30")
    beach.write("out", "Luca Benti", group="Visitors")
    beach.write("depth", "Luca Benti", group="Visitors", value="25")
    beach.first_dives()
    text = beach.page()
    assert "Luca Benti, Visitors, dive 1: this dive is not in the plan" in text
    assert "Do not go" in text or "The dive director decides first" in text
    assert beach.go().status_code == 400


def test_two_requests_whose_groups_have_one_name_are_both_on_the_page_and_not_planned_again(tmp_path, clock):
    """The entries name the group alone: nobody can say of which request a dive is that is made."""
    copytree(data_dir("sites"), tmp_path / "again")
    first = tmp_path / "again" / "requests" / "saturday-ledge.toml"
    head = first.read_text(encoding="utf-8").split("[[groups]]")[0]
    group = """
[[groups]]
name = "terns"
kind = "guided"
leader = "Tom Okafor"
divers = ["Maren Dahl"]
[[groups.dives]]
depth_m = 12
minutes = 20
not_before = "09:00"
"""
    first.with_name("another.toml").write_text(head + group, encoding="utf-8")
    app = create_app(tmp_path / "again", clock=clock, records=tmp_path / "records")
    app.extensions["tripplan_store_url"] = sqlite_url(tmp_path / "again.sqlite")
    beach = Beach(app, clock)
    beach.first_dives()
    live = beach.page(LIVE)
    assert "Terns, dive 1" in live and "terns, dive 1" in live and "Maren Dahl" in live
    assert "for which they are not planned" not in live
    text = beach.page()
    assert text.count("Two requests of this day have a group with the name") == 2
    assert "Go by this plan from now" not in text
    app.extensions["tripplan_store"].close()


def test_a_request_that_is_edited_after_the_day_began_is_told_until_the_day_goes_by_a_new_plan(beach, app):
    beach.first_dives()
    beach.at("12:40")
    requests = app.extensions["tripplan_shelf"]._folder.requests
    terns, skuas = requests["saturday-ledge"].groups
    shallower = terns.dives[1].model_copy(update={"minutes": 20})
    again = terns.model_copy(update={"dives": (terns.dives[0], shallower)})
    requests["saturday-ledge"] = requests["saturday-ledge"].model_copy(update={"groups": (again, skuas)})
    told = "(Terns) was edited after the day began"
    assert told in beach.page(LIVE)
    assert beach.go().status_code == 303
    assert told not in beach.page(LIVE)
