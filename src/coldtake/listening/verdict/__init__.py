"""From played notes to evidence, and from evidence and a criterion to a verdict.

Comes in: alignments of any kind of listener: one line, chords, keys or rhythm.
Begin with: `verdicts`, then `evidence` and `measures`.
"""
