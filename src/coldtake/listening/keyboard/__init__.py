"""What a MIDI keyboard says of a performance, aligned and judged.

Comes in: MIDI bytes that a page recorded, kept inside the FLAC file of a take.
Begin with: `midi_performance`, then `midi_alignment` and `midi_judge`.
"""
