"""Settings for all tests: on a check machine the same examples each time, at a desk new ones."""

from __future__ import annotations

import os

from hypothesis import settings

settings.register_profile("check", derandomize=True, deadline=None)
if os.environ.get("CI"):
    settings.load_profile("check")
