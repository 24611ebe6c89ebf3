"""Chords and two hands by ear: a recording laid along a passage with several notes at once."""
