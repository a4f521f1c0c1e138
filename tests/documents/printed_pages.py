"""The words of a printed file, page by page, read back from it once."""

from __future__ import annotations

import io
import re
import shutil
import subprocess
from functools import cache

from pypdf import PdfReader

POPPLER = shutil.which("pdftotext")


def flat(text: str) -> str:
    """Without white space, break marks and marks of direction: where a line breaks does not matter."""
    return "".join(re.sub("[\u200b\u200e\u2066-\u2069]", "", text).split())


@cache
def pages_of(pdf: bytes) -> tuple[str, ...]:
    """Return the words of each page, by poppler where it is installed: it is ten times as fast."""
    if not POPPLER:
        return tuple(flat(page.extract_text()) for page in PdfReader(io.BytesIO(pdf)).pages)
    found = subprocess.run([POPPLER, "-raw", "-", "-"], input=pdf, capture_output=True, check=True).stdout.decode()
    return tuple(flat(page) for page in found.split("\f")[:-1])
