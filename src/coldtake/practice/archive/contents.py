"""What an archive is made of: names, format, schema, and what is said about it."""

import re
from dataclasses import dataclass
from typing import Any, Protocol

import msgspec

from coldtake.domain.events import Event
from coldtake.ports import TakeFiles
from coldtake.practice.settings_service import ChosenSettings
from coldtake.practice.state.log import Log

FORMAT = 2
KNOWN_FORMATS = (1, 2)  # 1 had no schema, and passages in one more form only
LOG, REFUSED, MANIFEST, SCHEMA = "log.jsonl", "refused.jsonl", "manifest.json", "log.schema.json"
_ID = "[0-9a-f]{8}(?:-[0-9a-f]{4}){3}-[0-9a-f]{12}"
KEPT_FILE = re.compile(rf"(?:takes/({_ID})\.flac|pages/({_ID})\.(?:pdf|png|jpg))")
README = """\
Everything that Coldtake holds of you, in open formats.

README.txt       this file
    log.jsonl        the whole log, one event per line, in order of arrival (JSON Lines)
    log.schema.json  what such a line holds (JSON Schema, draft 2020-12)
    refused.jsonl    what arrived and could not become an event
    topics.json      topics with their steps; plans.json, settings.json
    performances.json  performances with their programmes; runs.json, what was run through
    passages/        notation as it came in, as MEI and as MusicXML
    takes/           sound of the takes, FLAC
    pages/           pages of topics as they came: PDF, PNG, JPEG
    tables/          CSV for a spreadsheet
    manifest.json    format, counts, what is missing and why, and the SHA-256 of every file

Restoring needs log, refused, takes and pages; everything else follows from them.

"coldtake restore" brings it back on any machine.
"""
_SCHEMA_ID = "https://json-schema.org/draft/2020-12/schema"


class Kept(Protocol):
    """All that is kept of a player: what an archive is made of and is brought back into."""

    @property
    def log(self) -> Log:
        """The log with its state."""
        ...

    @property
    def take_files(self) -> TakeFiles:
        """The sound of the takes."""
        ...

    @property
    def settings(self) -> ChosenSettings:
        """The settings as they were chosen."""
        ...


class NotWritten(msgspec.Struct, frozen=True, kw_only=True):
    """A passage that is not there in one of the forms; as it came in it always is."""

    passage: str
    form: str
    why: str


class Manifest(msgspec.Struct, frozen=True, kw_only=True):
    """What an archive says of itself. sha256 : of every other file, by name."""

    format: int
    events: int
    takes: int
    passages: int
    sha256: dict[str, str]
    page_files: int = 0
    made_by: str = ""
    missing_takes: tuple[str, ...] = ()
    damaged_takes: tuple[str, ...] = ()
    not_written: tuple[NotWritten, ...] = ()


@dataclass(frozen=True, slots=True)
class Exported:
    """What an archive holds.

    missing_takes, damaged_takes : ids of takes whose sound was not there, or differs from the log
    """

    path: str
    events: int
    takes: int
    passages: int
    size_bytes: int
    missing_takes: tuple[str, ...] = ()
    damaged_takes: tuple[str, ...] = ()
    not_written: tuple[NotWritten, ...] = ()


@dataclass(frozen=True, slots=True)
class Restored:
    """What a restore brought. events, takes : new ones; known : events that were here already.

    missing_takes : takes of the log that neither archive nor folder have; damaged_takes : takes
    whose sound in the archive is not what the log says, so that it was left out
    misdated : entries whose date cannot be, set aside until they get their day
    not_valid : settings whose stored value is not valid, so that the default is used
    """

    events: int
    known: int
    takes: int
    missing_takes: tuple[str, ...] = ()
    damaged_takes: tuple[str, ...] = ()
    misdated: int = 0
    not_valid: tuple[str, ...] = ()


def name_of(file_id: str, suffix: str) -> str:
    """Name the file of a take, or of pages, inside an archive."""
    return f"{'takes' if suffix == '.flac' else 'pages'}/{file_id.lower()}{suffix}"


def log_schema() -> dict[str, Any]:
    """Return the JSON Schema of one line of the log."""
    schema = msgspec.json.schema(Event)
    return {"$schema": _SCHEMA_ID, "title": "One line of Coldtake's log", **schema}
