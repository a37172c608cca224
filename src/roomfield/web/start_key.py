"""The key of this computer's user: kept in a file that no other account can read, and handed to the browser unseen."""

from __future__ import annotations

import os
import re
import secrets
import tempfile
from html import escape
from pathlib import Path

from roomfield.errors import StoreError
from roomfield.user_folder import settings_folder

_KEY = re.compile(r"[\w-]{30,80}")


def kept_start_key() -> str:
    """The key, made on first use; it stays the same, so that a browser that was let in once is let in again.

    Raises
    ------
    StoreError
        If it cannot be kept.
    """
    path = settings_folder() / "start.key"
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            with os.fdopen(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o600), "w", encoding="ascii") as file:
                file.write(secrets.token_urlsafe(32))
        key = path.read_text(encoding="ascii").strip()
    except (OSError, UnicodeError) as fault:
        raise StoreError(f"the start key cannot be kept ({fault}).", where=str(path), mend="Check it.") from None
    if not _KEY.fullmatch(key):
        raise StoreError("the start key is damaged.", where=str(path), mend="Remove this file and start again.")
    return key


def page_that_leads_to(address: str) -> Path:
    """A file of this account that leads a browser to an address, so that the key in it stands in no list of processes.

    Parameters
    ----------
    address : str
        With the key.
    """
    handle, name = tempfile.mkstemp(prefix="roomfield-", suffix=".html")
    with os.fdopen(handle, "w", encoding="utf-8") as file:
        file.write(
            f'<!doctype html><meta charset="utf-8"><meta http-equiv="refresh" content="0; url={escape(address)}">'
        )
    return Path(name)
