"""The data folder: the log in a database, the sound of takes on disk, copies and repairs.

Comes in: events and takes through the protocols in `ports`.
Begin with: `opening` (what happens at a start), then `database.log`.
"""
