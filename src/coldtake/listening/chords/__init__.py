"""Chords and two hands by ear: a recording laid along a passage of several notes at once.

Comes in: mono samples and a passage; the network's weights are `chords.onnx`.
Begin with: `judging`, then `note_network`, `placing` and `deciding`.
"""
