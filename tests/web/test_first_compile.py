"""The first compilation runs beside the server, and terminal and page say so."""

from __future__ import annotations

from threading import Event

import pytest
from starlette.testclient import TestClient

from roomfield import kernel_cache
from roomfield.web import server
from roomfield.web.app import create_app
from roomfield.workbench.first_compile import FirstCompile


@pytest.mark.parametrize(("language", "words"), [("en", "being compiled"), ("de", "werden einmalig")])
def test_a_page_says_so_as_long_as_it_runs(records, monkeypatch, language, words):
    monkeypatch.setattr(kernel_cache, "is_complete", lambda: False)
    begun, enough, ended = Event(), Event(), Event()
    compiling = FirstCompile(lambda: (begun.set(), enough.wait(20))[0])
    app = create_app(records, first_compile=compiling)
    heads = {"accept": "text/html", "accept-language": language}
    with TestClient(app, base_url="http://127.0.0.1:8765", headers=heads) as client:
        assert words not in client.get("/").text
        assert compiling.start(ended.set) and begun.wait(20)
        assert words in client.get("/").text
        enough.set()
        assert ended.wait(20)
        compiling._thread.join(20)
        assert words not in client.get("/").text


def test_nothing_is_done_if_everything_is_kept(monkeypatch):
    monkeypatch.setattr(kernel_cache, "is_complete", lambda: True)
    compiling = FirstCompile(lambda: pytest.fail("compiled again"))
    assert not compiling.start(lambda: pytest.fail("told"))
    assert not compiling.running


def test_a_failure_is_logged_and_the_server_lives_on(monkeypatch, caplog):
    monkeypatch.setattr(kernel_cache, "is_complete", lambda: False)
    ended = Event()
    compiling = FirstCompile(lambda: 1 / 0)
    assert compiling.start(ended.set) and ended.wait(20)
    assert "compiled ahead" in caplog.text


def test_the_mark_is_kept_with_the_loops(tmp_path, monkeypatch):
    monkeypatch.setattr(kernel_cache, "FOLDER", tmp_path)
    assert not kernel_cache.is_complete()
    kernel_cache.mark_complete()
    assert kernel_cache.is_complete()


def test_the_terminal_says_so(monkeypatch, tmp_path, capsys):
    monkeypatch.setattr(kernel_cache, "is_complete", lambda: False)
    monkeypatch.setattr("roomfield.workbench.first_compile.FirstCompile.start", lambda self, done: (done(), True)[1])
    monkeypatch.setattr("uvicorn.run", lambda *a, **k: None)
    server.serve(str(tmp_path / "r.sqlite"), open_browser=False)
    said = capsys.readouterr().out
    assert "being compiled for this computer" in said and "are compiled." in said
