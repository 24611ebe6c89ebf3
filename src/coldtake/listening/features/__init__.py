"""What is measured in a recording before the passage is laid along it.

Comes in: samples from `sources`; for two of them also the written pitches.
Begin with: `audio_features` (pitch track, level), then `onset_strength`.
"""
