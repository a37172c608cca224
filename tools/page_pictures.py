"""Pictures of the pages and of the report's first page, as they are today, for the docs.

Run ``python tools/page_pictures.py docs/images``; needs Debian's chromium and pdftoppm. The pages are those of the demo
survey, which is invented, in a record of its own that goes away afterwards.
"""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import tempfile
import threading
from pathlib import Path

import uvicorn
from playwright.sync_api import Page, sync_playwright

from roomfield.web.app import create_app
from roomfield.web.settings import Settings
from roomfield.workbench.record import demo_tour, survey_list
from roomfield.workbench.record.job import open_job

DESK, PHONE = {"width": 1280, "height": 800}, {"width": 390, "height": 844}
PAGES = (
    ("plan", "plan", DESK),
    ("walk-phone", "walk", PHONE),
    ("understand", "understand", DESK),
    ("what-if", "what-if", DESK),
)
"""Name of the picture, page, and size of the window."""
SETTLED = "document.fonts.ready.then(() => new Promise(done => setTimeout(done, 4000)))"
QUIET = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]


def free_port() -> int:
    """A port of this computer that nobody uses."""
    with socket.socket() as taken_for_a_moment:
        taken_for_a_moment.bind(("127.0.0.1", 0))
        return int(taken_for_a_moment.getsockname()[1])


def served(record: Path, port: int) -> str:
    """Serve a record with the demo survey in a thread; gives the survey's id."""
    records = survey_list.open_records(str(record))
    survey = demo_tour.begin(records)
    records.close()
    app = create_app(str(record), Settings(port=port), demo=False)
    server = uvicorn.Server(uvicorn.Config(app, host="127.0.0.1", port=port, log_level="warning"))
    threading.Thread(target=server.run, daemon=True).start()
    return survey


def taken(page: Page, address: str, folder: Path) -> None:
    """Every page of the list as PNG."""
    for name, where, size in PAGES:
        page.set_viewport_size(size)  # type: ignore[arg-type]
        page.goto(f"{address}/{where}", wait_until="load", timeout=120_000)
        page.evaluate(SETTLED)
        page.screenshot(path=str(folder / f"{name}.png"))
        print(name, flush=True)


def first_page(record: Path, survey: str, folder: Path) -> None:
    """The report's first page as PNG."""
    from roomfield.workbench.publish.whole_report import whole_report

    with tempfile.TemporaryDirectory() as name:
        report = whole_report(open_job(str(record), survey), Path(name) / "report.pdf")
        picture = ["pdftoppm", "-png", "-r", "80", "-f", "1", "-l", "1", "-singlefile"]
        subprocess.run([*picture, str(report), str(folder / "report-page")], check=True)


def main(arguments: list[str]) -> int:
    """Take all pictures into the folder named."""
    if len(arguments) != 1:
        print(__doc__)
        return 2
    folder = Path(arguments[0])
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(prefix="roomfield-pictures-") as name:
        record = Path(name) / "record.sqlite"
        port = free_port()
        survey = served(record, port)
        with sync_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=shutil.which("chromium"), args=QUIET)
            taken(browser.new_context(locale="en-GB").new_page(), f"http://127.0.0.1:{port}/surveys/{survey}", folder)
            browser.close()
        first_page(record, survey, folder)
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
