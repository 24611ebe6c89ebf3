"""A passage in the forms that others can read: as it came in, as MEI, as MusicXML."""

import re

from coldtake.domain.topic import StoredPassage
from coldtake.errors import PassageError
from coldtake.practice.archive.contents import NotWritten

_NAMES = {"musicxml": "MusicXML", "mei": "MEI"}


def forms_of(stored: StoredPassage) -> tuple[dict[str, str], list[NotWritten]]:
    """Return its files by name, and the forms in which it could not be written, with the reason."""
    words = re.sub(r"[^A-Za-z0-9]+", "-", stored.title).strip("-")[:40] or "passage"
    own_id = re.sub(r"[^A-Za-z0-9-]+", "-", stored.id)[:40]
    stem = f"{words}-{own_id}"
    files = {f"{stem}.{stored.format}": stored.text}
    faults = []
    for form in _NAMES:
        if form == stored.format:
            continue
        try:
            files[f"{stem}.{form}"] = _written(stored, form)
        except PassageError as fault:
            told = NotWritten(passage=stored.id, form=_NAMES[form], why=fault.what)
            faults.append(told)
    return files, faults


def _written(stored: StoredPassage, form: str) -> str:
    """Write a passage in another form; it counts only if it reads back as the same notes."""
    from coldtake.music.notation.worker_client import passage_of
    from coldtake.music.notation.writing.musicxml_out import as_mei, as_musicxml

    passage = passage_of(stored.text, stored.format)
    text = as_mei(passage) if form == "mei" else as_musicxml(passage)
    back = passage_of(text, form)
    if _heard(back.notes) != _heard(passage.notes):
        raise PassageError("it would not read back as the same notes.", where=stored.title)
    return text


def _heard(notes: tuple) -> list[tuple[float, int, float]]:  # type: ignore[type-arg]
    return sorted((round(n.onset_beats, 4), n.pitch, round(n.duration_beats, 4)) for n in notes)
