"""Use the program that is installed here, as the commands do; print what it said as JSON.

Runs in the Python of an installation, with nothing of the source tree: only what the wheel brought is there.
"""

from __future__ import annotations

import contextlib
import io
import json
import re
import shutil
import signal
import socket
import struct
import subprocess
import sys
import threading
import urllib.request
from pathlib import Path
from typing import Any

SMALL = """\
title = "One dive"
first_day = 2026-12-12
days = 1
recent_dives = "none"
sites = ["gull-cove"]

[centre]
position = "46.8862, -16.8571"
timezone = "Atlantic/Azores"
opens = "08:00"
closes = "18:30"

[[crew]]
name = "Luca Benti"
[[crew]]
name = "Greta Holm"
duties = "ashore"
[[crew]]
name = "Yusuf Demir"
duties = "ashore"

[[groups]]
name = "Terns"
kind = "guided"
divers = ["Nadia Petit", "Owen Marsh"]
[[groups.dives]]
depth_m = 10
minutes = 20
"""


def listen_to_this_machine() -> None:
    """Bring up the way from this machine to itself where a network of its own was just made."""
    with contextlib.suppress(ImportError, OSError):
        import fcntl

        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as plain:
            fcntl.ioctl(plain, 0x8914, struct.pack("16sh14s", b"lo", 0x1, b""))  # SIOCSIFFLAGS, IFF_UP


def ask(*words: object, typed: str = "", good: tuple[int, ...] = (0,)) -> str:
    """Run a command in this process and return what it printed; it must complain of nothing."""
    from tripplan.cli import main

    out, err = io.StringIO(), io.StringIO()
    before, sys.stdin = sys.stdin, io.StringIO(typed)
    try:
        with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
            code = main([str(word) for word in words])
    finally:
        sys.stdin = before
    assert code in good and not err.getvalue(), (words, code, out.getvalue(), err.getvalue())
    return out.getvalue()


def demonstration(command: str) -> str:
    """Start the demonstration, read some pages, stop it; returns its first page."""
    signal.signal(signal.SIGINT, signal.default_int_handler)  # a shell that starts this beside itself turns it off
    with subprocess.Popen(
        [command, "demo", "--port", "0"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as demo:
        slow = threading.Timer(300, demo.kill)
        slow.start()
        try:
            assert demo.stdout is not None and demo.stderr is not None
            address = demo.stdout.readline().strip()
            assert re.fullmatch(r"http://127\.0\.0\.1:\d+/", address), (address, demo.poll(), demo.stderr.read())
            pages = {}
            for path in ("", "healthz", "static/page.css", "requests", "sheets"):
                with urllib.request.urlopen(address + path, timeout=300) as answer:
                    pages[path] = answer.read().decode()
            assert pages["healthz"] == "ok\n" and "DEMONSTRATION" in pages[""], pages[""][:2000]
            demo.send_signal(signal.SIGINT)
            assert demo.wait(60) == 0, demo.stderr.read()
            told = [line for line in demo.stderr.read().splitlines() if "font cache" not in line]
            assert not told, told
            return pages[""]
        finally:
            slow.cancel()
            demo.kill()


def main(command: str) -> dict[str, Any]:
    """Use the program; returns what it said."""
    listen_to_this_machine()
    import tripplan
    from tripplan.data_files import data_dir

    sites, work = data_dir("sites"), Path.cwd()
    said: dict[str, Any] = {"version": tripplan.__version__}
    said["plan"] = ask("plan", sites / "requests" / "saturday-ledge.toml")
    ask("plan", sites / "requests" / "beginners-cove.toml", "--pdf", work / "day.pdf")
    assert (work / "day.pdf").read_bytes().startswith(b"%PDF-")
    centre = Path(shutil.copytree(sites, work / "centre"))
    typed = "seven wet gulls on a wall\n"
    said["account"] = ask("account", centre, "add", "Ana Sol", "--role", "centre", "--password-stdin", typed=typed)
    said["store"] = ask("store", "check", "--folder", centre)
    (centre / "schedules" / "small.toml").write_text(SMALL, encoding="utf-8")
    made = json.loads(ask("schedule", centre / "schedules" / "small.toml", "--json", "--seconds", "60"))
    said["outings"] = len(made["outings"])
    said["page"] = demonstration(command)
    return said


if __name__ == "__main__":
    print(json.dumps(main(sys.argv[1])))
