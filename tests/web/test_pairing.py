"""A phone beside the computer: the picture it reads, the certificate it is shown, and that it is let in once."""

from __future__ import annotations

import ipaddress
import re
import ssl
import subprocess
import sys
import time
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from cryptography import x509
from starlette.testclient import TestClient

from roomfield.errors import InputError, StoreError
from roomfield.web.access_code import Gate
from roomfield.web.app import create_app
from roomfield.web.pairing import pairing_of
from roomfield.web.phone_certificate import certificate_for, checked_private
from roomfield.web.server import settings_with_phone
from roomfield.web.settings import Settings

from .test_guard import caller
from .test_tls import free_port

PHONE = Settings(phone_host="192.168.137.1", access_code="ABCD2345")
SERVE = """
import sys
from roomfield.web.server import serve
serve(sys.argv[1], host="127.0.0.2", port=int(sys.argv[2]), phone=True, open_browser=False)
"""


@pytest.fixture
def beside(records, tmp_path):
    settings = Settings(**{**vars(PHONE), "devices_file": str(tmp_path / "settings" / "devices.json")})
    with TestClient(create_app(records, settings), base_url="https://192.168.137.1:8765") as made:
        yield made


def let_in(client, code, name="Phone"):
    client.get("/unlock")
    headers = {"x-roomfield-form": client.cookies["roomfield_form"]}
    return client.post("/unlock", data={"code": code, "device": name}, headers=headers, follow_redirects=False)


@pytest.mark.published("ISO/IEC 18004 as read by an independent reader, ZXing")
def test_the_picture_holds_the_address_and_the_secret_behind_the_hash(tmp_path):
    zxingcpp = pytest.importorskip("zxingcpp")
    from PIL import Image, ImageDraw

    pairing = pairing_of(PHONE, "S" * 26)
    box = int(re.search(r'viewBox="0 0 (\d+) \d+"', pairing.picture)[1])
    scale = int(re.search(r'transform="scale\((\d+)\)"', pairing.picture)[1])
    drawn = Image.new("L", (box, box), 255)
    pen, at = ImageDraw.Draw(drawn), [0.0, 0.0]
    for command, numbers in re.findall(r"([MmhH])([-\d. ]+)", re.search(r' d="([^"]+)"', pairing.picture)[1]):
        moves = [float(number) for number in numbers.split()]
        if command == "M":
            at = moves
        elif command == "m":
            at = [at[0] + moves[0], at[1] + moves[1]]
        else:
            end = at[0] + moves[0]
            pen.rectangle([at[0] * scale, (at[1] - 0.5) * scale, end * scale - 1, (at[1] + 0.5) * scale - 1], fill=0)
            at = [end, at[1]]
    (read,) = zxingcpp.read_barcodes(drawn)
    assert read.text == f"https://192.168.137.1:8765/unlock#{'S' * 26}"


def test_the_secret_lets_one_phone_in_and_never_stands_in_an_address_that_is_sent(beside):
    secret = beside.app.state.gate.secret()
    assert len(secret) == 26
    assert beside.get("/", follow_redirects=False).headers["location"] == "/unlock"
    answer = let_in(beside, secret, "Phone of the assistant")
    assert answer.status_code == 303
    assert "secure" in answer.headers["set-cookie"].lower()
    assert beside.get("/").status_code == 200
    beside.cookies.clear()
    assert let_in(beside, secret).status_code == 403


def test_a_device_outlives_the_server_and_its_file_holds_no_key(beside, records):
    let_in(beside, beside.app.state.gate.secret(), "Phone")
    key = beside.cookies["roomfield_pass"]
    settings = beside.app.state.settings
    kept = Path(settings.devices_file)
    assert key not in kept.read_text(encoding="utf-8")
    assert kept.stat().st_mode & 0o077 == 0
    again = Gate(settings)
    assert again.device_of(key).name == "Phone"
    again.remove(again.devices()[0].id)
    assert Gate(settings).device_of(key) is None
    assert Gate(settings).was_removed(key)


def test_a_damaged_list_of_devices_is_told_and_opens_for_nobody(tmp_path):
    file = tmp_path / "devices.json"
    for broken in ("", "{", '{"devices": {"a": {"id": 1}}, "removed": []}', '{"devices": [], "removed": []}'):
        file.write_text(broken, encoding="utf-8")
        with pytest.raises(StoreError, match="list of devices"):
            Gate(Settings(devices_file=str(file)))


@pytest.mark.published("W3C Clear Site Data, section 3.1")
def test_a_removed_device_is_told_to_forget_and_an_unknown_one_is_not(beside):
    let_in(beside, beside.app.state.gate.secret())
    gate = beside.app.state.gate
    assert "clear-site-data" not in beside.get("/unlock").headers
    gate.remove(gate.devices()[0].id)
    assert beside.get("/", follow_redirects=False).headers["location"] == "/unlock"
    assert beside.get("/api/v1/surveys").status_code == 401
    told = beside.get("/unlock")
    assert told.headers["clear-site-data"] == '"cache", "storage"'
    assert "This device was removed." in told.text
    assert "roomfield_pass" not in beside.cookies


