"""A rhythm without pitches: claps, drums, muted strings against what is written.

Comes in: samples or MIDI notes, and a passage of which only the onsets count.
Begin with: `judging`, then `strokes` and `matching`.
"""
