"""Other devices: what lets one in once, a key for each, and the list from which one can be removed."""

from __future__ import annotations

import json
import os
import secrets
import time
from base64 import b32encode
from collections.abc import Callable
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from hashlib import sha256
from pathlib import Path
from threading import Lock

from roomfield.errors import StoreError
from roomfield.web.settings import Settings, new_access_code

MOST_TRIES = 5
"""Wrong codes that an address may give before it must wait."""
FIRST_WAIT_S, LONGEST_WAIT_S = 30.0, 900.0
CODE_LASTS_S = 600.0
PASS_LASTS_S = 14 * 86400.0
"""How long a device's key is good [s]: the visit, the days at the desk and the follow-up of the same week."""
SEEN_EVERY_S = 60.0
"""How often at most it is written down that a device was seen [s]."""
_MOST_ADDRESSES = 4096
_MOST_REMOVED = 200

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
    since, seen : str
        When it was let in and when it last asked for something, ISO 8601.
    until_s : float
        When its key runs out, by the clock on the wall [s since 1970].
    """

    id: str
    name: str
    address: str
    since: str
    until_s: float
    seen: str = ""


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
    """Holds what lets the next device in, and the devices that were let in.

    The next device comes in by a short code that is typed or by a long secret that it reads off a picture; both are
    good for one device and ten minutes. Wrong codes make the address wait that gave them, and nobody else: a stranger
    on the cable cannot lock the owner out. Devices outlive the server if there is a file to keep them in, so that a
    phone whose laptop slept brings what it holds without being let in anew. The file holds hashes of keys, no keys.

    Parameters
    ----------
    settings : Settings
        Whether a code is asked for, the first one, and the file.
    clock : callable
        Seconds that only rise.
    wall : callable
        Seconds since 1970.

    Raises
    ------
    StoreError
        If the file of devices is damaged.
    """

    def __init__(
        self,
        settings: Settings,
        clock: Callable[[], float] = time.monotonic,
        wall: Callable[[], float] = time.time,
    ) -> None:
        self._code, self._clock, self._wall = settings.access_code, clock, wall
        self._secret = _new_secret()
        self._until_s = clock() + CODE_LASTS_S
        self._wrong: dict[str, tuple[int, float]] = {}
        self._file = Path(settings.devices_file) if settings.devices_file else None
        self._devices, self._removed = _read(self._file)
        self._lock = Lock()

    def enter(self, code: str, address: str = "", name: str = "") -> Entered:
        """Try a code or a secret.

        Parameters
        ----------
        code : str
            What was typed or read; case and spaces do not matter.
        address : str
            Where it came from.
        name : str
            What the device's user calls it.
        """
        typed = "".join(code.split()).upper().encode()
        with self._lock:
            tries, free_s = self._wrong.get(address, (0, 0.0))
            if self._clock() < free_s:
                return Entered(refusal=WAIT, wait_s=free_s - self._clock())
            keys = (self._code, self._secret) if self._code else ()
            right = any([secrets.compare_digest(typed, key.encode()) for key in keys])
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
        return device if device is not None and self._wall() < device.until_s else None

    def was_removed(self, key: str) -> bool:
        """Whether a key belonged to a device that was removed; it must then forget what it holds."""
        return bool(key) and _digest(key) in self._removed

    def note_seen(self, key: str) -> None:
        """Write down that the device with this key asked for something."""
        device = self.device_of(key)
        now = self._moment()
        if device is None or (device.seen and _seconds_between(device.seen, now) < SEEN_EVERY_S):
            return
        with self._lock:
            if _digest(key) in self._devices:
                self._devices = {**self._devices, _digest(key): replace(device, seen=now)}
                self._keep()

    def devices(self) -> tuple[Device, ...]:
        """Devices whose keys are good, the one let in first first."""
        return tuple(device for device in self._devices.values() if self._wall() < device.until_s)

    def remove(self, device_id: str) -> None:
        """Let a device in no longer; nothing happens if it is gone already."""
        with self._lock:
            gone = [key for key, one in self._devices.items() if one.id == device_id]
            self._devices = {key: one for key, one in self._devices.items() if one.id != device_id}
            self._removed = (*self._removed, *gone)[-_MOST_REMOVED:]
            self._keep()

    def code(self) -> str:
        """The present code; empty if it ran out or none is asked for."""
        with self._lock:
            return self._code if self._clock() < self._until_s else ""

    def secret(self) -> str:
        """The long secret that the picture carries; empty if it ran out or no device is let in."""
        with self._lock:
            return self._secret if self._code and self._clock() < self._until_s else ""

    def fresh_code(self) -> str:
        """A new code and a new secret; the ones before are good no longer."""
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
        now = self._moment()
        device = Device(secrets.token_hex(6), clean or "?", address, now, self._wall() + PASS_LASTS_S, now)
        good = {digest: one for digest, one in self._devices.items() if self._wall() < one.until_s}
        self._devices = {**good, _digest(key): device}
        self._keep()
        return key

    def _renew(self, *, silent: bool = False) -> None:
        self._code, self._secret = new_access_code(), _new_secret()
        self._until_s = self._clock() + CODE_LASTS_S
        if not silent:
            print(f"One-time code for the next device: {self._code}", flush=True)

    def _moment(self) -> str:
        return datetime.fromtimestamp(self._wall(), UTC).isoformat(timespec="seconds")

    def _keep(self) -> None:
        if self._file is None:
            return
        kept = {"devices": {key: asdict(one) for key, one in self._devices.items()}, "removed": self._removed}
        self._file.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        beside = self._file.with_suffix(".new")
        with os.fdopen(os.open(beside, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "w", encoding="utf-8") as file:
            json.dump(kept, file)
            file.flush()
            os.fsync(file.fileno())
        beside.replace(self._file)


def _read(file: Path | None) -> tuple[dict[str, Device], tuple[str, ...]]:
    if file is None or not file.exists():
        return {}, ()
    try:
        said = json.loads(file.read_text(encoding="utf-8"))
        devices = {str(key): Device(**one) for key, one in said["devices"].items()}
        return devices, tuple(str(key) for key in said["removed"])
    except (OSError, ValueError, KeyError, TypeError, AttributeError) as fault:
        raise StoreError(
            f"the list of devices cannot be read ({fault}).",
            where=str(file),
            mend="Move this file away and let the devices in anew.",
        ) from None


def _seconds_between(earlier: str, later: str) -> float:
    return abs((datetime.fromisoformat(later) - datetime.fromisoformat(earlier)).total_seconds())


def _new_secret() -> str:
    """26 letters and digits, 130 bits."""
    return b32encode(secrets.token_bytes(17)).decode()[:26]


def _digest(key: str) -> str:
    return sha256(key.encode("utf-8", "replace")).hexdigest()
