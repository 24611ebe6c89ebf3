"""A recording to notes, alignment with a passage, tests and a verdict with evidence.

Comes in: a take file or MIDI bytes with a `judging_request.JudgingRequest`.
Begin with: `dispatch` (picks the listener), then `melody.judge`; others call `worker_client`.
"""
