"""A record with one small survey, a client that behaves like our own pages, and a live server with a browser."""

from __future__ import annotations

import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from roomfield.survey import Assignment
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
from roomfield.workbench.record import demo_tour, editing, survey_list

CHROMIUM = shutil.which("chromium") or ""
AXE = Path(__file__).parent / "node_modules" / "axe-core" / "axe.min.js"
ARGS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update",
        "--disable-sync", "--no-first-run", "--autoplay-policy=no-user-gesture-required"]  # fmt: skip
LAUNCH = """
import sys, uvicorn
from roomfield.web.app import create_app
from roomfield.web.settings import Settings
port = int(sys.argv[2])
app = create_app(sys.argv[1], Settings(port=port), demo=len(sys.argv) > 3)
uvicorn.run(app, host="127.0.0.1", port=port, log_level="warning")
"""


@pytest.fixture(scope="session")
def made_demo(tmp_path_factory):
    """Folder of a record that holds the demo survey; made once, for it takes in a night's log."""
    folder = tmp_path_factory.mktemp("made-demo")
    opened = survey_list.open_records(str(folder / "record.sqlite"))
    demo_tour.begin(opened)
    opened.close()
    return folder


@pytest.fixture
def demo(made_demo, records) -> str:
    """The demo survey in this test's record, which is a copy of the one made; its id."""
    return demo_tour.begin(records)


@pytest.fixture
def records(tmp_path, request, records_by_copy):
    if "made_demo" in request.fixturenames:
        shutil.copytree(request.getfixturevalue("made_demo"), tmp_path, dirs_exist_ok=True)
    opened = survey_list.open_records(str(tmp_path / "record.sqlite"))
    yield opened
    opened.close()


@pytest.fixture
def survey_id(records) -> str:
    order = Assignment(client="Family Muster", address="Lindenweg 4", assessor="A. Beispiel")
    return survey_list.keep_new(records, editing.started_survey("Lindenweg 4", order, "one-room-flat"))


@pytest.fixture
def client(records) -> Iterator[TestClient]:
    app = create_app(records, Settings(upload_limit_bytes=1_000_000))
    with TestClient(app, base_url="http://127.0.0.1:8765", headers={"accept": "text/html"}) as made:
        made.get("/")
        made.headers["x-roomfield-form"] = made.cookies["roomfield_form"]
        yield made


class Server:
    """The door in a process of its own, so that it can be killed as a flat battery would."""

    def __init__(self, record: Path, *, demo: bool = False) -> None:
        self.record, self.demo, self.port = record, demo, _free_port()
        self.base = f"http://127.0.0.1:{self.port}"
        self.start()

    def start(self) -> None:
        command = [sys.executable, "-c", LAUNCH, str(self.record), str(self.port), *(["demo"] if self.demo else [])]
        self.process = subprocess.Popen(command)
        for _ in range(1200):
            if self.process.poll() is not None:
                raise ChildProcessError(f"the server ended with {self.process.returncode}")
            try:
                urllib.request.urlopen(f"{self.base}/help", timeout=2).close()
                return
            except OSError:
                time.sleep(0.1)
        raise TimeoutError(self.base)

    def kill(self) -> None:
        self.process.kill()
        self.process.wait()


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@pytest.fixture
def serve(tmp_path) -> Iterator[Callable[..., Server]]:
    started: list[Server] = []

    def begin(name: str = "record.sqlite", *, demo: bool = False) -> Server:
        started.append(Server(tmp_path / name, demo=demo))
        return started[-1]

    yield begin
    for server in started:
        server.kill()


@pytest.fixture(scope="session")
def demo_server(tmp_path_factory) -> Iterator[Server]:
    server = Server(tmp_path_factory.mktemp("demo") / "record.sqlite", demo=True)
    yield server
    server.kill()


@pytest.fixture(scope="session")
def browser():
    if not CHROMIUM:
        pytest.skip("Debian's chromium is not installed")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGS)
        yield made
        made.close()


SIZES = {"desk": {"viewport": {"width": 1280, "height": 800}},
         "hand": {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}}  # fmt: skip


@pytest.fixture
def open_page(browser):
    """Opens a page that fails the test on any script error and on any request that leaves this computer."""
    contexts, troubles = [], []

    def begin(size: str = "desk", **more):
        context = browser.new_context(locale="en-GB", accept_downloads=True, **SIZES[size], **more)
        contexts.append(context)
        page = context.new_page()
        page.set_default_timeout(8000)
        page.on("pageerror", lambda error: troubles.append(f"script: {error}"))
        page.on("request", lambda request: troubles.append(f"left: {request.url}") if _leaves(request.url) else None)
        page.on(
            "console", lambda line: troubles.append(f"policy: {line.text}") if "Content Security" in line.text else None
        )
        return page

    yield begin
    for context in contexts:
        context.close()
    assert not troubles


def _leaves(url: str) -> bool:
    return not url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "blob:", "data:"))
