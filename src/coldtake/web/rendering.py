"""The template environment: what every page may use, and how numbers and dates are written."""

import re
from datetime import date, datetime, time
from pathlib import Path

import jinja2
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.templating import Jinja2Templates

from coldtake.listening.sources.containers import CONTAINERS
from coldtake.planning.words import (
    about_steps,
    between,
    counted,
    first_sentence,
    hours_and_minutes,
    in_hundred,
    noun,
)
from coldtake.web.sharing.gate import is_shared

HERE = Path(__file__).parent
TEMPLATES = HERE / "templates"
STATIC = HERE / "static"

IMPORTANCE = {
    1: "very low",
    2: "low",
    3: "medium",
    4: "high",
    5: "very high",
}
PHASE = {
    "open": "not started",
    "in_work": "in progress",
    "met": "met",
    "held": "held",
    "slipped": "slipped",
}
ANSWER = {"yes": "yes", "no": "no", "cannot_tell": "cannot tell"}


def day_words(day: date) -> str:
    """Write a day as `Thu 26 Nov`."""
    return f"{day:%a} {day.day} {day:%b}"


def short_day(day: date) -> str:
    """Write a day as `26 Nov`."""
    return f"{day.day} {day:%b}"


def long_day(day: date) -> str:
    """Write a day as `Thursday 26 November 2026`."""
    return f"{day:%A} {day.day} {day:%B %Y}"


def clock(moment: datetime | time) -> str:
    """Write a time of day as `17:05`."""
    return f"{moment:%H:%M}"


def percent(share: float) -> str:
    """Write a share 0..1 as `71%`; never 0 or 100 for something uncertain."""
    value = round(share * 100)
    if value == 0 and share > 0:
        return "less than 1%"
    if value == 100 and share < 1:
        return "more than 99%"
    return f"{value}%"


def minutes(value: float) -> str:
    """Write minutes: `45 min`, from 90 min on `2 h 5 min`."""
    return hours_and_minutes(round(value))


def number(value: float, digits: int = 1) -> str:
    """Write a number without trailing zeros, with a true minus sign."""
    text = f"{value:.{digits}f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return "0" if text in ("-0", "") else text.replace("-", "−")


def without_answer(reason: str) -> str:
    """Drop a leading `No:` where the answer already stands beside the reason."""
    for word in ("Yes: ", "No: ", "Cannot tell: "):
        if reason.startswith(word):
            rest = reason.removeprefix(word)
            return rest[:1].upper() + rest[1:]
    return reason


def engine_words(engine: str) -> str:
    """Say who gave a verdict, by the engine's name such as `line-2`."""
    heard = engine.rpartition("-")[2].isdigit()
    return f"Coldtake, {engine}" if heard else "not judged"


_BEATS = {
    "♩": "quarter note",
    "♩.": "dotted quarter note",
    "♪": "eighth note",
    "♪.": "dotted eighth note",
}


def read_aloud(text: str) -> Markup:
    """Give the signs of beats a name for screen readers: “quarter note = 84”."""
    named = '<span role="img" aria-label="{}">{}</span>'
    return Markup(
        re.sub(r"[♩♪]\.?(?= =)", lambda m: named.format(_BEATS[m[0]], m[0]), str(escape(text)))
    )


def _on_device(request: Request) -> dict[str, bool]:
    """Every page knows whether it is shown on the paired device."""
    return {"shared": is_shared(request)}


def make_templates() -> Jinja2Templates:
    """Build the environment; an unknown name in a template is a fault, not an empty place."""
    env = jinja2.Environment(
        loader=jinja2.FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.filters |= {
        "day": day_words,
        "short_day": short_day,
        "long_day": long_day,
        "clock": clock,
        "percent": percent,
        "in_100": in_hundred,
        "between": between,
        "about_steps": lambda found: about_steps(found.expected_steps, found.clean_steps),
        "minutes": minutes,
        "counted": counted,
        "noun": noun,
        "read_aloud": read_aloud,
        "first_sentence": lambda text: first_sentence(text)[0],
        "further_sentences": lambda text: first_sentence(text)[1],
        "num": number,
        "importance": IMPORTANCE.__getitem__,
        "phase": lambda phase: PHASE[str(phase)],
        "without_answer": without_answer,
        "engine": engine_words,
        "answer": lambda answer: ANSWER[str(answer)],
    }
    env.globals["IMPORTANCE"] = IMPORTANCE
    env.globals["CONTAINERS"] = CONTAINERS
    return Jinja2Templates(env=env, context_processors=[_on_device])
