"""Performances: whether a whole programme will be clean, and what the last days can add.

Comes in: the forecast of the programme's steps and the runs in the log.
Begin with: `readiness`, then `taper` and `run_worth`.
"""
