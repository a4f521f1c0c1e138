"""The folder of a centre: sites, stations, people, rules and what is asked, as the values a plan is made from."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from types import MappingProxyType

from tripplan.catalogue.site import Site
from tripplan.catalogue.station import Station
from tripplan.catalogue.survey import NOTHING_FOUND, survey
from tripplan.emergency.readiness import Readiness, readiness_from
from tripplan.environment.conditions import Forecast, Seen
from tripplan.errors import BadRecord, Fault
from tripplan.feeds.settings import FeedSettings, read_feed_settings
from tripplan.people.centre import Centre, read_centre
from tripplan.people.kit import Kit, read_kit
from tripplan.people.roster import Roster
from tripplan.people.skills import Skills, read_skills
from tripplan.planning.observed import OBSERVED_FILE, observed_from
from tripplan.planning.progress import SkillTick
from tripplan.planning.request import Request, request_from
from tripplan.planning.schedule_request import ScheduleRequest, schedule_faults, schedule_request_from
from tripplan.planning.world import World, request_faults
from tripplan.record import TomlFile, read_toml
from tripplan.rulebook import baseline
from tripplan.store.forecast_file import forecasts_by_site
from tripplan.store.records import Records
from tripplan.store.ticks_file import TICKS_FILE, read_ticks

EMERGENCY_FILE = "centre/emergency.toml"
KIT_FILE = "centre/kit.toml"
SKILLS_FILE = "centre/skills.toml"
RECORDS_FOLDER = "records"
SCHEDULES_FOLDER = "schedules"
FAMILIAR = ("centre", "stations", "requests", SCHEDULES_FOLDER, "forecast", RECORDS_FOLDER)


@dataclass(frozen=True)
class Folder:
    """What a centre's folder holds. Bad files are listed in ``faults`` and left out; they never hide the others."""

    path: Path
    centre: Centre
    world: World
    requests: Mapping[str, Request]  # by file name without .toml
    faults: tuple[Fault, ...]
    forecasts: Mapping[str, Forecast] = field(default_factory=dict)  # by site, from the files in forecast/
    feeds: FeedSettings = field(default_factory=FeedSettings)  # the services that the centre asks
    seen: Mapping[str, tuple[Seen, ...]] = field(default_factory=dict)  # by site, from centre/observed.toml
    records: Records = field(default_factory=lambda: Records(Path(RECORDS_FOLDER)))
    schedules: Mapping[str, ScheduleRequest] = field(default_factory=dict)  # by file name without .toml

    @property
    def sites(self) -> Mapping[str, Site]:
        """The sites by slug."""
        return self.world.sites

    @property
    def stations(self) -> Mapping[str, Station]:
        """The tide stations by slug."""
        return self.world.stations


def load_folder(path: Path, records_path: Path | None = None, *, unfinished: bool = False) -> Folder:
    """Read a centre's folder: *.toml sites, stations/, centre/*.toml, centre/ticks.csv,
    requests/*.toml, schedules/*.toml, forecast/*.csv, records/.

    records_path -- where what is written down as the day goes is kept; None: in the folder itself
    unfinished -- whether a folder will do in which nobody has written the centre's file yet: it has no people, so
                  nothing can be planned in it, and the pages lead through the first steps

    Raises BadRecord when the centre's own file cannot be used: without people and rules there is no plan.
    """
    centre_file = path / "centre" / "centre.toml"
    if not path.is_dir():
        raise BadRecord((Fault(str(path), 1, "there is no such folder; give the folder of a centre"),))
    if centre_file.is_file():
        centre = read_centre(centre_file, nobody_yet=True)
    elif unfinished and may_become_a_centre(path):
        centre = not_named()
    else:
        said = "the centre's file is missing; it names the people and the rules; `tripplan new FOLDER` begins a folder"
        raise BadRecord((Fault(str(centre_file), 1, said),))
    found = survey([path])
    faults = [fault for fault in found.faults if fault.message != NOTHING_FOUND]  # the first steps say it better
    records = Records(records_path or path / RECORDS_FOLDER)
    confirmed, torn = records.confirmed()
    faults.extend(torn)
    readiness = Readiness()
    try:
        if (path / EMERGENCY_FILE).is_file():
            kept = read_toml(path / EMERGENCY_FILE)
            readiness = readiness_from(kept)
            faults.extend(_unknown_sites(kept, readiness, found.sites))
    except BadRecord as error:
        faults.extend(error.faults)
    kit, skills, ticks = _kit_and_skills(path, faults)
    world = World(
        sites=found.sites,
        stations=found.stations,
        people=centre.roster.people,
        rules=centre.rules,
        centre_name=centre.name,
        code_of_practice=centre.code_of_practice,
        demonstration=centre.demonstration,
        readiness=readiness,
        confirmed=confirmed,
        kit=kit,
        skills=skills,
        ticks=ticks,
    )
    requests: dict[str, Request] = {}
    for file in sorted((path / "requests").glob("*.toml")):
        try:
            requests[file.stem] = load_request(file, world)
        except BadRecord as error:
            faults.extend(error.faults)
    schedules: dict[str, ScheduleRequest] = {}
    for file in sorted((path / SCHEDULES_FOLDER).glob("*.toml")):
        try:
            schedules[file.stem] = load_schedule_request(file, world)
        except BadRecord as error:
            faults.extend(error.faults)
    forecasts, wrong = forecasts_by_site(path, world.sites)
    faults.extend(wrong)
    feeds, seen = FeedSettings(), {}
    try:
        feeds = read_feed_settings(path)
    except BadRecord as error:
        faults.extend(error.faults)
    try:
        seen = _seen(path / OBSERVED_FILE, world, faults)
    except BadRecord as error:
        faults.extend(error.faults)
    return Folder(path, centre, world, requests, tuple(faults), forecasts, feeds, seen, records, schedules)


