"""Full disk, read-only folder, clock set back, no temporary folder, ten writers at once; hostile requests."""

from __future__ import annotations

import encodings.cp437
import encodings.utf_8_sig  # noqa: F401
import os
import random
import resource
import shutil
import tempfile
import time
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from starlette.testclient import TestClient
from starlette.websockets import WebSocketDisconnect

from benchmarks.faults import kills, sample
from benchmarks.faults.tried import LONGEST_S, Tried, in_child
from roomfield.errors import RoomfieldError
from roomfield.store import repository
from roomfield.store.repository import open_store
from roomfield.web.app import create_app
from roomfield.web.settings import Settings

_NOBODY = 65534
WRITERS, ENTRIES = 10, 30


def run(folder: Path, requests: int, seed: int) -> list[Tried]:
    """Try every circumstance with every kind of work.

    Parameters
    ----------
    requests : int
        How many hostile requests.
    """
    start = folder / "start"
    start.mkdir(parents=True)
    survey_id = sample.made_record(start)
    files = folder / "files"
    files.mkdir()
    sample.made_files(files)
    for name in ("table.csv", "log.csv", "package.zip"):
        shutil.copy(files / name, start / name)
    sample.old_record(start / "old.sqlite", "0003")
    around = {"full disk": _full_disk, "read-only folder": _read_only, "no temporary folder": _no_temporary,
              "clock set back": _clock_back}  # fmt: skip
    found = [_each(name, change, (folder, start, survey_id)) for name, change in around.items()]
    asked = (
        _requests(folder, start, survey_id, requests, seed),
        _sockets(folder, start, max(10, requests // 10), seed),
    )
    return [*found, _writers(folder, start, survey_id), *asked]


def _each(name: str, change: Callable[[Path], None], where: tuple[Path, Path, str]) -> Tried:
    folder, start, survey_id = where
    tried = Tried(name)
    for title, work in kills.WORKS.items():
        here = folder / "work"
        shutil.rmtree(here, ignore_errors=True)
        shutil.copytree(start, here)
        if name == "read-only folder" and os.getuid() == 0:
            _give_away(folder, here)
        tried.count += 1
        how, answer = in_child(lambda work=work, here=here: _under(change, work, here, survey_id), 60)
        tried.note(answer.split(":")[0] if how == "done" else "failed")
        if how != "done":
            tried.failures.append(f"{title}: {answer}")
        how, wrong = in_child(lambda title=title, here=here: kills._whole(title, here, start, survey_id), 60)
        refused_new = title == "new record" and not (here / "fresh.sqlite").exists()
        if (how != "done" or wrong) and not refused_new:
            tried.failures.append(f"{title}, afterwards: {wrong}")
    return tried


def _under(change: Callable[[Path], None], work: kills.Work, here: Path, survey_id: str) -> str:
    change(here)
    try:
        work(here, survey_id)
    except RoomfieldError as fault:
        return f"refused: {fault.sentence()}" if fault.mend else f"failed: no way to mend it: {fault.sentence()}"
    return "done"


def _full_disk(_here: Path) -> None:
    # The largest file may grow no further: what a full disk does to whoever writes to it.
    resource.setrlimit(resource.RLIMIT_FSIZE, (2048, 2048))


def _give_away(folder: Path, here: Path) -> None:
    for path in (folder, *folder.parents):
        if Path(tempfile.gettempdir()) in path.parents:
            path.chmod(0o755)
    for path in (here, *here.rglob("*")):
        path.chmod(0o555 if path.is_dir() else 0o444)


def _read_only(here: Path) -> None:
    if os.getuid() == 0:
        os.environ["HOME"] = str(here)
        os.setgid(_NOBODY)
        os.setuid(_NOBODY)
        return
    for path in (*here.rglob("*"), here):
        path.chmod(0o555 if path.is_dir() else 0o444)


def _no_temporary(_here: Path) -> None:
    tempfile.tempdir = "/nonexistent"


def _clock_back(_here: Path) -> None:
    repository._now = lambda: datetime(2001, 1, 1).astimezone().isoformat(timespec="seconds")


def _writers(folder: Path, start: Path, survey_id: str) -> Tried:
    tried, here = Tried("ten writers at once"), folder / "work"
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(start, here)
    children = []
    for writer in range(WRITERS):
        child = os.fork()
        if child == 0:
            try:
                with open_store(here / "record.sqlite") as store:
                    for i in range(ENTRIES):
                        store.append(survey_id, [sample.entry(f"w{writer}-{i}")])
                os._exit(0)
            except BaseException:
                os._exit(1)
        children.append(child)
    ended = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    tried.count = WRITERS * ENTRIES
    with open_store(here / "record.sqlite") as store:
        kept = sum(one.id.startswith("w") for one in store.load(survey_id).survey.readings)
        faults = store.chain_faults(survey_id)
    tried.note(f"{kept} kept")
    if kept != tried.count or any(ended) or faults:
        tried.failures.append(f"{kept} of {tried.count} kept, {sum(map(bool, ended))} writers failed, {faults}")
    return tried


def _requests(folder: Path, start: Path, survey_id: str, count: int, seed: int) -> Tried:
    tried, dice = Tried("hostile requests"), random.Random(seed)
    here = folder / "work"
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(start, here)
    with open_store(here / "record.sqlite") as store:
        app = create_app(store, Settings(upload_limit_bytes=1_000_000))
        paths = [
            (method.upper(), path)
            for path, verbs in app.openapi()["paths"].items()
            for method in verbs
            if "what-if" not in path and "assessment" not in path and "report" not in path
        ]
        client = TestClient(app, base_url="http://127.0.0.1:8765", raise_server_exceptions=False)
        for _ in range(count):
            tried.count += 1
            method, path = dice.choice(paths)
            status, words = _asked(
                client, dice, method, path.replace("{survey_id}", dice.choice([survey_id, "x", "%00", "a" * 200]))
            )
            tried.note(str(status // 100) + "xx")
            if status >= 500:
                tried.failures.append(f"{method} {path}: {status} {words[:100]}")
    return tried


def _sockets(folder: Path, start: Path, count: int, seed: int) -> Tried:
    """Hostile connections of the live ear: foreign pages, odd rates, texts, cut, endless and broken samples."""
    tried, dice = Tried("hostile sockets"), random.Random(seed)
    here = folder / "work"
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(start, here)
    with open_store(here / "record.sqlite") as store:
        client = TestClient(create_app(store, Settings()), base_url="http://127.0.0.1:8765")
        survey = store.surveys()[0].id
        for _ in range(count):
            tried.count += 1
            began = time.process_time()
            try:
                how = _listened(client, dice, survey)
            except WebSocketDisconnect:
                how = "closed"
            except Exception as fault:
                how = "failed"
                tried.failures.append(f"{type(fault).__name__}: {str(fault)[:160]}")
            if time.process_time() - began > LONGEST_S:
                tried.failures.append(f"over {LONGEST_S} s of the processor")
            tried.note(how)
    return tried


def _listened(client: TestClient, dice: random.Random, survey: str) -> str:
    rate = dice.choice([*["48000"] * 16, "0", "-1", "nan", "inf", "1e300", "8", "x", ""])
    page = dice.choice([*["http://127.0.0.1:8765"] * 7, "http://elsewhere.invalid", "null", ""])
    host = dice.choice([*["127.0.0.1:8765"] * 8, "elsewhere.invalid"])
    where = f"/surveys/{dice.choice([survey, survey, 'x', '%00'])}/listen/live?rate={rate}"
    with client.websocket_connect(where, headers={"host": host, "origin": page}) as socket:
        for _ in range(dice.randint(1, 4)):
            sent = dice.choice([b"", b"\0", dice.randbytes(4097), np.zeros(4800, "<f4").tobytes(),
                                np.full(4800, np.nan, "<f4").tobytes(), np.full(480, 3e38, "<f4").tobytes(),
                                np.zeros(480_000, "<f4").tobytes(), "text", "{", "\0" * 10_000])  # fmt: skip
            (socket.send_text if isinstance(sent, str) else socket.send_bytes)(sent)
            answer = socket.receive_json()
            if "fault" in answer:
                if not answer["fault"]["mend"]:
                    raise ValueError(f"no way to mend it: {answer}")
                return "refused"
    return "answered"


_VALUES: tuple[Any, ...] = (None, True, -1, 0, 1e308, 10**400, "", "x" * 5000, "\0", "é" * 10, [], [[]], {}, {"a": {"b": []}},
                            "2026-13-45", "NaN", [None] * 3, "../../etc/passwd", "<script>")  # fmt: skip
_FIELDS = ("title", "client", "entry_id", "visit_id", "meter_id", "radio_state_id", "values", "unit", "place_id", "position",
           "taken_at", "name", "off_groups", "reading_ids", "starter", "dwelling", "places", "emitters")  # fmt: skip


def _asked(client: TestClient, dice: random.Random, method: str, path: str) -> tuple[int, str]:
    headers = {"x-roomfield-client": "faults", "content-type": dice.choice(["application/json", "text/plain", "a/b"])}
    if dice.random() < 0.3:
        headers["cookie"] = dice.choice(["a/b=1", "{}", "language=xx; roomfield_form", 'q="', "=;=;="])
    if dice.random() < 0.2:
        headers["accept-language"] = dice.choice(["de;q=x", ",,,", "\t", "zz-" * 50])
    query = {
        dice.choice(["revision", "visit", "query", "typed_title", "kind", "first", "second", "page"]): str(
            dice.choice(_VALUES)
        )[:300]
    }
    import json

    body = dice.choice([
        b"", b"{", b"null", b"[" * 20_000, b"\xff\xfe\0",
        json.dumps({dice.choice(_FIELDS): dice.choice(_VALUES) for _ in range(5)}).encode(),
    ])  # fmt: skip
    try:
        answer = client.request(method, path, params=query, headers=headers, content=body)
    except (ValueError, UnicodeError):  # the client itself will not send it
        return 499, ""
    return answer.status_code, answer.text
