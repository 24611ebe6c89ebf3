"""Sessions and takes: events from the page, sound on disk, then the verdict.

Comes in: what a session page sends; every event is checked by `event_validation`.
Begin with: `sessions`, then `takes`.
"""
