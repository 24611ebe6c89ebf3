"""What a page shows, as records and drawings that the templates only print.

Comes in: the state, plans and verdicts; no request and no response.
Begin with: `stave` and `session_data`.
"""
