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


def hold(page, letter):
    """Takes something to draw into the hand, as its letter does."""
    page.locator("svg.plan").focus()
    page.keyboard.press(letter)


def unfold(page, section):
    """Opens what a word of the title strip names."""
    page.click(f"[data-section={section}]")


def pick(page, words):
    """Chooses from the list of everything on the storey."""
    unfold(page, "list")
    page.click(f".pick:has-text('{words}')")


def press_point(page, east, north):
    """A press on a point of the sheet, by finger where there is one."""
    at = spot(page, east, north)
    page.touchscreen.tap(*at) if page.evaluate("navigator.maxTouchPoints") > 0 else page.mouse.click(*at)


def offered(page):
    return page.locator(".offer-word").all_text_contents()


def test_two_rooms_share_a_wall_and_keep_sharing_it(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server)
    hold(page, "r")
    drag(page, (1.02, 1.02), (5.01, 4.98))
    page.keyboard.press("Escape")
    hold(page, "r")
    drag(page, (5.03, 1.03), (8.02, 5.02))
    plan = plan_of(page, server, survey_id)
    assert len(plan["dwelling"]["rooms"]) == 2
    assert len(plan["dwelling"]["walls"]) == 7, "the wall between the rooms stands once"
    shared = [w for w in plan["dwelling"]["walls"] if w["start"][0] == w["end"][0] == 5.0]
    assert [w["exterior"] for w in shared] == [False], "between two rooms stands an inner wall"
    assert sum(w["exterior"] for w in plan["dwelling"]["walls"]) == 6, "the others are outer walls by themselves"
    page.keyboard.press("Escape")  # the tool Room stays in the hand until it is put down
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


def room_box(page, server, survey_id):
    outline = plan_of(page, server, survey_id)["dwelling"]["rooms"][0]["outline"]
    xs, ys = [x for x, _ in outline], [y for _, y in outline]
    return round(max(xs) - min(xs), 3), round(max(ys) - min(ys), 3)


@pytest.mark.calculated("arithmetic: centre lines lie one wall thickness of 0.3 m farther apart than the faces")
def test_a_size_typed_while_dragging_is_the_clear_one_and_a_chain_is_typed_over(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, title="Typed sizes")
    hold(page, "r")
    page.mouse.move(*spot(page, 1, 1))
    page.mouse.down()
    page.mouse.move(*spot(page, 3, 2))
    page.mouse.move(*spot(page, 3.5, 2.5))
    page.keyboard.type("4,2x3.6")
    page.keyboard.press("Enter")
    page.mouse.up()
    assert room_box(page, server, survey_id) == (4.5, 3.9)
    expect(page.locator(".chain")).to_have_count(2)
    chain = page.locator(".chain .grip").first.bounding_box()
    page.mouse.click(chain["x"] + chain["width"] / 2, chain["y"] + chain["height"] / 2)
    page.fill(".chain-field", "5.05")
    page.keyboard.press("Enter")
    assert room_box(page, server, survey_id) == (5.35, 3.9)


def test_another_kind_of_place_brings_its_own_hours_and_name(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "blank", "Kinds")
    hold(page, "p")
    page.mouse.click(*spot(page, 3, 3))
    page.select_option("#field-kind-of-place", "table")
    place = plan_of(page, server, survey_id)["places"][0]
    assert (place["kind"], place["name"], place["night_hours"]) == ("table", "Table", 0)


def test_a_stray_press_with_furniture_does_not_hold_the_hand(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "blank", "Stray")
    hold(page, "f")
    page.mouse.click(*spot(page, 1, 1))
    drag(page, (2, 2), (3, 4))
    assert len(plan_of(page, server, survey_id)["dwelling"]["furniture"]) == 1


