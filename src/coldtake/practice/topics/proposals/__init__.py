"""Suggested steps for a topic, which the player then edits.

Comes in: an `asks.Ask` (what to start from) and the notation of the topic.
Begin with: `door`, then `laying` (what all kinds share) and one kind, such as `piece`.
"""
