"""Notation in, passage out: files to MEI, and MEI to the notes as they are played.

Comes in: bytes of any kind; whatever is not music is refused with a sentence.
Begin with: `reader.read_passage`; it calls `unpacking`, `score`, then `as_played`.
"""
