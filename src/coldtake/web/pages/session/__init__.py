"""Pages used while playing: the session, takes, tuner and slow playback.

Comes in: requests; each module has `router(services, templates)`.
Begin with: `session`, then `take`.
"""
