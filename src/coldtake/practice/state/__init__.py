"""The log together with the state that follows from it, and what is cached between two starts.

Comes in: events that were checked (`practice.event_validation`).
Begin with: `log`, then `state_projection`.
"""
