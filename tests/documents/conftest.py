"""The hand-made plan stands one folder up, where other folders' tests find it too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))
