"""The player's settings: the table's defaults until one is chosen."""

from collections.abc import Mapping, Sequence

from coldtake.domain.events import SettingChosen
from coldtake.domain.topic import Topic
from coldtake.errors import RuleError
from coldtake.music.theory.instruments import INSTRUMENTS, instrument_named
from coldtake.practice.access import Action, needs
from coldtake.practice.state.log import Log
from coldtake.settings import SETTINGS, check_pair, not_valid, parse, value_of

PLAYED = "instruments"  # the setting's name in the log: names of the table, the usual one first
_BETWEEN = ";"
_INSTRUMENTS_MOST = 8


class ChosenSettings:
    """Read and choose settings. Every choice is an event."""

    def __init__(self, log: Log) -> None:
        self._log = log

    @needs(Action.SEE)
    def all(self) -> Mapping[str, int]:
        """Return every setting's value now, in the table's order."""
        chosen = self._log.state().settings
        return {setting.name: value_of(chosen, setting.name) for setting in SETTINGS}

    @needs(Action.SEE)
    def chosen(self, name: str) -> int | None:
        """Return a setting's value if the player ever chose it."""
        chosen = self._log.state().settings
        return value_of(chosen, name) if name in chosen else None

    @needs(Action.SEE)
    def not_valid(self) -> Mapping[str, str]:
        """Return the stored values that are not valid any more; their defaults are used."""
        return not_valid(self._log.state().settings)

    @needs(Action.CHANGE_SETTINGS)
    def choose(self, name: str, text: str) -> int:
        """Choose a value, given as text. Raises RuleError saying the limits."""
        return self.choose_all({name: text})[name]

    @needs(Action.CHANGE_SETTINGS)
    def choose_all(self, texts: Mapping[str, str]) -> dict[str, int]:
        """Choose several values at once: all of them or, on a fault, none. Raises RuleError."""
        values = {name: parse(name, text) for name, text in texts.items()}
        with self._log.deciding() as state:
            chosen = dict(state.settings) | {name: str(value) for name, value in values.items()}
            for name in values:
                check_pair(chosen, name)
            changed = {n: v for n, v in values.items() if state.settings.get(n) != str(v)}
            if changed:
                self._log.append(*(SettingChosen(name=n, value=str(v)) for n, v in changed.items()))
        return values

    @needs(Action.SEE)
    def instruments(self) -> tuple[str, ...]:
        """Return what the player plays, the usual one first; empty when it was not asked yet."""
        names = self._log.state().settings.get(PLAYED, "").split(_BETWEEN)
        return tuple(name for name in names if name in INSTRUMENTS)

    @needs(Action.SEE)
    def instrument_for(self, topic: Topic) -> str:
        """Return what a topic is played on: its own, else the usual one, empty when not known."""
        if topic.instrument in INSTRUMENTS:
            return topic.instrument
        return next(iter(self.instruments()), "")

    @needs(Action.CHANGE_SETTINGS)
    def remember_instrument(self, name: str) -> None:
        """Keep the first instrument that is named; what was chosen before is not changed by it."""
        if name and not self.instruments():
            self.choose_instruments((name,))

    @needs(Action.CHANGE_SETTINGS)
    def choose_instruments(self, names: Sequence[str]) -> None:
        """Choose what the player plays, the usual one first. Raises InputError."""
        chosen = tuple(dict.fromkeys(instrument_named(name).name for name in names if name))
        if len(chosen) > _INSTRUMENTS_MOST:
            raise RuleError(
                f"{len(chosen)} instruments are chosen.",
                where=PLAYED,
                remedy=f"Choose {_INSTRUMENTS_MOST} at most. A topic can name any other.",
            )
        with self._log.deciding():
            if chosen != self.instruments():
                self._log.append(SettingChosen(name=PLAYED, value=_BETWEEN.join(chosen)))
