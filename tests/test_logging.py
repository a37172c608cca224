"""An odd result can be followed: packages note what they did under a logger of their own."""

from __future__ import annotations

import logging
import os
import subprocess
import sys

import roomfield as rf


def test_inference_and_choice_note_what_they_did(caplog):
    with caplog.at_level(logging.DEBUG, logger="roomfield"):
        rf.plans(rf.open_demo(), 1e-3, at=("sleeping",))
    names = {record.name for record in caplog.records}
    assert "roomfield.remedy" in names
    assert all(name.count(".") <= 1 for name in names if name.startswith("roomfield"))


def test_the_command_line_tells_it_when_asked():
    ask = [sys.executable, "-c", "import sys; sys.argv[1:] = ['version']; from roomfield.cli.main import run, logging\n"
           "logging.getLogger('roomfield.field').debug('seen')\n"
           "try:\n    run()\nfinally:\n    logging.getLogger('roomfield.field').debug('heard')"]  # fmt: skip
    for level, expected in (("debug", "roomfield.field DEBUG: heard"), ("", ""), ("nonsense", "")):
        done = subprocess.run(ask, env={**os.environ, "ROOMFIELD_LOG": level}, capture_output=True, text=True)
        assert done.returncode == 0 and done.stderr.strip() == expected
