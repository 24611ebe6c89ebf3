"""The player's settings: the table's defaults until one is chosen."""

from collections.abc import Mapping

from coldtake.domain.events import SettingChosen
from coldtake.errors import RuleError
from coldtake.practice.log import Log
from coldtake.settings import SETTINGS, parse, value_of

_PAIRS = (
    ("slot_least", "slot_most", 0),
    ("topics_least", "topics_most", 0),
    ("held_poor", "held_good", 1),
)


class ChosenSettings:
    """Read and choose settings. Every choice is an event."""

    def __init__(self, log: Log) -> None:
        self._log = log

    def all(self) -> Mapping[str, int]:
        """Return every setting's value now, in the table's order."""
        chosen = self._log.state().settings
        return {setting.name: value_of(chosen, setting.name) for setting in SETTINGS}

    def choose(self, name: str, text: str) -> int:
        """Choose a value, given as text. Raises RuleError saying the limits."""
        value = parse(name, text)
        with self._log.deciding() as state:
            _check_pair(dict(state.settings) | {name: str(value)}, name)
            if state.settings.get(name) != str(value):
                self._log.append(SettingChosen(name=name, value=str(value)))
        return value


def _check_pair(chosen: Mapping[str, str], name: str) -> None:
    """Raise RuleError when a least value would pass its most, or two chances be one."""
    for least, most, apart in _PAIRS:
        low, high = value_of(chosen, least), value_of(chosen, most)
        if name in (least, most) and low + apart > high:
            raise RuleError(
                f"{least} would be {low} and {most} {high}.",
                where=name,
                remedy="Change the other one first.",
            )
