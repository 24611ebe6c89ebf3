"""Standard MIDI Files: their notes, and a page of notation made from them.

Comes in: the bytes of a file, and what the player chose (`choice`).
Begin with: `reader`, then `page`, which needs `quantising`.
"""
