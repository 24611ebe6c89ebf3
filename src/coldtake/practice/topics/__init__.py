"""Topics, their steps and their notation: added, imported, ordered, sorted.

Comes in: what the player typed or sent as files.
Begin with: `pile`, then `importing` and `triage`.
"""