def test_a_mast_above_every_ceiling_is_on_the_ring_listed_and_put_right(demo_server, open_page):
    server, page = demo_server, open_page()
    page.goto(f"{server.base}/surveys/demo-terraced-house/plan")
    page.wait_for_selector("html[data-ready=plan]")
    expect(page.locator(".seat[data-seat=far]")).to_have_count(1)
    expect(page.locator(".seat[data-seat=somewhere]")).to_have_count(1)
    pick(page, "Mast, 800 MHz")
    page.fill("#field-distance", "400")
    page.keyboard.press("Tab")
    mast = next(e for e in plan_of(page, server, "demo-terraced-house")["emitters"] if e["name"] == "Mast, 800 MHz")
    assert mast["position"][0] ** 2 + mast["position"][1] ** 2 == pytest.approx(400**2, rel=0.03)
    page.click("#undo")


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
    page.keyboard.down("Shift")
    drag(page, (-0.6, -0.6), (8.1, 5.2))
    page.keyboard.up("Shift")
    page.wait_for_selector("text=chosen")
    page.click("#remove")
    plan = plan_of(page, server, survey_id)
    assert (plan["dwelling"]["walls"], plan["dwelling"]["rooms"], plan["places"]) == ([], [], [])
    page.click("#undo")
    assert len(plan_of(page, server, survey_id)["dwelling"]["walls"]) == 6


def test_a_place_with_readings_cannot_be_taken_out_and_the_page_says_why(demo_server, open_page):
    server, page = demo_server, open_page()
    page.goto(f"{server.base}/surveys/demo-terraced-house/plan")
    pick(page, "Sofa")
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


@pytest.mark.calculated("arithmetic: a 400 pixel wide picture of 8 m has 0.02 m per pixel")
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
    press_point(page, 1, 1)
    page.tap(".offer-word:has-text('Room from here')")
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
        pick(page, "Bed")
        page.fill("#field-name", name)
        page.wait_for_timeout(700)
    expect(other.locator("#conflict")).to_be_visible()
    assert plan_of(one, server, survey_id)["places"][0]["name"] == "Bed by the wall"
    other.click("text=Keep mine over theirs")
    assert plan_of(other, server, survey_id)["places"][0]["name"] == "Bed by the window"


def test_two_windows_that_change_different_items_both_win_and_undo_takes_back_ones_own(demo_server, open_page):
    server = demo_server
    one, other = open_page(), open_page()
    survey_id = new_survey(one, server, "one-room-flat")
    other.goto(one.url)
    other.wait_for_selector("html[data-ready=plan]")
    for page, place, name in ((one, "Bed", "Bed by the wall"), (other, "Desk", "Desk at the door")):
        pick(page, place)
        page.fill("#field-name", name)
        expect(page.locator("#save-state")).to_have_text("Saved")
    assert [p["name"] for p in plan_of(one, server, survey_id)["places"]][:2] == ["Bed by the wall", "Desk at the door"]
    other.locator("svg.plan").focus()
    other.keyboard.press("Escape")
    unfold(other, "list")
    expect(other.locator(".pick:has-text('Bed by the wall')")).to_have_count(1)
    other.locator("svg.plan").focus()
    other.keyboard.press("Control+z")
    expect(other.locator(".pick:has-text('Desk at the door')")).to_have_count(0)
    expect(other.locator("#save-state")).to_have_text("Saved")
    assert [p["name"] for p in plan_of(other, server, survey_id)["places"]][:2] == ["Bed by the wall", "Desk"]


def test_a_drawing_survives_a_server_that_is_gone_for_a_while(serve, open_page):
    server, page = serve(), open_page()
    survey_id = new_survey(page, server, "one-room-flat")
    server.kill()
    pick(page, "Desk")
    page.fill("#field-name", "Desk drawn while alone")
    expect(page.locator("#save-state")).to_contain_text("Kept in this browser")
    server.start()
    assert plan_of(page, server, survey_id)["places"][1]["name"] == "Desk drawn while alone"


