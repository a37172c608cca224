"""The door for another device: which address, which certificate, what is printed."""

from __future__ import annotations

import shutil
import socket
import ssl
import subprocess
import sys
import time
import urllib.request

import pytest

from roomfield.errors import InputError
from roomfield.web.server import settings_for, welcome

SERVE = """
import sys
from roomfield.web.server import serve
serve(sys.argv[1], port=int(sys.argv[2]), certificate=sys.argv[3], key=sys.argv[4], open_browser=False)
"""


def free_port():
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@pytest.fixture(scope="module")
def pair(tmp_path_factory):
    if not shutil.which("openssl"):
        pytest.skip("openssl is not installed")
    folder = tmp_path_factory.mktemp("tls")
    certificate, key = folder / "certificate.pem", folder / "key.pem"
    made = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "1", "-subj", "/CN=roomfield",
            "-addext", "subjectAltName=IP:127.0.0.1", "-out", str(certificate), "-keyout", str(key)]  # fmt: skip
    subprocess.run(made, check=True, capture_output=True)
    return str(certificate), str(key)


@pytest.mark.published("RFC 8446 (TLS 1.3) as Python's ssl speaks it; RFC 6265, section 4.1.2.5 (Secure)")
def test_the_connection_is_encrypted_and_cookies_go_over_nothing_else(pair, tmp_path):
    port = free_port()
    command = [sys.executable, "-c", SERVE, str(tmp_path / "record.sqlite"), str(port), *pair]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    trusting = ssl.create_default_context(cafile=pair[0])
    try:
        answer = _asked(f"https://127.0.0.1:{port}/", trusting)
        assert answer.status == 200
        assert "; Secure" in answer.headers["set-cookie"]
        with pytest.raises(OSError, match="CERTIFICATE_VERIFY_FAILED"):
            urllib.request.urlopen(f"https://127.0.0.1:{port}/", timeout=5, context=ssl.create_default_context())
    finally:
        process.kill()
        printed, _ = process.communicate()
    assert f"https://127.0.0.1:{port}/" in printed


def _asked(address, context):
    for _ in range(300):
        try:
            return urllib.request.urlopen(address, timeout=5, context=context)
        except ssl.SSLError:
            raise
        except OSError:
            time.sleep(0.1)
    raise TimeoutError(address)


@pytest.mark.parametrize("host", ["0.0.0.0", "::", ""])
def test_every_address_at_once_is_refused(host):
    with pytest.raises(InputError, match="every address"):
        settings_for(host, 8765)


def test_certificate_and_key_must_be_a_pair(pair, tmp_path):
    certificate, key = pair
    with pytest.raises(InputError, match="together"):
        settings_for("192.0.2.7", 8765, certificate)
    (tmp_path / "no.pem").write_text("nothing", encoding="utf-8")
    for wrong in (key, str(tmp_path / "no.pem"), str(tmp_path / "missing.pem")):
        with pytest.raises(InputError, match="cannot be used"):
            settings_for("192.0.2.7", 8765, wrong, key)
    assert settings_for("192.0.2.7", 8765, certificate, key).encrypted


def test_what_is_printed_says_whether_others_can_read_along(pair):
    plain = settings_for("192.0.2.7", 8765)
    assert plain.access_code in welcome(plain, "http://192.0.2.7:8765/")
    assert "not encrypted" in welcome(plain, "http://192.0.2.7:8765/")
    sealed = settings_for("192.0.2.7", 8765, *pair)
    assert "is encrypted" in welcome(sealed, "https://192.0.2.7:8765/")
    assert settings_for("127.0.0.1", 8765).access_code == ""
