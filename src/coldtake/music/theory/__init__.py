"""Tones, keys, scales, chords, tempo marks and instruments: theory without any notation.

Comes in: names and numbers. Nothing here reads a file or knows a passage.
Begin with: `tones` (spelled pitches and intervals), then `chords` and `keys`.
"""
