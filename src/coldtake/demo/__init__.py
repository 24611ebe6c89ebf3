"""The example scenario: seeded, invented, also used by tests.

A clarinettist in a wind quintet with a concert in seven weeks and a tune to improvise on; eight
topics, six weeks of history played by a simulated player through the real planner, and takes whose
sound is synthesised here and judged by the real listener.
"""

from coldtake.demo.building import build

__all__ = ["build"]
