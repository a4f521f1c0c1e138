"""Install the wheel into a new environment of every Python that is here, and use it: ``python -m tests.install``.

Libraries come by ``pip`` within constraints.txt, so this needs a package index or its like, and some minutes. The
Pythons are those of TRIPPLAN_PYTHONS (paths, parted like a search path), else each python3.N of the search path that
runs. Exit code 1: with one of them something does not work.
"""

from __future__ import annotations

import sys
import tempfile
import time
from pathlib import Path

from tests.install.installing import ROOT, Failed, Place, build, make_venv, pythons, run, snapshot, use


def main() -> int:
    """Try every Python and print a line for each."""
    bad = 0
    with tempfile.TemporaryDirectory(prefix="tripplan-install-") as folder:
        top = Path(folder)
        wheel = build(snapshot(top / "tree"), top / "dist", "wheel")["wheel"]
        for python in pythons():
            version = run([python, "-c", "import sys; print(sys.version.split()[0])"], top).strip()
            began, own = time.monotonic(), top / version
            (own / "work").mkdir(parents=True)
            (own / "home").mkdir()
            try:
                place = Place(make_venv(python, own / "venv"), own / "home")
                run([place.python, "-m", "pip", "install", "--quiet", "-c", ROOT / "constraints.txt", wheel], top)
                installed = time.monotonic()
                said = use(place, own / "work")
            except Failed as error:
                bad += 1
                print(f"Python {version}: FAILED: {error}", flush=True)
                continue
            used = f"installed in {installed - began:.0f} s, used in {time.monotonic() - installed:.0f} s"
            print(
                f"Python {version}: tripplan {said['version']}, {said['outings']} outing of a schedule; {used}",
                flush=True,
            )
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
