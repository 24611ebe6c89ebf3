"""Recordings as samples: which files are read, and how they are kept as FLAC.

Comes in: paths and bytes from outside. Only `worker` calls these with a stranger's file.
Begin with: `sound`, which asks `containers` what a file is.
"""
