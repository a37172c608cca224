"""Other devices: the one-time code that lets one in, a key for each, and the list from which one can be removed."""

from __future__ import annotations

import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from hashlib import sha256
from threading import Lock

from roomfield.web.settings import Settings, new_access_code

MOST_TRIES = 5
"""Wrong codes that an address may give before it must wait."""
FIRST_WAIT_S, LONGEST_WAIT_S = 30.0, 900.0
CODE_LASTS_S = 600.0
PASS_LASTS_S = 12 * 3600.0
_MOST_ADDRESSES = 4096

WRONG, WAIT, RUN_OUT = "wrong", "wait", "run out"


@dataclass(frozen=True)
class Device:
    """Another device that was let in.

    Parameters
    ----------
    id : str
        To remove it by.
    name, address : str
        As its user called it, and where it came from.
    since : str
        When it was let in, ISO 8601.
    until_s : float
        When its key runs out, by the clock of the gate [s].
    """

    id: str
    name: str
    address: str
    since: str
    until_s: float


@dataclass(frozen=True)
class Entered:
    """What came of a code.

    Parameters
    ----------
    key : str
        For the device's cookie; empty if it was not let in.
    refusal : str
        Wrong, wait or run out; empty if it was let in.
    wait_s : float
        How long this address must wait [s].
    """

    key: str = ""
    refusal: str = ""
    wait_s: float = 0.0


class Gate:
    """Holds the present code and the devices that were let in.

    Wrong codes make the address wait that gave them, and nobody else: a stranger on the cable cannot lock the owner
    out. The code is used once, and runs out after ten minutes.

    Parameters
    ----------
    settings : Settings
        Whether a code is asked for, and the first one.
    clock : callable
        Seconds that only rise.
    """

    def __init__(self, settings: Settings, clock: Callable[[], float] = time.monotonic) -> None:
        self._code, self._clock = settings.access_code, clock
        self._until_s = clock() + CODE_LASTS_S
        self._wrong: dict[str, tuple[int, float]] = {}
        self._devices: dict[str, Device] = {}
        self._lock = Lock()

    def enter(self, code: str, address: str = "", name: str = "") -> Entered:
        """Try a code.

        Parameters
        ----------
        code : str
            What was typed; case and spaces do not matter.
        address : str
            Where it came from.
        name : str
            What the device's user calls it.
        """
        typed = "".join(code.split()).upper()
        with self._lock:
            tries, free_s = self._wrong.get(address, (0, 0.0))
            if self._clock() < free_s:
                return Entered(refusal=WAIT, wait_s=free_s - self._clock())
            right = bool(self._code) and secrets.compare_digest(typed.encode(), self._code.encode())
            run_out = self._clock() > self._until_s
            if right and not run_out:
                self._wrong.pop(address, None)
                self._renew()
                return Entered(self._let_in(name, address))
            if run_out and self._code:
                self._renew()
            if right:
                return Entered(refusal=RUN_OUT)
            return self._refused(address, tries + 1)

    def device_of(self, key: str) -> Device | None:
        """The device that holds a key; None if there is none, it was removed or its key ran out."""
        device = self._devices.get(_digest(key)) if key else None
        return device if device is not None and self._clock() < device.until_s else None

    def devices(self) -> tuple[Device, ...]:
        """Devices whose keys are good, the one let in first first."""
        return tuple(device for device in self._devices.values() if self._clock() < device.until_s)

    def remove(self, device_id: str) -> None:
        """Let a device in no longer; nothing happens if it is gone already."""
        with self._lock:
            self._devices = {key: one for key, one in self._devices.items() if one.id != device_id}

    def code(self) -> str:
        """The present code; empty if it ran out or none is asked for."""
        with self._lock:
            return self._code if self._clock() < self._until_s else ""

    def fresh_code(self) -> str:
        """A new code; the one before is good no longer."""
        with self._lock:
            self._renew(silent=True)
            return self._code

    def _refused(self, address: str, tries: int) -> Entered:
        wait_s = min(FIRST_WAIT_S * 2.0 ** (tries - MOST_TRIES), LONGEST_WAIT_S) if tries >= MOST_TRIES else 0.0
        self._wrong.pop(address, None)
        while len(self._wrong) >= _MOST_ADDRESSES:
            self._wrong.pop(next(iter(self._wrong)))
        self._wrong[address] = (tries, self._clock() + wait_s)
        return Entered(refusal=WRONG, wait_s=wait_s)

    def _let_in(self, name: str, address: str) -> str:
        key = secrets.token_urlsafe(32)
        clean = " ".join("".join(c if c.isprintable() else " " for c in name).split())[:60]
        since = datetime.now(UTC).isoformat(timespec="seconds")
        device = Device(secrets.token_hex(6), clean or "?", address, since, self._clock() + PASS_LASTS_S)
        self._devices = {**self._devices, _digest(key): device}
        return key

    def _renew(self, *, silent: bool = False) -> None:
        self._code, self._until_s = new_access_code(), self._clock() + CODE_LASTS_S
        if not silent:
            print(f"One-time code for the next device: {self._code}", flush=True)


def _digest(key: str) -> str:
    return sha256(key.encode("utf-8", "replace")).hexdigest()
