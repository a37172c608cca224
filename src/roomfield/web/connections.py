"""Connections: half-open ones are hung up, and the account that asks is known where the system says it."""

from __future__ import annotations

import os
import socket
import struct
import sys
from asyncio import TimerHandle, Transport
from pathlib import Path
from typing import Any, cast

from uvicorn.protocols.http.h11_impl import H11Protocol

OWN, OTHER, UNKNOWN, REMOTE = "own", "other", "unknown", "remote"
"""Who asks: the account that started the program (or the administrator), another one, nobody knows, another device."""
PATIENCE_S = 20.0
"""How long a request or its body may stand still [s]."""
UNREAD_S = 60.0
"""How long an answer may wait to be read [s]."""
_TICK_S = 5.0
_UID_COLUMN = 7


class PatientProtocol(H11Protocol):
    """HTTP/1.1 that waits for a slow sender, but not for ever."""

    _watch: TimerHandle | None = None
    _heard_s = 0.0
    _writable_s = 0.0

    def connection_made(self, transport: Transport) -> None:  # type: ignore[override]
        """Begin to watch, and note who asks."""
        super().connection_made(transport)
        self.app_state = {**self.app_state, "account": account_behind(self.client, self.server)}
        self._heard_s = self._writable_s = self.loop.time()
        self._watch = self.loop.call_later(_TICK_S, self._look)

    def data_received(self, data: bytes) -> None:
        """Something came."""
        self._heard_s = self.loop.time()
        super().data_received(data)

    def connection_lost(self, exc: Exception | None) -> None:
        """Stop watching."""
        if self._watch is not None:
            self._watch.cancel()
        super().connection_lost(exc)

    def _look(self) -> None:
        transport = self.transport
        if transport.is_closing() or transport.get_protocol() is not self:
            return
        now_s = self.loop.time()
        if not transport.get_write_buffer_size():
            self._writable_s = now_s
        cycle = cast("Any", self.cycle)
        waits_for_request = cycle is None or cycle.response_complete
        waits_for_body = cycle is not None and not cycle.response_complete and cycle.more_body
        silent = (waits_for_request or waits_for_body) and now_s - self._heard_s > PATIENCE_S
        if silent or now_s - self._writable_s > UNREAD_S:
            transport.abort()
            return
        self._watch = self.loop.call_later(_TICK_S, self._look)


def knows_accounts() -> bool:
    """Whether this system says which account holds a socket, found out by asking for one of our own."""
    try:
        with socket.create_server(("127.0.0.1", 0)) as door, socket.create_connection(door.getsockname()) as caller:
            return account_behind(caller.getsockname(), door.getsockname()) == OWN
    except OSError:
        return False


def account_behind(client: tuple[str, int] | None, server: tuple[str, int | None] | None) -> str:
    """Which kind of account holds the other end of a connection.

    Linux lists the owner of every socket in /proc/net/tcp (proc(5)); elsewhere nobody knows.

    Parameters
    ----------
    client, server : (str, int) or None
        Addresses and ports of both ends.
    """
    if client is None or server is None or server[1] is None:
        return UNKNOWN
    if client[0] != server[0] and not client[0].startswith(("127.", "::1")):
        return REMOTE
    if not sys.platform.startswith("linux"):
        return UNKNOWN
    for table, first, second in _entries(client[0], int(client[1]), int(server[1]), server[0]):
        owner = _owner(Path("/proc/net") / table, first, second)
        if owner is not None:
            return OWN if owner in (os.getuid(), 0) else OTHER
    return UNKNOWN


def _entries(client: str, client_port: int, server_port: int, server: str) -> list[tuple[str, str, str]]:
    """Where a socket may be listed, and how its two ends are written there."""
    if ":" in client:
        return [("tcp6", f"{_hex(client)}:{client_port:04X}", f"{_hex(server)}:{server_port:04X}")]
    mapped = "0000000000000000FFFF0000"
    first, second = f"{_hex(client)}:{client_port:04X}", f"{_hex(server)}:{server_port:04X}"
    return [("tcp", first, second), ("tcp6", mapped + first, mapped + second)]


def _hex(address: str) -> str:
    """An address as the kernel writes it: words of 32 bits in the byte order of the machine."""
    packed = socket.inet_pton(socket.AF_INET6 if ":" in address else socket.AF_INET, address.partition("%")[0])
    return "".join(f"{word:08X}" for word in struct.unpack(f"={len(packed) // 4}I", packed))


def _owner(table: Path, first: str, second: str) -> int | None:
    try:
        lines = table.read_text(encoding="ascii").splitlines()[1:]
    except (OSError, UnicodeError):
        return None
    for line in lines:
        fields = line.split()
        if fields[1:3] == [first, second]:
            return int(fields[_UID_COLUMN])
    return None
