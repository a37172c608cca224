"""Page sizes, first paint and drag-to-number latency in a real browser: ``python -m benchmarks.web``.

Prints, for every page of the invented home, its size and the time to first contentful paint, and the time from
a movement of the hand to the new numbers for a dragged emitter, place and shield with the real field model; on a phone
layout shift and length of the pages; and after one more reading the time to the levels, and to causes and map as well.
"""

from __future__ import annotations

import argparse
import math
import os
import random
import shutil
import socket
import subprocess
import sys
import tempfile
import time
import urllib.request
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import quantiles

from playwright.sync_api import Page, sync_playwright

SURVEY = "demo-terraced-house"
SLUGS = ("assignment", "plan", "walk", "readings", "listen", "logs", "understand", "what-if", "before-after", "report")
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", "--no-first-run"]  # fmt: skip
SIZE_KB, PAINT_MS, DRAG_MS, TILE_MS = 300, 1000, 150, 20
SHIFT, UNDERSTAND_PX, LEVELS_S, ALL_S = 0.05, 3000, 1.0, 2.5
PHONE = {"width": 390, "height": 844}
SHIFTS = """new PerformanceObserver((list) => { for (const one of list.getEntries())
    if (!one.hadRecentInput) window.shifted = (window.shifted || 0) + one.value; })
    .observe({ type: 'layout-shift', buffered: true })"""
LAUNCH = """
import sys, uvicorn
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
port = int(sys.argv[2])
uvicorn.run(create_app(sys.argv[1], Settings(port=port), demo=True), port=port, log_level="warning")
"""


def started(record: Path) -> tuple[subprocess.Popen[bytes], str]:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    process = subprocess.Popen([sys.executable, "-c", LAUNCH, str(record), str(port)])
    base = f"http://127.0.0.1:{port}"
    for _ in range(1800):  # the invented home is made first
        try:
            urllib.request.urlopen(f"{base}/help", timeout=2).close()
            return process, base
        except OSError:
            time.sleep(0.1)
    raise TimeoutError(base)


def measure_page(page: Page, base: str, path: str) -> tuple[float, float]:
    """Size of the page itself [kB], and first contentful paint [ms]."""
    answer = page.goto(base + path, wait_until="domcontentloaded", timeout=60000)
    size = len(answer.body()) / 1000 if answer else float("nan")
    page.wait_for_timeout(400)
    paint = page.evaluate("performance.getEntriesByName('first-contentful-paint')[0]?.startTime ?? -1")
    return size, float(paint)


def held_still(page: Page, base: str, path: str) -> tuple[float, int]:
    """Layout shift while a page settles on a phone [1], and its length before anything is folded out [px]."""
    page.goto(base + path, wait_until="domcontentloaded", timeout=60000)
    page.wait_for_load_state("networkidle", timeout=120000)
    page.wait_for_timeout(500)
    return float(page.evaluate("window.shifted || 0")), int(page.evaluate("document.documentElement.scrollHeight"))


def after_a_reading(page: Page, base: str, process: subprocess.Popen[bytes]) -> tuple[float, float, float, float]:
    """From a reading to the levels, to causes and map as well, and the server's processor time for either [s]."""
    at = f"{base}/surveys/{SURVEY}/sheet"
    page.request.get(f"{at}/numbers?visit=first&sources=1", timeout=120000)  # the model is compiled
    place = page.request.get(f"{base}/api/v1/surveys/{SURVEY}").json()["survey"]
    state = place["visits"][0]["radio_states"][0]["id"]
    kept = page.request.post(f"{base}/api/v1/surveys/{SURVEY}/readings", headers={"x-roomfield-client": "benchmark"},
                             data={"entry_id": f"entry-{time.time_ns()}", "visit_id": "first", "radio_state_id": state,
                                   "meter_id": place["meters"][0]["id"], "place_id": "cot", "unit": "µW/m²",
                                   "values": [{"number": 9000, "kind": "highest_held"}]})  # fmt: skip
    if not kept.ok:
        raise RuntimeError(kept.text())
    began, used = time.perf_counter(), cpu_s(process)
    page.request.get(f"{at}/numbers?visit=first", timeout=120000)
    levels, first = time.perf_counter() - began, cpu_s(process) - used
    page.request.get(f"{at}/numbers?visit=first&sources=1", timeout=120000)
    page.request.get(f"{at}/between?visit=first", timeout=120000)
    return levels, time.perf_counter() - began, first, cpu_s(process) - used


