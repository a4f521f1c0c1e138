"""The demonstration catalogue is valid, invented throughout, consistent, and shows every field of a site."""

from __future__ import annotations

import re
import tomllib
from datetime import UTC, date, datetime, timedelta
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any, get_args

import numpy as np
import pytest

from tripplan.catalogue.site import Access, Site, Suits, TideLimits
from tripplan.catalogue.survey import Survey, survey
from tripplan.environment.position import distance_km
from tripplan.environment.tide import SecondaryTide, Tide, minutes_utc
from tripplan.people.level import Level
from tripplan.record import Record, _branches

SITES = Path(__file__).parents[2] / "sites"
SLUGS = [
    "gull-cove",
    "lake-orrin",
    "long-strand",
    "mere-mouth",
    "old-slip",
    "pilots-pier",
    "stair-ledge",
    "the-gut",
    "tinners-quarry",
]


@pytest.fixture(scope="module")
def found() -> Survey:
    """The shipped catalogue."""
    return survey([SITES])


def text_of(slug: str) -> str:
    return (SITES / f"{slug}.toml").read_text(encoding="utf-8")


def tide_at(found: Survey, site: Site) -> Tide:
    """The tide at a site, by the offsets of its file."""
    link = site.tide
    assert link.station is not None
    station = found.stations[link.station].tide
    assert station is not None
    return SecondaryTide(
        station, link.high_time_min, link.low_time_min, link.high_ratio, link.low_ratio, link.high_add_m, link.low_add_m
    )


def test_every_file_is_valid_and_there_are_nine_sites_and_two_stations(found: Survey) -> None:
    assert found.faults == () and found.notes == ()
    assert sorted(found.sites) == SLUGS
    assert {slug: station.kind for slug, station in found.stations.items()} == {
        "north-haven": "printed",
        "verrow-harbour": "constants",
    }


@pytest.mark.parametrize("slug", SLUGS)
def test_every_site_read_by_itself_is_valid_too(slug: str) -> None:
    alone = survey([SITES / f"{slug}.toml"])
    assert (alone.faults, alone.notes, list(alone.sites)) == ((), (), [slug])
    assert len(alone.stations) == (0 if alone.sites[slug].tide.station is None else 1)


def test_every_site_is_marked_as_a_demonstration_and_says_so_on_top(found: Survey) -> None:
    assert all(site.demonstration for site in found.sites.values())
    for path in [*SITES.glob("*.toml"), *(SITES / "stations").iterdir()]:
        assert "invented" in path.read_text(encoding="utf-8").split("\n")[0]


def test_the_nine_kinds_of_place_are_there(found: Survey) -> None:
    sites = found.sites
    cove, ledge, slip, strand = (sites[s] for s in ("gull-cove", "stair-ledge", "old-slip", "long-strand"))
    narrows, quarry, lake, estuary = (sites[s] for s in ("the-gut", "tinners-quarry", "lake-orrin", "mere-mouth"))
    pier = sites["pilots-pier"]
    assert cove.lowest_level is Level.FIRST_EXPERIENCE and (cove.entries[0].slope or 1) <= 0.05
    assert cove.entries[0].going_in == TideLimits()
    steps = ledge.entries[0]
    assert isinstance(steps.going_in, TideLimits) and isinstance(steps.coming_out, TideLimits)
    assert (steps.coming_out.lowest_m or 0) > (steps.going_in.lowest_m or 0)
    assert (steps.coming_out.highest_m or 0) < (steps.going_in.highest_m or 0)
    assert slip.access.permission and slip.access.hours and slip.access.gate_code
    assert "traffic" in {hazard.kind for hazard in slip.hazards}
    assert max(fetch.km for fetch in strand.exposure.fetch) == 2000 and strand.exposure.open_to_swell
    assert narrows.stream.kind == "slack" and narrows.stream.spring_rate_kn == 3.5
    assert (quarry.water.kind, quarry.elevation_m) == ("fresh", 84)
    assert {"overhead", "wreck", "cold"} <= {hazard.kind for hazard in quarry.hazards}
    assert (lake.water.kind, lake.elevation_m) == ("fresh", 1640)
    assert all(care.highest_road_m == 1780 for care in lake.hospitals + lake.chambers)
    assert estuary.water.kind == "brackish" and "outfall" in {hazard.kind for hazard in estuary.hazards}
    stage = estuary.entries[0].going_in
    assert isinstance(stage, TideLimits) and stage.lowest_m is not None and stage.highest_m is not None
    assert sum("night" in place.suits for place in pier.places) == 2


