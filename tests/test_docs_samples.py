"""What README and docs show works: every code sample is run, and every command exists with the options shown."""

from __future__ import annotations

import importlib
import importlib.util
import json
import re
import shlex
import shutil
import sys
from collections.abc import Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import ezdxf
import numpy as np
import pikepdf
import pytest
import soundfile
import typer

from roomfield.cli import main
from roomfield.demo.invented_survey import FIRST, demo_survey

ROOT = Path(__file__).parents[1]
PAGES = sorted((*ROOT.glob("*.md"), *ROOT.glob("docs/*.md")))
FENCED = re.compile(r"^```(\w+)\n(.*?)^```", re.MULTILINE | re.DOTALL)
READINGS = """place,date,time,state,kind,value,unit
"Bed, left pillow",2026-03-02,10:00,As found,peak,350,µW/m²
"Bed, left pillow",2026-03-02,10:05,As found,average,20,µW/m²
Desk,2026-03-02,10:10,As found,peak,1200,µW/m²
"""
LOG = "time,level µW/m²\n" + "".join(f"2026-03-02 {h:02}:{m:02}:00,{10 + h}\n" for h in range(22) for m in range(60))


def samples(page: Path, language: str) -> list[str]:
    """Fenced samples of one language."""
    return [text for name, text in FENCED.findall(page.read_text("utf-8")) if name == language]


def name_of(page: Path) -> str:
    return page.relative_to(ROOT).as_posix()


def _for_exchange(folder: Path) -> dict[str, Any]:
    survey = demo_survey()
    rows = "Place;State;Level 1;Date\n{0};As found;0,35;02.03.2026\n{0};As found;1,2;03.03.2026\n"
    (folder / "readings.csv").write_text(rows.format(survey.places[0].name), "utf-8")
    square = [[0, 0], [4, 0], [4, 3], [0, 3], [0, 0]]
    room = {"type": "Polygon", "coordinates": [square]}
    feature = {"type": "Feature", "geometry": room, "properties": {"kind": "room", "name": "Bedroom"}}
    (folder / "plan.geojson").write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    drawing = ezdxf.new("R2010")
    drawing.header["$INSUNITS"] = 6
    drawing.modelspace().add_lwpolyline(square, dxfattribs={"layer": "A-01"})
    drawing.saveas(folder / "plan.dxf")
    made = pikepdf.new()
    for _ in range(2):
        made.add_blank_page(page_size=(300, 200))
    made.save(folder / "plan.pdf")
    keep = SimpleNamespace(append=lambda *rows, **more: None)
    return {
        "survey": survey,
        "visit_id": FIRST.id,
        "meter_id": survey.meters[0].id,
        "store": keep,
        "dwelling": survey.dwelling,
    }


def _for_remedy(folder: Path) -> dict[str, Any]:
    return {"survey": demo_survey()}


def _for_propagation(folder: Path) -> dict[str, Any]:
    survey = demo_survey()
    return {
        "survey": survey,
        "positions": np.array([[1.0, 1.0, 1.0]]),
        "frequencies_hz": np.array([2.45e9]),
        "patterns": [survey.emitters[0].pattern],
        "points": np.array([[2.0, 2.0, 1.0]]),
        "x": np.array([1.0, 2.0]),
        "y": np.array([1.0, 2.0]),
        "z": 1.0,
    }


def _for_logs(folder: Path) -> dict[str, Any]:
    (folder / "night.csv").write_text(LOG, "utf-8")
    return {}


def _for_signals(folder: Path) -> dict[str, Any]:
    n = np.arange(5 * 48000)
    noise = np.random.default_rng(3).normal(0.0, 0.02, n.size)
    noise[n % 480 < 20] += 0.4  # slots of 417 µs in frames of 10 ms (ETSI EN 300 175-2)
    for name in ("cot.flac", "cot-may.flac"):
        soundfile.write(folder / name, np.clip(noise, -1, 1), 48000)
    return {"chunk": noise[:4800]}


def _for_document(folder: Path) -> dict[str, Any]:
    return {
        "survey": demo_survey(),
        "Path": Path,
        "store": SimpleNamespace(media=SimpleNamespace(path=lambda sha: None)),
    }


def _for_readme(folder: Path) -> dict[str, Any]:
    from roomfield.store.repository import open_store

    open_store(folder / "roomfield.sqlite").create(demo_survey())
    return {}


def _for_report(folder: Path) -> dict[str, Any]:
    from roomfield.workbench.assess.assessment import assess
    from roomfield.workbench.publish.files import report_content

    return {"content": report_content(assess(demo_survey()))}


GIVEN: dict[str, Callable[[Path], dict[str, Any]]] = {
    "README.md": _for_readme,
    "docs/exchange.md": _for_exchange,
    "docs/logs.md": _for_logs,
    "docs/propagation.md": _for_propagation,
    "docs/remedy.md": _for_remedy,
    "docs/report.md": _for_report,
    "docs/signals.md": _for_signals,
    "docs/survey-document.md": _for_document,
}
"""What a page's samples take as given."""


