"""A passage written as MusicXML and MEI, for archives and other programs.

Comes in: the MEI of a passage, taken apart by `reading.score`.
Begin with: `musicxml_out`; exercises are written as ABC by `music.abc.notating`.
"""
