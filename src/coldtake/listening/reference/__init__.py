"""A take compared with another take of the same music, where there is no notation.

Comes in: two recordings, or a MIDI performance of either, and a criterion.
Begin with: `judging`, then `reference_line` and `second_opinion`.
"""
