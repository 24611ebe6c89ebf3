"""A day as an optimisation over what learning says; the outlook; the reasons.

Comes in: the state (`domain.history.state`), a date, and minutes. Nothing here is stored.
Begin with: `value.lookahead`, then `day.plan_day`.
"""
