"""The description of the app (OpenAPI) with what its routes read by hand: forms and JSON bodies."""

import re
from typing import Any

import msgspec
from fastapi import FastAPI

from coldtake.domain.events import Event
from coldtake.domain.take import NewTake
from coldtake.web.api import StartRequest
from coldtake.web.rendering import TEMPLATES

FORM = "application/x-www-form-urlencoded"
WORDS = [
    "",
    "yes",
    "no",
    "1",
    "5",
    "-3",
    "1e9",
    "2027-01-13",
    "17:30",
    "Air",
    "abc",
    "%",
    "é♭",
    "\n",
]
JSON = {"/api/events": list[Event], "/api/session/start": StartRequest}


def described(app: FastAPI) -> dict[str, Any]:
    """What the app says of itself, and for each form every field that any page has."""
    told = app.openapi()
    told["components"] = told.get("components", {})
    for path, operations in told["paths"].items():
        for method, operation in operations.items():
            body = _body(path, method, told)
            if body and "requestBody" not in operation:
                operation["requestBody"] = {"content": body}
            if path == "/api/takes/{take_id}":
                operation["parameters"] += _query(NewTake)
    return told


def _body(path: str, method: str, told: dict[str, Any]) -> dict[str, Any]:
    if path in JSON:
        schema = msgspec.json.schema(JSON[path], ref_template="#/components/schemas/{name}")
        told["components"].setdefault("schemas", {}).update(schema.pop("$defs", {}))
        return {"application/json": {"schema": schema}}
    if method == "put" or path == "/slow":
        return {"application/octet-stream": {"schema": {"type": "string", "format": "binary"}}}
    if method != "post":
        return {}
    fields = {name: {"type": "string", "enum": WORDS} for name in _fields()}
    return {FORM: {"schema": {"type": "object", "properties": fields}}}


def _fields() -> set[str]:
    texts = [p.read_text(encoding="utf-8") for p in TEMPLATES.glob("*.html")]
    return {n for text in texts for n in re.findall(r'\bname="([a-z_]+)"', text)}


ASKED_AS = {"to_judge": "judge", "first_try": "cold"}  # of a take's fields, in its address


def _query(record: type[msgspec.Struct]) -> list[dict[str, Any]]:
    return [
        {
            "name": ASKED_AS.get(field.name, field.name),
            "in": "query",
            "schema": {"type": "string", "enum": WORDS},
        }
        for field in msgspec.structs.fields(record)
        if field.name != "take_id"  # its place is the path
    ]
