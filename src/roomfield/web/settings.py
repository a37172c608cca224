"""What a running door needs to know about itself."""

from __future__ import annotations

import secrets
from dataclasses import dataclass

LOOPBACK_HOSTS = ("127.0.0.1", "localhost", "[::1]")
DEFAULT_PORT = 8765


@dataclass(frozen=True)
class Settings:
    """Address, limits and access of the local server.

    Parameters
    ----------
    host : str
        Address that is listened on.
    port : int
        Port that is listened on.
    access_code : str
        One-time code a second device must enter; empty on loopback, where none is asked for.
    upload_limit_bytes : int
        Largest request body that is accepted [byte].
    own_account_only : bool
        True if other accounts of this computer are not answered.
    start_key : str
        Key that this computer's user has; asked for where the system does not say which account asks. Empty asks
        nobody.
    encrypted : bool
        True if the connection is TLS; cookies are then sent over nothing else.
    """

    host: str = "127.0.0.1"
    port: int = DEFAULT_PORT
    access_code: str = ""
    upload_limit_bytes: int = 300 * 1024 * 1024
    own_account_only: bool = False
    start_key: str = ""
    encrypted: bool = False

    @property
    def allowed_hosts(self) -> frozenset[str]:
        """Values of the ``Host`` header that are answered, with and without the port."""
        own = f"[{self.host}]" if ":" in self.host else self.host
        names = {*LOOPBACK_HOSTS, own}
        return frozenset({*names, *(f"{name}:{self.port}" for name in names)})

    @property
    def is_loopback(self) -> bool:
        """True if no other device can reach the server."""
        return self.host in {"127.0.0.1", "localhost", "::1"}


def new_access_code() -> str:
    """Eight letters and digits that cannot be mistaken for one another when read aloud."""
    alphabet = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    return "".join(secrets.choice(alphabet) for _ in range(8))
