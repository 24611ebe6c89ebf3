"""Estimates and outlooks: numbers about the future that carry their uncertainty."""

from datetime import date

import msgspec


class Interval(msgspec.Struct, frozen=True, kw_only=True):
    """A middle value with the limits of its 80 % interval."""

    low: float
    mid: float
    high: float


class Estimate(msgspec.Struct, frozen=True, kw_only=True):
    """What the log supports about one step today.

    clean_cold : chance of a clean cold take today, 0..1
    half_life_days : days until that chance's skill has halved without playing
    minutes_to_met : work still expected until the criterion is met
    enough : False means "not enough takes yet"; the numbers are then the first guess
    """

    step_id: str
    clean_cold: Interval
    half_life_days: Interval
    minutes_to_met: Interval
    cold_takes: int
    tries: int
    enough: bool


class StepOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """Chance that one step comes out clean cold on the date, with the planned practice."""

    step_id: str
    chance: Interval
    enough: bool


class TopicOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """One topic on its date: how many steps will be clean, chance that all are, when ready.

    expected_steps : mean number of steps that are clean; clean_steps : their number with its limits
    ready_chance : that all of them are clean, each at its first try in the practice room
    on_stage : chance that the piece is clean on stage, where the date is a performance with it
    ready_by : (early, middle, late) dates of the 80 % interval, None where not in sight
    """

    topic_id: str
    on: date
    steps: tuple[StepOutlook, ...]
    clean_steps: Interval
    expected_steps: float
    ready_chance: float
    on_stage: Interval | None = None
    ready_by: tuple[date | None, date | None, date | None]
    enough: bool


class DateOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """All topics of one date: how many of their steps will be clean cold, chance that all are."""

    on: date
    topic_ids: tuple[str, ...]
    steps: int
    clean_steps: Interval
    ready_chance: float
    enough: bool


class ForecastChance(msgspec.Struct, frozen=True, kw_only=True):
    """What was said of one step: its chance of a clean cold take, 0..1; None: not enough takes."""

    step_id: str
    chance: float | None


class SaidTopic(msgspec.Struct, frozen=True, kw_only=True):
    """What was said of one topic on a date: steps clean with its 80 % interval, all of them ready.

    steps : all that the topic had then
    """

    topic_id: str
    on: date
    clean_steps: Interval
    ready_chance: float
    steps: tuple[ForecastChance, ...]


class SaidDay(msgspec.Struct, frozen=True, kw_only=True):
    """What was last said of the cold takes of one day, before they were played."""

    chances: tuple[ForecastChance, ...] = ()


class ForecastOutlook(msgspec.Struct, frozen=True, kw_only=True):
    """What was said on one day of the dates ahead."""

    topics: tuple[SaidTopic, ...] = ()
