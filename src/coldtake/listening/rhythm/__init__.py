"""A rhythm without pitches: claps, drums, muted strings against what is written."""
