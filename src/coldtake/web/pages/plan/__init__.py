"""Pages of plans, appointments, performances, and of progress and outlook.

Comes in: requests; each module has `router(services, templates)`.
Begin with: `tomorrow`, then `performances`.
"""
