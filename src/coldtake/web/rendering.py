"""The template environment: what every page may use, and how numbers and dates are written."""

import re
from functools import partial
from pathlib import Path

import jinja2
from markupsafe import Markup, escape
from starlette.requests import Request
from starlette.templating import Jinja2Templates

from coldtake.listening.sources.containers import CONTAINERS
from coldtake.messages import formats
from coldtake.messages.catalogue import gettext, marked, ngettext, npgettext, pgettext
from coldtake.messages.language import spoken
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
    1: marked("very low"),
    2: marked("low"),
    3: marked("medium"),
    4: marked("high"),
    5: marked("very high"),
}
PHASE = {
    "open": marked("not started"),
    "in_work": marked("in progress"),
    "met": marked("met"),
    "held": marked("held"),
    "slipped": marked("slipped"),
}
ANSWER = {"yes": marked("yes"), "no": marked("no"), "cannot_tell": marked("cannot tell")}


def percent(share: float) -> str:
    """Write a share 0..1 as `71%`; never 0 or 100 for something uncertain."""
    value = round(share * 100)
    if value == 0 and share > 0:
        return gettext("less than %(share)s") % {"share": formats.percent(1)}
    if value == 100 and share < 1:
        return gettext("more than %(share)s") % {"share": formats.percent(99)}
    return formats.percent(value)


def minutes(value: float) -> str:
    """Write minutes: `45 min`, from 90 min on `2 h 5 min`."""
    return hours_and_minutes(round(value))


def field(value: float, digits: int = 1) -> str:
    """Write a number as a field of a form, or a script, takes it: the same in every language."""
    text = f"{value:.{digits}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


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
    return f"Coldtake, {engine}" if heard else gettext("not judged")


_BEATS = {
    "♩": marked("quarter note"),
    "♩.": marked("dotted quarter note"),
    "♪": marked("eighth note"),
    "♪.": marked("dotted eighth note"),
}


def read_aloud(text: str) -> Markup:
    """Give the signs of beats a name for screen readers: “quarter note = 84”."""
    named = '<span role="img" aria-label="{}">{}</span>'
    return Markup(
        re.sub(
            r"[♩♪]\.?(?= =)", lambda m: named.format(gettext(_BEATS[m[0]]), m[0]), str(escape(text))
        )
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
        extensions=["jinja2.ext.i18n"],
        trim_blocks=True,
        lstrip_blocks=True,
    )
    env.install_gettext_callables(  # type: ignore[attr-defined]
        gettext, ngettext, newstyle=True, pgettext=pgettext, npgettext=npgettext
    )
    env.globals["spoken"] = spoken
    env.filters |= {
        "day": formats.day,
        "short_day": formats.short_day,
        "long_day": formats.long_day,
        "clock": formats.clock,
        "percent": percent,
        "in_100": partial(in_hundred, translate=gettext),
        "between": partial(between, translate=gettext),
        "about_steps": lambda found: about_steps(found.expected_steps, found.clean_steps),
        "minutes": minutes,
        "counted": counted,
        "noun": noun,
        "read_aloud": read_aloud,
        "first_sentence": lambda text: first_sentence(text)[0],
        "further_sentences": lambda text: first_sentence(text)[1],
        "num": formats.number,
        "whole": formats.whole,
        "field": field,
        "importance": lambda degree: gettext(IMPORTANCE[degree]),
        "phase": lambda phase: gettext(PHASE[str(phase)]),
        "without_answer": without_answer,
        "engine": engine_words,
        "answer": lambda answer: gettext(ANSWER[str(answer)]),
    }
    env.globals["IMPORTANCE"] = IMPORTANCE
    env.globals["CONTAINERS"] = CONTAINERS
    return Jinja2Templates(env=env, context_processors=[_on_device])
