"""The code that is shown and the one device that is paired.

A code has nine digits, lives for `CODE_LIFE` and works once. Wrong tries do not end it, or a
stranger in the network could keep the player's own tablet out; they are answered one after another,
each after `WRONG_PAUSE_S`, whoever sends them. So at most 6,000 wrong ones fit into a code's life,
and guessing without pause succeeds at most six times in a million codes. After `WRONG_MANY` no
further code is made by itself: each chance of a guess is one that the player gave.

What a device keeps is 256 random bits; here only their SHA-256 is kept, which needs no salt because
nobody can guess the original. The device is a matter of this machine, not of practice: it lies
beside the certificate, not in the log, and leaves with no archive.
"""

import hashlib
import hmac
import re
import secrets
import threading
import time
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path

import msgspec

from coldtake.errors import InputError, StoreError
from coldtake.web.sharing.files import (
    private_folder,
    read_private,
    remove_private,
    write_private,
)

CODE_DIGITS = 9
CODE_LIFE = timedelta(minutes=5)
WRONG_PAUSE_S = 0.05
WRONG_MANY = 20
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
        """Three groups of three digits, easier to read across a room."""
        return " ".join(self.digits[at : at + 3] for at in range(0, CODE_DIGITS, 3))


class Pairing:
    """Makes codes, pairs one device at a time, knows it again, forgets it. Safe across threads."""

    def __init__(self, folder: Path, now: Callable[[], datetime]) -> None:
        self._folder = folder
        self._now = now
        self._lock = threading.Lock()
        self._code: Code | None = None
        self.wrong = 0  # codes that did not work, since the last was made
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
    def guessed_at(self) -> bool:
        """True when somebody tries codes; then only the player makes the next one."""
        return self.wrong >= WRONG_MANY

    def new_code(self) -> Code:
        """Make a fresh code; the one before stops working."""
        digits = f"{secrets.randbelow(10**CODE_DIGITS):0{CODE_DIGITS}d}"
        with self._lock:
            self._code = Code(digits=digits, until=self._now() + CODE_LIFE)
            self.wrong = 0
        return self._code

    def drop_code(self) -> None:
        """No code works any more."""
        with self._lock:
            self._code = None

    def pair(self, typed: str, name: str) -> str:
        """Pair a device by the code shown; return its secret. The device before is forgotten.

        Raises InputError for a code that does not work, after a pause.
        """
        with self._lock:
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

    def _check(self, typed: str) -> None:
        digits = "".join(typed.split())
        code = self.code
        if code and hmac.compare_digest(digits.encode(), code.digits.encode()):
            return
        self.wrong += 1
        time.sleep(WRONG_PAUSE_S)  # with the lock held: whoever sends them, they wait in one line
        raise InputError(
            "This code does not work.",
            where="code",
            remedy="A code is valid for five minutes and once. The computer shows a new one.",
        )

    def _read(self) -> Device | None:
        content = read_private(self._folder / _FILE)
        if content is None:
            return None
        try:
            return msgspec.json.decode(content, type=Device)
        except (msgspec.MsgspecError, UnicodeDecodeError) as fault:
            raise StoreError(
                "The file of the paired device cannot be read.",
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
