"""A recording of one line judged against its passage.

Comes in: a recording, a passage and a criterion.
Begin with: `judge.judge`; it hands chords and two hands to `listening.chords`.
"""
