"""Steps, minutes and periods of one day, chosen and ordered by exact optimisation.

Comes in: options with their value per minute, and what the player pinned or left out.
Begin with: `compose`, then `choice` (dynamic programme) and `placement` (integer programme).
"""
