"""The code that is shown and the one device that is paired.

A code has six digits, works once, for `CODE_LIFE`, and dies after `WRONG_MOST` wrong tries; a
guess succeeds at most five times in a million codes. What a device keeps is 256 random bits; here
only their SHA-256 is kept, which needs no salt because nobody can guess the original. The device
is a matter of this machine, not of practice: it lies beside the certificate, not in the log, and
leaves with no archive.
"""

import hashlib
import hmac
import re
import secrets
import threading
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from coldtake.errors import BusyError, InputError, StoreError
from coldtake.web.sharing.files import (
    private_folder,
    read_private,
    remove_private,
    write_private,
)

CODE_DIGITS = 6
CODE_LIFE = timedelta(minutes=5)
WRONG_MOST = 5
TRIES_A_MINUTE = 10
_MINUTE = timedelta(minutes=1)
_FILE = "device.json"


class Device(msgspec.Struct, frozen=True, kw_only=True):
    """The paired device; `secret_sha256` is all that is known of its secret."""

    name: str
    paired_at: datetime
    secret_sha256: str


class Code(msgspec.Struct, frozen=True, kw_only=True):
    """A code that can be typed until it ends."""

    digits: str
    until: datetime

    @property
    def spaced(self) -> str:
        """Two groups of three digits, easier to read across a room."""
        return f"{self.digits[:3]} {self.digits[3:]}"


class Pairing:
    """Makes codes, pairs one device at a time, knows it again, forgets it. Safe across threads."""

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self._folder = folder
        self._now = now
        self._lock = threading.Lock()
        self._code: Code | None = None
        self._wrong = 0
        self._tries: list[datetime] = []
        self._device = self._read()

    @property
    def device(self) -> Device | None:
        """The paired device."""
        return self._device

    @property
    def code(self) -> Code | None:
        """The code that works now."""
        code = self._code
        return code if code and self._now() < code.until else None

    @property
    def guessed(self) -> bool:
        """True when wrong tries ended the last code; only the player makes the next."""
        return self._wrong >= WRONG_MOST

    def new_code(self) -> Code:
        """Make a fresh code; the one before stops working."""
        digits = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
        with self._lock:
            self._code = Code(digits=digits, until=self._now() + CODE_LIFE)
            self._wrong = 0
        return self._code

    def drop_code(self) -> None:
        """No code works any more."""
        with self._lock:
            self._code = None

    def pair(self, typed: str, name: str) -> str:
        """Pair a device by the code shown; return its secret. The device before is forgotten.

        Raises InputError for a code that does not work, BusyError after too many tries.
        """
        with self._lock:
            self._count_try()
            self._check(typed)
            self._code = None
            secret = secrets.token_urlsafe(32)
            device = Device(name=name, paired_at=self._now(), secret_sha256=_digest(secret))
            write_private(private_folder(self._folder) / _FILE, msgspec.json.encode(device))
            self._device = device
        return secret

    def knows(self, secret: str) -> bool:
        """Say whether this is the paired device's secret."""
        device = self._device
        known = device.secret_sha256 if device else ""
        return hmac.compare_digest(_digest(secret), known) and device is not None

    def forget(self) -> None:
        """The paired device is refused from now on."""
        with self._lock:
            self._device = None
            remove_private(self._folder / _FILE)

    def _count_try(self) -> None:
        now = self._now()
        self._tries = [t for t in self._tries if now - t < _MINUTE]
        if len(self._tries) >= TRIES_A_MINUTE:
            raise BusyError("Too many tries.", remedy="Wait a minute, then type the code again.")
        self._tries.append(now)

    def _check(self, typed: str) -> None:
        digits = "".join(typed.split())
        code = self.code
        if code and hmac.compare_digest(digits.encode(), code.digits.encode()):
            return
        self._wrong += 1
        if self._wrong >= WRONG_MOST:
            self._code = None
        raise InputError(
            "This code does not work.",
            where="code",
            remedy="It lasts five minutes and works once. Look at the computer for a new one.",
        )

    def _read(self) -> Device | None:
        content = read_private(self._folder / _FILE)
        if content is None:
            return None
        try:
            return msgspec.json.decode(content, type=Device)
        except (msgspec.MsgspecError, UnicodeDecodeError) as fault:
            raise StoreError(
                "The note of the paired device cannot be read.",
                where=str(self._folder / _FILE),
                remedy="Remove this file and pair the device again.",
            ) from fault


def _digest(secret: str) -> str:
    return hashlib.sha256(secret.encode()).hexdigest()


def device_kind(user_agent: str) -> str:
    """Say whose steps to unfold first: `android`, `ios` or `other`."""
    if "Android" in user_agent:
        return "android"
    return "ios" if re.search("iPad|iPhone|Mac", user_agent) else "other"


def device_name(user_agent: str) -> str:
    """Name a device in plain words by what its browser says of itself."""
    kinds = (
        ("Android", "Android device"),
        ("iPad", "iPad"),
        ("iPhone", "iPhone"),
        ("Mac", "iPad or Mac"),  # an iPad asks for pages as a Mac does
        ("Windows", "Windows device"),
        ("CrOS", "ChromeOS device"),
        ("Linux", "Linux device"),
    )
    return next((name for sign, name in kinds if sign in user_agent), "device")
