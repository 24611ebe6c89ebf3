"""One change supposed, and the outlook compared with and without it.

Comes in: the state and a scenario; nothing of it is kept.
Begin with: `what_if_scenario` (the changes), then `comparison`.
"""