def test_the_island_is_some_40_km_across(found: Survey) -> None:
    apart = [distance_km(one.position, two.position) for one, two in combinations(found.sites.values(), 2)]
    assert 20 < max(apart) < 60
    for site in found.sites.values():
        for place in (*site.hospitals, *site.chambers):
            assert distance_km(site.position, place.position) < 60
        assert distance_km(site.position, site.rendezvous.position) < 2
        assert all(distance_km(site.position, e.position) < 0.6 for e in site.entries if e.position)


# Numbers set apart for fiction: Ofcom, "Telephone numbers for use in TV and radio drama programmes".
FICTION = re.compile(r"\+44 (1632 960|7700 900)[0-9]{3}")


@pytest.mark.parametrize("slug", SLUGS)
def test_every_telephone_number_is_reserved_for_fiction(found: Survey, slug: str) -> None:
    site = found.sites[slug]
    for each in (*site.contacts, *site.hospitals, *site.chambers):
        assert FICTION.fullmatch(each.number), each.number
    others = FICTION.sub("", text_of(slug))
    assert not re.search(r"\+[0-9]|[0-9]{5}", others)  # nor does one hide in a note


@pytest.mark.parametrize("slug", SLUGS)
def test_the_calling_order_starts_with_rescue_then_centre_then_chamber(found: Survey, slug: str) -> None:
    roles = [contact.role for contact in found.sites[slug].contacts]
    assert roles[0] == "emergency"
    rest = [role for role in roles if role not in ("emergency", "coastguard")]
    assert rest[:3] == ["centre", "chamber", "diving_doctor"]


def test_most_numbers_are_freshly_checked_and_a_few_are_not(found: Survey) -> None:
    checked = [c.checked for s in found.sites.values() for c in (*s.contacts, *s.hospitals, *s.chambers)]
    fresh = [day for day in checked if day and (date(2026, 11, 25) - day).days <= 30]
    assert len(fresh) > 0.8 * len(checked)
    assert checked.count(None) == 1
    assert any(day and (date(2026, 11, 25) - day).days > 60 for day in checked)


def test_drives_are_known_but_for_one_and_not_faster_than_the_roads(found: Survey) -> None:
    unknown = []
    for slug, site in found.sites.items():
        for care in (*site.hospitals, *site.chambers):
            if care.drive_min is None:
                unknown.append((slug, care.name))
            else:
                assert distance_km(site.position, care.position) / (care.drive_min / 60) < 45, (slug, care.name)
    assert unknown == [("the-gut", "Verrow recompression chamber")]


def test_the_hospitals_and_the_chamber_are_the_same_everywhere(found: Survey) -> None:
    for table in ("hospitals", "chambers"):
        facts = {(c.name, c.number, c.position, c.hours) for s in found.sites.values() for c in getattr(s, table)}
        assert len(facts) == len({fact[0] for fact in facts}) == (2 if table == "hospitals" else 1)


def test_places_are_found_for_every_purpose_and_down_to_more_than_30_m(found: Survey) -> None:
    places = [place for site in found.sites.values() for place in site.places]
    for purpose in get_args(Suits):
        assert sum(purpose in place.suits for place in places) >= 4, purpose
    assert any(place.deepest_m == 38 for place in places)
    assert sum(20 <= place.deepest_m <= 32 for place in places) >= 4
    # Pools for skills are shallow all through; nobody is taught deeper than they may go.
    assert all(place.deepest_m <= 7 for place in places if "confined_skills" in place.suits)


@pytest.mark.parametrize("slug", SLUGS)
def test_the_swim_to_the_other_exit_is_no_shorter_than_the_line_to_it(found: Survey, slug: str) -> None:
    site = found.sites[slug]
    other = site.alternative_exit
    assert other is not None
    (start, end) = site.entries[0].position, (site.entry(other.access) or site.entries[0]).position
    assert start is not None and end is not None
    assert other.swim_m >= 1000 * distance_km(start, end)


def records(model: Any) -> set[type[Record]]:
    """Every schema that a site is made of."""
    reached: set[type[Record]] = set()
    for branch in _branches(model):
        if isinstance(branch, type) and issubclass(branch, Record):
            reached |= {branch}.union(*(records(field.annotation) for field in branch.model_fields.values()))
        for argument in get_args(branch):
            reached |= records(argument)
    return reached


