"""Find the templates and the demonstration that ship with the program."""

from __future__ import annotations

from pathlib import Path


def data_dir(name: str) -> Path:
    """Return the folder ``templates`` or ``sites``: in a checkout its own, else the copy inside the package.

    A centre's own files never live here: an upgrade would overwrite them.
    """
    package = Path(__file__).resolve().parent
    checkout = package.parent / name
    if (package.parent / "pyproject.toml").is_file() and checkout.is_dir():
        return checkout
    return package / "_data" / name
