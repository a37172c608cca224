"""The whole job in a real browser: by mouse, by finger, by keyboard, through a dead battery, and without a network."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
DEMO = "demo-terraced-house"
SLUGS = ["assignment", "plan", "walk", "readings", "listen", "logs", "understand", "what-if", "before-after", "report"]


def press(page, selector):
    """A press by finger where there is one, by mouse where not."""
    if page.evaluate("navigator.maxTouchPoints") > 0:
        page.tap(selector)
    else:
        page.click(selector)


def readings_of(page, base, survey_id):
    return page.request.get(f"{base}/api/v1/surveys/{survey_id}/readings").json()


def type_digits(page, digits):
    """By the strip of digits where there is a finger, by the keyboard where not."""
    if page.evaluate("navigator.maxTouchPoints") > 0:
        for digit in digits:
            page.tap(f"[data-key='{digit}']")
    else:
        page.keyboard.type(digits)


@pytest.mark.parametrize("size", ["desk", "hand"])
def test_the_whole_job_from_an_empty_list_to_a_report_in_the_hand(serve, open_page, size, tmp_path):
    server, page = serve(), open_page(size)
    page.goto(server.base)
    expect(page.locator("h2")).to_have_text("No survey yet")
    press(page, "text=New survey")
    page.fill("#title", "Lindenweg 4")
    page.fill("#client", "Family Muster")
    page.check("input[value=one-room-flat]", force=True)
    page.select_option("#guideline", "building-biology-2015")
    press(page, "text=Begin")

    # the plan: name the bed, put in a router that can be switched off
    page.wait_for_selector("html[data-ready=plan]")
    survey_id = page.url.split("/")[-2]
    spot = page.evaluate("""() => { const svg = document.querySelector('svg.plan');
        const p = new DOMPoint(3.2, -2.4).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }""")
    page.mouse.click(*spot)
    press(page, ".offer-word:has-text('Transmitter')")
    page.fill("#field-name", "Router")
    page.select_option("#field-technology", "wifi_data")
    page.check("#tick-can-be-switched-off-during-the-visit")
    expect(page.locator("#save-state")).to_have_text("Saved")

    # the walk: peak and average in one go at the bed, below the floor at the desk, then the router off
    press(page, "nav >> text=Walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.select_option("#place", label="Bed")
    type_digits(page, "480")
    press(page, "[data-key=enter]")  # to the next blank of the line
    type_digits(page, "21")
    press(page, "[data-key=enter]")  # kept, and on to the next place
    expect(page.locator("#count")).to_have_text("2")
    expect(page.locator("#recent li").first).to_contain_text("true level")
    expect(page.locator("#place option:checked")).to_have_text("Desk")
    press(page, "[data-key=floor]")
    expect(page.locator("#count")).to_have_text("3")
    page.select_option("#state", "+")
    page.check("#state-form [name=off]")
    expect(page.locator("#state-name")).to_have_value("Router off")
    press(page, "text=Use it")
    page.select_option("#place", label="Bed")
    type_digits(page, "12")
    press(page, "[data-key=enter]")
    press(page, "[data-key=enter]")  # no mean this time
    expect(page.locator("#count")).to_have_text("4")
    expect(page.locator("#keeping")).to_have_text("All kept")
    kept = readings_of(page, server.base, survey_id)
    assert [(r["kind"], r["censoring"], r["value_w_m2"]) for r in kept] == [
        ("highest_held", "none", pytest.approx(480e-6)), ("average", "none", pytest.approx(21e-6)),
        ("highest_held", "below_floor", pytest.approx(3e-8)), ("highest_held", "none", pytest.approx(12e-6)),
    ]  # fmt: skip
    assert [r["watched_s"] for r in kept[:2]] == [60.0, None]
    assert len({r["replicate"] for r in kept[:2]}) == 1, "values entered in one go belong to one scan"

    # findings, and the report in the hand
    press(page, "text=See what it means")
    expect(page.locator(".card").first).to_contain_text("below, at least", timeout=30000)
    page.locator("summary", has_text="What each switch took away").click()
    expect(page.locator(".behind")).to_contain_text("Router", timeout=30000)
    press(page, "nav >> text=Report")
    expect(page.frame_locator("#preview").locator("body")).to_contain_text("Family Muster", timeout=60000)
    with page.expect_download(timeout=60000) as download:
        press(page, "#take-pdf")
    saved = tmp_path / "report.pdf"
    download.value.save_as(saved)
    assert re.fullmatch(r"lindenweg-4-\d{4}-\d\d-\d\d-en.pdf", download.value.suggested_filename)
    assert saved.read_bytes().startswith(b"%PDF-")
    from pypdf import PdfReader

    words = "".join(sheet.extract_text() for sheet in PdfReader(saved).pages)
    assert "Lindenweg 4" in words
    assert "Router" in words


def test_readings_by_keyboard_alone_and_taken_back(demo_server, open_page):
    page = open_page()
    made = page.request.post(f"{demo_server.base}/api/v1/surveys", data={"title": "Keys", "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    survey_id = made.json()["id"]
    page.goto(f"{demo_server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    keys = page.keyboard
    keys.press("p")
    keys.type("150")
    keys.press("Enter")  # on to the mean
    keys.type("220.5")
    keys.press("Enter")
    expect(page.locator("#count")).to_have_text("2")
    keys.press("a")
    keys.press("<")
    expect(page.locator("#count")).to_have_text("3")
    keys.press("]")
    keys.press("a")
    keys.type("7")
    keys.press("Backspace")
    keys.type("9")
    keys.press("u")
    keys.press("Enter")
    expect(page.locator("#count")).to_have_text("4")
    keys.press("Control+z")
    expect(page.locator("#count")).to_have_text("3")
    expect(page.locator("#keeping")).to_have_text("All kept")
    survey = page.request.get(f"{demo_server.base}/api/v1/surveys/{survey_id}").json()["survey"]
    assert [r["kind"] for r in survey["readings"]] == ["peak", "average", "average", "average"]
    assert survey["readings"][3]["value_w_m2"] == pytest.approx(9e-3)
    assert [(a["field"], a["reason"]) for a in survey["amendments"]] == [("withdrawn", "undone at entry")]


def test_a_reading_that_does_not_fit_is_remarked_at_once(demo_server, open_page):
    page = open_page()
    made = page.request.post(f"{demo_server.base}/api/v1/surveys", data={"title": "Hint", "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    page.goto(f"{demo_server.base}/surveys/{made.json()['id']}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.keyboard.type("100")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("#count")).to_have_text("1")
    expect(page.locator(".remark")).to_have_count(0)
    page.keyboard.press("[")
    page.keyboard.type("100000")
    page.keyboard.press("Enter")
    expect(page.locator(".remark")).to_contain_text("30 dB more than what you measured 0.0 m away")


def test_a_server_killed_in_the_middle_of_an_entry_loses_nothing(serve, open_page):
    server, page = serve(), open_page()
    made = page.request.post(f"{server.base}/api/v1/surveys", data={"title": "Battery", "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    survey_id = made.json()["id"]
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.keyboard.type("41")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")  # the mean stays empty, and from now on one Enter will do
    expect(page.locator("#count")).to_have_text("1")
    server.kill()
    page.keyboard.type("42")
    page.keyboard.press("Enter")
    page.keyboard.type("43")
    page.keyboard.press("Enter")
    expect(page.locator("#keeping")).to_contain_text("2 entries wait")
    page.keyboard.type("4")  # half typed
    server.start()
    expect(page.locator("#count")).to_have_text("3", timeout=20000)
    page.reload()
    page.wait_for_selector("html[data-ready=walk]")
    expect(page.locator("[data-blank=high]")).to_have_text("4")
    values = [round(r["value_w_m2"] * 1e6, 6) for r in readings_of(page, server.base, survey_id)]
    assert values == [41.0, 42.0, 43.0]


def test_dragging_a_transmitter_changes_the_levels_while_the_hand_moves(demo_server, open_page):
    page = open_page()
    page.goto(f"{demo_server.base}/surveys/{DEMO}/what-if")
    page.wait_for_selector(".try-place", timeout=60000)
    mark = page.locator("#try-plan .mark.emitters .plate").first.bounding_box()
    x, y = mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(1, 8):
        page.mouse.move(x - 12 * step, y + 8 * step)
        page.wait_for_timeout(60)
    page.mouse.up()
    expect(page.locator("#try-answer")).to_contain_text("becomes", timeout=30000)
    changes = page.locator(".try-place strong").all_inner_texts()
    assert any("dB" in words for words in changes)
    page.click("#reset")
    expect(page.locator(".try-place strong").first).to_have_text("no change")
    page.uncheck("[data-emitter=cordless]")
    expect(page.locator(".try-place strong", has_text="−").first).to_be_visible()


@pytest.mark.published("WCAG 2.2, levels A and AA, as far as axe-core checks them")
@pytest.mark.parametrize("scheme", ["light", "dark"])
def test_no_page_has_an_accessibility_violation(demo_server, open_page, scheme):
    if not AXE.exists():
        pytest.skip("axe-core is not installed: npm ci in tests/web")
    page = open_page(color_scheme=scheme)
    troubles = []
    for path in [
        "/",
        "/surveys/new",
        "/help",
        "/api",
        "/unlock",
        "/nothing-here",
        *(f"/surveys/{DEMO}/{s}" for s in (*SLUGS, "night")),
    ]:
        page.goto(demo_server.base + path, timeout=60000)
        expect(page.locator("[aria-busy=true]")).to_have_count(0, timeout=60000)
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate(
            "axe.run(document, {iframes: false}).then(r => r.violations.map(v => [v.id, v.nodes[0].html]))"
        )
        troubles += [(path, *one) for one in found]
    assert troubles == []


TABLE = """Place;Radio state;Peak [µW/m²];Average [µW/m²];Time
Bed;As found;1250,5;30,2;10:15
Balcony;As found;40;<0,01;10:20
Desk;Away;12;3;10:25
"""


@pytest.mark.parametrize("size", ["desk", "hand"])
def test_a_table_comes_in_by_hand_and_goes_back(demo_server, open_page, size):
    page = open_page(size)
    made = page.request.post(f"{demo_server.base}/api/v1/surveys", data={"title": "Table", "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    page.goto(f"{demo_server.base}/surveys/{made.json()['id']}/readings")
    taken = page.locator("article.leaf")
    press(page, "#bring summary")
    page.set_input_files("#table", {"name": "paper.csv", "mimeType": "text/csv", "buffer": TABLE.encode()})
    press(page, "form[data-upload] button")
    outcome = page.locator("#outcome")
    expect(outcome).to_contain_text("2 readings, 2 rows left out")
    expect(outcome).to_contain_text("there is no place of this name")
    expect(page.locator("[value=take]")).to_have_count(0)
    if AXE.exists():
        page.evaluate(AXE.read_text(encoding="utf-8"))
        found = page.evaluate("axe.run(document).then(r => r.violations.map(v => [v.id, v.nodes[0].html]))")
        assert found == []
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.check("[name=make_places]")
    page.check("[name=accept_rest]")
    press(page, "[value=look]")
    expect(outcome).to_contain_text("4 readings, one row left out; new places: Balcony.")
    press(page, "[value=take]")
    expect(page.locator(".said")).to_contain_text("4 readings were taken in.")
    expect(taken).to_contain_text("paper.csv")
    page.wait_for_load_state()
    taken.locator("button[data-opens]").click()
    taken.locator("dialog .main").click()
    expect(taken).to_have_count(0)


@pytest.mark.parametrize("slug", ["walk", "readings", "what-if", "understand", "plan"])
def test_the_small_screen_never_scrolls_sideways(demo_server, open_page, slug):
    page = open_page("hand")
    page.goto(f"{demo_server.base}/surveys/{DEMO}/{slug}")
    page.wait_for_load_state("networkidle", timeout=60000)
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0


def test_motion_stops_for_those_who_ask_for_it(demo_server, open_page):
    page = open_page(reduced_motion="reduce")
    page.goto(demo_server.base)
    page.evaluate("document.body.insertAdjacentHTML('beforeend', '<div class=loading></div>')")
    assert page.evaluate("getComputedStyle(document.querySelector('.loading'), '::before').animationName") == "none"


OFFLINE = """
import sys
sys.path.insert(0, sys.argv[2])
from pathlib import Path
from conftest import ARGS, CHROMIUM, Server
from playwright.sync_api import sync_playwright
server = Server(Path(sys.argv[1]), demo=True)
try:
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        page = browser.new_page()
        page.goto(server.base + "/surveys/demo-terraced-house/walk")
        page.wait_for_selector("html[data-ready=walk]")
        before = int(page.inner_text("#count"))
        page.keyboard.type("33")
        page.keyboard.press("Enter")
        page.keyboard.press("Enter")
        page.wait_for_selector(f"#count:text-is('{before + 1}')")
        page.goto(server.base + "/surveys/demo-terraced-house/understand")
        page.wait_for_selector(".card", timeout=60000)
        print("worked", flush=True)
        browser.close()
