"""One day's plan with its goals and reasons, and what the player may change in it.

Comes in: the state, the minutes of the day, and the values of `planning.value`.
Begin with: `plan_day`; slots and periods are put together in `composition`.
"""
