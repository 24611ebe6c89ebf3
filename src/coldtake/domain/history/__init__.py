"""The present as it follows from the log: the state, and the rules that change it.

Comes in: events, in the order in which they happened.
Begin with: `state` (the record), then `projection.fold`.
"""
