"""Run the commands as ``python -m tripplan``."""

import sys

from tripplan.cli import main

sys.exit(main())
