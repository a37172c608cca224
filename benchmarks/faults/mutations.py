"""Damaged files of every kind that can be brought: each is taken in soundly or refused in words, soon and in little memory."""

from __future__ import annotations

import hashlib
import io
import json
import random
import tempfile
import zipfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from benchmarks.faults import sample
from benchmarks.faults.tried import MOST_BYTES, Tried, in_child, peak_bytes
from roomfield.errors import RejectedRows, RoomfieldError
from roomfield.exchange.bearings import BEARINGS
from roomfield.exchange.package import MANIFEST, TAG_MANIFEST
from roomfield.exchange.plan_dxf import look_at_dxf, read_dxf_plan
from roomfield.exchange.plan_geojson import read_geojson_plan
from roomfield.exchange.plan_page import read_plan_page
from roomfield.exchange.survey_document import read_document_file
from roomfield.exchange.unpack import open_package
from roomfield.logs import guess_mapping, ingest
from roomfield.signals.recording import blocks, open_source
from roomfield.survey import Survey
from roomfield.survey.soundness import soundness_faults
from roomfield.survey.values import value_faults
from roomfield.table_files.column_guess import guess_columns
from roomfield.workbench.record import readings_intake
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.plan_document import plan_faults, read_plan

_BATCH = 20
_TEXTS = (b"1e300", b"-1", b"NaN", b"9999-12-31", b"1800-01-01", b"\0", b"\xff\xfe", b"<", b"=1+1", b"25:61", b"5e-324",
          b"[" * 50, b'"', b",,,,", b"\xf0\x9f\x92\xa9", b"null", b"99999999999999999999")  # fmt: skip


def mutated(content: bytes, dice: random.Random) -> bytes:
    """A file with one to four changes: bytes turned, parts cut out, doubled or moved, odd texts put in.

    Half of all archives are changed inside and packed anew, checksums and all; half of all JSON stays JSON.
    """
    if dice.random() < 0.5:
        if content.startswith(b"PK"):
            return _changed_inside(content, dice)
        if content.startswith(b"{"):
            return _odd_json(content, dice)
    made = content
    for _ in range(dice.randint(1, 4)):
        made = dice.choice(_CHANGES)(made, dice)
    return made


def _turned(content: bytes, dice: random.Random) -> bytes:
    made = bytearray(content)
    for _ in range(dice.randint(1, 8) if made else 0):
        made[dice.randrange(len(made))] = dice.randrange(256)
    return bytes(made)


