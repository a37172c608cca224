"""The phone's compass and a spoken reading, with sensor and recogniser of the browser played by the test."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser
TURNED = """(alpha) => { for (let n = 0; n < 8; n += 1) dispatchEvent(new DeviceOrientationEvent(
    'deviceorientationabsolute', { absolute: true, alpha })); }"""
RECOGNISER = """window.SpeechRecognition = class extends EventTarget {
    static asked = [];
    static available(options) { SpeechRecognition.asked.push(options); return Promise.resolve(window.answered); }
    processLocally = false;
    start() { window.started = this.processLocally; const event = new Event('result');
        event.results = [[{ transcript: 'Desk 1.250, mean 34' }]]; this.dispatchEvent(event); this.dispatchEvent(new Event('end')); }
};"""


def begun(page, server, title):
    made = page.request.post(f"{server.base}/api/v1/surveys", data={"title": title, "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    return made.json()["id"]


def walking(page, server, title):
    survey_id = begun(page, server, title)
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    return survey_id


@pytest.mark.published("W3C Device Orientation: alpha turns against the clock from north, so that 270 is east")
def test_a_bearing_follows_the_compass_until_it_is_held(serve, open_page):
    server, page = serve(), open_page("hand")
    survey_id = begun(page, server, "Compass")
    plan = page.request.get(f"{server.base}/api/v1/surveys/{survey_id}/plan").json()
    plan["plan"]["dwelling"]["north_deg"] = 0.0
    page.request.put(f"{server.base}/api/v1/surveys/{survey_id}/plan?revision={plan['revision']}", data=plan["plan"],
                     headers={"x-roomfield-client": "test"})  # fmt: skip
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.tap("#bearing-open")
    page.tap("#bearing-compass")
    expect(page.locator("#bearing-compass")).to_have_text("Hold")
    page.evaluate(TURNED, 300)
    expect(page.locator("#bearing-strongest")).to_have_value("60")
    page.evaluate(TURNED, 270)
    expect(page.locator("#bearing-strongest")).to_have_value("90")
    page.tap("#bearing-compass")
    page.evaluate(TURNED, 10)  # held: the phone may go back into the pocket
    expect(page.locator("#bearing-strongest")).to_have_value("90")
    page.tap("#bearing-keep")
    expect(page.locator("#echo")).to_contain_text("bearing kept")
    page.wait_for_timeout(600)
    assert (
        page.request.get(f"{server.base}/api/v1/surveys/{survey_id}").json()["survey"]["bearings"][0]["strongest_deg"]
        == 90.0
    )


def test_a_mouse_is_offered_no_compass(serve, open_page):
    server, page = serve(), open_page()
    walking(page, server, "Mouse")
    page.click("#bearing-open")
    expect(page.locator("#bearing-compass")).to_be_hidden()


@pytest.mark.parametrize("answered", ["available", "downloadable", "unavailable"])
def test_a_reading_is_said_only_where_the_device_itself_understands(serve, open_page, answered):
    server, page = serve(), open_page()
    page.add_init_script(f"window.answered = '{answered}'; {RECOGNISER}")
    walking(page, server, f"Voice {answered}")
    assert page.evaluate("SpeechRecognition.asked") == [{"langs": ["en-GB"], "processLocally": True}]
    if answered != "available":
        expect(page.locator("#speak")).to_be_hidden()
        return
    page.click("#speak")
    assert page.evaluate("window.started") is True, "nothing is sent away"
    expect(page.locator("#place option:checked")).to_have_text("Desk")
    expect(page.locator("[data-blank=high]")).to_have_text("1250")
    expect(page.locator("[data-blank=mean]")).to_have_text("34")


def test_without_a_recogniser_on_the_device_there_is_no_button(serve, open_page):
    server, page = serve(), open_page()
    page.add_init_script("delete window.SpeechRecognition; window.webkitSpeechRecognition = class {};")
    walking(page, server, "No voice")
    expect(page.locator("#speak")).to_be_hidden()


@pytest.mark.parametrize(
    ("said", "found"),
    [
        ("bed 340", ("bed", "340", "")),
        ("Kinderbett 12,5", ("cot", "12.5", "")),
        ("480 mean 21", ("desk", "480", "21")),
        ("1\u202f300 moyenne 21", ("desk", "1300", "21")),
        ("mean 21", ("desk", "", "21")),
        ("nothing at all", ("desk", "", "")),
    ],
)
def test_what_was_said_is_taken_apart(serve, open_page, said, found):
    server, page = serve(), open_page()
    page.goto(server.base)
    places = [
        {"id": "desk", "name": "Desk"},
        {"id": "bed", "name": "Bed by the wall"},
        {"id": "cot", "name": "Kinderbett"},
    ]
    got = page.evaluate(
        "async ([said, places]) => (await import('/static/js/walk/voice.js')).heard(said, places, 'desk')",
        [said, places],
    )
    assert (got["placeId"], got["high"], got["mean"]) == found
