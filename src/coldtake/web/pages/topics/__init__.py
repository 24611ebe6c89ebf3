"""Pages of topics, steps and their notation.

Comes in: requests; each module has `router(services, templates)`.
Begin with: `pile`, then `topic` and `step`.
"""
