"""The one-time code for another device: checked, counted, replaced once used."""

from __future__ import annotations

import secrets
from threading import Lock

from roomfield.web.settings import Settings, new_access_code

MOST_TRIES = 5


class Gate:
    """Holds the present code; a code lets one device in, then the next one is made.

    Parameters
    ----------
    settings : Settings
        Whether a code is asked for, and the first one.
    """

    def __init__(self, settings: Settings) -> None:
        self._code, self._key, self._tries = settings.access_code, settings.session_key, 0
        self._lock = Lock()

    def enter(self, code: str) -> str:
        """The key for the device's cookie, or an empty text if the code is wrong.

        Parameters
        ----------
        code : str
            What was typed; case and spaces do not matter.
        """
        typed = "".join(code.split()).upper()
        with self._lock:
            if not self._code:
                return ""
            if secrets.compare_digest(typed.encode(), self._code.encode()):
                self._renew()
                return self._key
            self._tries += 1
            if self._tries >= MOST_TRIES:
                self._renew()
            return ""

    def _renew(self) -> None:
        self._code, self._tries = new_access_code(), 0
        print(f"One-time code for the next device: {self._code}", flush=True)