@pytest.mark.parametrize(
    "page", [p for p in PAGES if samples(p, "python") and p.name != "CONTRIBUTING.md"], ids=name_of
)
def test_samples_of_code_run(page, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = GIVEN.get(name_of(page), lambda folder: {})(tmp_path)
    for text in samples(page, "python"):
        here = "\n".join(line for line in text.splitlines() if "postgresql://" not in line)  # needs a server
        exec(compile(here, name_of(page), "exec"), names)


def commands() -> dict[str, Any]:
    """The commands of the program by name, groups with their own under ``group name``."""
    found = {}

    def walk(prefix: str, command: Any) -> None:
        for name, inner in getattr(command, "commands", {}).items():
            found[f"{prefix}{name}"] = inner
            walk(f"{prefix}{name} ", inner)

    walk("", typer.main.get_command(main.app))
    return found


def shown_commands() -> list[tuple[str, str]]:
    """Every ``roomfield ...`` that a page shows, in a block or within a sentence."""
    found = []
    for page in PAGES:
        if page.name == "commands.md":  # is written by the program itself; see test_reference
            continue
        text = page.read_text("utf-8")
        blocks = "\n".join(samples(page, "sh")).replace("\\\n", " ").splitlines()
        inside = re.findall(r"`(roomfield [^`]+)`", text)
        found += [(name_of(page), line.partition("  #")[0].strip()) for line in (*blocks, *inside)]
    return [(page, line) for page, line in found if line.startswith("roomfield ")]


def test_commands_shown_exist_with_their_options():
    known, wrong = commands(), []
    before_any = {
        o for p in typer.main.get_command(main.app).params for o in p.opts if not getattr(p, "is_flag", False)
    }
    for page, line in shown_commands():
        words = [w.strip("[]") for w in shlex.split(line)[1:]]
        while words and words[0] in before_any:  # an option of the whole program, with its value
            words = words[2:]
        verb = next((" ".join(words[:k]) for k in (2, 1) if " ".join(words[:k]) in known), "")
        if not verb and words and words[0] not in ("...", "--help"):
            wrong.append((page, line, "no such command"))
            continue
        options = {o for p in getattr(known.get(verb), "params", ()) for o in (*p.opts, *p.secondary_opts)} | {"--help"}
        wrong += [(page, line, w) for w in words if w.startswith("--") and w.partition("=")[0] not in options]
    assert wrong == []


def test_modules_and_files_shown_exist():
    wrong = []
    for page in PAGES:
        text = page.read_text("utf-8")
        for module in re.findall(r"python3? -m ([\w.]+)", text):
            if importlib.util.find_spec(module.rstrip(".")) is None:
                wrong.append((name_of(page), module))
        for target in re.findall(r"\]\((?!https?:|#)([^)#\s]+)", text):
            if not (page.parent / target).exists():
                wrong.append((name_of(page), target))
        for path in re.findall(r"(?<!Write )`((?:src|tests|docs|benchmarks)/[\w./-]+)`", text):
            if not (ROOT / path).exists():
                wrong.append((name_of(page), path))
    assert wrong == []


def test_names_of_the_package_shown_in_docs_exist():
    """`roomfield.room.module` and `room.module.name` in backquotes."""
    wrong = []
    for page in PAGES:
        for dotted in set(re.findall(r"`(roomfield(?:\.\w+)+)(?<!\.sqlite)`", page.read_text("utf-8"))):
            parts = dotted.split(".")
            for k in range(len(parts), 0, -1):
                try:
                    spec = importlib.util.find_spec(".".join(parts[:k]))
                except ModuleNotFoundError:
                    spec = None
                if spec is not None:
                    break
            module = importlib.import_module(".".join(parts[:k]))
            if any(not hasattr(module, name) for name in parts[k : k + 1]):
                wrong.append((name_of(page), dotted))
    assert wrong == []


def test_the_tutorial_of_the_readme_runs(tmp_path, monkeypatch, capsys):
    """Word for word, in an empty folder with the four files that it speaks of."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "readings.csv").write_text(READINGS, "utf-8")
    bearings = (
        'place,date,time,bearing,kind\n"Bed, left pillow",2026-03-02,10:20,40,peak\nDesk,2026-03-02,10:25,120,peak\n'
    )
    (tmp_path / "bearings.csv").write_text(bearings, "utf-8")
    (tmp_path / "bands.csv").write_text("from [MHz],to [MHz],place,average [V/m]\n925,960,Desk,0.02\n", "utf-8")
    _for_signals(tmp_path)
    shutil.move(tmp_path / "cot.flac", tmp_path / "recording.flac")
    lines = [line for line in samples(ROOT / "README.md", "sh")[1].splitlines() if line.startswith("roomfield ")]
    assert len(lines) >= 10
    for line in lines:
        words = shlex.split(line, comments=True)
        monkeypatch.setattr(sys, "argv", words)
        with pytest.raises(SystemExit) as stopped:
            main.run()
        said = capsys.readouterr()
        assert stopped.value.code in (0, None), (line, said.err or said.out)
