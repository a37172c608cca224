"""The picture by which a phone finds this computer and comes in."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from markupsafe import Markup

from roomfield.errors import RoomfieldError
from roomfield.extras import library
from roomfield.web.settings import Settings

segno: Any = library("segno", "phone")


@dataclass(frozen=True)
class Pairing:
    """What the page of devices shows to the next phone.

    Parameters
    ----------
    address : str
        Where the pages are, without the secret.
    picture : Markup
        QR code (ISO/IEC 18004) as SVG; empty if the library for it is missing.
    encrypted : bool
        Whether the phone speaks over TLS.
    fingerprint, root_fingerprint : str
        SHA-256 of the certificate shown and of the root; empty with a certificate that was brought along.
    """

    address: str
    picture: Markup
    encrypted: bool
    fingerprint: str
    root_fingerprint: str


def pairing_of(settings: Settings, secret: str) -> Pairing | None:
    """What lets the next phone in; None if nothing does now.

    Parameters
    ----------
    settings : Settings
        Where others find the pages.
    secret : str
        Good once. It stands behind the ``#``: no browser sends that part, so it reaches no log and no referrer.
    """
    address = settings.address_for_others
    if not (address and secret):
        return None
    return Pairing(
        address,
        _picture(f"{address}unlock#{secret}"),
        address.startswith("https"),
        settings.fingerprint,
        settings.root_fingerprint,
    )


def _picture(text: str) -> Markup:
    try:
        code = segno.make(text, error="m", micro=False)
    except RoomfieldError:
        return Markup()
    drawn: str = code.svg_inline(scale=6, border=4, svgclass="pairing-code", lineclass=None, omitsize=True)
    return Markup(drawn)