def said_after_a_reading(page: Page, base: str, process: subprocess.Popen[bytes]) -> str:
    """The same as one line."""
    levels, everything, first, used = after_a_reading(page, base, process)
    late = "within" if levels < LEVELS_S and everything < ALL_S else "over"
    return (f"after a reading: levels {levels:.2f} s, with causes and map {everything:.2f} s ({late} {LEVELS_S:g} and "
            f"{ALL_S:g} s); server CPU {first:.2f} and {used:.2f} s; load {os.getloadavg()[0]:.1f}")  # fmt: skip


def cpu_s(process: subprocess.Popen[bytes]) -> float:
    """Processor time that the server has used [s]."""
    fields = Path(f"/proc/{process.pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def drag(page: Page, base: str, moves: int, process: subprocess.Popen[bytes]) -> tuple[list[float], float]:
    """Latencies from the newest wish to its numbers [ms], and the server's processor time for each answer [ms]."""
    page.goto(f"{base}/surveys/{SURVEY}/what-if", timeout=60000)
    page.wait_for_selector(".try-place", timeout=120000)
    page.wait_for_timeout(500)
    page.evaluate("roomfieldLatencies.length = 0")
    before = cpu_s(process)
    for kind in ("emitters", "places"):
        mark = page.locator(f"#try-plan .mark.{kind} .plate").first.bounding_box()
        x, y = mark["x"] + mark["width"] / 2, mark["y"] + mark["height"] / 2
        page.mouse.move(x, y)
        page.mouse.down()
        for step in range(moves):
            page.mouse.move(x + 60 * (step % 20) / 20, y + 2 * (step % 10))
            page.wait_for_timeout(40)
        page.mouse.up()
    page.click("#add-screen")
    page.wait_for_timeout(800)
    took = [float(one) for one in page.evaluate("roomfieldLatencies")]
    return took, 1000.0 * (cpu_s(process) - before) / len(took)


def tiles(page: Page, base: str, rows: int, folder: Path, process: subprocess.Popen[bytes]) -> str:
    """A long log in the browser: frames while it is moved and zoomed, and the server's part in each tile."""
    page.goto(f"{base}/surveys/{SURVEY}/logs", timeout=60000)
    page.set_input_files("#log", str(made_log(folder, rows)))
    page.click("form[data-upload] button")
    page.wait_for_selector("#kind", timeout=120000)
    page.select_option("#kind", "average")
    page.click("button.main")
    page.wait_for_selector("html[data-ready=log]", timeout=300000)
    page.wait_for_selector("[aria-busy=true]", state="detached", timeout=120000)
    frame = page.locator("#timeline").bounding_box()
    x, y = frame["x"] + frame["width"] / 2, frame["y"] + 90
    page.mouse.move(x, y)
    page.evaluate(FRAMES)
    before, asked = cpu_s(process), page.evaluate(ASKED)
    for step in range(50):
        page.mouse.wheel(0, -160 if step < 25 else 160)
        page.wait_for_timeout(40)
    page.mouse.down()
    for step in range(40):
        page.mouse.move(x - 8 * step, y)
        page.wait_for_timeout(25)
    page.mouse.up()
    page.wait_for_timeout(500)
    count = page.evaluate(ASKED) - asked
    took = sorted(page.evaluate("frameTimes"))
    cpu_ms = 1000.0 * (cpu_s(process) - before) / max(count, 1)
    verdict = "within" if cpu_ms < TILE_MS else "over"
    return (f"log of {rows:,} points: {count} tiles, server CPU {cpu_ms:.1f} ms each ({verdict} {TILE_MS} ms); "
            f"frames median {took[len(took) // 2]:.0f} ms, p95 {took[int(0.95 * len(took))]:.0f} ms")  # fmt: skip


FRAMES = """() => { window.frameTimes = []; let last = performance.now();
const step = (now) => { frameTimes.push(now - last); last = now; requestAnimationFrame(step); };
requestAnimationFrame(step); }"""
ASKED = "performance.getEntriesByType('resource').filter((one) => one.name.includes('/window')).length"


def made_log(folder: Path, rows: int) -> Path:
    """Invented readings, one a second: a daily course, scatter, and rare bursts."""
    path = folder / "long.csv"
    draw = random.Random(1)
    start = datetime(2026, 3, 1, tzinfo=UTC)
    with path.open("w", encoding="utf-8") as out:
        out.write("time,average power density [uW/m2]\n")
        for second in range(rows):
            level = 20.0 * math.exp(0.8 * math.sin(2 * math.pi * second / 86400) + draw.gauss(0.0, 0.5))
            burst = 40.0 if draw.random() < 2e-4 else 1.0
            out.write(f"{(start + timedelta(seconds=second)).isoformat()},{level * burst:.3f}\n")
    return path


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--moves", type=int, default=60, help="movements of the hand for each thing dragged")
    parser.add_argument("--rows", type=int, default=1_000_000, help="points of the long log; 0 leaves it out")
    parser.add_argument("--one-reading", action="store_true", help="only the times after one more reading")
    given = parser.parse_args()
    moves = given.moves
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        process, base = started(Path(folder) / "record.sqlite")
        try:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=ARGS)
            page = browser.new_page()
            if given.one_reading:
                print(said_after_a_reading(page, base, process))
                return
            print(f"{'page':34} {'kB':>7} {'first paint ms':>15}")
            for path in ("/", "/surveys/new", "/help", *(f"/surveys/{SURVEY}/{slug}" for slug in SLUGS)):
                size, paint = measure_page(page, base, path)
                late = "" if size < SIZE_KB and paint < PAINT_MS else "  over the aim"
                print(f"{path:34} {size:7.1f} {paint:15.0f}{late}")
            assets = sum(f.stat().st_size for f in Path("src/roomfield/web/static").rglob("*") if f.is_file()) / 1000
            print(f"all scripts and styles of all pages together: {assets:.0f} kB before compression")
            hand = browser.new_page(viewport=PHONE, has_touch=True, is_mobile=True)
            hand.add_init_script(SHIFTS)
            print(f"{'on a phone':34} {'shift':>7} {'length px':>15}")
            for slug in SLUGS:
                shift, length = held_still(hand, base, f"/surveys/{SURVEY}/{slug}")
                long = slug == "understand" and length >= UNDERSTAND_PX
                print(f"{slug:34} {shift:7.3f} {length:15d}{'  over the aim' if long or shift >= SHIFT else ''}")
            print(said_after_a_reading(page, base, process))
            took, cpu_ms = drag(page, base, moves, process)
            p95 = quantiles(took, n=20)[-1]
            verdict = "within" if p95 < DRAG_MS else "over"
            print(f"drag to number: {len(took)} answers, median {quantiles(took, n=2)[0]:.0f} ms, "
                  f"p95 {p95:.0f} ms ({verdict} {DRAG_MS} ms); server CPU {cpu_ms:.0f} ms each; load {os.getloadavg()[0]:.1f}")  # fmt: skip
            if given.rows:
                print(tiles(page, base, given.rows, Path(folder), process))
            browser.close()
        finally:
            process.kill()


if __name__ == "__main__":
    main()
