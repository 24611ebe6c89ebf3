"""One file per released shape of the database."""
