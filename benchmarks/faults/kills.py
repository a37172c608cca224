"""Kills in the middle of work: at a chosen step between the first and the last write, so that each hits something open.

A step is a statement of the database, the end of a transaction, a file synced, renamed, linked or removed. The work is
done once to count its steps; then it is done again from the same start and killed at one of them.
"""

from __future__ import annotations

import os
import random
import shutil
import signal
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from sqlalchemy import Engine, event

from benchmarks.faults import sample
from benchmarks.faults.tried import Tried, in_child
from roomfield.exchange.unpack import open_package
from roomfield.store.repository import open_store
from roomfield.workbench.record import backups, long_series, proof, readings_intake, releasing
from roomfield.workbench.record.job import Job, unpack_into

Work = Callable[[Path, str], Any]


def _job(folder: Path, survey_id: str) -> Job:
    store = open_store(folder / "record.sqlite")
    return Job(store.load(survey_id).survey, store)


def _new(folder: Path, _survey_id: str) -> None:
    open_store(folder / "fresh.sqlite").close()


def _migrate(folder: Path, _survey_id: str) -> None:
    open_store(folder / "old.sqlite").close()


def _enter(folder: Path, survey_id: str) -> None:
    job = _job(folder, survey_id)
    for i in range(3):
        job.store.append(survey_id, [sample.entry(f"kill-{i}"), sample.entry(f"kill-{i}b")])


def _amend(folder: Path, survey_id: str) -> None:
    job = _job(folder, survey_id)
    job.store.amend(survey_id, "first-1", "value_w_m2", 2e-6, reason="slip", by="A")


def _change(folder: Path, survey_id: str) -> None:
    job = _job(folder, survey_id)
    job.store.update(survey_id, 1, title="Changed", meters=(replace(job.survey.meters[0], note="new"),))


def _import(folder: Path, survey_id: str) -> None:
    path = folder / "table.csv"
    mapping = readings_intake.guessed(path)
    given = readings_intake.Circumstances("visit-1", "meter-1", "as-found", make_places=True)
    readings_intake.take_in(_job(folder, survey_id), path, mapping, given, confirmed=True)


def _log(folder: Path, survey_id: str) -> None:
    path = folder / "log.csv"
    mapping = long_series.guessed_log(path).confirm()
    long_series.keep_log(_job(folder, survey_id), path, mapping, long_series.LogPlace())


def _pack(folder: Path, survey_id: str) -> None:
    _job(folder, survey_id).write_package(folder / "out.zip")


def _unpack(folder: Path, _survey_id: str) -> None:
    unpack_into(str(folder / "record.sqlite"), folder / "package.zip")


def _back_up(folder: Path, survey_id: str) -> None:
    backups.back_up(_job(folder, survey_id).store, str(folder / "backups"))


def _sign(folder: Path, survey_id: str) -> None:
    releasing.sign_off(_job(folder, survey_id).store, survey_id, "draft", note="please look")


def _delete(folder: Path, survey_id: str) -> None:
    _job(folder, survey_id).store.delete(survey_id, "Lindenweg 4")


WORKS: dict[str, Work] = {
    "new record": _new,
    "migration": _migrate,
    "entries": _enter,
    "amendment": _amend,
    "change": _change,
    "import": _import,
    "log": _log,
    "package": _pack,
    "unpack": _unpack,
    "backup": _back_up,
    "sign-off": _sign,
    "deletion": _delete,
}


