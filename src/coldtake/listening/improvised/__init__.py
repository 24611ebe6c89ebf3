"""Improvising over changes: from sound or keys to figures per chord and a verdict.

Comes in: samples or MIDI notes, and the changes with their number of choruses.
Begin with: `judging`, then `transcribing`, `placing` and `measuring`.
"""
