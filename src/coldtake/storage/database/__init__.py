"""The log in SQLite or PostgreSQL: tables, checksums, schema and cached results.

Comes in: events of the domain; SQL lives nowhere else.
Begin with: `log`, then `tables` and `schema`.
"""
