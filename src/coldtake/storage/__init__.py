"""The log in a database, its migrations, and the sound of the takes on disk."""
