"""The use cases, all behind `services.House`, and who may ask for them: `access`.

Comes in: what a person asks for; it is checked by `validation` before it becomes an event.
Begin with: `services` and `access`, then `state.log`.
"""
