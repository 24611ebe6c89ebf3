"""Coldtake: from a pile of music to what comes out clean at the first try.

The rooms, and the one direction in which they know each other, are described in `docs/house.md`.
"""

__version__ = "0.1.0"
