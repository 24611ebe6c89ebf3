"""Plans of a day, appointments, performances, and what-if questions.

Comes in: minutes, dates and changes from the player.
Begin with: `plans.PlanService`, then `performances`.
"""
