"""A phone beside the computer in a real browser: what is entered while the computer sleeps comes into the record once.

The server listens at 127.0.0.2, which browsers take for secure (W3C Secure Contexts, section 3.1) and which is not the
computer's own page, so that the walk is kept there as on a phone behind a trusted certificate.
"""

from __future__ import annotations

import json
import sys
import time
import urllib.request
from dataclasses import replace
from subprocess import Popen

import pytest
from playwright.sync_api import expect

from roomfield.survey import Assignment
from roomfield.workbench.record import editing, survey_list

from .conftest import SIZES
from .test_tls import free_port

LAUNCH = """
import sys, uvicorn
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
port, code, devices = int(sys.argv[2]), sys.argv[3], sys.argv[4]
app = create_app(sys.argv[1], Settings(host="127.0.0.2", port=port, access_code=code, devices_file=devices))
uvicorn.run(app, host="127.0.0.2", port=port, log_level="warning")
"""
HAND = {"viewport": {"width": 390, "height": 664}, "has_touch": True, "is_mobile": True}


class Laptop:
    """A server that sleeps and wakes."""

    def __init__(self, folder, code=""):
        self.port, self.folder, self.code = free_port(), folder, code
        self.base = f"http://127.0.0.2:{self.port}"
        self.wake()

    def wake(self):
        devices = str(self.folder / "devices.json")
        command = [sys.executable, "-c", LAUNCH, str(self.folder / "record.sqlite"), str(self.port), self.code, devices]
        self.process = Popen(command)
        for _ in range(600):
            try:
                urllib.request.urlopen(f"{self.base}/unlock", timeout=2).close()
                return
            except OSError:
                time.sleep(0.1)
        raise TimeoutError(self.base)

    def sleep(self):
        self.process.kill()
        self.process.wait()


@pytest.fixture
def laptop(tmp_path, survey_id, records):
    made = Laptop(tmp_path)
    yield made
    made.sleep()


@pytest.fixture
def hold(browser):
    """Opens a page in a context of its own, as another device would, and fails the test on any script error."""
    contexts, troubles = [], []

    def begin(**more):
        context = browser.new_context(locale="en-GB", **{**HAND, **more})
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(12000)
        page.on("pageerror", lambda error: troubles.append(str(error)))
        return page

    yield begin
    for context in contexts:
        context.close()
    assert not troubles


def walk_to(page, laptop, survey_id):
    page.goto(f"{laptop.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")


def enter(page, digits):
    for digit in digits:
        page.click(f'[data-key="{digit}"]')
    page.click("#enter")
    page.click("#enter")


def values_in(records, survey_id):
    return sorted(round(r.value_w_m2 * 1e6, 6) for r in records.load(survey_id).survey.readings)


def kept_here(page):
    """Waits until the walk lies in the browser."""
    until(page, "(await (await caches.open('walk-1')).keys()).length >= 2 && navigator.serviceWorker.controller")


def until(page, holds):
    """Waits until something asynchronous holds."""
    script = f"async () => {{ for (let n = 0; n < 200; n += 1) {{ if ({holds}) return true; await new Promise((d) => setTimeout(d, 50)); }} return false; }}"
    assert page.evaluate(script), holds


def test_two_devices_enter_while_the_laptop_is_killed_and_nothing_is_lost_or_doubled(laptop, records, survey_id, hold):
    phone, tablet = hold(), hold(**SIZES["desk"])
    for page in (phone, tablet):
        walk_to(page, laptop, survey_id)
    enter(phone, "11")
    enter(tablet, "12")
    expect(phone.locator("#keeping")).to_have_text("All kept")
    kept_here(phone)
    laptop.sleep()
    for n in range(3):
        enter(phone, str(21 + n))
        enter(tablet, str(31 + n))
    expect(phone.locator("#keeping")).to_contain_text("3 entries wait on this phone")
    phone.reload()
    phone.wait_for_selector("html[data-ready=walk]")
    expect(phone.locator("#keeping")).to_contain_text("3 entries wait on this phone")
    expect(phone.locator("#recent .waits")).to_have_count(3)
    enter(phone, "24")
    laptop.wake()
    for page in (phone, tablet):
        page.evaluate("window.dispatchEvent(new Event('focus'))")
        expect(page.locator("#keeping")).to_have_text("All kept", timeout=25000)
    assert values_in(records, survey_id) == [11, 12, 21, 22, 23, 24, 31, 32, 33]
    phone.evaluate("document.dispatchEvent(new Event('visibilitychange'))")
    expect(phone.locator("#count")).to_have_text("9")


def test_an_entry_whose_answer_was_lost_is_kept_once_although_others_came_in_between(laptop, records, survey_id, hold):
    page = hold()
    walk_to(page, laptop, survey_id)
    page.route("**/readings", lambda route: (route.fetch(), route.abort()), times=1)
    enter(page, "41")
    page.wait_for_timeout(300)
    assert values_in(records, survey_id) == [41]
    expect(page.locator("#keeping")).to_contain_text("1 entry waits")
    other = json.dumps(_same_place(records, survey_id)).encode()
    headers = {"content-type": "application/json", "x-roomfield-client": "test"}
    asked = urllib.request.Request(f"{laptop.base}/api/v1/surveys/{survey_id}/readings", other, headers)
    urllib.request.urlopen(asked).close()
    expect(page.locator("#keeping")).to_have_text("All kept", timeout=15000)
    expect(page.locator("#refused")).to_be_hidden()
    assert values_in(records, survey_id) == [41, 55]


