"""Copies of the log, and what is done when a database is damaged.

Comes in: files of the data folder, read as bytes where SQLite would stop.
Begin with: `recovery`, then `copies`.
"""
