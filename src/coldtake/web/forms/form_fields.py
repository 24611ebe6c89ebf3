"""Form fields to values; every field that cannot be read gets its own sentence."""

import re
from collections.abc import AsyncIterator
from datetime import date, time
from enum import StrEnum
from typing import Annotated, TypeVar
from urllib.parse import urlsplit

from fastapi import Depends, Request
from starlette.datastructures import FormData, UploadFile

from coldtake.domain.instants import check_date
from coldtake.errors import InputError
from coldtake.listening.sources.containers import ONE_OF_THEM

Choice = TypeVar("Choice", bound=StrEnum)


async def _read_form(request: Request) -> AsyncIterator[FormData]:
    async with request.form() as form:  # uploaded files are closed when the answer is out
        yield form


Fields = Annotated[FormData, Depends(_read_form)]


def text_fields(fields: FormData) -> dict[str, str]:
    """Return the text fields of a form; of repeated ones the last."""
    return {name: value for name, value in fields.multi_items() if isinstance(value, str)}


def upload(fields: FormData, name: str) -> tuple[bytes, str] | None:
    """Return an uploaded file's bytes and name, None when no file was chosen."""
    value = fields.get(name)
    if not isinstance(value, UploadFile) or not value.filename:
        return None
    return value.file.read(), value.filename


def recording(fields: FormData) -> tuple[bytes, str]:
    """Return the bytes and name of an uploaded recording. Raises InputError where there is none."""
    file = upload(fields, "sound")
    if file is None:
        remedy = f"Choose a {ONE_OF_THEM} file."
        raise InputError("No recording was chosen.", where="recording", remedy=remedy)
    return file


def line(text: str, where: str, remedy: str, most: int = 200) -> str:
    """Read one line of text, 1 to `most` characters."""
    text = " ".join(text.split())
    if not text:
        raise InputError("This field is empty.", where=where, remedy=remedy)
    if len(text) > most:
        words = f"This text has {len(text)} characters. At most {most} are allowed."
        raise InputError(words, where=where, remedy="Shorten it. Put the rest into the notes.")
    return text


def whole(text: str, where: str, least: float, most: float, unit: str = "") -> int:
    """Read a whole number from `least` to `most`."""
    value = number(text, where, least, most, unit)
    if value != int(value):
        raise InputError(
            f"“{text}” is not a whole number.", where=where, remedy="Enter a whole number."
        )
    return int(value)


def number(text: str, where: str, least: float, most: float, unit: str = "") -> float:
    """Read a number from `least` to `most`; a comma counts as a decimal point."""
    try:
        value = float(text.strip().replace(",", ".").replace("−", "-"))
    except ValueError:
        raise InputError(
            f"“{text}” is not a number.",
            where=where,
            remedy=f"Enter a number from {least:g} to {most:g}.",
        ) from None
    if not least <= value <= most:
        unit = f" {unit}" if unit else ""
        raise InputError(
            f"{value:g}{unit} is not allowed.",
            where=where,
            remedy=f"Enter a number from {least:g} to {most:g}{unit}.",
        )
    return value


def maybe_number(text: str, where: str, least: float, most: float, unit: str = "") -> float | None:
    """Read a number, or None from an empty field."""
    return number(text, where, least, most, unit) if text.strip() else None


def maybe_whole(text: str, where: str, least: int, most: int, unit: str = "") -> int | None:
    """Read a whole number, or None from an empty field."""
    return whole(text, where, least, most, unit) if text.strip() else None


def day(text: str, where: str, *, today: date) -> date:
    """Read a day from today on; a day in the past gets its own sentence."""
    value = past_day(text, where)
    if value < today:
        raise InputError(
            f"{value.isoformat()} is in the past.",
            where=where,
            remedy="Choose today or a later day.",
        )
    check_date(value, today, where)
    return value


def past_day(text: str, where: str) -> date:
    """Read any day; who asks says which ones can be meant."""
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"“{text}” is not a date.", where=where, remedy="Enter it as 2027-01-31."
        ) from None


def clock(text: str, where: str) -> time:
    """Read a time of day such as 17:30."""
    match = re.fullmatch(r"\s*(\d{1,2})[:.h](\d{2})(?::\d{2})?\s*", text)
    try:
        return time(int(match[1]), int(match[2])) if match else time.fromisoformat(text.strip())
    except ValueError:
        raise InputError(
            f"“{text}” is not a time of day.", where=where, remedy="Enter it as 17:30."
        ) from None


def one_of(kind: type[Choice], text: str, where: str) -> Choice:
    """Read one of the words of an enumeration."""
    try:
        return kind(text)
    except ValueError:
        words = ", ".join(str(k).replace("laid_aside", "set aside").replace("_", " ") for k in kind)
        raise InputError(
            f"“{text}” is not allowed.", where=where, remedy=f"Choose one of these: {words}."
        ) from None


def came_from(request: Request) -> str:
    """Return the page of ours that a form was sent from, or nothing."""
    try:
        came = urlsplit(request.headers.get("referer", ""))
    except ValueError:  # such as half of an address of IPv6
        return ""
    ours = request.method == "POST" and came.netloc == request.headers.get("host")
    return came.path + (f"?{came.query}" if came.query else "") if ours else ""


def own_path(text: str) -> str:
    """Return a path on this server to go back to; anything else leads to the pile."""
    return text if re.fullmatch(r"/[A-Za-z0-9][\w\-/.?=&]*|/", text) else "/"


def moved(ids: list[str], one: str, by: int) -> list[str]:
    """Move one of some ids up (negative) or down; the ends are walls."""
    at = ids.index(one)
    to = max(0, min(len(ids) - 1, at + by))
    ids.insert(to, ids.pop(at))
    return ids
