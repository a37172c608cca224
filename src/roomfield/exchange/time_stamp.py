"""A time-stamp request for the end of a chain (RFC 3161), as a file that its user sends when and where they like."""

from __future__ import annotations

import secrets

_SHA256 = bytes.fromhex("0609608648016503040201")
"""Object identifier 2.16.840.1.101.3.4.2.1 in DER."""
_NULL, _YES, _VERSION_1 = b"\x05\x00", b"\x01\x01\xff", b"\x02\x01\x01"


def request(sha256: str) -> bytes:
    """A ``TimeStampReq`` over a SHA-256 in DER, with a nonce, asking for the certificate.

    Parameters
    ----------
    sha256 : str
        64 hexadecimal digits.
    """
    imprint = _sequence(_sequence(_SHA256, _NULL), _octets(bytes.fromhex(sha256)))
    # A leading byte below 0x80 keeps the nonce positive and in its shortest form.
    nonce = bytes([secrets.randbelow(0x7F) + 1]) + secrets.token_bytes(7)
    return _sequence(_VERSION_1, imprint, b"\x02" + bytes([len(nonce)]) + nonce, _YES)


def answers(response: bytes, sha256: str) -> bool:
    """Whether a ``TimeStampResp`` grants a stamp over this hash.

    Only that it is about this hash is looked at; its signature is checked with ``openssl ts -verify``.
    """
    granted = b"\x30\x03\x02\x01"  # PKIStatusInfo with a status and nothing else
    at = response.find(granted, 0, 16)
    return at > 0 and response[at + 4 : at + 5] in (b"\x00", b"\x01") and _octets(bytes.fromhex(sha256)) in response


def _sequence(*parts: bytes) -> bytes:
    content = b"".join(parts)
    return b"\x30" + bytes([len(content)]) + content


def _octets(content: bytes) -> bytes:
    return b"\x04" + bytes([len(content)]) + content
