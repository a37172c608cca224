"""Links signed with a key of their author (Ed25519, RFC 8032): the private key lies in the keyring of the system.

Whoever can write to the database could make a chain anew, but not sign it.
"""

from __future__ import annotations

from typing import Any

from roomfield.errors import StoreError
from roomfield.extras import MissingExtraError, library

_SERVICE = "roomfield"
_keyring = library("keyring", "signed")
_keys = library("cryptography.hazmat.primitives.asymmetric.ed25519", "signed")
_faults = library("cryptography.exceptions", "signed")


def new_key() -> str:
    """Make a key pair, keep the private key in the system's keyring, and give the public one (hexadecimal).

    Raises
    ------
    MissingExtraError
        If the libraries are not installed.
    StoreError
        If the system has no keyring that can be used.
    """
    private = _keys.Ed25519PrivateKey.generate()
    public = str(private.public_key().public_bytes_raw().hex())
    try:
        _keyring.set_password(_SERVICE, public, private.private_bytes_raw().hex())
    except MissingExtraError:
        raise
    except Exception as fault:  # every system's keyring fails in its own way
        raise StoreError(
            f"the key cannot be kept ({' '.join(str(fault).split())[:120]}).",
            where="keyring of the system",
            mend="Unlock it, or go on without signatures.",
        ) from None
    return public


def signature_of(sha256: str, public: str) -> str:
    """The signature of a hash by the key that is kept; empty if it cannot be had now: no entry is lost for it."""
    try:
        private = _keyring.get_password(_SERVICE, public) if public else ""
        if not private:
            return ""
        return str(_keys.Ed25519PrivateKey.from_private_bytes(bytes.fromhex(private)).sign(bytes.fromhex(sha256)).hex())
    except Exception:  # a locked keyring, a damaged key, a missing library: the entry is kept without a signature
        return ""


def is_signed(sha256: str, public: str, signature: str) -> bool:
    """Whether a signature belongs to this hash and key.

    Raises
    ------
    MissingExtraError
        If the libraries are not installed.
    """
    try:
        key: Any = _keys.Ed25519PublicKey.from_public_bytes(bytes.fromhex(public))
        key.verify(bytes.fromhex(signature), bytes.fromhex(sha256))
    except (ValueError, _faults.InvalidSignature):
        return False
    return True
