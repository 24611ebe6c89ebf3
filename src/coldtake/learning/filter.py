"""The sequential filter of one step: every particle lives through the step's history.

A particle's skill follows from its own parameters and the minutes played (law.py); each answer
multiplies its likelihood. Nothing is drawn at random, so the filter can stop and go on: `advance`
keeps where it got to, and a longer history continues from there.
"""

from collections import OrderedDict
from dataclasses import dataclass, replace

import numpy as np

from coldtake.domain.topic import TopicKind
from coldtake.learning import memory_law
from coldtake.learning.history import History, HistoryMark
from coldtake.learning.memory_law import Array
from coldtake.learning.prior import ParticlePrior, cloud, first_half_life, first_rate

# Wrong answers: (yes though it was not clean, no though it was). Guesses; a player's own ear is
# kinder than a listener's. Instead of the first number the filter weighs several rates
# (`prior.FALSE_CLEAN_RATES`).
PLAYER_ERRORS = (0.12, 0.05)
TOOL_ERRORS = (0.03, 0.03)
WARM_BONUS = 0.5  # logits by which a try after work beats a cold take; a guess
DAY_FORM_SD = 0.5  # logits; the day's form, marginalised (MacKay 1992: z / sqrt(1 + pi s^2 / 8))
MEMORY_PER_DAY = 0.97  # weight that old answers keep at each new day: players change; a guess

_FORM = 1.0 / np.sqrt(1.0 + np.pi * DAY_FORM_SD**2 / 8.0)


@dataclass(frozen=True, slots=True)
class StepFilter:
    """Where the particles of one step are after `seen` marks.

    stored, access : skill that is there, and the share of it within reach now, (N,)
    half_life, kept : before today's growth, and the share kept over the last gap, (N,)
    today_min : minutes played on `day`; loglik : (N,)
    """

    stored: Array
    access: Array
    half_life: Array
    kept: Array
    loglik: Array
    rate: Array
    day: int | None = None
    today_min: float = 0.0
    seen: int = 0
    cold_takes: int = 0
    answers: int = 0
    days: int = 0


def fresh(need_min: float, kind: TopicKind) -> StepFilter:
    """Return the filter of a step that was never played."""
    c = cloud()
    ones = np.ones_like(c.start)
    return StepFilter(
        stored=c.start,
        access=ones,
        half_life=first_half_life(kind) * np.exp(c.hold + c.settled),
        kept=ones,
        loglik=np.zeros_like(c.start),
        rate=first_rate(need_min) * np.exp(c.pace),
    )


def skill_now(f: StepFilter) -> Array:
    """Accessible skill of each particle at the last mark."""
    return f.stored * f.access


def half_life_now(f: StepFilter) -> Array:
    """Half-life of each particle in days, today's growth included."""
    return memory_law.grown(f.half_life, f.kept, f.today_min, cloud().growth)


def _next_day(f: StepFilter, day: int, c: ParticlePrior) -> StepFilter:
    if f.day is None:
        return replace(f, day=day, days=1)
    skill, half_life = skill_now(f), half_life_now(f)
    kept = memory_law.retention(day - f.day, half_life, c.psi)
    missing = 1.0 - kept
    stored = skill * (1.0 - c.loss * missing)
    return replace(
        f,
        stored=stored,
        access=kept / (1.0 - c.loss * missing),
        half_life=half_life,
        kept=kept,
        loglik=f.loglik * MEMORY_PER_DAY,
        day=day,
        today_min=0.0,
        days=f.days + 1,
    )


def _played(f: StepFilter, minutes: float, c: ParticlePrior) -> StepFilter:
    if minutes <= 0.0:
        return f
    back = np.exp(-minutes / c.recovery_min)
    return replace(
        f,
        stored=memory_law.learned(f.stored, minutes, f.rate, c.curve),
        access=1.0 - (1.0 - f.access) * back,
        today_min=f.today_min + minutes,
    )


def try_chance(skill: Array, span: Array, *, warm: bool, shift: float = 0.0) -> Array:
    """Chance that a try comes out clean, the day's form unknown; shift [logits] as on stage."""
    logit = (memory_law.FLOOR + span * skill + shift + (WARM_BONUS if warm else 0.0)) * _FORM
    return np.asarray(1.0 / (1.0 + np.exp(-logit)))


def yes_chance(clean: Array, *, heard: bool) -> Array:
    """Chance that the answer is yes, the judge's errors included."""
    false_yes, false_no = TOOL_ERRORS if heard else PLAYER_ERRORS
    return np.asarray(false_yes + (1.0 - false_yes - false_no) * clean)


def _said_chance(clean: Array, mark: HistoryMark, ear: Array) -> Array:
    """Chance of what was said of a try, by the player, the tool, or both, who err apart."""
    own = _answer_chances(ear, PLAYER_ERRORS[1], mark.yes)
    tool = _answer_chances(TOOL_ERRORS[0], TOOL_ERRORS[1], mark.yes if mark.heard else mark.tool)
    if mark.heard:
        own = (1.0, 1.0)
    return clean * own[0] * tool[0] + (1.0 - clean) * own[1] * tool[1]


def _answer_chances(
    false_yes: Array | float, false_no: float, yes: bool | None
) -> tuple[float, Array | float]:
    """Chance of an answer when the try was clean, and when it was not; 1 without an answer."""
    if yes is None:
        return 1.0, 1.0
    return (1.0 - false_no, false_yes) if yes else (false_no, 1.0 - false_yes)


def _answered(f: StepFilter, mark: HistoryMark, c: ParticlePrior) -> StepFilter:
    clean = try_chance(skill_now(f), c.span, warm=not mark.cold, shift=mark.shift)
    return replace(
        f,
        loglik=f.loglik + np.log(_said_chance(clean, mark, c.ear)),
        cold_takes=f.cold_takes + (mark.cold and not mark.shift),
        answers=f.answers + 1,
    )


def _lived(f: StepFilter, mark: HistoryMark, c: ParticlePrior) -> StepFilter:
    """Let one mark happen. A cold take sees the skill before its own minutes."""
    if f.day is None or mark.day > f.day:
        f = _next_day(f, mark.day, c)
    if mark.cold and mark.yes is not None:
        return _played(_answered(f, mark, c), mark.minutes, c)
    f = _played(f, mark.minutes, c)
    return f if mark.yes is None else _answered(f, mark, c)


_Key = tuple[str, float, TopicKind]
_CACHE_MOST = 256  # 30 kB each
_cache: OrderedDict[_Key, tuple[History, StepFilter]] = OrderedDict()


def advance(step_id: str, need_min: float, kind: TopicKind, history: History) -> StepFilter:
    """Filter a step's whole history, going on from the last call where that was its beginning."""
    key = (step_id, need_min, kind)
    known, f = _cache.get(key, ((), None))
    if f is None or history[: len(known)] != known:
        f, known = fresh(need_min, kind), ()
    c = cloud()
    for mark in history[len(known) :]:
        f = _lived(f, mark, c)
    _cache[key] = (history, f)
    _cache.move_to_end(key)
    while len(_cache) > _CACHE_MOST:
        _cache.popitem(last=False)
    return f
