"""A running server: who asks, who stands still, and what comes over the socket."""

from __future__ import annotations

import asyncio
import os
import shutil
import socket
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
import websockets

from roomfield.errors import InputError
from roomfield.web import connections
from roomfield.web.connections import OTHER, OWN, REMOTE, UNKNOWN, account_behind, knows_accounts
from roomfield.web.server import serve, settings_for, start_address, welcome
from roomfield.web.start_key import kept_start_key, page_that_leads_to

START = (
    "import sys; from roomfield.web.server import serve; serve(sys.argv[1], port=int(sys.argv[2]), open_browser=False)"
)
SHORT = "from roomfield.web import connections as c; c.PATIENCE_S = 0.5; c._TICK_S = 0.2; "
LINUX = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="only Linux says who holds a socket")


@pytest.fixture(scope="module")
def server(tmp_path_factory):
    folder = tmp_path_factory.mktemp("served")
    with socket.create_server(("127.0.0.1", 0)) as door:
        port = door.getsockname()[1]
    log = (folder / "log").open("w+")
    command = [sys.executable, "-c", SHORT + START, str(folder / "record.sqlite"), str(port)]
    process = subprocess.Popen(command, stdout=log, stderr=log)
    for _ in range(300):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            break
        except OSError:
            time.sleep(0.2)
    yield port, Path(log.name)
    process.terminate()
    process.wait(timeout=20)
    log.close()


def asked(port: int, text: bytes) -> bytes:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as caller:
        caller.sendall(text)
        return caller.recv(4096)


def hung_up_after(port: int, text: bytes) -> float:
    with socket.create_connection(("127.0.0.1", port), timeout=20) as caller:
        caller.sendall(text)
        began = time.monotonic()
        try:
            while caller.recv(4096):
                pass
        except ConnectionResetError:
            pass
        return time.monotonic() - began


@LINUX
def test_this_account_is_answered_without_any_key(server):
    port, _ = server
    assert b" 200 " in asked(port, b"GET / HTTP/1.1\r\nhost: 127.0.0.1:%d\r\nconnection: close\r\n\r\n" % port)


@LINUX
@pytest.mark.skipif(os.name != "posix" or os.getuid() != 0 or not shutil.which("runuser"), reason="needs two accounts")
def test_another_account_is_not_answered(server):
    port, _ = server
    code = f"import urllib.request as u; print(u.urlopen('http://127.0.0.1:{port}/').status)"
    done = subprocess.run(
        ["runuser", "-u", "nobody", "--", "/usr/bin/python3", "-c", code], capture_output=True, text=True, check=False
    )
    if "No such file" in done.stderr or "not found" in done.stderr:
        pytest.skip("the other account has no Python")
    assert "403" in done.stderr


@pytest.mark.parametrize(
    "text",
    [
        b"",
        b"GET / HTTP/1.1\r\nhost: 127.0",
        b"POST /language HTTP/1.1\r\nhost: 127.0.0.1:%d\r\nx-roomfield-client: a\r\ncontent-length: 9\r\n"
        b"content-type: application/x-www-form-urlencoded\r\n\r\nab",
    ],
)
def test_a_connection_that_stands_still_is_hung_up(server, text):
    port, _ = server
    assert hung_up_after(port, text % port if b"%d" in text else text) < 15


def _run(call):
    """In a thread of its own: a browser test before it may have left a loop running in this one."""
    with ThreadPoolExecutor(1) as pool:
        return pool.submit(asyncio.run, call).result()


def test_frames_of_text_and_of_nonsense_print_no_trace(server):
    port, log = server

    async def send(frames):
        async with websockets.connect(f"ws://127.0.0.1:{port}/surveys/any/listen/live?rate=48000") as line:
            for frame in frames:
                await line.send(frame)
            return await asyncio.wait_for(line.recv(), 20)

    for frames in (["text"], [b"abc"], ["{}", b"\0" * 8]):
        assert "broken" in str(_run(send(frames)))
    for rate in ("0", "nan", "1e308", "-1"):
        address = f"ws://127.0.0.1:{port}/surveys/any/listen/live?rate={rate}"

        async def listen(address=address):
            async with websockets.connect(address) as line:
                return await asyncio.wait_for(line.recv(), 20)

        assert "fault" in str(_run(listen()))
    assert "Traceback" not in log.read_text()


@LINUX
def test_the_system_says_who_holds_a_socket(monkeypatch):
    assert knows_accounts()
    with socket.create_server(("127.0.0.1", 0)) as door, socket.create_connection(door.getsockname()) as caller:
        ends = caller.getsockname(), door.getsockname()
        assert account_behind(*ends) == OWN
        monkeypatch.setattr(connections, "_owner", lambda *_: 65534)
        assert account_behind(*ends) == OTHER
    assert account_behind(("192.0.2.8", 5000), ("192.0.2.7", 8765)) == REMOTE
    monkeypatch.setattr(connections, "_owner", lambda *_: None)
    assert account_behind(*ends) == UNKNOWN
    assert not knows_accounts()
    assert account_behind(None, None) == UNKNOWN


@pytest.mark.published("proc(5), /proc/net/tcp: addresses as hexadecimal words in the byte order of the machine")
def test_addresses_are_written_as_the_kernel_does():
    if sys.byteorder == "little":
        assert connections._hex("127.0.0.1") == "0100007F"
        assert connections._hex("::1") == "00000000000000000000000001000000"


def test_without_the_system_s_word_a_key_is_kept_for_the_user_alone(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    monkeypatch.setattr(connections, "knows_accounts", lambda: False)
    settings = settings_for("127.0.0.1", 8765)
    assert settings.start_key == kept_start_key() == kept_start_key()
    assert start_address(settings, "http://127.0.0.1:8765/") in welcome(settings, "http://127.0.0.1:8765/")
    assert (tmp_path / "roomfield" / "start.key").stat().st_mode & 0o077 == 0
    page = page_that_leads_to(start_address(settings, "http://127.0.0.1:8765/"))
    assert page.stat().st_mode & 0o077 == 0
    assert settings.start_key in page.read_text()
    page.unlink()


def test_a_port_that_is_taken_is_told_before_anything_is_opened(tmp_path):
    taken = r"cannot be listened on \(address already in use\)"
    with socket.create_server(("127.0.0.1", 0)) as door, pytest.raises(InputError, match=taken):
        serve(str(tmp_path / "record.sqlite"), port=door.getsockname()[1], open_browser=False)
    assert list(tmp_path.iterdir()) == []
