"""Improvising over changes: from sound or keys to figures per chord and a verdict."""