@cache
def not_named() -> Centre:
    """Return the centre of a folder in which its file is not written yet: nobody belongs to it."""
    return Centre(
        name="A centre without a name yet",
        demonstration=False,
        address="",
        phone="",
        code_of_practice="",
        cards=MappingProxyType({}),
        roster=Roster(MappingProxyType({})),
        rules=baseline(),
    )


def may_become_a_centre(path: Path) -> bool:
    """Whether a folder is empty or holds a part of a centre's: any other is the wrong one, and is not read through."""
    names = [each.name for each in path.iterdir() if not each.name.startswith(".")]
    return not names or any(name in FAMILIAR or name.endswith(".toml") for name in names)


def _kit_and_skills(path: Path, faults: list[Fault]) -> tuple[Kit | None, Skills, Mapping[str, tuple[SkillTick, ...]]]:
    """Return what the folder says of kit, of skills, and of skills seen before the store was in use.

    A file with a fault counts as not there, and the plans say that nothing is on record.
    """
    kit, skills = None, Skills()
    ticks: Mapping[str, tuple[SkillTick, ...]] = {}
    try:
        if (path / KIT_FILE).is_file():
            kit = read_kit(path / KIT_FILE)
    except BadRecord as error:
        faults.extend(error.faults)
    try:
        if (path / SKILLS_FILE).is_file():
            skills = read_skills(path / SKILLS_FILE)
    except BadRecord as error:
        faults.extend(error.faults)
    try:
        if (path / TICKS_FILE).is_file():
            ticks = read_ticks(path / TICKS_FILE)
    except BadRecord as error:
        faults.extend(error.faults)
    return kit, skills, ticks


def _unknown_sites(file: TomlFile, readiness: Readiness, sites: Mapping[str, Site]) -> list[Fault]:
    """Return a fault for everything that is kept at a site which is not in the catalogue: no sheet would count it."""
    return [
        file.fault(
            (table, number, "site"), f'{table}[{number + 1}].site is "{line.site}", which is not in the catalogue'
        )
        for table in ("oxygen_units", "rescue_kits", "drills")
        for number, line in enumerate(getattr(readiness, table))
        if line.site is not None and line.site not in sites
    ]


def _seen(path: Path, world: World, faults: list[Fault]) -> dict[str, tuple[Seen, ...]]:
    """Return what the folder's own file of observations holds; nothing where there is none."""
    if not path.is_file():
        return {}
    file = read_toml(path)
    found = observed_from(file, world.sites)
    faults.extend(file.fault(("observed", number, "site"), words) for number, words in found.faults)
    return dict(found.seen)


def load_request(path: Path, world: World) -> Request:
    """Read a request and check every name in it.  Raises BadRecord with file and line of every fault."""
    file = read_toml(path)
    request = request_from(file)
    if faults := request_faults(request, world):
        raise BadRecord(tuple(file.fault(where, sentence) for where, sentence in faults))
    return request


def load_schedule_request(path: Path, world: World) -> ScheduleRequest:
    """Read a file of some days and check every name in it.  Raises BadRecord with file and line of every fault."""
    file = read_toml(path)
    request = schedule_request_from(file)
    if faults := schedule_faults(request, world):
        raise BadRecord(tuple(file.fault(where, sentence) for where, sentence in faults))
    return request


def folder_of_request(path: Path) -> Path:
    """Return the centre's folder that a request file belongs to: the nearest one above it with a centre/centre.toml.

    Raises BadRecord where there is none.
    """
    for parent in path.resolve().parents:
        if (parent / "centre" / "centre.toml").is_file():
            return parent
    message = "no centre/centre.toml stands above this request; put it in the centre's folder or give --folder"
    raise BadRecord((Fault(str(path), 1, message),))
