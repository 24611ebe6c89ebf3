"""Written music: theory, notation, exercises, MIDI and playback. Knows no player and no log.

Comes in: notation and MIDI files through `notation.worker_client`; names and numbers for exercises.
Begin with: `passage` (what all other rooms are given), then `notation.reading.reader`.
"""
