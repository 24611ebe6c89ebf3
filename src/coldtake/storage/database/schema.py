"""Bring a database to its present shape: all migrations in one transaction, at opening."""

from pathlib import Path

from sqlalchemy import Connection, Engine, inspect, text

from coldtake.errors import StoreError
from coldtake.storage.database.engine import writing

HEAD = "0006"  # newest file in migrations/versions; a test compares
KNOWN = ("0001", "0002", "0003", "0004", "0005", "0006")


def prepare(engine: Engine, where: str) -> None:
    """Migrate to `HEAD`. Raises StoreError when a newer Coldtake has written this database."""
    with engine.connect() as connection:
        if revision(connection) == HEAD:
            return
    with writing(engine) as connection:
        found = revision(connection)  # another process may have been first
        if found is not None and found not in KNOWN:
            raise StoreError(
                f"This log was written by a newer Coldtake (shape {found}, known {HEAD}).",
                where=where,
                remedy="Install that version or a later one; nothing has been changed.",
            )
        if found != HEAD:
            _migrate(connection)


def revision(connection: Connection) -> str | None:
    """Return the shape that the database is in, None for a fresh one."""
    if not inspect(connection).has_table("alembic_version"):
        return None
    found = connection.execute(text("SELECT version_num FROM alembic_version")).scalar()
    return None if found is None else str(found)


def _migrate(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parents[1] / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, "head")
