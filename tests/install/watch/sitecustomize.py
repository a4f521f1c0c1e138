"""What each process of a check begins with: nothing beyond this machine is reached, and what is to go is an error.

Whatever was tried is written down as well, since a program may take a refusal for a bad line and say nothing.
"""

from __future__ import annotations

import os
import sys
import warnings
from typing import Any

for category in (DeprecationWarning, PendingDeprecationWarning, FutureWarning, SyntaxWarning):
    warnings.filterwarnings("error", category=category, module=r"tripplan(\..*)?$")

HERE = ("127.", "::1", "localhost", "0.0.0.0")  # also an empty name: this machine


def watch(event: str, said: tuple[Any, ...]) -> None:
    """Refuse and write down what goes beyond this machine."""
    if event == "socket.connect":
        host = said[1][0] if isinstance(said[1], tuple) else ""  # a socket file is here
    elif event == "socket.sendto":
        host = said[1][0] if isinstance(said[1], tuple) else ""
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        host = said[0]
    else:
        return
    name = host.decode() if isinstance(host, bytes) else str(host or "")
    if name and not name.startswith(HERE):
        with open(os.environ["TRIPPLAN_WATCHED"], "a", encoding="utf-8") as out:  # noqa: PTH123
            out.write(f"{event} {name}\n")
        raise OSError(101, "the network is unreachable")


if "TRIPPLAN_WATCHED" in os.environ:
    sys.addaudithook(watch)
