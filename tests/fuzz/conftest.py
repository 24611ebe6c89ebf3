"""The bench's seeds, damage and readers serve the tests too."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "bench" / "fuzz"))
