"""Live sound: over the socket, and from a microphone that plays a file."""

from __future__ import annotations

import shutil
import struct
import wave

import pytest
from playwright.sync_api import expect
from starlette.websockets import WebSocketDisconnect

RATE = 48000


def slots(seconds, rate=RATE):
    """A burst of one slot in every frame, as an idle cordless base sends its dummy bearer."""
    frame, slot = round(0.010 * rate), round(0.000417 * rate)
    return [0.4 if n % frame < slot else 0.002 * ((n * 7919) % 101 / 50 - 1) for n in range(round(seconds * rate))]


def line(client, origin="http://127.0.0.1:8765", rate=RATE):
    address = f"ws://127.0.0.1:8765/surveys/demo-terraced-house/listen/live?rate={rate}"
    return client.websocket_connect(address, headers={"host": "127.0.0.1:8765", "origin": origin})


@pytest.mark.published("ETSI EN 300 175-2: TDMA frame of 10 ms in 24 slots of 417 µs")
def test_frames_of_ten_milliseconds_are_heard_as_a_cordless_telephone(client, demo):
    samples = slots(3.0)
    with line(client) as socket:
        for start in range(0, len(samples), 4800):
            chunk = samples[start : start + 4800]
            socket.send_bytes(struct.pack(f"<{len(chunk)}f", *chunk))
            answer = socket.receive_json()
    assert answer["claimed"][0] == "dect"
    assert answer["time_s"] == pytest.approx(3.0)


def test_another_site_cannot_listen(client, demo):
    with pytest.raises(WebSocketDisconnect), line(client, origin="http://evil.example"):
        pass


@pytest.mark.parametrize(
    ("rate", "chunk"), [(10.0, b"\0" * 400), (RATE, b"\0" * 401), (RATE, struct.pack("<2f", float("nan"), 1.0))]
)
def test_a_broken_stream_gets_one_sentence(client, demo, rate, chunk):
    with line(client, rate=rate) as socket:
        socket.send_bytes(chunk)
        assert socket.receive_json()["fault"]["what"]


@pytest.fixture
def microphone(tmp_path, browser):
    """A browser whose microphone plays the slots above."""
    path = tmp_path / "played.wav"
    with wave.open(str(path), "wb") as file:
        file.setnchannels(1)
        file.setsampwidth(2)
        file.setframerate(RATE)
        file.writeframes(b"".join(struct.pack("<h", round(32000 * s)) for s in slots(6.0)))
    made = browser.browser_type.launch(
        executable_path=shutil.which("chromium"),
        args=["--no-sandbox", "--disable-gpu", "--no-first-run", "--use-fake-ui-for-media-stream",
              "--use-fake-device-for-media-stream", f"--use-file-for-fake-audio-capture={path}"],
    )  # fmt: skip
    yield made
    made.close()


@pytest.mark.browser
def test_the_microphone_is_heard_kept_at_a_place_and_shown_again(demo_server, microphone):
    context = microphone.new_context(permissions=["microphone"])
    page = context.new_page()
    page.goto(f"{demo_server.base}/surveys/demo-terraced-house/listen")
    page.wait_for_selector("html[data-ready=listen]")
    page.click("#live-start")
    expect(page.locator("#rate")).to_contain_text("no processing by the browser")
    expect(page.locator("#live-heard li.claimed").first).to_contain_text("DECT", timeout=30000)
    page.click("#live-stop")
    page.select_option("#keep-place", label="Child's cot")
    page.click("#keep-form button")
    page.wait_for_url("**/listen#recording-*", timeout=60000)
    kept = page.locator(f"article[id='{page.url.split('#')[1]}']")
    expect(kept).to_contain_text("Child's cot")
    expect(kept).to_contain_text("DECT")
    kept.locator("summary").first.click()
    expect(kept.locator("li.claimed", has_text="DECT")).to_be_visible()
    kept.locator("text=Show all that was heard").click()
    expect(page.locator(".profile-line").first).to_be_attached(timeout=30000)
    context.close()
