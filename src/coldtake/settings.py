"""One table of settings: name, default, allowed values, one-line help.

Values are kept in the log as text; `value_of` turns them into what the code uses. What is stored
may be no longer valid (an older version, an archive): then the default is used, and `not_valid`
names it, so that no page is locked by it.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from coldtake.errors import RuleError
from coldtake.messages.language import LANGUAGES


@dataclass(frozen=True, slots=True)
class Setting:
    """One setting. `least` and `most` bound whole numbers, both included.

    shown : it stands on the page of the settings
    """

    name: str
    default: int
    least: int
    most: int
    unit: str
    help: str
    shown: bool = True

    @property
    def said(self) -> str:
        """The setting as a person is told of it: its line on the page, without the full stop."""
        return self.help.rstrip(".")


SETTINGS: tuple[Setting, ...] = (
    Setting("current_topics", 4, 1, 8, "topics", "Most topics that are current at one time."),
    Setting("session_minutes", 60, 5, 720, "min", "Usual minutes for a plan."),
    Setting(
        "session_most",
        240,
        60,
        720,
        "min",
        "Longest session. A longer day is split, with a meal break between.",
    ),
    Setting("meal_minutes", 60, 15, 240, "min", "Length of a meal break between two sessions."),
    Setting("starts_at_hour", 17, 0, 23, "h", "Usual start hour of a session."),
    Setting("period_cap", 30, 5, 60, "min", "Longest period without a break (60 at most)."),
    Setting("break_minutes", 5, 3, 60, "min", "Length of a break between two periods."),
    Setting("slot_least", 4, 1, 30, "min", "Shortest slot for working on a step."),
    Setting("slot_most", 12, 2, 60, "min", "Longest slot for working on a step."),
    Setting("tightness", 80, 30, 100, "%", "Slot length as a share of the time the step needs."),
    Setting("topics_least", 2, 1, 8, "topics", "Fewest topics in one session."),
    Setting("topics_most", 4, 1, 8, "topics", "Most topics in one session."),
    Setting("touch_days", 3, 1, 30, "days", "Most days between two practices of a current topic."),
    Setting(
        "topic_share",
        50,
        34,
        100,
        "%",
        "Largest share of the minutes for one of three topics or more (100: no limit).",
    ),
    Setting(
        "keep_chance",
        70,
        0,
        95,
        "in 100",
        "A met step gets a cold take before its chance of a clean first try falls below this.",
    ),
    Setting("cold_minutes", 2, 1, 10, "min", "Minutes for one cold take."),
    Setting("quiet_seconds", 20, 0, 120, "s", "Quiet time before the first slot."),
    Setting(
        "load_notice",
        20,
        5,
        200,
        "%",
        "Show a notice if a week is longer than the last four weeks by this.",
    ),
    Setting(
        "away_days",
        5,
        2,
        60,
        "days",
        "After so many days without practice, plans start shorter and grow again.",
    ),
    Setting(
        "calendar_alarm",
        0,
        0,
        1440,
        "min",
        "Calendar address: alarm so long before a session or rehearsal (0: none).",
    ),
    Setting("a4_hz", 440, 392, 466, "Hz", "Tuning of A4."),
    Setting("click_volume", 60, 0, 100, "%", "Volume of the click."),
    Setting("held_test", 0, 0, 1, "yes is 1", "Show the held-test after each cold take."),
    Setting(
        "held_poor",
        60,
        5,
        98,
        "%",
        "A step is not held if only this share of its cold takes is clean.",
    ),
    Setting(
        "held_good", 90, 6, 99, "%", "A step is held if this share of its cold takes is clean."
    ),
    Setting("held_wrong_yes", 5, 1, 40, "%", "Allowed rate of wrong “held”."),
    Setting("held_wrong_no", 10, 1, 40, "%", "Allowed rate of wrong “not held”."),
    Setting("have_people", 0, 0, 1, "yes is 1", "Usually available: other people to play with."),
    Setting("have_place", 0, 0, 1, "yes is 1", "Usually available: the place that a step needs."),
    Setting("have_instrument", 0, 0, 1, "yes is 1", "Usually available: another instrument."),
    Setting("have_piano", 0, 0, 1, "yes is 1", "Usually available: a piano."),
    Setting(
        "have_quiet", 1, 0, 1, "yes is 1", "Usually available: a time when you disturb nobody."
    ),
    Setting("have_recorder", 1, 0, 1, "yes is 1", "Usually available: a recording device."),
    Setting(
        "language",
        0,
        0,
        len(LANGUAGES) - 1,
        "of the list",
        "Language (0: English). Used once a language is complete.",
        shown=all(one.complete for one in LANGUAGES),
    ),
    Setting("takes_alone", 1, 0, 1, "yes is 1", "Takes that can be judged start by themselves."),
)
# A least and its most, and how far apart they have to be.
PAIRS = (
    ("slot_least", "slot_most", 0),
    ("topics_least", "topics_most", 0),
    ("held_poor", "held_good", 1),
)
BY_NAME: Mapping[str, Setting] = {s.name: s for s in SETTINGS}


def parse(name: str, text: str) -> int:
    """Check a setting's new value. Raises RuleError saying the limits."""
    setting = BY_NAME.get(name)
    if setting is None:
        raise RuleError(f"The setting “{name}” does not exist.", remedy="See the settings page.")
    try:
        value = int(text.strip())
    except ValueError:
        value = setting.least - 1
    if not setting.least <= value <= setting.most:
        raise RuleError(
            f"“{text}” is not allowed.",
            where=setting.said,
            remedy=f"Enter a whole number from {setting.least} to {setting.most}.",
        )
    return value


def check_pair(chosen: Mapping[str, str], name: str) -> None:
    """Raise RuleError when a least value would pass its most, or two chances be one."""
    for least, most, apart in PAIRS:
        low, high = _alone(chosen, least), _alone(chosen, most)
        if name in (least, most) and low + apart > high:
            own, other, value = (low, most, high) if name == least else (high, least, low)
            raise RuleError(
                f"{own} does not go with “{BY_NAME[other].said}”, which is {value}.",
                where=BY_NAME[name].said,
                remedy="Change the other setting first.",
            )


def value_of(chosen: Mapping[str, str], name: str) -> int:
    """Return a setting's value: the chosen one where it is valid, else the default."""
    try:
        check_pair(chosen, name)
    except RuleError:
        return BY_NAME[name].default
    return _alone(chosen, name)


def not_valid(chosen: Mapping[str, str]) -> dict[str, str]:
    """Return the chosen values that are not used because they are not valid, by setting."""
    known = {s.name: chosen[s.name] for s in SETTINGS if s.name in chosen}
    return {name: text for name, text in known.items() if _fault(chosen, name)}


def _fault(chosen: Mapping[str, str], name: str) -> RuleError | None:
    try:
        parse(name, chosen[name])
        check_pair(chosen, name)
    except RuleError as fault:
        return fault
    return None


def _alone(chosen: Mapping[str, str], name: str) -> int:
    """Return a setting's value without a look at its pair."""
    try:
        return parse(name, chosen[name])
    except (KeyError, RuleError):
        return BY_NAME[name].default
