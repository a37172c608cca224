"""Who writes: a name and a device, set once on this computer and put on every entry and change."""

from __future__ import annotations

import getpass
import json
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import asdict, dataclass
from pathlib import Path

from roomfield.errors import InputError, StoreError
from roomfield.user_folder import settings_folder

LONGEST = 120


@dataclass(frozen=True)
class Identity:
    """Who, and on which device.

    Parameters
    ----------
    name : str
        As it shall stand in the record.
    device : str
        Name of the computer, tablet or telephone.
    signer : str
        Public key whose private half lies in the system's keyring, hexadecimal; empty if there is none.
    """

    name: str
    device: str
    signer: str = ""


_ACTING: ContextVar[Identity | None] = ContextVar("roomfield_identity", default=None)


def present_identity() -> Identity:
    """The one that acts now: named for this piece of work, else set on this computer, else its login name."""
    return _ACTING.get() or kept_identity() or Identity(_login(), platform.node() or "this computer")


@contextmanager
def acting_as(identity: Identity) -> Iterator[None]:
    """Let everything written inside carry this identity."""
    token = _ACTING.set(identity)
    try:
        yield
    finally:
        _ACTING.reset(token)


def identity_file() -> Path:
    """Where the identity of this computer's user is kept."""
    return settings_folder() / "identity.json"


def kept_identity() -> Identity | None:
    """The identity that was set; None if none was, or the file cannot be read."""
    try:
        said = json.loads(identity_file().read_text(encoding="utf-8"))
        return Identity(str(said["name"]), str(said["device"]), str(said.get("signer", "")))
    except (OSError, ValueError, KeyError, TypeError):
        return None


def set_identity(name: str, device: str = "", signer: str = "") -> Identity:
    """Keep name, device and public key for everything that is written from now on.

    Raises
    ------
    InputError
        If a name cannot be.
    StoreError
        If it cannot be kept.
    """
    made = Identity(_checked(name, "name"), _checked(device or platform.node() or "this computer", "device"), signer)
    path = identity_file()
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        path.write_text(json.dumps(asdict(made), ensure_ascii=False) + "\n", encoding="utf-8")
    except OSError as fault:
        raise StoreError(f"the name cannot be kept ({fault.strerror}).", where=str(path), mend="Check it.") from None
    return made


def _checked(text: str, what: str) -> str:
    clean = " ".join(text.split())
    if not clean or len(clean) > LONGEST or not clean.isprintable():
        raise InputError(f"{text[:40]!r} cannot be a {what}.", mend=f"Give 1 to {LONGEST} printable letters.")
    return clean


def _login() -> str:
    try:
        return getpass.getuser()
    except (OSError, KeyError, ImportError):
        return "unknown"
