"""The break-down: a proposed map of small steps for a topic, which the player then edits."""
