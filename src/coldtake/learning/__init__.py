"""What the log supports: estimates of learning and forgetting, and simulated players.

Comes in: the state with each step's tries; no event is written here.
Begin with: `memory`, then `memory_law`, `prior`, `filter` and `posterior`, which are the model.
"""
