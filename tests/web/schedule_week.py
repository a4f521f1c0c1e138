"""A centre's folder with the file of the invented week, and stores that hold what was made of it."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

from tests.sample_schedule import GROUPS, sample_schedule
from tripplan.data_files import data_dir
from tripplan.planning.schedule import Schedule
from tripplan.store.database import Store
from tripplan.store.folder import load_folder
from tripplan.store.schedules import add_result, mark_of

SLUG = "week"
NOW = datetime(2026, 11, 27, 8, 0, tzinfo=UTC)
CREW = ("Ines Faro", "Asha Rao", "Tom Okafor", "Luca Benti", "Maren Dahl", "Greta Holm", "Yusuf Demir", "Piotr Zelek",
        "Sam Whitlow")  # fmt: skip
VEHICLES = (("Blue van", 9), ("White bus", 16), ("Old estate car", 5), ("Small pick-up", 3))


def week_file() -> str:
    """Return the file that asks for the invented week."""
    lines = [
        'title = "An invented week in December"', "first_day = 2026-12-07", "days = 7", 'recent_dives = "none"', "",
        "[centre]", 'position = "46.8862, -16.8571"', 'timezone = "Atlantic/Azores"', 'opens = "07:30"',
        'closes = "20:30"', "", "[compressor]", "fill_min = 10", 'opens = "08:00"', 'closes = "20:00"',
    ]  # fmt: skip
    for name in CREW:
        lines += ["", "[[crew]]", f'name = "{name}"']
        lines += ["off = [2026-12-13]"] if name in ("Luca Benti", "Asha Rao") else []
    for name, seats in VEHICLES:
        lines += ["", "[[vehicles]]", f'name = "{name}"', f"seats = {seats}"]
    for name, (kind, divers, dives, _) in GROUPS.items():
        named = ", ".join(f'"{each}"' for each in divers)
        lines += ["", "[[groups]]", f'name = "{name}"', f'kind = "{kind}"', f"divers = [{named}]"]
        for depth_m, minutes in dives:
            lines += ["[[groups.dives]]", f"depth_m = {depth_m}", f"minutes = {minutes}"]
    return "\n".join(lines) + "\n"


def week_folder(path: Path) -> Path:
    """Return a copy of the demonstration's folder that has the file of the week."""
    folder = Path(shutil.copytree(data_dir("sites"), path / "centre"))
    (folder / "schedules").mkdir(exist_ok=True)
    for file in (folder / "schedules").iterdir():
        file.unlink()
    (folder / "schedules" / f"{SLUG}.toml").write_text(week_file(), encoding="utf-8")
    return folder


def keep_week(store: Store, folder: Path, schedule: Schedule | None = None, **more: object) -> int:
    """Keep a result of the week; returns its number."""
    base = mark_of(load_folder(folder).schedules[SLUG])
    how = {"version": 0, "base": base, "made": NOW, "by": "Greta Holm", **more}
    return add_result(store, SLUG, schedule or sample_schedule(), **how)
