"""The doorkeeper: hosts, origins, forms, sizes, devices and headers."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

from roomfield.web.access_code import Gate
from roomfield.web.api import ROUTERS as API_ROUTERS
from roomfield.web.app import create_app
from roomfield.web.pages import ROUTERS as PAGE_ROUTERS
from roomfield.web.settings import Settings

PAGES = ["/", "/surveys/new", "/help", "/api", "/api/openapi.json", "/static/css/paper.css"]


@pytest.mark.parametrize("path", PAGES)
@pytest.mark.published("W3C Content Security Policy Level 3, sections 6.1 and 6.3")
def test_every_answer_carries_a_policy_that_allows_only_this_server(client, path):
    headers = client.get(path).headers
    policy = dict(part.strip().split(" ", 1) for part in headers["content-security-policy"].split(";"))
    assert policy["default-src"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["connect-src"] == "'self'"
    assert "unsafe" not in headers["content-security-policy"]
    assert "*" not in headers["content-security-policy"]
    assert headers["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("host", ["evil.example", "127.0.0.1.evil.example:8765", "127.0.0.1:9999", ""])
@pytest.mark.published("RFC 9110, section 15.5.20 (421 Misdirected Request): a name rebound to loopback is refused")
def test_foreign_host_names_are_not_answered(client, host):
    assert client.get("/", headers={"host": host}).status_code == 421


@pytest.mark.parametrize("origin", ["http://evil.example", "null", "http://127.0.0.1:8766"])
@pytest.mark.published("RFC 6454, section 7.3: the Origin header names who asks")
def test_requests_from_another_site_are_refused(client, origin):
    assert client.post("/tour", headers={"origin": origin}).status_code == 403


def test_our_own_origin_is_answered(client):
    answer = client.post("/tour", headers={"origin": "http://127.0.0.1:8765"}, follow_redirects=False)
    assert answer.status_code == 303


def test_a_cross_site_fetch_is_refused_even_without_an_origin(client):
    assert client.post("/tour", headers={"sec-fetch-site": "cross-site"}).status_code == 403


def changing_routes():
    for router in (*PAGE_ROUTERS, *API_ROUTERS):
        for route in router.routes:
            for method in getattr(route, "methods", set()) - {"GET", "HEAD"}:
                yield method, route.path.replace("{survey_id}", "any")


@pytest.mark.parametrize(("method", "path"), sorted(changing_routes()))
def test_nothing_changes_without_the_key_of_the_form(client, method, path):
    del client.headers["x-roomfield-form"]
    answer = client.request(method, path, headers={"content-type": "application/x-www-form-urlencoded"}, content="a=1")
    assert answer.status_code == 403


def test_the_key_in_the_form_itself_is_taken(client):
    key = client.headers.pop("x-roomfield-form")
    answer = client.post("/language", data={"form_key": key, "language": "de", "back": "/"}, follow_redirects=False)
    assert answer.status_code == 303
    assert "language=de" in answer.headers["set-cookie"]


def test_the_key_in_a_multipart_form_is_taken(client):
    key = client.headers.pop("x-roomfield-form")
    answer = client.post(
        "/surveys/import", data={"form_key": key}, files={"package": ("a.zip", b"no zip", "application/zip")}
    )
    assert answer.status_code == 422
    assert "zip" in answer.text.lower()


def test_a_wrong_key_is_refused(client):
    client.headers["x-roomfield-form"] = "x" * 32
    assert client.post("/tour").status_code == 403


def test_programs_are_let_in_by_a_header_no_foreign_page_can_send(client):
    del client.headers["x-roomfield-form"]
    answer = client.post("/api/v1/surveys", json={"title": "By a program"}, headers={"x-roomfield-client": "test"})
    assert answer.status_code == 201
    refused = client.post("/tour", headers={"x-roomfield-client": "test"})
    assert refused.status_code == 403


@pytest.mark.published("RFC 9110, section 15.5.14 (413 Content Too Large)")
def test_a_body_over_the_limit_is_refused_whether_it_says_so_or_not(client):
    def stream():
        for _ in range(40):
            yield b"x" * 65536

    said = client.put("/api/v1/surveys/any/plan?revision=1", content=b"x" * 1_000_001)
    unsaid = client.put("/api/v1/surveys/any/plan?revision=1", content=stream())
    assert (said.status_code, unsaid.status_code) == (413, 413)
    assert "larger than" in said.json()["what"]


def test_refusals_at_the_door_are_told_in_the_reader_s_language(client):
    answer = client.post("/tour", headers={"origin": "http://evil.example", "accept-language": "de"})
    assert answer.text == "Die Anfrage kam von einer anderen Seite und wurde abgewiesen."
    client.headers["x-roomfield-form"] = "x" * 32
    told = client.put("/api/v1/surveys/any/plan?revision=1", content=b"{}", headers={"cookie": "language=de"})
    assert told.json()["what"].startswith("Das Formular ist veraltet.")


def test_language_never_leads_away(client):
    for back in ("//evil.example", "http://evil.example", "/\\evil.example"):
        answer = client.post("/language", data={"language": "en", "back": back}, follow_redirects=False)
        assert answer.headers["location"] == "/"


@pytest.fixture
def guarded(records):
    settings = Settings(host="192.0.2.7", access_code="ABCD2345")
    with TestClient(create_app(records, settings), base_url="http://192.0.2.7:8765") as made:
        yield made


def unlock(client, code, device=""):
    client.get("/unlock")
    return client.post("/unlock", data={"code": code, "device": device}, headers={"x-roomfield-form": client.cookies["roomfield_form"]},
                       follow_redirects=False)  # fmt: skip


def test_another_device_needs_the_code_and_the_code_works_once(guarded, records, capsys):
    assert guarded.get("/", follow_redirects=False).headers["location"] == "/unlock"
    assert guarded.get("/api/v1/surveys").status_code == 401
    assert unlock(guarded, "WRONG234").status_code == 403
    assert unlock(guarded, "abcd 2345").status_code == 303
    assert guarded.get("/").status_code == 200
    assert "One-time code for the next device" in capsys.readouterr().out
    guarded.cookies.clear()
    assert unlock(guarded, "ABCD2345").status_code == 403


def test_after_five_wrong_codes_an_address_waits(guarded):
    for _ in range(5):
        assert unlock(guarded, "WRONG234").status_code == 403
    told = unlock(guarded, "ABCD2345")
    assert told.status_code == 429
    assert "30 s" in told.text


def test_loopback_asks_for_no_code(client):
    assert client.get("/").status_code == 200


@pytest.mark.parametrize(
    "cookie", ["a/b=1; {x}=2", "[list]=a,b; c@d=;;;=", 'q="un;finished', "\x7f=1; roomfield", "x" * 5000]
)
@pytest.mark.published("RFC 6265, section 5.4: other programs on this host send their cookies along, of any form")
def test_cookies_of_other_programs_close_no_page(client, cookie):
    ours = f"roomfield_form={client.cookies['roomfield_form']}"
    assert client.get("/", headers={"cookie": cookie}).status_code == 200
    told = client.post(
        "/language", data={"language": "de"}, headers={"cookie": f"{cookie}; {ours}"}, follow_redirects=False
    )
    assert told.status_code == 303


@pytest.mark.parametrize("site", ["cross-site", "same-site"])
@pytest.mark.published("W3C Fetch Metadata Request Headers, section 2.3: who caused a request")
def test_another_site_makes_the_server_compute_nothing(client, survey_id, site):
    for path in (f"/surveys/{survey_id}/understand", f"/api/v1/surveys/{survey_id}/report", "/surveys/new"):
        for mode in ("navigate", "no-cors"):
            headers = {"sec-fetch-site": site, "sec-fetch-mode": mode}
            assert client.get(path, headers=headers).status_code == 403
    assert client.get("/", headers={"sec-fetch-site": site, "sec-fetch-mode": "navigate"}).status_code == 200
    assert client.get("/", headers={"sec-fetch-site": site, "sec-fetch-mode": "no-cors"}).status_code == 403
    assert client.get("/surveys/new", headers={"referer": "http://evil.example/x"}).status_code == 403
    assert client.get("/surveys/new", headers={"referer": "http://127.0.0.1:8765/"}).status_code == 200


@pytest.mark.parametrize("length", ["-1", "many", "1e9", "9" * 40, "0x10"])
def test_a_length_that_is_none_is_refused(client, length):
    assert client.post("/tour", headers={"content-length": length}).status_code == 413


def caller(client, account):
    """The client as the connection layer marks it."""

    async def marked(scope, receive, send):
        scope.setdefault("state", {})["account"] = account
        await client.app(scope, receive, send)

    return TestClient(marked, base_url="http://127.0.0.1:8765")


def test_another_account_of_this_computer_is_not_answered(records):
    with TestClient(create_app(records, Settings(own_account_only=True)), base_url="http://127.0.0.1:8765") as door:
        assert caller(door, "own").get("/").status_code == 200
        assert caller(door, "other").get("/").status_code == 403
        assert caller(door, "other").get("/api/v1/surveys").status_code == 403
        assert caller(door, "unknown").get("/").status_code == 401


def test_where_nobody_knows_the_account_the_browser_brings_a_key(records):
    settings = Settings(own_account_only=True, start_key="k" * 43)
    with TestClient(create_app(records, settings), base_url="http://127.0.0.1:8765") as door:
        assert door.get("/").status_code == 401
        assert door.get("/start?key=wrong").status_code == 422
        assert door.get("/start?key=ü").status_code == 422
        headers = {"sec-fetch-site": "cross-site", "sec-fetch-mode": "navigate"}
        begun = door.get(f"/start?key={settings.start_key}", headers=headers)
        assert begun.headers["refresh"] == "0; url=/"
        assert "samesite=strict" in begun.headers["set-cookie"].lower()
        assert door.get("/").status_code == 200
        door.cookies.clear()
        assert door.get("/api/v1/surveys", headers={"authorization": f"Bearer {settings.start_key}"}).status_code == 200


def test_each_device_has_a_key_of_its_own_that_can_be_removed_and_runs_out():
    now = [0.0]
    gate = Gate(Settings(access_code="ABCD2345"), lambda: now[0], lambda: 1.8e9 + now[0])
    first = gate.enter("abcd 2345", "192.0.2.8", "Tablet\x1b[31m")
    second = gate.enter(gate.fresh_code(), "192.0.2.9", "")
    assert [(d.name, d.address) for d in gate.devices()] == [("Tablet [31m", "192.0.2.8"), ("?", "192.0.2.9")]
    gate.remove(gate.devices()[0].id)
    assert gate.device_of(first.key) is None
    assert gate.device_of(second.key).address == "192.0.2.9"
    now[0] = 14 * 86400.0 - 1.0
    assert gate.device_of(second.key).name == "?"
    now[0] = 14 * 86400.0
    assert gate.device_of(second.key) is None
    assert gate.devices() == ()


def test_a_code_runs_out_and_a_stranger_who_guesses_locks_nobody_else_out(capsys):
    now = [0.0]
    gate = Gate(Settings(access_code="ABCD2345"), lambda: now[0])
    waits = [gate.enter("WRONG234", "192.0.2.66").wait_s for _ in range(5)]
    assert waits == [0.0, 0.0, 0.0, 0.0, 30.0]
    assert gate.enter("ABCD2345", "192.0.2.66").refusal == "wait"
    now[0] = 31.0
    assert gate.enter("WRONG234", "192.0.2.66").wait_s == 60.0
    assert gate.enter("ABCD2345", "192.0.2.8").key
    code = gate.fresh_code()
    now[0] = 700.0
    assert gate.enter(code, "192.0.2.9").refusal == "run out"
    assert "One-time code for the next device" in capsys.readouterr().out


def test_what_a_device_enters_carries_its_name(guarded, records, survey_id):
    unlock(guarded, "ABCD2345", "Tablet of the assistant")
    form = {"x-roomfield-form": guarded.cookies["roomfield_form"]}
    guarded.post(f"/surveys/{survey_id}/assignment", data={"title": "Renamed"}, headers=form)
    assert records.history(survey_id)[-1].device == "Tablet of the assistant"
    assert guarded.get("/devices").status_code == 422


def test_the_owner_sees_devices_makes_codes_and_removes(guarded, records):
    unlock(guarded, "ABCD2345", "Tablet")
    with caller(guarded, "own") as owner:
        owner.base_url = "http://192.0.2.7:8765"
        page = owner.get("/devices")
        assert "Tablet" in page.text
        form = {"x-roomfield-form": owner.cookies["roomfield_form"]}
        gate = guarded.app.state.gate
        page = owner.post("/devices/code", headers=form).text
        assert gate.code() in page
        assert "http://192.0.2.7:8765/" in page
        owner.post(f"/devices/{gate.devices()[0].id}/remove", headers=form)
        assert gate.devices() == ()
    assert guarded.get("/", follow_redirects=False).status_code == 303
