"""The tables of the log, as they are now. Older shapes live in `migrations/`."""

from sqlalchemy import BigInteger, Column, Integer, LargeBinary, MetaData, String, Table, Text

METADATA = MetaData()
# SQLite counts rows only in a column that is exactly INTEGER; PostgreSQL needs more room.
Counter = BigInteger().with_variant(Integer(), "sqlite")

LOG = Table(
    "log",
    METADATA,
    Column("sequence", Counter, primary_key=True, autoincrement=True),
    Column("id", String(36), nullable=False, unique=True),
    Column("kind", String(40), nullable=False),
    Column("at", String(40), nullable=False),
    Column("day", String(10), nullable=False),
    Column("body", Text, nullable=False),
    Column("digest", String(16), nullable=False, server_default=""),
    sqlite_autoincrement=True,
)

QUARANTINE = Table(
    "quarantine",
    METADATA,
    Column("sequence", Counter, primary_key=True, autoincrement=True),
    Column("sha256", String(64), nullable=False, unique=True),
    Column("at", String(40), nullable=False),
    Column("why", Text, nullable=False),
    Column("raw", LargeBinary, nullable=False),
    sqlite_autoincrement=True,
)

# One row: what the log is called, so that another one in its place is known.
IDENTITY = Table("identity", METADATA, Column("id", String(36), primary_key=True))

# Computed from the log and safe to throw away: never copied, never exported, rebuilt at any doubt.
COMPUTED = Table(
    "computed",
    METADATA,
    Column("name", String(80), primary_key=True),
    Column("maker", String(64), nullable=False),
    Column("upto", Counter, nullable=False),
    Column("mark", String(80), nullable=False),
    Column("sha256", String(64), nullable=False),
    Column("body", LargeBinary, nullable=False),
)
