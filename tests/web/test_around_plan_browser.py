"""The pages around the plan in a real browser: the plan on every page, the entry line in one hand, bearings, the answer."""

from __future__ import annotations

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser
DEMO = "demo-terraced-house"
SHIFTS = """new PerformanceObserver((list) => { for (const one of list.getEntries())
    if (!one.hadRecentInput) window.shifted = (window.shifted || 0) + one.value; })
    .observe({ type: 'layout-shift', buffered: true })"""
WITH_SHEET = ["assignment", "readings", "listen", "logs", "understand", "before-after", "report"]


def begun(page, server, title):
    made = page.request.post(f"{server.base}/api/v1/surveys", data={"title": title, "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    return made.json()["id"]


def record_of(page, server, survey_id):
    return page.request.get(f"{server.base}/api/v1/surveys/{survey_id}").json()["survey"]


@pytest.mark.parametrize("slug", WITH_SHEET)
def test_the_plan_stands_on_every_page_with_a_number_at_each_bed(demo_server, open_page, slug):
    page = open_page()
    page.goto(f"{demo_server.base}/surveys/{DEMO}/{slug}")
    page.wait_for_selector(".bound-sheet .plate-number", timeout=60000)
    assert page.locator(".bound-sheet .plate-number").count() >= 3, "the storey with the most beds comes first"
    page.locator(".bound-sheet .mark.places .plate").first.click()
    expect(page.locator("[data-said]")).to_contain_text("Parents' bed")


WORDS_ON_PLATES = """() => {
    const box = (node) => node.getBoundingClientRect();
    const over = (a, b) => Math.min(a.right, b.right) - Math.max(a.left, b.left) > 1
        && Math.min(a.bottom, b.bottom) - Math.max(a.top, b.top) > 3;
    const words = [...document.querySelectorAll("svg .mark > text, svg .seat > text")];
    const plates = [...document.querySelectorAll("svg .mark.places rect.plate")];
    const margin = [...document.querySelectorAll("svg .scale-bar, svg .north, svg .north-letter")];
    const written = words.length + plates.length;
    const met = words.flatMap((word, n) => [...plates, ...words.slice(n + 1).filter((w) => w.parentNode !== word.parentNode)]
        .filter((other) => over(box(word), box(other))).map((other) => `${word.textContent} on ${other.textContent || other.nextSibling.textContent}`));
    met.push(...words.flatMap((word) => margin.filter((m) => over(box(word), box(m))).map((m) => `${word.textContent} on the ${m.getAttribute("class")}`)));
    return [written, met];
}"""


@pytest.mark.parametrize("width", [390, 640, 900, 1280])
def test_no_word_on_the_plan_lies_on_a_number_the_scale_or_on_other_words(demo_server, open_page, width):
    page = open_page()
    page.set_viewport_size({"width": width, "height": 844})
    page.goto(f"{demo_server.base}/surveys/{DEMO}/what-if")
    page.wait_for_selector("svg .mark.places .plate-number", timeout=60000)
    written, met = page.evaluate(WORDS_ON_PLATES)
    assert written >= 8
    assert met == []
    if width >= 900:
        assert page.locator("svg .seat[data-seat=somewhere] > text").count() == 2, "there is room for its words"


@pytest.mark.parametrize("height", [600, 664, 844])
def test_entry_fits_a_phone_whatever_its_bars_leave(demo_server, open_page, height):
    page = open_page("hand")
    page.set_viewport_size({"width": 390, "height": height})
    page.goto(f"{demo_server.base}/surveys/{DEMO}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    for part in ("#walk-plan", "#place", "[data-blank=high]", "[data-blank=mean]", "[data-key='7']", "#enter"):
        box = page.locator(part).bounding_box()
        assert box["y"] >= 0, part
        assert box["y"] + box["height"] <= height, part


def test_two_readings_take_seven_presses_and_the_next_place_comes_up(serve, open_page):
    server, page = serve(), open_page("hand")
    survey_id = begun(page, server, "Presses")
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    first = page.locator("#place").input_value()
    presses = [
        "[data-key='4']",
        "[data-key='8']",
        "[data-key='0']",
        "#enter",
        "[data-key='2']",
        "[data-key='1']",
        "#enter",
    ]
    for one in presses:
        page.tap(one)
    expect(page.locator("#count")).to_have_text("2")
    expect(page.locator("#echo")).to_contain_text("highest seen 480 µW/m², second's mean 21 µW/m²")
    assert page.locator("#place").input_value() != first
    expect(page.locator(".visit-count")).to_have_text("1 of 2")
    expect(page.locator(".visit-next")).to_have_text("next: Desk, As found")
    kept = record_of(page, server, survey_id)["readings"]
    assert [(r["kind"], r["watched_s"]) for r in kept] == [("highest_held", 60.0), ("average", None)]


def test_a_follow_up_shows_the_earlier_value_behind_the_blank(serve, open_page):
    server, page = serve(), open_page()
    survey_id = begun(page, server, "Again")
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.keyboard.type("480")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    expect(page.locator("#keeping")).to_have_text("All kept")
    page.goto(f"{server.base}/surveys/{survey_id}/assignment")
    page.click("summary:has-text('Begin a visit')")
    page.click("text=Begin now")
    page.wait_for_selector("html[data-ready=walk]")
    expect(page.locator(".visit-line")).to_contain_text("follow-up of")
    expect(page.locator(".visit-line")).to_contain_text("0 of 2")
    expect(page.locator("[data-blank=high]")).to_have_text("before 480")


def test_a_bearing_is_drawn_through_the_place_and_listed(serve, open_page):
    server, page = serve(), open_page()
    survey_id = begun(page, server, "Bearing")
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.click("#bearing-open")
    x, y = record_of(page, server, survey_id)["places"][0]["position"][:2]
    spot = page.evaluate(
        """([x, y]) => { const p = new DOMPoint(x, -y).matrixTransform(document.querySelector('#walk-plan').getScreenCTM());
        return [p.x, p.y]; }""", [x + 1.0, y])  # fmt: skip
    page.mouse.move(*spot)
    page.mouse.down()
    page.mouse.move(spot[0] + 40, spot[1])
    page.mouse.up()
    expect(page.locator("#bearing-strongest")).to_have_value("90")  # a line to the right lies 90 degrees from up
    page.fill("#bearing-null", "1,5")
    page.click("#bearing-keep")
    expect(page.locator("#echo")).to_contain_text("bearing kept")
    expect(page.locator("#keeping")).to_have_text("All kept")
    kept = record_of(page, server, survey_id)["bearings"][0]
    assert (kept["strongest_deg"], kept["null_deg"]) == (90.0, 1.5)
    page.goto(f"{server.base}/surveys/{survey_id}/readings")
    expect(page.locator("table")).to_contain_text("90°")


def test_a_radio_state_says_what_each_device_does(demo_server, open_page):
    page = open_page()
    page.goto(f"{demo_server.base}/surveys/{DEMO}/walk?visit=first")
    page.wait_for_selector("html[data-ready=walk]")
    page.select_option("#state", "+")
    page.locator(".doing", has_text="Cordless").locator("[name=off]").check()
    expect(page.locator(".doing", has_text="Cordless").locator("[name=doing]")).to_be_disabled()
    page.locator(".doing", has_text="Router").locator("[name=doing]").select_option("forced")
    page.click("#state-form .main")
    expect(page.locator("#state option:checked")).to_contain_text("made to transmit")
    expect(page.locator("#keeping")).to_have_text("All kept")
    made = record_of(page, demo_server, DEMO)["visits"][0]["radio_states"][-1]
    assert (made["off_groups"], made["activities"]) == (["cordless"], [{"name": "router", "activity": "forced"}])


def test_the_answer_comes_first_and_is_short_on_a_phone(demo_server, open_page):
    page = open_page("hand")
    page.add_init_script(SHIFTS)
    page.goto(f"{demo_server.base}/surveys/{DEMO}/understand?visit=first")
    page.wait_for_selector("html[data-sheet=drawn]", timeout=60000)
    expect(page.locator(".answer p").first).to_contain_text("Child's cot")
    assert page.locator(".card.sleeping").count() == 3
    assert "sleeping" in page.locator(".card").first.get_attribute("class")
    expect(page.locator("[data-cause]").first).not_to_have_text("…")
    assert page.evaluate("document.documentElement.scrollHeight") < 3000
    assert page.evaluate("window.shifted || 0") < 0.05


def test_unsaved_words_of_the_assignment_are_kept(serve, open_page):
    server, page = serve(), open_page()
    survey_id = begun(page, server, "Words")
    page.goto(f"{server.base}/surveys/{survey_id}/assignment")
    page.fill("#question", "Why does nobody sleep?")
    expect(page.locator("[data-kept]")).to_have_text("All kept")
    assert record_of(page, server, survey_id)["assignment"]["question"] == "Why does nobody sleep?"
    server.kill()
    page.fill("#question", "Why does nobody sleep here?")
    expect(page.locator("[data-kept]")).to_contain_text("until the server is back")
    server.start()
    expect(page.locator("[data-kept]")).to_have_text("All kept", timeout=20000)
    assert record_of(page, server, survey_id)["assignment"]["question"] == "Why does nobody sleep here?"


def test_a_refused_form_keeps_what_was_typed(serve, open_page):
    server, page = serve(), open_page()
    survey_id = begun(page, server, "Refused")
    page.goto(f"{server.base}/surveys/{survey_id}/assignment")
    page.click("details.meter summary")
    page.fill("input[name=tolerance_db]", "many")
    page.click("text=Keep this meter")
    expect(page.locator("form .fault")).to_contain_text("is not a number")
    expect(page.locator("input[name=tolerance_db]")).to_have_value("many")


def test_a_photo_is_kept_without_what_the_camera_knew(serve, open_page):
    import io

    from PIL import Image

    server, page = serve(), open_page()
    survey_id = begun(page, server, "Photo")
    picture, file = Image.new("RGB", (2400, 1200), "white"), io.BytesIO()
    data = Image.Exif()
    data[271] = "Maker of the camera"  # TIFF tag 0x010F
    picture.save(file, "JPEG", exif=data)
    refused = page.request.post(f"{server.base}/api/v1/surveys/{survey_id}/photos", headers={"x-roomfield-client": "t"},
                                multipart={"caption": "Bed", "file": {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}})  # fmt: skip
    assert refused.status == 422
    page.goto(f"{server.base}/surveys/{survey_id}/walk")
    page.wait_for_selector("html[data-ready=walk]")
    page.click("[data-opens=more]")
    page.set_input_files("#photo", {"name": "p.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()})
    expect(page.locator("#photo-words")).to_contain_text("Photo kept: Bed")
    expect(page.locator("#keeping")).to_have_text("All kept")
    record = record_of(page, server, survey_id)
    (kept,), (photo,) = record["media"], record["photographs"]
    assert (photo["sha256"], photo["in_report"], photo["camera_data"]) == (kept["sha256"], False, False)
    assert photo["id"].split("-")[-1] in page.locator("#note").input_value()
    content = page.request.get(f"{server.base}/surveys/{survey_id}/media/{kept['sha256']}").body()
    assert b"Maker of the camera" not in content
    assert Image.open(io.BytesIO(content)).size == (1600, 800)
    page.goto(f"{server.base}/surveys/{survey_id}/readings")
    page.check("form[data-photo] [name=in_report]")
    expect(page.locator("form[data-photo] [role=status]")).to_have_text("Stands in the report")
    (photo,) = record_of(page, server, survey_id)["photographs"]
    small = page.request.get(f"{server.base}/surveys/{survey_id}/media/{photo['small_sha256']}").body()
    assert Image.open(io.BytesIO(small)).size == (960, 480)