def run(folder: Path, kills: int, seed: int) -> list[Tried]:
    """Kill every kind of work, as often as its share says.

    Parameters
    ----------
    folder : Path
        Empty folder to work in.
    kills : int
        How many in all.
    """
    dice = random.Random(seed)
    start = folder / "start"
    start.mkdir(parents=True)
    survey_id = sample.made_record(start)
    files = folder / "files"
    files.mkdir()
    sample.made_files(files)
    for name in ("table.csv", "log.csv", "package.zip"):
        shutil.copy(files / name, start / name)
    share = max(1, kills // len(WORKS))
    return [_killed(name, work, (folder, start, survey_id), share, dice) for name, work in WORKS.items()]


def _killed(name: str, work: Work, where: tuple[Path, Path, str], share: int, dice: random.Random) -> Tried:
    folder, start, survey_id = where
    tried = Tried(f"kill: {name}")
    schemas = ("0001", "0002", "0003", "0004") if name == "migration" else ("",)
    for schema in schemas:
        if schema:
            (start / "old.sqlite").unlink(missing_ok=True)
            sample.old_record(start / "old.sqlite", schema)
        steps = _counted(work, start, folder / "count", survey_id)
        for _ in range(max(1, share // len(schemas))):
            tried.count += 1
            at = dice.randint(1, steps)
            here = folder / "work"
            shutil.rmtree(here, ignore_errors=True)
            shutil.copytree(start, here)
            how, _answer = in_child(lambda at=at, here=here: _until(at, work, here, survey_id), 120)
            tried.note("hit" if how == "killed" else f"missed: {_answer}"[:60])
            if how != "killed":
                tried.failures.append(f"step {at} of {steps} was not reached: {_answer}")
            how, found = in_child(lambda here=here: _whole(name, here, start, survey_id), 120)
            if how != "done" or found:
                tried.failures.append(f"killed at step {at} of {steps}{' of ' + schema if schema else ''}: {found}")
    (start / "old.sqlite").unlink(missing_ok=True)
    return tried


def _counted(work: Work, start: Path, here: Path, survey_id: str) -> int:
    shutil.rmtree(here, ignore_errors=True)
    shutil.copytree(start, here)
    how, steps = in_child(lambda: _until(0, work, here, survey_id), 120)
    if how != "done" or not steps:
        raise SystemExit(f"the work itself fails: {steps}")
    return int(steps)


def _until(at: int, work: Work, here: Path, survey_id: str) -> int:
    """Do the work and die at a step; 0 does all of it and counts."""
    count = 0

    def step(*_args: Any, **_more: Any) -> None:
        nonlocal count
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)

    for name in ("before_cursor_execute", "begin", "commit"):
        event.listen(Engine, name, step)
    for name in ("fsync", "replace", "link", "unlink", "rename"):
        setattr(os, name, _stepping(getattr(os, name), step))
    work(here, survey_id)
    return count


def _stepping(call: Callable[..., Any], step: Callable[[], None]) -> Callable[..., Any]:
    def stepping(*args: Any, **more: Any) -> Any:
        step()
        answer = call(*args, **more)
        step()
        return answer

    return stepping


def _whole(name: str, here: Path, start: Path, survey_id: str) -> str:
    """What is wrong with what was left; empty if it is as before the work or as after it."""
    if name == "new record":
        with open_store(here / "fresh.sqlite") as store:
            return "" if store.surveys() == () else "not empty"
    if name == "migration":
        with open_store(here / "old.sqlite") as store:
            count, links = len(store.load("first-survey").survey.readings), len(store.history("first-survey"))
            faults = [
                one for one in store.chain_faults("first-survey") if "2000 rows of reading were added" not in one.what
            ]
            return str(faults or ("" if count >= 2002 and links == 1 else f"{count} readings, {links} links"))
    wrong = _odd_packages(here)
    with open_store(here / "record.sqlite") as store, open_store(start / "record.sqlite") as before:
        misfits = proof.check_record(store).misfits
        wrong += "; ".join(one.what for one in misfits)
        left = {one.id for one in store.surveys()}
        if survey_id not in left:
            return wrong + ("" if name == "deletion" else "the survey is gone")
        now, then = store.load(survey_id).survey, before.load(survey_id).survey
        fresh = len(now.readings) - len(then.readings)
        allowed = {"entries": (0, 2, 4, 6), "import": (0, 60)}.get(name, (0,))
        if fresh not in allowed or now.readings[: len(then.readings)] != then.readings:
            wrong += f"{fresh} readings are new"
        if name == "import" and fresh and not any(item.file_name == "table.csv" for item in now.media):
            wrong += "the table that they rest on is not listed"
        if (now.title == "Changed") != (now.meters[0].note == "new"):
            wrong += "half a change"
    return wrong


def _odd_packages(here: Path) -> str:
    for path in (here / "out.zip",):
        if path.exists():
            with open_package(path):
                pass
    for path in (here / "backups").glob("roomfield-*.sqlite"):
        with open_store(path) as copy:
            copy.surveys()
    return ""