def test_when_a_device_was_last_seen_is_noted_once_a_minute(tmp_path):
    now = [1.8e9]
    gate = Gate(Settings(access_code="ABCD2345", devices_file=str(tmp_path / "devices.json")), wall=lambda: now[0])
    key = gate.enter("ABCD2345", "10.0.0.9", "Phone").key
    seen = []
    for later_s in (0.0, 30.0, 60.0, 90.0, 3600.0):
        now[0] = 1.8e9 + later_s
        gate.note_seen(key)
        seen.append(gate.devices()[0].seen[11:19])
    assert seen == ["08:00:00", "08:00:00", "08:01:00", "08:01:00", "09:00:00"]


@pytest.mark.published("RFC 5280, sections 4.2.1.9 and 4.2.1.10, as OpenSSL checks a chain")
def test_the_root_vouches_for_private_addresses_and_for_nothing_else(tmp_path):
    own = certificate_for("192.168.137.1", tmp_path)
    root = x509.load_der_x509_certificate(own.root)
    (tmp_path / "root.pem").write_bytes((tmp_path / "phone-root.pem").read_bytes())
    good = _verified(tmp_path, "phone.pem", "-verify_ip", "192.168.137.1")
    assert good.returncode == 0, good.stderr
    from roomfield.web import phone_certificate

    key = phone_certificate._kept(tmp_path / "phone-root")[1]
    for address in ("192.168.137.1", "8.8.8.8"):
        phone_certificate._new_leaf(tmp_path, address, root, key)
        done = _verified(tmp_path, "phone.pem")
        assert (done.returncode == 0) == ipaddress.ip_address(address).is_private, (address, done.stderr)
    assert "permitted subtree violation" in done.stderr
    assert (tmp_path / "phone-root.key").stat().st_mode & 0o077 == 0


def _verified(folder, name, *more):
    command = ["openssl", "verify", "-CAfile", str(folder / "root.pem"), *more, str(folder / name)]
    return subprocess.run(command, capture_output=True, text=True, check=False)


def test_the_root_stays_and_a_new_address_has_a_new_certificate(tmp_path):
    first, again = certificate_for("10.0.0.5", tmp_path), certificate_for("10.0.0.5", tmp_path)
    other = certificate_for("10.0.0.6", tmp_path)
    assert first.fingerprint == again.fingerprint != other.fingerprint
    assert first.root_fingerprint == again.root_fingerprint == other.root_fingerprint
    (tmp_path / "phone.key").write_bytes((tmp_path / "phone-root.key").read_bytes())  # killed between the two files
    assert certificate_for("10.0.0.6", tmp_path).fingerprint != other.fingerprint
    (tmp_path / "phone-root.pem").write_text("damaged", encoding="ascii")
    with pytest.raises(StoreError, match="certificate cannot be kept or read"):
        certificate_for("10.0.0.6", tmp_path)


@pytest.mark.parametrize("address", ["8.8.8.8", "2001:4860:4860::8888", "100.64.0.1", "laptop.local", ""])
def test_an_address_that_strangers_reach_is_refused(address):
    with pytest.raises(InputError, match=r"private address|no address"):
        checked_private(address)


def test_a_certificate_of_ones_own_and_the_phone_s_exclude_each_other():
    with pytest.raises(InputError, match="certificate of its own"):
        settings_with_phone("127.0.0.1", 8765, "c.pem", "k.pem")


def test_this_computer_comes_in_at_loopback_and_the_phone_encrypted_beside_it(tmp_path, monkeypatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    port = free_port()
    command = [sys.executable, "-c", SERVE, str(tmp_path / "record.sqlite"), str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        page = _opened(f"http://127.0.0.1:{port}/devices", urllib.request.build_opener())
        root = tmp_path / "config" / "roomfield" / "phone-root.pem"
        trusting = urllib.request.HTTPSHandler(context=ssl.create_default_context(cafile=str(root)))
        jar = urllib.request.HTTPCookieProcessor(CookieJar())
        phone = urllib.request.build_opener(trusting, jar)
        shown = _opened(f"https://127.0.0.2:{port}/unlock", phone)
        served = _opened(f"https://127.0.0.2:{port}/unlock/root.crt", phone)
    finally:
        process.kill()
        printed, _ = process.communicate()
    assert "pairing-code" in page
    assert x509.load_der_x509_certificate(served.encode("latin-1")) is not None
    assert "Load the certificate" in shown
    assert "SHA-256 is" in printed
    assert all(cookie.secure for cookie in jar.cookiejar)


def _opened(address, opener):
    for _ in range(300):
        try:
            with opener.open(address, timeout=5) as answer:
                content = answer.read()
                return content.decode("latin-1" if address.endswith(".crt") else "utf-8")
        except urllib.error.HTTPError:
            raise
        except OSError:
            time.sleep(0.1)
    raise TimeoutError(address)


def test_the_page_of_devices_waits_for_the_phone(beside):
    gate, owner = beside.app.state.gate, caller(beside, "own")
    assert beside.get("/devices/state", follow_redirects=False).status_code == 303
    gate.fresh_code()
    assert owner.get("/devices/state").json() == {"devices": [], "open": True}
    let_in(beside, gate.secret())
    assert owner.get("/devices/state").json()["devices"] == [gate.devices()[0].id]
    assert beside.get("/devices/state").status_code == 422
