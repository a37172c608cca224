"""Drawing a plan by hand: mouse, finger and keyboard on a real page."""

from __future__ import annotations

import struct
import zlib

import pytest
from playwright.sync_api import expect

pytestmark = pytest.mark.browser


def new_survey(page, server, starter="blank", title="Drawn by hand"):
    page.goto(f"{server.base}/surveys/new")
    page.fill("#title", title)
    page.check(f"input[value={starter}]", force=True)
    page.click("text=Begin")
    page.wait_for_selector("html[data-ready=plan]")
    return page.url.split("/")[-2]


def plan_of(page, server, survey_id):
    expect(page.locator("#save-state")).to_have_text("Saved")
    return page.request.get(f"{server.base}/api/v1/surveys/{survey_id}/plan").json()["plan"]


def spot(page, east, north):
    """Pixel of a point of the plan."""
    return page.evaluate(
        """([x, y]) => { const svg = document.querySelector('svg.plan');
        const p = new DOMPoint(x, -y).matrixTransform(svg.getScreenCTM()); return [p.x, p.y]; }""", [east, north])  # fmt: skip


def drag(page, start, end):
    page.mouse.move(*spot(page, *start))
    page.mouse.down()
    page.mouse.move(*spot(page, (start[0] + end[0]) / 2, (start[1] + end[1]) / 2))
    page.mouse.move(*spot(page, *end))
    page.mouse.up()


def test_two_rooms_share_a_wall_and_keep_sharing_it(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server)
    page.click("[data-tool=room]")
    drag(page, (1.02, 1.02), (5.01, 4.98))
    page.keyboard.press("Escape")
    page.click("[data-tool=room]")
    drag(page, (5.03, 1.03), (8.02, 5.02))
    plan = plan_of(page, server, survey_id)
    assert len(plan["dwelling"]["rooms"]) == 2
    assert len(plan["dwelling"]["walls"]) == 7, "the wall between the rooms stands once"
    # the wall between them, chosen by a press and moved half a metre by keys, moves both rooms
    page.mouse.click(*spot(page, 5.0, 3.0))
    page.locator("svg.plan").focus()
    page.keyboard.press("Shift+ArrowRight")
    plan = plan_of(page, server, survey_id)
    xs = [sorted({round(x, 2) for x, _ in room["outline"]}) for room in plan["dwelling"]["rooms"]]
    assert sorted(xs) == [[1.0, 5.5], [5.5, 8.0]]
    page.keyboard.press("Control+z")
    xs = [sorted({round(x, 2) for x, _ in r["outline"]}) for r in plan_of(page, server, survey_id)["dwelling"]["rooms"]]
    assert sorted(xs) == [[1.0, 5.0], [5.0, 8.0]]
    page.keyboard.press("Control+y")
    page.reload()
    page.wait_for_selector("html[data-ready=plan]")
    assert len(plan_of(page, server, survey_id)["dwelling"]["walls"]) == 7


def test_window_place_and_emitter_by_keyboard_alone(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat")
    sheet = page.locator("svg.plan")
    sheet.focus()
    page.keyboard.press("p")
    page.keyboard.press("Enter")  # shows the cross in the middle
    for _ in range(3):
        page.keyboard.press("Shift+ArrowLeft")
    page.keyboard.press("Enter")
    expect(page.locator("#field-name")).to_be_focused()
    page.keyboard.type("Reading chair")
    page.keyboard.press("Tab")
    page.select_option("#field-kind-of-place", "sofa")
    page.locator("#field-night").fill("0")
    sheet.focus()
    page.keyboard.press("Escape")
    page.keyboard.press("e")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.keyboard.type("Router")
    page.select_option("#field-technology", "wifi_data")
    page.check("#tick-can-be-switched-off-during-the-visit")
    plan = plan_of(page, server, survey_id)
    chair = next(p for p in plan["places"] if p["name"] == "Reading chair")
    assert chair["kind"] == "sofa"
    assert chair["room_id"] == "room-1", "a place knows the room that it stands in"
    router = plan["emitters"][0]
    assert (router["name"], router["technology"], router["switchable"]) == ("Router", "wifi_data", True)


def test_several_items_are_chosen_and_taken_out_and_brought_back(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat")
    page.click("#several")
    drag(page, (-0.6, -0.6), (8.1, 5.2))
    page.wait_for_selector("text=chosen")
    page.click("#remove")
    plan = plan_of(page, server, survey_id)
    assert (plan["dwelling"]["walls"], plan["dwelling"]["rooms"], plan["places"]) == ([], [], [])
    page.click("#undo")
    assert len(plan_of(page, server, survey_id)["dwelling"]["walls"]) == 6


def test_a_place_with_readings_cannot_be_taken_out_and_the_page_says_why(demo_server, open_page):
    server, page = demo_server, open_page()
    page.goto(f"{server.base}/surveys/demo-terraced-house/plan")
    page.click(".pick:has-text('Sofa')")
    page.locator("svg.plan").focus()
    page.keyboard.press("Delete")
    expect(page.locator(".notice")).to_contain_text("has readings and cannot be taken out")
    page.click(".notice button")
    expect(page.locator("#save-state")).to_have_text("Saved")
    assert len(plan_of(page, server, "demo-terraced-house")["places"]) == 7


def picture(width, height):
    def chunk(kind, body):
        return struct.pack(">I", len(body)) + kind + body + struct.pack(">I", zlib.crc32(kind + body))

    rows = zlib.compress(b"".join(b"\x00" + b"\xdd" * width for _ in range(height)))
    return (b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0))
            + chunk(b"IDAT", rows) + chunk(b"IEND", b""))  # fmt: skip


