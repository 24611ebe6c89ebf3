"""The use cases, all behind `services.Services`. The door for permissions.

Comes in: what a person asks for; it is checked by `validation` before it becomes an event.
Begin with: `services`, then `state.log`.
"""
