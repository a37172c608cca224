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
        True if the connection at ``host`` is TLS.
    phone_host : str
        Address at which a phone beside this computer comes in, encrypted, at the same port; empty for none.
    fingerprint, root_fingerprint : str
        SHA-256 of the certificate that the phone is shown, and of the root that it can be told to trust.
    root : bytes
        That root in DER form.
    devices_file : str
        Where the devices that were let in are kept; empty keeps them no longer than the server runs.
    """

    host: str = "127.0.0.1"
    port: int = DEFAULT_PORT
    access_code: str = ""
    upload_limit_bytes: int = 300 * 1024 * 1024
    own_account_only: bool = False
    start_key: str = ""
    encrypted: bool = False
    phone_host: str = ""
    fingerprint: str = ""
    root_fingerprint: str = ""
    root: bytes = b""
    devices_file: str = ""

    @property
    def allowed_hosts(self) -> frozenset[str]:
        """Values of the ``Host`` header that are answered, with and without the port."""
        names = {*LOOPBACK_HOSTS, *(bracketed(host) for host in (self.host, self.phone_host) if host)}
        return frozenset({*names, *(f"{name}:{self.port}" for name in names)})

    @property
    def is_loopback(self) -> bool:
        """True if no other device can reach the server."""
        return self.host in {"127.0.0.1", "localhost", "::1"} and not self.phone_host

    @property
    def address_for_others(self) -> str:
        """Where another device finds the pages; empty if none can."""
        if self.is_loopback:
            return ""
        secure = self.encrypted or bool(self.phone_host)
        return f"{'https' if secure else 'http'}://{bracketed(self.phone_host or self.host)}:{self.port}/"


def bracketed(host: str) -> str:
    """A host as it stands in an address: IPv6 in brackets (RFC 3986, section 3.2.2)."""
    return f"[{host}]" if ":" in host else host


def new_access_code() -> str:
    """Eight letters and digits that cannot be mistaken for one another when read aloud."""
    alphabet = "23456789ABCDEFGHJKLMNPQRSTUVWXYZ"
    return "".join(secrets.choice(alphabet) for _ in range(8))
