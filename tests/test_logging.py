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


def test_an_intake_notes_what_it_decided(caplog, tmp_path):
    """Columns, decimal sign and visit, so that a reading in the wrong place can be traced to its decision."""
    from dataclasses import replace

    from roomfield.demo.invented_survey import FIRST, demo_survey
    from roomfield.store.repository import open_store
    from roomfield.workbench.record.job import open_job
    from roomfield.workbench.record.readings_intake import Circumstances, guessed, take_in

    survey = demo_survey()
    open_store(str(tmp_path / "r.sqlite")).create(replace(survey, visits=(FIRST,), readings=(), recordings=(), logs=(),
                                                          bearings=(), amendments=()))  # fmt: skip
    path = tmp_path / "walk.csv"
    path.write_text("Place;Peak [\u00b5W/m\u00b2]\nSofa;12,5\n", encoding="utf-8")
    with caplog.at_level(logging.DEBUG, logger="roomfield"):
        given = Circumstances(state_id=FIRST.radio_states[0].id)
        take_in(open_job(str(tmp_path / "r.sqlite")), path, guessed(path), given, confirmed=True)
    told = {record.name: record.getMessage() for record in caplog.records}
    assert "decimal sign: ," in told["roomfield.table_files"]
    assert "walk.csv: 1 readings" in told["roomfield.workbench"]
    assert any("the only one" in record.getMessage() for record in caplog.records)


def test_the_ear_notes_what_it_vetoed(caplog):
    """Without any evidence but with odds in favour of everything, every name with requirements is vetoed, and noted."""
    import numpy as np

    from roomfield.signals.classifier import CLAIM, REQUIREMENTS, judge, shipped_forest

    shipped = shipped_forest()

    class Sure:
        names = shipped.names

        def odds_on_path(self, _numbers):
            return np.full(len(self.names), 6.0)

    with caplog.at_level(logging.DEBUG, logger="roomfield.signals"):
        found = judge(dict.fromkeys(shipped.evidence_names, 0.0), Sure())
    vetoed = {record.args[0] for record in caplog.records if record.msg.startswith("vetoed")}
    assert vetoed and vetoed <= set(REQUIREMENTS)
    assert all(found.chances[name] < CLAIM for name in vetoed)


def test_the_option_of_the_command_line_is_the_variable(tmp_path):
    begin = [sys.executable, "-m", "roomfield", "--log-level"]
    path = tmp_path / "walk.csv"
    path.write_text("Place;Peak [uW/m2]\nSofa;12,5\n", encoding="utf-8")
    told = subprocess.run([*begin, "debug", "take-in", str(path)], capture_output=True, text=True)
    assert told.returncode == 0 and "roomfield.table_files DEBUG: guessed: walk.csv" in told.stderr
    odd = subprocess.run([*begin, "loud", "version"], capture_output=True, text=True)
    assert odd.returncode != 0 and "level of the log" in odd.stderr and "Traceback" not in odd.stderr
