"""The page of a night as its user meets it: a file chosen by hand, refused numbers mended, and the log that comes of it."""

from __future__ import annotations

import io

import numpy as np
import pytest
import soundfile
from playwright.sync_api import expect

pytestmark = pytest.mark.browser
RATE, SCALE_UW = 8000, 1e3


def night() -> tuple[np.ndarray, bytes]:
    """Bursts of 2 ms every 100 ms; the ninth second is the highest."""
    moment = np.arange(16 * RATE) / RATE
    samples = (np.mod(moment, 0.1) < 2e-3) * np.where(moment.astype(int) == 8, 0.5, 0.2)
    samples += 2e-4 * np.random.default_rng(6).standard_normal(len(moment))
    file = io.BytesIO()
    soundfile.write(file, samples, RATE, subtype="PCM_16", format="WAV")
    return samples, file.getvalue()


@pytest.mark.calculated("the ninth second of the invented sound is made the highest")
def test_a_night_comes_in_by_hand_and_is_looked_through(serve, open_page):
    server = serve()
    page = open_page("hand", timezone_id="Europe/Vienna")
    made = page.request.post(f"{server.base}/api/v1/surveys", data={"title": "Night", "starter": "one-room-flat"},
                             headers={"x-roomfield-client": "test"})  # fmt: skip
    samples, content = night()
    page.goto(f"{server.base}/surveys/{made.json()['id']}/night")
    page.wait_for_selector("html[data-ready=night]")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
    page.set_input_files("#sound", {"name": "night.wav", "mimeType": "audio/wav", "buffer": content})
    page.fill("#began-here", "2026-11-28T22:00:00")
    page.select_option("#sound-coupling", "0")
    page.select_option("#sound-law", "square")
    page.locator("#night-form button.main").click()
    expect(page.locator("#night-form > .fault")).to_contain_text("nothing was read off the display", timeout=30000)
    row = page.locator(".readings-typed tbody tr").nth(3).locator("input")
    mean = samples[int(12.75 * RATE) : 14 * RATE].mean() * SCALE_UW
    for n, text in enumerate(("0:14", "", "500", f"{mean:.4g}".replace(".", ","))):
        row.nth(n).fill(text)
    page.locator("#night-form button.main").click()
    page.wait_for_url("**/logs/log-*", timeout=120000)
    told = page.locator(".night-told")
    expect(told).to_contain_text("came at 22:00:08 (0:00:08 after the start)", timeout=60000)
    expect(page.locator("#said")).to_contain_text("its 90 % interval")
    assert page.evaluate("document.documentElement.scrollWidth - innerWidth") <= 0
