"""Which topics fit before their dates, and which of them come first.

Comes in: all current and waiting topics with their needs.
Begin with: `selection`; its sentences are in `triage_words`.
"""