finally:
    server.kill()
"""


def test_everything_works_with_only_loopback_up(tmp_path, browser):
    if os.geteuid() != 0 or not shutil.which("unshare") or not shutil.which("ip"):
        pytest.skip("needs root, unshare and ip to take the network away")
    here = str(Path(__file__).parent)
    inner = [sys.executable, "-c", OFFLINE, str(tmp_path / "record.sqlite"), here]
    command = ["unshare", "-n", "sh", "-c", 'ip link set lo up && exec "$@"', "sh", *inner]
    done = subprocess.run(command, capture_output=True, text=True, timeout=150, check=False)
    assert done.stdout.strip().endswith("worked"), done.stderr[-2000:]


@pytest.mark.parametrize("size", ["desk", "hand"])
def test_a_step_of_a_log_is_found_in_the_timeline(demo_server, open_page, size):
    page = open_page(size)
    page.goto(f"{demo_server.base}/surveys/{DEMO}/logs")
    press(page, "main a[href*='/logs/log']")
    page.wait_for_selector("html[data-ready=log]", timeout=60000)
    expect(page.locator(".step-sheet h2")).to_have_text("Steps of the level", timeout=60000)
    whole = page.locator("#said").inner_text()
    assert page.locator(".step-sheet tbody tr").count() >= 1
    press(page, ".step-sheet tbody tr:first-child button")
    expect(page.locator("#said")).not_to_have_text(whole, timeout=30000)
    assert page.evaluate("document.documentElement.scrollWidth") <= page.viewport_size["width"]
    labels = page.evaluate(
        "[...document.querySelectorAll('.step-sheet svg text')].map(t => t.getBoundingClientRect().x)"
    )
    assert min(labels) >= 0.0
