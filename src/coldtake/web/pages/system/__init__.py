"""Pages of data, settings, sharing, background tasks and the example.

Comes in: requests; each module has `router(services, templates)`.
Begin with: `settings`, then `data`.
"""