@pytest.mark.published("arithmetic: a 400 pixel wide picture of 8 m has 0.02 m per pixel")
def test_a_picture_is_laid_under_the_sheet_and_scaled_by_two_points(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server)
    page.click("text=Picture or file")
    page.set_input_files("#under-file", {"name": "plan.png", "mimeType": "image/png", "buffer": picture(400, 300)})
    page.click("text=Take it in")
    page.wait_for_selector("#scale-box:not([hidden])")
    plan = plan_of(page, server, survey_id)
    laid = plan["dwelling"]["plan_images"][0]
    width = 400 * laid["metres_per_pixel"]
    page.mouse.click(*spot(page, 0.1 * width, 1.0))
    page.mouse.click(*spot(page, 0.9 * width, 1.0))
    page.fill("#known-metres", "6.4")  # 0.8 of the width, so the whole picture is 8 m wide
    page.click("text=Set the scale")
    plan = plan_of(page, server, survey_id)
    assert plan["dwelling"]["plan_images"][0]["metres_per_pixel"] == pytest.approx(0.02, rel=0.02)
    assert page.locator("svg.plan image").count() == 1


def test_a_finger_draws_a_room_and_the_page_does_not_scroll(demo_server, open_page):
    server, page = demo_server, open_page("hand")
    survey_id = new_survey(page, server)
    page.tap("[data-tool=room]")
    cdp = page.context.new_cdp_session(page)
    (x0, y0), (x1, y1) = spot(page, 1, 1), spot(page, 4, 4)
    cdp.send("Input.dispatchTouchEvent", {"type": "touchStart", "touchPoints": [{"x": x0, "y": y0}]})
    for share in (0.2, 0.5, 0.8, 1.0):
        point = {"x": x0 + share * (x1 - x0), "y": y0 + share * (y1 - y0)}
        cdp.send("Input.dispatchTouchEvent", {"type": "touchMove", "touchPoints": [point]})
    cdp.send("Input.dispatchTouchEvent", {"type": "touchEnd", "touchPoints": []})
    plan = plan_of(page, server, survey_id)
    assert len(plan["dwelling"]["rooms"]) == 1
    assert len(plan["dwelling"]["walls"]) == 4
    assert page.evaluate("window.scrollY") == 0


def test_two_windows_on_one_survey_see_the_conflict_and_choose(demo_server, open_page):
    server = demo_server
    one, other = open_page(), open_page()
    survey_id = new_survey(one, server, "one-room-flat")
    other.goto(one.url)
    other.wait_for_selector("html[data-ready=plan]")
    for page, name in ((one, "Bed by the wall"), (other, "Bed by the window")):
        page.click(".pick:has-text('Bed')")
        page.fill("#field-name", name)
        page.wait_for_timeout(700)
    expect(other.locator("#conflict")).to_be_visible()
    assert plan_of(one, server, survey_id)["places"][0]["name"] == "Bed by the wall"
    other.click("text=Keep mine over theirs")
    assert plan_of(other, server, survey_id)["places"][0]["name"] == "Bed by the window"


def test_a_drawing_survives_a_server_that_is_gone_for_a_while(serve, open_page):
    server, page = serve(), open_page()
    survey_id = new_survey(page, server, "one-room-flat")
    server.kill()
    page.click(".pick:has-text('Desk')")
    page.fill("#field-name", "Desk drawn while alone")
    expect(page.locator("#save-state")).to_contain_text("Kept in this browser")
    server.start()
    assert plan_of(page, server, survey_id)["places"][1]["name"] == "Desk drawn while alone"
