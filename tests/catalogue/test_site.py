"""A site file that is wrong is refused, with every fault at its line and in words that its writer can mend it by."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tripplan.catalogue.site import Site, TideLimits, check_links, read_site, read_sites
from tripplan.errors import BadRecord
from tripplan.people.level import Level
from tripplan.record import read_toml

BAD_SITES = Path(__file__).with_name("bad_sites")
VALID = (BAD_SITES / "north-cove.toml").read_text(encoding="utf-8")


def cases() -> list[tuple[str, str, list[str]]]:
    """Read edits.txt: what is taken out, what is put in, and the faults that must come of it."""
    found = []
    for block in (BAD_SITES / "edits.txt").read_text(encoding="utf-8").split("\n\n")[1:]:
        marked = {mark: [line[2:] for line in block.strip("\n").split("\n") if line[0] == mark] for mark in "-+>"}
        found.append(("\n".join(marked["-"]), "\n".join(marked["+"]), marked[">"]))
    return found


def broken(old: str, new: str) -> str:
    """Return the valid site with whole lines replaced, which must stand there exactly once."""
    assert VALID.count(f"\n{old}\n") == 1, f"{old!r} does not stand once in the valid site"
    return VALID.replace(f"\n{old}\n", f"\n{new}\n" if new else "\n")


def faults_of(folder: Path, text: str, name: str = "north-cove.toml") -> list[str]:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BadRecord) as refused:
        read_site(path)
    return [str(fault) for fault in refused.value.faults]


def test_there_are_many_cases_and_the_valid_site_is_valid(tmp_path: Path) -> None:
    assert len(cases()) >= 100
    path = tmp_path / "north-cove.toml"
    path.write_text(VALID, encoding="utf-8")
    site = read_site(path)
    assert site.slug == "north-cove"
    assert site.lowest_level is Level.LEVEL_1
    assert site.entries[0].coming_out == TideLimits(lowest_m=1.0, highest_m=3.6)
    assert site.entries[1].going_in == "not_used"
    assert site.entry("Ladder") is site.entries[1] and site.entry("Steps") is None
    assert site.place("Wall") is site.places[1] and site.place("wall") is None


@pytest.mark.parametrize("old, new, expected", cases())
def test_a_broken_site_is_refused_with_exactly_these_sentences(
    tmp_path: Path, old: str, new: str, expected: list[str]
) -> None:
    path = tmp_path / "north-cove.toml"
    assert faults_of(tmp_path, broken(old, new)) == [f"{path}:{line}" for line in expected]


@pytest.mark.parametrize("old, new, expected", cases())
def test_the_line_of_a_fault_holds_the_key_that_it_names(
    tmp_path: Path, old: str, new: str, expected: list[str]
) -> None:
    lines = broken(old, new).split("\n")
    for fault in expected:
        number, said = fault.split(": ", maxsplit=1)
        shown = lines[int(number) - 1]
        if said.startswith("this is not valid TOML"):
            assert shown.strip()[:57] in said
        elif " is missing" not in said:
            name = re.match(r'"[^"]*"|[a-z_]+(?:\[[0-9]+\])?(?:\.[a-z_]+(?:\[[0-9]+\])?)*', said)
            assert name is not None
            key = re.sub(r"\[[0-9]+\]$", "", name[0].split(".")[-1] if name[0][0] != '"' else "= 1")
            assert key in shown, fault


def test_every_fault_of_a_file_comes_at_once_schema_and_sense_together(tmp_path: Path) -> None:
    text = VALID.replace("elevation_m = 0", 'elevation_m = "sea level"')  # wrong type at the top
    text = text.replace("deepest_m = 9", "deepest_m = 1")  # does not fit inside a place
    text = text.replace("swim_m = 90", "swim_m = -90")  # impossible value
    text = text.replace('name = "Wall"', 'name = "Sand"')  # does not fit between places
    text = text.replace("16.8571", "61.8571")  # too far away
    said = [line.split(": ", maxsplit=1)[1] for line in faults_of(tmp_path, text)]
    assert [sentence.split(" ")[0] for sentence in said] == [
        "elevation_m",
        "alternative_exit.swim_m",
        "places[1].shallowest_m",
        "hospitals[1].position",
    ]
    # Doubled names are seen as soon as the places themselves are right.
    text = text.replace("deepest_m = 1\n", "deepest_m = 9\n")
    assert any('places[2].name is "Sand"' in line for line in faults_of(tmp_path, text))


def test_a_faulty_part_never_causes_a_second_fault_elsewhere(tmp_path: Path) -> None:
    text = VALID.replace('kind = "ladder"', 'kind = "stairs"')  # the entry that the alternative exit names
    assert len(faults_of(tmp_path, text)) == 1


def test_a_file_with_windows_line_ends_and_a_byte_order_mark_reads_the_same(tmp_path: Path) -> None:
    plain, windows = tmp_path / "a.toml", tmp_path / "b.toml"
    plain.write_text(VALID, encoding="utf-8")
    windows.write_bytes(b"\xef\xbb\xbf" + VALID.replace("\n", "\r\n").encode())
    assert read_site(windows).model_dump() == read_site(plain).model_dump()
    text = broken("divers = 8", "divers = 0").replace("\n", "\r\n")
    windows.write_bytes(text.encode())
    with pytest.raises(BadRecord) as refused:
        read_site(windows)
    assert refused.value.faults[0].line == 36


def test_an_empty_site_file_is_one_fault_not_twenty(tmp_path: Path) -> None:
    for text in ("", "\n\n", "# only a comment\n"):
        (fault,) = faults_of(tmp_path, text)
        assert fault.endswith(":1: the file holds no key; a site file begins with name and position")


@pytest.mark.parametrize("name", ["gull cove.toml", "-x.toml", "a'b.toml", "a\nb.toml"])
def test_a_file_name_that_cannot_be_a_short_name_is_refused(tmp_path: Path, name: str) -> None:
    (fault,) = faults_of(tmp_path, VALID, name)
    assert fault.endswith(":1: the file's name is the site's short name: letters, digits, - and _, like gull-cove.toml")


@pytest.mark.parametrize("name", ["gull-cove.toml", "Baía_2.toml", "7.toml"])
def test_an_ordinary_file_name_is_the_slug(tmp_path: Path, name: str) -> None:
    (tmp_path / name).write_text(VALID, encoding="utf-8")
    assert read_site(tmp_path / name).slug == name.removesuffix(".toml")


def test_a_bad_site_never_hides_the_others(tmp_path: Path) -> None:
    good, bad = tmp_path / "good.toml", tmp_path / "bad.toml"
    good.write_text(VALID, encoding="utf-8")
    bad.write_text("name = ", encoding="utf-8")
    sites, faults = read_sites((bad, good, tmp_path / "missing.toml"))
    assert list(sites) == ["good"]
    assert {Path(fault.file).name for fault in faults} == {"bad.toml", "missing.toml"}


def test_a_site_made_in_the_program_is_judged_like_one_from_a_file(tmp_path: Path) -> None:
    path = tmp_path / "north-cove.toml"
    path.write_text(VALID, encoding="utf-8")
    values = dict(read_toml(path).data)
    assert Site.model_validate(values).name == "North Cove"
    values["alternative_exit"] = {"access": "Nowhere", "swim_m": 10}
    with pytest.raises(ValueError, match=r'alternative_exit\.access is "Nowhere", which is not the name of an entry'):
        Site.model_validate(values)


def test_a_season_may_run_over_new_year_and_include_the_leap_day(tmp_path: Path) -> None:
    path = tmp_path / "x.toml"
    path.write_text(VALID.replace('first = "04-01", last = "10-31"', 'first = "10-01", last = "02-29"'))
    assert read_site(path).access.seasons[0].last == "02-29"


def test_a_position_across_the_date_line_is_near_and_its_clock_is_right(tmp_path: Path) -> None:
    # Fiji: the main islands lie on both sides of 180 degrees, and keep UTC+12 on both.
    path = tmp_path / "x.toml"
    text = VALID.replace("47.0512, -17.1234", "-16.8000, 179.9900").replace("Atlantic/Azores", "Pacific/Fiji")
    text = text.replace("47 03.120 N, 17 07.380 W", "16 48.000 S, 179 59.000 W")
    text = text.replace("46.8862, -16.8571", "-16.9000, -179.9000").replace("46.8835, -16.8490", "-16.9000, 179.9")
    path.write_text(text)
    assert read_site(path).timezone == "Pacific/Fiji"


def test_a_station_that_is_not_there_is_named_with_those_that_are(tmp_path: Path) -> None:
    path = tmp_path / "north-cove.toml"
    path.write_text(VALID, encoding="utf-8")
    file, site = read_toml(path), read_site(path)
    (fault,) = check_links({site.slug: site}, ["verrow-harbour", "east-quay"], {site.slug: file})
    assert str(fault) == (
        f'{path}:17: tide.station "north-haven" is not among the stations here: east-quay, verrow-harbour'
    )
    (fault,) = check_links({site.slug: site}, [], {site.slug: file})
    assert fault.message == 'tide.station "north-haven" is not among the stations here: there is none'
    assert check_links({site.slug: site}, ["north-haven"], {site.slug: file}) == ()


def test_two_sites_of_one_name_are_a_fault(tmp_path: Path) -> None:
    files = {}
    for slug in ("one", "two"):
        (tmp_path / f"{slug}.toml").write_text(VALID, encoding="utf-8")
        files[slug] = read_toml(tmp_path / f"{slug}.toml")
    sites = {slug: read_site(file.path) for slug, file in files.items()}
    (fault,) = check_links(sites, ["north-haven"], files)
    assert str(fault) == f'{tmp_path / "two.toml"}:3: name is "North Cove", which {tmp_path / "one.toml"} has already'


# ---- the kinds of tidal stream ----

CONSTANTS = (
    '[stream]\nkind = "constants"\nmean_kn = -0.1\n{}\n\n[stream.constituents]\nM2 = [1.4, 62]\nS2 = [0.5, 95.5]\n'
)
RANGES = "spring_range_m = 3.4\nneap_range_m = 1.5\n"


def table_of(*hours: float, ranges: str = RANGES, row: str = "spring_kn = 2\nneap_kn = 1\ntoward_deg = 20\n") -> str:
    rows = "".join(f"\n[[stream.table]]\nhours_from_high_water = {hour}\n{row}" for hour in hours)
    return f'[stream]\nkind = "table"\n{ranges}{rows}'


def with_stream(stream: str, tide: str = 'station = "north-haven"') -> str:
    """Return the valid site with another stream."""
    assert VALID.count('[stream]\nkind = "none"\n') == 1 == VALID.count('station = "north-haven"')
    return VALID.replace('[stream]\nkind = "none"\n', stream).replace('station = "north-haven"', tide)


def said_of(folder: Path, stream: str, tide: str = 'station = "north-haven"') -> list[str]:
    """Return the sentences on a site with such a stream."""
    faults = faults_of(folder, with_stream(stream, tide))
    return [fault.removeprefix(f"{folder / 'north-cove.toml'}:").split(": ", maxsplit=1)[1] for fault in faults]


def test_a_stream_of_constants_is_read_and_needs_no_station(tmp_path: Path) -> None:
    path = tmp_path / "north-cove.toml"
    for tide in ('station = "north-haven"', 'none_because = "no station near"'):
        text = with_stream(CONSTANTS.format("flood_toward_deg = 20"), tide)
        if "none" in tide:  # heights of the tide mean nothing without a station
            text = re.sub(r"\{ (lowest|highest)_m[^}]*\}", "{}", text)
        path.write_text(text, encoding="utf-8")
        stream = read_site(path).stream
        assert (stream.kind, stream.mean_kn, stream.flood_toward_deg) == ("constants", -0.1, 20)
        assert stream.constituents == {"M2": (1.4, 62), "S2": (0.5, 95.5)}


def test_a_stream_of_a_table_is_read(tmp_path: Path) -> None:
    path = tmp_path / "north-cove.toml"
    path.write_text(with_stream(table_of(*range(-6, 5), 5.5, 6.25)), encoding="utf-8")
    rows = read_site(path).stream.table or ()
    assert [row.hours_from_high_water for row in rows[-3:]] == [4, 5.5, 6.25]
    assert (rows[0].spring_kn, rows[0].neap_kn, rows[0].toward_deg) == (2, 1, 20)
    path.write_text(with_stream(table_of(*range(-6, 7), row="spring_kn = 0\nneap_kn = 0\n")), encoding="utf-8")
    assert (read_site(path).stream.table or ())[3].toward_deg is None


@pytest.mark.parametrize(
    "stream, expected",
    [
        (
            '[stream]\nkind = "constants"\n',
            ['stream.kind is "constants" and also needs constituents, mean_kn'],
        ),
        ('[stream]\nkind = "table"\n', ['stream.kind is "table" and also needs table, spring_range_m, neap_range_m']),
        (
            CONSTANTS.format("spring_rate_kn = 2\nspring_range_m = 3.4"),
            [
                'stream.spring_rate_kn is given, but kind is "constants": it belongs to a stream of kind "slack"',
                'stream.spring_range_m is given, but kind is "constants": it belongs to a stream of kind "slack" or '
                '"table"',
            ],
        ),
        (
            table_of(*range(-6, 7), ranges=f"{RANGES}mean_kn = 0\nflood_toward_deg = 20\n"),
            [
                'stream.mean_kn is given, but kind is "table": it belongs to a stream of kind "constants"',
                'stream.flood_toward_deg is given, but kind is "table": directions stand in its rows as toward_deg',
            ],
        ),
        (
            CONSTANTS.format("").replace('"constants"', '"none"'),
            [
                'stream.mean_kn is given, but kind is "none": a stream that runs is of kind "slack", "constants" or '
                '"table"',
                'stream.constituents is given, but kind is "none": a stream that runs is of kind "slack", "constants" '
                'or "table"',
            ],
        ),
        (
            f"{CONSTANTS.format('')}m2 = [1, 2]\nXYZ = [1, 2]\nZ0 = [1, 2]\nN2 = [1]\nK1 = [21, 0]\nO1 = [1, 361]\n",
            [
                "stream.constituents.m2 is the same constituent as M2; give it once",
                "stream.constituents.XYZ is not the name of a constituent known here, like M2 or K1; without one of "
                "its parts a stream is not known",
                "stream.constituents.Z0 is the steady stream, not a constituent; give it as mean_kn",
                "stream.constituents.N2 must be two numbers in square brackets: amplitude in knots, phase lag on "
                "Greenwich in degrees",
                "stream.constituents.K1 has an amplitude of 21; it must be from 0 to 20 knots",
                "stream.constituents.O1 has a phase lag of 361; it must be from 0 to 360 degrees, on Greenwich",
            ],
        ),
        (
            '[stream]\nkind = "constants"\nmean_kn = 0\nconstituents = {}\n',
            ["stream.constituents is empty; give at least one, like M2 = [1.30, 62.0]"],
        ),
        (
            table_of(-6, -5, -5, -4, -4.5, -3, 0, *range(1, 7)),
            [
                "stream.table[3].hours_from_high_water is -5, which stands twice; a row for each hour",
                "stream.table[5].hours_from_high_water is -4.5, which stands after -4; hours rise from row to row",
                "stream.table[7].hours_from_high_water is 0, which is 3 h after the row before; rows stand at most 2 h "
                "apart",
            ],
        ),
        (table_of(*range(-5, 6)), ["stream.table covers 10 h; it must cover 11 h or more, a whole tide"]),
        (
            table_of(*range(-6, 7), row="spring_kn = 1\nneap_kn = 2\n").replace("neap_kn = 2", "neap_kn = 1", 12),
            ["stream.table[13].neap_kn is 2, above spring_kn, 1"],
        ),
        (
            table_of(*range(-6, 7), 14),
            [
                "stream.table[14].hours_from_high_water is 14; it must be at most 13 (hours from high water, before it "
                "below 0)"
            ],
        ),
    ],
)
def test_a_stream_that_mixes_kinds_or_lacks_its_own_is_refused_in_these_words(
    tmp_path: Path, stream: str, expected: list[str]
) -> None:
    assert said_of(tmp_path, stream) == expected


@pytest.mark.parametrize("name, value", [("M2", '"1.4 kn"'), ("M2", "[1.4, true]"), ("S2", "{ kn = 1 }")])
def test_a_constant_that_is_not_two_numbers_is_named_at_its_own_line(tmp_path: Path, name: str, value: str) -> None:
    text = with_stream(re.sub(rf"(?m)^{name} = .*$", f"{name} = {value}", CONSTANTS.format("")))
    (fault,) = faults_of(tmp_path, text)
    line, said = fault.removeprefix(f"{tmp_path / 'north-cove.toml'}:").split(": ", maxsplit=1)
    assert said.startswith(f"stream.constituents.{name} must be two numbers in square brackets")
    assert text.split("\n")[int(line) - 1] == f"{name} = {value}"


def test_slacks_and_tables_need_a_tide_station(tmp_path: Path) -> None:
    said = said_of(tmp_path, table_of(*range(-6, 7)), 'none_because = "no station near"')
    assert 'stream.kind is "table", which needs tide.station: its hours count from high water' in said
