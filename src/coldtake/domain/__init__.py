"""The records and rules of practice. No input or output, no clock, no sound, no notation.

Comes in: plain values; records refuse what cannot be.
Begin with: `events` (what can happen), then `history.projection` (what follows).
"""
