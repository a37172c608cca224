"""The doorkeeper: hosts, origins, forms, sizes, devices and headers."""

from __future__ import annotations

import pytest
from starlette.testclient import TestClient

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


def unlock(client, code):
    client.get("/unlock")
    return client.post("/unlock", data={"code": code}, headers={"x-roomfield-form": client.cookies["roomfield_form"]},
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


def test_five_wrong_codes_make_a_new_one(guarded):
    for _ in range(5):
        assert unlock(guarded, "WRONG234").status_code == 403
    assert unlock(guarded, "ABCD2345").status_code == 403


def test_loopback_asks_for_no_code(client):
    assert client.get("/").status_code == 200
