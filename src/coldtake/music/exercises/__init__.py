"""Written exercises made by rule, and how hard written bars look.

Comes in: keys, patterns and instruments; for hardness and groups of bars, a passage.
Begin with: `patterns` (scales, arpeggios, intervals), then `sight_reading`.
"""
