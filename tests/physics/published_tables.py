"""Reads the check tables under tests/published; first line and provenance column say where each is from."""

from __future__ import annotations

import csv
from pathlib import Path

PUBLISHED = Path(__file__).parent.parent / "published"


def published(name: str) -> list[dict[str, str]]:
    lines = (PUBLISHED / name).read_text(encoding="utf-8").splitlines()
    return list(csv.DictReader(line for line in lines if not line.startswith("#")))
