"""From an empty folder to a plan that nothing stops, by forms alone and without script."""

from __future__ import annotations

import re
from datetime import UTC, datetime
from html import unescape

from tests.web.by_hand import Form, Hand, states
from tripplan.store.folder import load_folder
from tripplan.web.app import create_app

NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
FACTS = {"name": "Blue Bay", "country": "PT", "timezone": "Atlantic/Azores", "emergency_number": "+44 1632 960999"}
LAKE = {
    "name": "Quiet Lake",
    "position": "46.9050, -16.7900",
    "elevation_m": "80",
    "water.kind": "fresh",
    "lowest_level": "level_1",
    "road": "Lake Road, car park at the boat house",
    "capacity.divers": "8",
    "flag_rule": "Flag A at the way in, by our own rule",
    "entries.0.name": "Gravel beach",
    "entries.0.kind": "beach",
    "entries.0.facing_deg": "110",
    "entries.0.going_in.use": "any",
    "entries.0.coming_out.use": "any",
    "entries.0.casualty": ["yes"],
    "places.0.name": "East bay",
    "places.0.shallowest_m": "1",
    "places.0.deepest_m": "14",
    "places.0.bottom": "gravel",
    "places.0.suits": ["guided", "first_open_water"],
    "tide.none_because": "a lake",
    "stream.kind": "none",
    "communications.phone_signal": "good on the whole beach",
    "rendezvous.place": "Boat house on Lake Road",
    "rendezvous.position": "46.9053, -16.7910",
    "rendezvous.ambulance_min": "15",
    "contacts.0.hours": "24 h",
    "contacts.0.checked": "2026-11-20",
    "contacts.0.checked_by": "Ana",
    "hospitals.0.name": "Verrow General",
    "hospitals.0.number": "+44 1632 960240",
    "hospitals.0.position": "46.8862, -16.8571",
    "hospitals.0.drive_min": "14",
    "hospitals.0.open": "always",
    "chambers.0.name": "Verrow chamber",
    "chambers.0.number": "+44 1632 960270",
    "chambers.0.position": "46.8835, -16.8490",
    "chambers.0.drive_min": "16",
    "chambers.0.open": "always",
    "survey_date": "2026-11-25",
}


def test_from_an_empty_folder_to_a_plan_by_forms_alone(tmp_path, monkeypatch):
    folder = tmp_path / "nothing"
    folder.mkdir()
    for name in ("DATA", "CACHE"):
        (tmp_path / name).mkdir()
        monkeypatch.setenv(f"XDG_{name}_HOME", str(tmp_path / name))
    hand = Hand(create_app(folder, clock=lambda: NOW).test_client())
    page = hand.open("/")
    assert "First steps" in page
    assert set(states(page).values()) == {"open", "done"} and states(page)["account"] == "done"
    facts = {**FACTS, "phone": "+44 1632 960100", "address": "Harbour Row"}
    page = hand.press(hand.open("/start/centre"), "", facts)
    assert states(page)["centre"] == "done" and states(page)["rules"] == "open"
    page = hand.press(hand.open("/start/centre"), "", {"rules_reviewed": "2026-11-26", "rules_reviewed_by": "Ana Sol"})
    assert states(page)["rules"] == "done"
    oxygen = {
        "name": "Oxygen box", "volume_l": "10", "pressure_bar": "200", "device": "non_rebreather",
        "kept": "beside the way in", "read": "2026-11-26", "read_by": "Ana Sol", "casualties": "2",
    }  # fmt: skip
    page = hand.press(hand.open("/start/oxygen"), "", oxygen)
    assert states(page)["oxygen"] == "part" and "No rescue kit is on record" in page
    staff = {
        "medical": "2026-10-01", "medical_clear": ["yes"], "logged_dives": "400", "last_dive": "2026-11-20",
        "oxygen_provider_until": "2028-01-31", "first_aid_until": "2028-01-31", "insurance_until": "2027-12-31",
        "next_of_kin": "Rui Sol", "next_of_kin_phone": "+44 7700 900401",
    }  # fmt: skip
    page = hand.press(
        hand.open("/people/new"), "again", {"name": "Ana Sol", "born": "1985-04-02", "level": "instructor_1", **staff}
    )
    assert "Ana Sol is in the list." in page and "1 in the list so far" in page
    hand.press(page, "again", {"name": "Tomé Cruz", "born": "1990-02-28", "level": "level_3", **staff})
    diver = {key: staff[key] for key in ("medical", "medical_clear", "last_dive", "next_of_kin", "next_of_kin_phone")}
    for name in ("Lia Reis", "Noa Reis"):
        page = hand.press(
            hand.open("/people/new"), "save",
            {"name": name, "born": "1995-06-01", "level": "level_2", "logged_dives": "60", **diver},
        )  # fmt: skip
    assert "Noa Reis is in the list." in page
    page = hand.open("/sites/new")
    assert Form(page).one("timezone") == "Atlantic/Azores" and Form(page).one("contacts.0.number") == "+44 1632 960999"
    page = hand.press(page, "look", {**LAKE, "contacts.1.out": ["yes"]})
    assert "look before it is written" in page and "<svg" in page and not (folder / "quiet-lake.toml").exists()
    page = hand.press(page, "write")
    assert "quiet-lake.toml is written." in page
    page = hand.open("/start")
    assert {states(page)[key] for key in ("site", "tide", "people", "centre", "contacts")} == {"done"}
    assert states(page)["request"] == "open"
    request = re.search(r'href="(/requests/new\?[^"]+)"', page)
    assert request
    page = hand.press(
        hand.open(unescape(request[1])),
        "",
        {
            "title": "First day", "groups.0.name": "Terns", "groups.0.kind": "guided", "groups.0.leader": "Ana Sol",
            "groups.0.divers": ["Lia Reis", "Noa Reis"], "groups.0.dives.0.depth_m": "12",
            "groups.0.dives.0.minutes": "25", "groups.0.cylinder_l": "12", "groups.0.fill_bar": "200",
            "groups.0.suit_mm": "7", "crew.dive_director": "Ana Sol",
            "crew.shore_watch": ["Tomé Cruz"], "crew.oxygen_provider": ["Tomé Cruz"],
            "recent_none": ["yes"], "by": "Ana Sol",
        },
    )  # fmt: skip
    assert "First day is saved as version 1" in page
    page = hand.open("/start")
    assert states(page)["request"] == states(page)["plan"] == "done"
    assert "Nothing stops the day" in page
    page = hand.open("/requests/first-day")
    assert "Quiet Lake" in page and "Lia Reis" in page and "Do not go" not in page
    assert "First steps" not in hand.open("/")[: page.index("<footer")]  # now the first page is the plan
    # What was written by forms reads without a fault, and still says what belongs where.
    found = load_folder(folder)
    assert (folder / "centre/people.toml").stat().st_mode & 0o077 == 0  # medical papers stand there
    assert found.faults == () and list(found.world.people) == ["Ana Sol", "Tomé Cruz", "Lia Reis", "Noa Reis"]
    for name in ("centre", "people", "emergency"):
        assert "# " in (folder / "centre" / f"{name}.toml").read_text(encoding="utf-8")
