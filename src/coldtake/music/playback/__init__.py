"""How a passage or chords over bars are made to sound.

Comes in: passages, changes, and samples of a recording to be slowed down.
Begin with: `sounding` (events in seconds), then `synth` and `accompaniment`.
"""
