"""Whether a library that the program is installed with is known to be weak: ``python -m tests.audit``.

Every pin of constraints.txt is looked up in a public list of weaknesses. Exit code 1: one is known, and a version that
mends it is out. Exit code 0: none is known, or nobody could be asked; the one line that is printed says which.
"""

from __future__ import annotations

import json
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path
from typing import Any

CONSTRAINTS = Path(__file__).resolve().parent.parent / "constraints.txt"
LONGEST_S = 240


def asked(pins: Path, longest_s: float = LONGEST_S) -> Mapping[str, Any] | str:
    """Return what the list knows of every pin; a sentence where it could not be asked."""
    command = [sys.executable, "-m", "pip_audit", "--requirement", str(pins), "--no-deps", "--disable-pip",
               "--format", "json", "--progress-spinner", "off"]  # fmt: skip
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=longest_s, check=False)
    except subprocess.TimeoutExpired:
        return f"no answer came within {longest_s:g} s"
    try:
        found = json.loads(done.stdout)
    except ValueError:
        last = (done.stderr.strip().splitlines() or ["it said nothing"])[-1]
        return f"the list could not be asked: {last[:200]}"
    if not isinstance(found, dict) or not isinstance(found.get("dependencies"), list):
        return "what came is no answer of the list"
    return found


def told(found: Mapping[str, Any] | str) -> tuple[list[str], int]:
    """Return the lines to print and the exit code."""
    if isinstance(found, str):
        return [f"Not audited: {found}."], 0
    listed = found["dependencies"]
    known = [each for each in listed if "vulns" in each]
    left = len(listed) - len(known)
    if not known:
        return [f"Not audited: the list that could be asked knows none of the {left} libraries."], 0
    lines, code = [], 0
    for each in known:
        for weak in each["vulns"]:
            mended = ", ".join(weak.get("fix_versions", ()))
            code = 1 if mended else code
            how = f"mended in {mended}" if mended else "nothing mends it yet"
            lines.append(f"{each['name']} {each['version']}: {weak['id']}, {how}")
    count = f"{len(known)} libraries audited" + (f", {left} more are not on the list" if left else "")
    return [*lines, f"{count}: {len(lines)} known to be weak."], code


def main() -> int:
    """Ask, print and return the exit code."""
    lines, code = told(asked(CONSTRAINTS))
    print("\n".join(lines))
    return code


if __name__ == "__main__":
    raise SystemExit(main())