def _part(content: bytes, dice: random.Random) -> tuple[int, int]:
    at = dice.randrange(len(content) + 1)
    return at, at + dice.randint(1, max(1, len(content) // 8))


def _cut_off(content: bytes, dice: random.Random) -> bytes:
    return content[: _part(content, dice)[0]]


def _cut_out(content: bytes, dice: random.Random) -> bytes:
    first, last = _part(content, dice)
    return content[:first] + content[last:]


def _doubled(content: bytes, dice: random.Random) -> bytes:
    first, last = _part(content, dice)
    return content[:last] + content[first:]


def _noise(content: bytes, dice: random.Random) -> bytes:
    first, last = _part(content, dice)
    return content[:first] + dice.randbytes(last - first) + content[last:]


def _odd_text(content: bytes, dice: random.Random) -> bytes:
    at = _part(content, dice)[0]
    return content[:at] + dice.choice(_TEXTS) + content[at:]


def _odd_number(content: bytes, dice: random.Random) -> bytes:
    digits = [i for i, byte in enumerate(content) if 48 <= byte <= 57]
    if not digits:
        return content
    at = dice.choice(digits)
    return content[:at] + dice.choice(_TEXTS) + content[at + 1 :]


def _changed_inside(content: bytes, dice: random.Random) -> bytes:
    with zipfile.ZipFile(io.BytesIO(content)) as bag:
        files = {name: bag.read(name) for name in bag.namelist()}
    name = dice.choice([name for name in files if name.endswith((".json", ".xml", "/data"))] or list(files))
    files[name] = mutated(files[name], dice)
    top = name.partition("/")[0]
    if f"{top}/{MANIFEST}" in files:
        for manifest, chosen in ((MANIFEST, "data/"), (TAG_MANIFEST, "")):
            names = [n.removeprefix(f"{top}/") for n in sorted(files) if not n.endswith(("/", TAG_MANIFEST))]
            mine = [n for n in names if n.startswith("data/") == bool(chosen)]
            lines = [f"{hashlib.sha256(files[f'{top}/{n}']).hexdigest()}  {n}\n" for n in mine]
            files[f"{top}/{manifest}"] = "".join(lines).encode()
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as bag:
        for one, held in files.items():
            bag.writestr(one, held)
    return out.getvalue()


def _odd_json(content: bytes, dice: random.Random) -> bytes:
    """The same JSON with one to three values made odd, or left out."""
    whole = json.loads(content)
    for _ in range(dice.randint(1, 3)):
        at: Any = whole
        while True:
            keys = list(at) if isinstance(at, dict) else list(range(len(at)))
            key = dice.choice(keys)
            if isinstance(at[key], (dict, list)) and at[key] and dice.random() < 0.9:
                at = at[key]
                continue
            if dice.random() < 0.15:
                del at[key]
            else:
                at[key] = dice.choice(_ODD)
            break
        if not whole:
            break
    return json.dumps(whole).encode()


_ODD: tuple[Any, ...] = (-1, -1e-6, 0, 0.0, 1e300, -1e300, 5e-324, 1e17, None, "", "x" * 300, "9999-01-01", "1800-01-01",
                         "2026-03-01T25:00", [], {}, True, "attic", [1e300, 0, 0], "\0", "\ud800")  # fmt: skip
_CHANGES = (_turned, _cut_off, _cut_out, _doubled, _noise, _odd_text, _odd_number)


def _table(path: Path) -> Any:
    survey = started_survey("Try", Survey("x", "x", "2026-01-01").assignment, "one-room-flat")
    mapping = readings_intake.guessed(path)
    given = readings_intake.Circumstances("visit-1", "meter-1", "as-found", make_places=True, accept_rest=True)
    plan = readings_intake.previewed(survey, path, mapping, given)
    return next(value_faults((*plan.readings, *plan.new_places)), None)


def _log(path: Path) -> Any:
    with tempfile.TemporaryDirectory() as folder:
        mapping = guess_mapping(path)
        answers = {q.what: q.choices[0] for q in mapping.questions if q.choices}
        ingest(path, mapping.confirm(skip_unreadable=True, **answers), folder)


def _package(path: Path) -> Any:
    with open_package(path) as package:
        return next(soundness_faults(package.survey), None)


def _sound(path: Path) -> None:
    for _ in blocks(open_source(path, None)):
        pass


def _sheet(path: Path) -> None:
    list(plan_faults(read_plan(path.read_bytes())))


READERS: dict[str, Callable[[Path], Any]] = {
    "table.csv": _table,
    "table.xlsx": _table,
    "log.csv": _log,
    "log.parquet": _log,
    "log.xlsx": _log,
    "packed.csv.gz": _log,
    "document.json": lambda path: next(soundness_faults(read_document_file(path)), None),
    "package.zip": _package,
    "plan.geojson": lambda path: read_geojson_plan(path, coordinates="metres") and None,
    "plan.dxf": lambda path: read_dxf_plan(path, look_at_dxf(path)) and None,
    "sheet.json": _sheet,
    "page.png": lambda path: read_plan_page(path) and None,
    "page.jpg": lambda path: read_plan_page(path) and None,
    "page.webp": lambda path: read_plan_page(path) and None,
    "page.pdf": lambda path: read_plan_page(path) and None,
    "sound.wav": _sound,
    "sound.flac": _sound,
    "sound.ogg": _sound,
    "bearings.csv": lambda path: guess_columns(path, BEARINGS) and None,
}


def run(folder: Path, count: int, seed: int) -> list[Tried]:
    """Bring damaged files of every kind.

    Parameters
    ----------
    count : int
        How many of each kind.
    """
    folder.mkdir(parents=True, exist_ok=True)
    files = sample.made_files(folder)
    (folder / "bearings.csv").write_text("Place,Bearing [deg],Kind\nBed 1,10,peak\nBed 2,100,null\n", encoding="utf-8")
    files["bearings.csv"] = folder / "bearings.csv"
    return [_kind(name, files[name], folder, count, seed) for name in READERS]


def _kind(name: str, source: Path, folder: Path, count: int, seed: int) -> Tried:
    tried, content = Tried(f"damaged {name}"), source.read_bytes()
    how, odd = in_child(lambda: READERS[name](source), 60)
    if how != "done" or odd is not None:
        tried.failures.append(f"the file before it was damaged: {odd}")
    target = folder / "damaged"
    target.mkdir(exist_ok=True)
    for first in range(0, count, _BATCH):
        numbers = range(first, min(first + _BATCH, count))
        how, answers = in_child(lambda numbers=numbers: [_one(name, content, target, seed, n) for n in numbers], 300)
        if how != "done":
            # Somewhere in this batch; one by one it shows where.
            answers = []
            for n in numbers:
                how, answer = in_child(lambda n=n: _one(name, content, target, seed, n))
                answers.append(answer if how == "done" else f"failed: {answer}")
        for n, answer in zip(numbers, answers, strict=True):
            tried.count += 1
            tried.note(answer.split(":")[0])
            if answer.startswith("failed"):
                tried.failures.append(f"number {n}: {answer}")
    return tried


def _one(name: str, content: bytes, folder: Path, seed: int, number: int) -> str:
    dice = random.Random(f"{seed} {name} {number}")
    path = folder / name
    path.write_bytes(mutated(content, dice))
    before = peak_bytes()
    try:
        odd = READERS[name](path)
    except RoomfieldError as fault:
        told = bool(fault.what) and bool(fault.mend or isinstance(fault, RejectedRows)) and "\n" not in fault.sentence()
        answer = "refused" if told else f"failed: it does not say how to mend it: {fault.sentence()[:120]!r}"
    except Exception as fault:
        answer = f"failed: {type(fault).__name__}: {str(fault)[:120]!r}"
    else:
        answer = "taken" if odd is None else f"failed: nonsense was accepted: {odd.sentence()[:120]}"
    return answer if peak_bytes() - before < MOST_BYTES else "failed: over 1 GB"
