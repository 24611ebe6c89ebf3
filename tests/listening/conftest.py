"""The bench's band and passages serve the tests too: instruments nobody here synthesised."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[2] / "bench" / "listening"))