def test_furniture_a_ceiling_and_a_fitted_shield_are_drawn_and_kept(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat", "Solids")
    hold(page, "f")
    drag(page, (1.02, 1.01), (1.99, 1.62))
    expect(page.locator("#field-name")).to_be_focused()
    page.keyboard.type("Fridge")
    page.select_option("#field-material-of-its-panels", "metal")
    page.fill("#field-thickness-of-its-panels", "0.6")
    page.keyboard.press("Tab")
    page.locator("svg.plan").focus()
    page.keyboard.press("Shift+ArrowRight")  # half a metre to the east
    box = plan_of(page, server, survey_id)["dwelling"]["furniture"][0]
    assert (box["name"], box["panel"]) == ("Fridge", {"material": "metal", "thickness_m": 0.0006})
    assert (box["low"], box["high"]) == ([1.5, 1.0, 0.0], [2.5, 1.6, 1.8])
    drag(page, (2.5, 1.6), (3.0, 2.0))  # its corner
    box = plan_of(page, server, survey_id)["dwelling"]["furniture"][0]
    assert box["high"][:2] == pytest.approx([3.0, 2.0], abs=0.06)

    hold(page, "s")
    drag(page, (0.0, 0.0), (5.0, 4.0))
    page.click("text=A shield is fitted here")
    page.fill("#field-what-it-is-1", "Fleece under the ceiling")
    page.fill("#field-share-of-the-area-truly-covered-1", "95")
    page.fill("[aria-label='Attenuation in dB, row 1']", "24")
    page.keyboard.press("Tab")
    page.click("text=One more frequency")
    slab = plan_of(page, server, survey_id)["dwelling"]["slabs"][-1]
    shield = slab["shields"][0]
    assert slab["height_m"] > 2.4
    assert (shield["sheet"]["name"], shield["coverage"]) == ("Fleece under the ceiling", 0.95)
    assert shield["sheet"]["attenuation"] == [[1e9, 24.0], [2e9, 24.0]]
    page.click("text=Done")
    unfold(page, "list")
    page.click("summary:has-text('walls')")
    page.click(".pick:has-text('Wall 1,')")
    page.click("text=A shield is fitted here")
    page.select_option("#field-it-covers-1", "openings")
    walls = plan_of(page, server, survey_id)["dwelling"]["walls"]
    assert [w["shields"][0]["part"] for w in walls if w["shields"]] == ["openings"]
    assert page.locator(".wall.shielded").count() == 1


def test_furniture_by_two_presses_of_the_keyboard(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat", "Keys for furniture")
    page.locator("svg.plan").focus()
    page.keyboard.press("f")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    for key in ("Shift+ArrowRight", "Shift+ArrowRight", "Shift+ArrowUp"):
        page.keyboard.press(key)
    page.keyboard.press("Enter")
    expect(page.locator("#field-name")).to_be_focused()
    box = plan_of(page, server, survey_id)["dwelling"]["furniture"][0]
    assert [box["high"][i] - box["low"][i] for i in (0, 1)] == pytest.approx([1.0, 0.5])


@pytest.mark.calculated("arithmetic: a line rising 1 in 2 is 26.565 degrees from level")
def test_a_crooked_picture_is_straightened_and_turned_about_its_middle(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, title="Crooked")
    page.click("text=Picture or file")
    page.set_input_files("#under-file", {"name": "plan.png", "mimeType": "image/png", "buffer": picture(400, 300)})
    expect(page.locator("#under-coordinates")).to_be_hidden()
    page.click("text=Take it in")
    page.wait_for_selector("#scale-box:not([hidden])")
    page.mouse.click(*spot(page, 2.0, 2.0))
    page.mouse.click(*spot(page, 6.0, 4.0))
    page.check("[name=straight]")
    page.fill("#known-metres", "4.472")
    page.click("text=Set the scale")
    laid = plan_of(page, server, survey_id)["dwelling"]["plan_images"][0]
    assert laid["rotation_deg"] == pytest.approx(-26.565, abs=0.5)
    unfold(page, "storey")
    page.fill("#field-picture-turned-by", "0")
    page.keyboard.press("Tab")
    page.click("[aria-label='A quarter turn to the left']")
    laid = plan_of(page, server, survey_id)["dwelling"]["plan_images"][0]
    assert laid["rotation_deg"] == pytest.approx(90.0)
    width, height = 400 * laid["metres_per_pixel"], 300 * laid["metres_per_pixel"]
    # turned to the left, the lower left corner of the picture lies to the lower right of its middle
    middle = (laid["origin"][0] - height / 2, laid["origin"][1] + width / 2)
    page.click("[aria-label='A quarter turn to the right']")
    level = plan_of(page, server, survey_id)["dwelling"]["plan_images"][0]
    assert (level["origin"][0] + width / 2, level["origin"][1] + height / 2) == pytest.approx(middle, abs=1e-6)


def test_the_north_arrow_turns_and_appears(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat", "North")
    assert page.locator(".plan .north").count() == 0
    unfold(page, "north")
    page.locator("#north-turn").fill("40")
    expect(page.locator(".plan .north")).to_have_count(1)
    assert plan_of(page, server, survey_id)["dwelling"]["north_deg"] == 40


def test_a_press_offers_what_can_be_done_there_and_no_row_of_tools_stands_anywhere(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat", "Words")
    assert page.locator("[role=toolbar]").count() == 0
    press_point(page, 2.5, 2.0)
    assert {"Bed", "Cot", "Transmitter", "Furniture from here"} <= set(offered(page))
    page.click(".offer-word:has-text('Cot')")
    expect(page.locator("#field-name")).to_be_focused()
    cot = plan_of(page, server, survey_id)["places"][-1]
    assert (cot["kind"], cot["name"], cot["room_id"]) == ("cot", "Cot", "room-1")
    assert cot["position"][:2] == pytest.approx([2.5, 2.0], abs=0.06)
    page.click("text=Done")
    wall = next(w for w in plan_of(page, server, survey_id)["dwelling"]["walls"] if not w["openings"])
    middle = [(a + b) / 2 for a, b in zip(wall["start"], wall["end"], strict=True)]
    press_point(page, *middle)
    assert offered(page)[:3] == ["Window", "Door", "Gap"]
    page.click(".offer-word:has-text('Window')")
    walls = plan_of(page, server, survey_id)["dwelling"]["walls"]
    hole = next(w for w in walls if w["id"] == wall["id"])["openings"][0]
    length = ((wall["end"][0] - wall["start"][0]) ** 2 + (wall["end"][1] - wall["start"][1]) ** 2) ** 0.5
    assert (hole["start_m"] + hole["end_m"]) / 2 == pytest.approx(length / 2, abs=0.06), (
        "it is cut where it was pressed"
    )


@pytest.mark.calculated("arithmetic: centre lines lie one wall thickness of 0.3 m farther apart than the faces")
@pytest.mark.parametrize("size", ["desk", "hand"])
def test_a_room_is_begun_by_a_press_and_its_clear_size_typed(demo_server, open_page, size):
    server, page = demo_server, open_page(size)
    survey_id = new_survey(page, server, title="Typed from a press")
    press_point(page, 2, 4)
    page.click(".offer-word:has-text('Room from here')")
    fields = page.locator(".size-field")
    fields.first.fill("4,2")
    fields.first.press("x")  # leads to the depth
    expect(fields.nth(1)).to_be_focused()
    fields.nth(1).fill("3.6")
    page.click("text=Draw it")
    assert room_box(page, server, survey_id) == (4.5, 3.9)
    expect(page.locator("#in-hand")).to_be_hidden()


def test_what_is_offered_is_heard_and_chosen_by_keyboard_alone(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, "one-room-flat", "Heard")
    page.locator("svg.plan").focus()
    page.keyboard.press("Enter")  # shows the cross in the middle
    page.keyboard.press("Enter")  # asks what can be done there
    expect(page.locator("#announce")).to_contain_text("Bed, Cot, Desk")
    expect(page.locator(".offer-word").first).to_be_focused()
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    expect(page.locator("#field-name")).to_be_focused()
    expect(page.locator("#announce")).to_contain_text("Drawn: Place Cot")
    assert plan_of(page, server, survey_id)["places"][-1]["kind"] == "cot"
    page.locator("svg.plan").focus()
    page.keyboard.press("Escape")
    page.keyboard.press("Enter")
    page.keyboard.press("Enter")
    page.keyboard.press("Escape")
    assert page.locator(".offer").count() == 0
    expect(page.locator("svg.plan")).to_be_focused()


def test_the_build_up_of_outer_walls_is_chosen_once(demo_server, open_page):
    server, page = demo_server, open_page()
    survey_id = new_survey(page, server, title="Once")
    hold(page, "r")
    drag(page, (1, 1), (5, 4))
    page.keyboard.press("Escape")
    unfold(page, "walls")
    page.select_option("#field-outer-walls-are", "concrete")
    walls = plan_of(page, server, survey_id)["dwelling"]["walls"]
    assert [w["layers"] for w in walls] == [[{"material": "concrete", "thickness_m": 0.18}]] * 4
