"""The use cases: pile, evening before, session, takes, progress. The door for permissions."""
