"""A survey package under a passphrase: the age format (age-encryption.org/v1), scrypt and ChaCha20-Poly1305."""

from __future__ import annotations

import os
from pathlib import Path

from roomfield.errors import InputError, IntegrityError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular

ENDING = ".age"
SHORTEST_PASSPHRASE = 12
_MOST_BYTES = 2**30
# The library sizes the work of a passphrase by the speed of the moment, sealing and opening: what was sealed on a quiet
# machine is refused on one sixteen times slower, before the passphrase is tried. It tells so in its sentence alone.
_TOO_MUCH_WORK = "Excessive work"

_pyrage = library("pyrage", "sealed")


def seal(package: Path, target: Path, passphrase: str) -> None:
    """Write a package so that only who knows the passphrase can read it.

    Parameters
    ----------
    package : Path
        The zip file.
    target : Path
        Written under another name first, and readable by its owner only.
    passphrase : str
        At least twelve characters.

    Raises
    ------
    InputError
        If the passphrase is too short or the package too long.
    MissingExtraError
        If the library is not installed.
    """
    if len(passphrase) < SHORTEST_PASSPHRASE:
        raise InputError(
            f"the passphrase has {len(passphrase)} characters; at least {SHORTEST_PASSPHRASE} are asked for.",
            mend="Choose four or five words that do not belong together.",
        )
    content = _pyrage.passphrase.encrypt(_read(package), passphrase)
    partial = target.with_name(f".{target.name}.partial")
    try:
        with os.fdopen(os.open(partial, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        partial.replace(target)
    finally:
        partial.unlink(missing_ok=True)


def unseal(sealed: Path, target: Path, passphrase: str) -> None:
    """Write the package that lies under a passphrase.

    Parameters
    ----------
    target : Path
        Where to; readable by its owner only.

    Raises
    ------
    InputError
        If the file cannot be read, or opening it takes more work than the machine does at the moment.
    IntegrityError
        If the passphrase is another, or the file was changed.
    """
    content = _read(sealed)
    try:
        package = _pyrage.passphrase.decrypt(content, passphrase)
    except _pyrage.DecryptError as fault:
        if _TOO_MUCH_WORK in str(fault):
            raise InputError(
                "opening it takes more work than this machine does in a reasonable time at the moment.",
                where=sealed.name,
                mend="Close other programs and try again; a much slower machine than the sealing one never opens it.",
            ) from None
        raise IntegrityError(
            "it does not open: the passphrase is another, or the file was changed.",
            where=sealed.name,
            mend="Type the passphrase again, or ask for the file again.",
        ) from None
    with os.fdopen(os.open(target, os.O_CREAT | os.O_TRUNC | os.O_WRONLY, 0o600), "wb") as file:
        file.write(package)


def _read(path: Path) -> bytes:
    refuse_irregular(path)
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise InputError("it is longer than 1 GiB.", where=path.name, mend="Take recordings and logs out first.")
        return path.read_bytes()
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None
