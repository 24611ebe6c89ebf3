"""What minutes of practice are worth: the days to the dates, simulated for this player.

Comes in: the state and what is believed of each step (`learning.posterior`).
Begin with: `lookahead`; it uses `step_arrays`, `priority_index` and `rollout`.
"""