def _same_place(records, survey_id):
    first = records.load(survey_id).survey.readings[0]
    return {
        "entry_id": "between", "visit_id": first.visit_id, "meter_id": first.meter_id, "place_id": first.place_id,
        "radio_state_id": first.radio_state_id, "values": [{"number": 55, "kind": "highest_held"}],
    }  # fmt: skip


def test_an_entry_for_a_place_that_is_gone_is_told_and_kept_until_a_hand_decides(laptop, records, survey_id, hold):
    page = hold()
    walk_to(page, laptop, survey_id)
    laptop.sleep()
    enter(page, "61")
    survey = records.load(survey_id).survey
    first, rest = survey.places[0], survey.places[1:]
    survey_list.revise(records, survey_id, lambda s: replace(s, places=rest))
    laptop.wake()
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(page.locator("#refused")).to_contain_text(f"Not taken: {first.name}, 61", timeout=20000)
    page.reload()
    page.wait_for_selector("html[data-ready=walk]")
    expect(page.locator("#refused")).to_contain_text("61")
    page.click("#refused button >> nth=0")
    expect(page.locator("#refused")).to_be_hidden()
    expect(page.locator("#keeping")).to_have_text("All kept")
    assert values_in(records, survey_id) == [61]
    assert records.load(survey_id).survey.readings[0].place_id == rest[0].id


def test_states_bearings_and_undo_wait_as_well(laptop, records, survey_id, hold):
    page = hold(**SIZES["desk"])
    walk_to(page, laptop, survey_id)
    laptop.sleep()
    page.select_option("#state", "+")
    page.fill("#state-name", "router off")
    page.click("#new-state button.main")
    enter(page, "71")
    enter(page, "72")
    page.click('[data-key="undo"]')
    page.click("#bearing-open")
    page.fill("#bearing-strongest", "30")
    page.click("#bearing-keep")
    expect(page.locator("#keeping")).to_contain_text("3 entries wait")
    laptop.wake()
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(page.locator("#keeping")).to_have_text("All kept", timeout=20000)
    survey = records.load(survey_id).survey
    (state,) = [one for one in survey.visits[-1].radio_states if one.name == "router off"]
    assert [(r.radio_state_id, round(r.value_w_m2 * 1e6)) for r in survey.readings] == [(state.id, 71)]
    assert [(b.radio_state_id, b.strongest_deg) for b in survey.bearings] == [(state.id, 30.0)]


def test_what_sounds_loud_is_tapped_first_and_measured_first_although_the_laptop_sleeps(
    laptop, records, survey_id, hold
):
    page = hold()
    walk_to(page, laptop, survey_id)
    laptop.sleep()
    page.click("#spots-open")
    page.select_option("#heard", label="short bursts")
    box = page.locator("#walk-plan").bounding_box()
    page.touchscreen.tap(box["x"] + 0.1 * box["width"], box["y"] + 0.3 * box["height"])  # well outside every room
    expect(page.locator(".hot-spot text")).to_have_text("short bursts")
    page.click("#spots-done")
    expect(page.locator("#place")).to_have_value("")
    enter(page, "91")
    expect(page.locator("#place")).not_to_have_value("")
    expect(page.locator("#keeping")).to_contain_text("2 entries wait")
    laptop.wake()
    page.evaluate("window.dispatchEvent(new Event('focus'))")
    expect(page.locator("#keeping")).to_have_text("All kept", timeout=20000)
    survey = records.load(survey_id).survey
    (spot,), (reading,) = survey.hot_spots, survey.readings
    assert spot.heard == "short bursts"
    assert reading.position == spot.position


def test_a_removed_phone_forgets_the_survey_and_its_entries(tmp_path, survey_id, records, hold):
    laptop = Laptop(tmp_path, "ABCD2345")
    try:
        page = hold()
        page.goto(f"{laptop.base}/unlock#ABCD2345")
        assert "#" not in page.url
        page.fill("#device", "Phone")
        page.click("form.leaf button.main")
        page.wait_for_url(f"{laptop.base}/")
        walk_to(page, laptop, survey_id)
        kept_here(page)
        laptop.sleep()
        enter(page, "81")
        kept = json.loads((tmp_path / "devices.json").read_text(encoding="utf-8"))
        kept["removed"], kept["devices"] = list(kept["devices"]), {}
        (tmp_path / "devices.json").write_text(json.dumps(kept), encoding="utf-8")
        laptop.wake()
        page.evaluate("window.dispatchEvent(new Event('focus'))")
        expect(page.locator("#keeping a")).to_have_text("Let this device in again", timeout=20000)
        page.click("#keeping a")
        expect(page.locator("#gone")).to_be_visible()
        until(page, "localStorage.length === 0 && !(await caches.keys()).includes('walk-1')")
        laptop.sleep()
        with pytest.raises(Exception, match="ERR_"):
            page.goto(f"{laptop.base}/surveys/{survey_id}/walk")
    finally:
        laptop.sleep()


def test_another_page_while_the_laptop_sleeps_leads_back_to_the_walk(laptop, survey_id, hold):
    page = hold()
    walk_to(page, laptop, survey_id)
    kept_here(page)
    laptop.sleep()
    page.goto(f"{laptop.base}/surveys/{survey_id}/understand")
    expect(page.locator("h1")).to_have_text("The computer does not answer")
    page.click("main a.button")
    page.wait_for_selector("html[data-ready=walk]")


@pytest.fixture
def survey_id(records):
    order = Assignment(client="Family Muster", address="Lindenweg 4", assessor="A. Beispiel")
    return survey_list.keep_new(records, editing.started_survey("Lindenweg 4", order, "three-room-flat"))