def keys_in(value: Any) -> set[str]:
    if isinstance(value, dict):
        return set(value).union(*(keys_in(inner) for inner in value.values()))
    return set().union(*(keys_in(inner) for inner in value)) if isinstance(value, list) else set()


def test_every_field_of_the_schema_is_shown_by_some_site() -> None:
    shown = set().union(*(keys_in(tomllib.loads(text_of(slug))) for slug in SLUGS))
    fields = {name for model in records(Site) for name, field in model.model_fields.items() if not field.exclude}
    assert len(fields) > 70
    assert fields <= shown


# ---- tides ----


def test_the_constants_give_a_mean_spring_range_of_4_m_and_no_tide_below_the_datum(found: Survey) -> None:
    station = tomllib.loads((SITES / "stations" / "verrow-harbour.toml").read_text(encoding="utf-8"))
    # Mean spring range is twice the sum of the amplitudes of M2 and S2, neap range twice their difference.
    assert 2 * (station["constituents"]["M2"][0] + station["constituents"]["S2"][0]) == pytest.approx(4.0)
    tide = found.stations["verrow-harbour"].tide
    assert tide is not None
    points = tide.turning_points(datetime(2020, 1, 1, tzinfo=UTC), datetime(2039, 1, 1, tzinfo=UTC))  # a nodal cycle
    assert 0 < min(point.height_m for point in points) < 0.15
    assert sum(point.height_m for point in points) / len(points) == pytest.approx(station["mean_level_m"], abs=0.05)


def test_the_printed_table_covers_november_2026_to_january_2028_without_a_gap(found: Survey) -> None:
    rows = (SITES / "stations" / "north-haven.csv").read_text(encoding="utf-8").split("\n")
    times = [datetime.fromisoformat(row.split(",")[0]) for row in rows if row[:2] == "20"]
    assert times[0].date() == date(2026, 11, 1) and times[-1].date() == date(2028, 1, 31)
    steps = [later - earlier for earlier, later in pairwise(times)]
    assert min(steps) > timedelta(hours=4.5) and max(steps) < timedelta(hours=8)
    heights = [float(row.split(",")[2]) for row in rows if row[:2] == "20"]
    assert min(heights) > 0 and max(heights) < 5


def test_sites_use_both_stations_with_and_without_offsets(found: Survey) -> None:
    used = {site.tide.station for site in found.sites.values()}
    assert used == {None, "verrow-harbour", "north-haven"}
    assert {site.tide.high_ratio for site in found.sites.values()} > {1.0}


@pytest.mark.parametrize("slug", [s for s in SLUGS if s not in ("lake-orrin", "tinners-quarry")])
def test_every_tide_limit_bites_at_some_hours_of_a_month_and_leaves_most_days_open(found: Survey, slug: str) -> None:
    site = found.sites[slug]
    start = datetime(2027, 6, 1, tzinfo=UTC)
    heights_m = tide_at(found, site).heights_m(minutes_utc(start, start + timedelta(days=30)))
    assert not np.isnan(heights_m).any()

    def open_share(access: Access, way: str) -> float | None:
        limits = getattr(access, way)
        if not isinstance(limits, TideLimits) or limits == TideLimits():
            return None
        low, high = limits.lowest_m, limits.highest_m
        return float(
            np.mean((heights_m >= (-9 if low is None else low)) & (heights_m <= (99 if high is None else high)))
        )

    shares = [share for a in site.entries for way in ("going_in", "coming_out") if (share := open_share(a, way))]
    assert all(0.4 < share < 1 for share in shares), shares


@pytest.mark.parametrize("slug", ["the-gut", "mere-mouth"])
def test_the_ranges_of_a_stream_are_those_of_the_tide_at_the_site(found: Survey, slug: str) -> None:
    site = found.sites[slug]
    points = tide_at(found, site).turning_points(datetime(2027, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC))
    ranges = sorted(abs(one.height_m - two.height_m) for one, two in pairwise(points))
    # Springs and neaps are means of the larger and smaller tides, so they lie inside what the year brings.
    assert ranges[0] < (site.stream.neap_range_m or 0) < ranges[len(ranges) // 4]
    assert ranges[-len(ranges) // 3] < (site.stream.spring_range_m or 0) < ranges[-1]
