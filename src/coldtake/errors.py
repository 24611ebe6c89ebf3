"""The one tree of errors.

    ColdtakeError
    ├── InputError          what the person gave cannot be used          exit 2, HTTP 422
    │   ├── PassageError    notation that cannot be read
    │   ├── SoundError      a sound file that cannot be read
    │   ├── RuleError       breaks a rule of topics, steps or settings
    │   │   └── NoRoomError as many topics are current as may be
    │   └── PlanError       pins or minutes that no plan can keep
    ├── AccessError         who asks may not do this                     exit 2, HTTP 403
    ├── NotFoundError       there is no such topic, step, take …         exit 2, HTTP 404
    ├── BusyError           another process holds what is needed         exit 4, HTTP 409
    ├── StoreError          the data folder cannot be read or written    exit 4, HTTP 503
    └── JudgingError        a take is kept, but judging it failed        exit 70, HTTP 500

Every error says what is wrong, where, and what to do, in words for the person who plays.
A fault of the program itself is an ordinary Python exception and never one of these; where one
stopped the judging of a take, JudgingError is raised from it once that is in the log.
"""

from typing import Self


class ColdtakeError(Exception):
    """Something the person must hear about: what, where and the remedy."""

    def __init__(self, what: str, *, where: str = "", remedy: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.remedy = remedy

    def __str__(self) -> str:
        """One readable line: `where: what remedy`."""
        head = f"{self.where}: {self.what}" if self.where else self.what
        return f"{head} {self.remedy}".strip()


class InputError(ColdtakeError):
    """What was given cannot be used as it is."""

    @classmethod
    def of_file(cls, fault: OSError, name: str) -> Self:
        """Say that a file which was named cannot be opened or read, and why."""
        reason = (fault.strerror or "cannot be opened").lower()
        return cls(
            f"the file cannot be read: {reason}.", where=name, remedy="Check its name and place."
        )


class PassageError(InputError):
    """Notation that cannot be read, with the place where reading stopped."""


class SoundError(InputError):
    """A sound file that cannot be read or carries no usable sound."""


class RuleError(InputError):
    """A change that would break a rule of topics, steps, criteria or settings."""


class NoRoomError(RuleError):
    """One more current topic would pass the limit.

    topic_id : the topic that there is no room for; current : ids of those that take the places
    """

    def __init__(
        self, what: str, *, where: str, remedy: str, topic_id: str, current: tuple[str, ...]
    ) -> None:
        super().__init__(what, where=where, remedy=remedy)
        self.topic_id = topic_id
        self.current = current


class PlanError(InputError):
    """Minutes or pins that no plan can keep."""


class AccessError(ColdtakeError):
    """Whoever asks may not do this with this practice."""


class NotFoundError(ColdtakeError):
    """There is no such thing in the log."""


class BusyError(ColdtakeError):
    """Something else is using what is needed; trying again later may help."""


class StoreError(ColdtakeError):
    """The data folder or database cannot be read or written."""


class JudgingError(ColdtakeError):
    """A take has no verdict because judging it failed; the log says so, and the sound is kept."""
