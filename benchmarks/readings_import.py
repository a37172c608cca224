"""How long 100,000 readings take: our import beside plain scripts that do the same arithmetic.

    python benchmarks/readings_import.py [--readings 100000]

The plain scripts convert the values and sort out bounds, but check nothing: no unit, no place, no line of a
fault. All of them must arrive at the same sum of power densities and the same number of bounds.
"""

from __future__ import annotations

import argparse
import csv
import math
import random
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import pandas as pd
from rich.console import Console
from rich.table import Table

from roomfield.exchange.drafts import ReadingContext
from roomfield.exchange.readings_table import ImportPlan, import_readings
from roomfield.store.repository import open_store
from roomfield.survey import Censoring, Meter, Place, RadioState, Survey, Visit
from roomfield.table_files.column_guess import guess_columns

HEADERS = ["place", "state", "peak [µW/m²]", "max-hold [µW/m²]", "average [µW/m²]", "date", "note"]
STATES = ("as found", "router off", "all off")
PLACES = tuple(f"place {i}" for i in range(40))


@dataclass(frozen=True)
class Outcome:
    """What came out: it must be the same for everybody."""

    readings: int
    bounds: int
    total_w_m2: float


def invented_rows(count: int) -> Iterator[list[str]]:
    """Rows of three readings each: log-normal levels, a few bounds."""
    draw = random.Random(20260302)
    for i in range(math.ceil(count / 3)):
        peak = 10 ** draw.gauss(2, 1)
        levels = [max(level, 0.01) for level in (peak, peak / draw.uniform(1, 4), peak / draw.uniform(4, 40))]
        texts = [f"{level:.3g}" if 0.01 <= level < 1e5 else f"{level:.0f}" for level in levels]
        if draw.random() < 0.02:
            texts[2] = "<0.01"
        if draw.random() < 0.01:
            texts[0] = ">2500000"
        yield [
            draw.choice(PLACES),
            draw.choice(STATES),
            *texts,
            "2026-03-02",
            f"scan {i}" if i % 5 == 0 else "",
        ]


def write_files(folder: Path, count: int) -> tuple[Path, Path]:
    rows = list(invented_rows(count))
    text, book_path = folder / "walk.csv", folder / "walk.xlsx"
    with text.open("w", encoding="utf-8", newline="") as file:
        csv.writer(file).writerows([HEADERS, *rows])
    book = openpyxl.Workbook(write_only=True)
    sheet = book.create_sheet("walk")
    sheet.append(HEADERS)
    for row in rows:
        sheet.append([*row[:2], *(float(cell) if cell[0] not in "<>" else cell for cell in row[2:5]), *row[5:]])
    book.save(book_path)
    return text, book_path


def invented_survey() -> Survey:
    states = tuple(RadioState(name, name) for name in STATES)
    return Survey(
        id="benchmark",
        title="benchmark",
        created_at="2026-03-02",
        invented=True,
        places=tuple(Place(name, name) for name in PLACES),
        meters=(
            Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
        ),
        visits=(Visit("v1", "2026-03-02", "nobody", radio_states=states),),
    )


def our_import(path: Path) -> ImportPlan:
    context = ReadingContext(invented_survey(), "v1", meter_id="m1")
    return import_readings(path, guess_columns(path), context, confirmed=True, progress=lambda done, total: None)


def outcome_of(plan: ImportPlan) -> Outcome:
    bounds = sum(1 for reading in plan.readings if reading.censoring is not Censoring.NONE)
    return Outcome(len(plan.readings), bounds, math.fsum(reading.value_w_m2 for reading in plan.readings))


def plain_cells(cells: Iterator[object]) -> Outcome:
    densities, bounds = [], 0
    for cell in cells:
        if isinstance(cell, str) and cell[:1] in "<>":
            bounds += 1
            cell = cell[1:]
        densities.append(float(str(cell)) * 1e-6)
    return Outcome(len(densities), bounds, math.fsum(densities))


def plain_openpyxl(path: Path) -> Outcome:
    rows = openpyxl.load_workbook(path, read_only=True)["walk"].iter_rows(min_row=2, values_only=True)
    return plain_cells(cell for row in rows for cell in row[2:5])


def plain_pandas(path: Path, read: Callable[..., pd.DataFrame]) -> Outcome:
    table = read(path, dtype=str)
    texts = pd.concat([table[header] for header in HEADERS[2:5]])
    marked = texts.str[0].isin(["<", ">"])
    densities = texts.str.lstrip("<>").astype(float) * 1e-6
    return Outcome(len(densities), int(marked.sum()), math.fsum(densities))


def timed(call: Callable[[], object]) -> tuple[object, float, float]:
    wall, cpu = time.perf_counter(), time.process_time()
    result = call()
    return result, time.perf_counter() - wall, time.process_time() - cpu


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else "")
    parser.add_argument("--readings", type=int, default=100_000)
    count = parser.parse_args().readings
    lines = Table("what", "wall [s]", "CPU [s]", "readings", "bounds", "sum [W/m²]", title=f"{count} readings")
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        text, book = write_files(folder, count)
        runs: list[tuple[str, Callable[[], object]]] = [
            ("CSV, pandas, nothing checked", lambda: plain_pandas(text, pd.read_csv)),
            ("CSV, our import", lambda: our_import(text)),
            ("XLSX, openpyxl, nothing checked", lambda: plain_openpyxl(book)),
            ("XLSX, pandas, nothing checked", lambda: plain_pandas(book, pd.read_excel)),
            ("XLSX, our import", lambda: our_import(book)),
        ]
        outcomes, plan = [], None
        for what, call in runs:
            result, wall, cpu = timed(call)
            plan = result if isinstance(result, ImportPlan) else plan
            outcome = outcome_of(result) if isinstance(result, ImportPlan) else result
            outcomes.append(outcome)
            add_line(lines, what, wall, cpu, outcome)
        store = open_store(folder)
        store.create(invented_survey())
        result, wall, cpu = timed(lambda: store.append("benchmark", plan.readings if plan else ()))
        lines.add_row("storing them in SQLite", f"{wall:.2f}", f"{cpu:.2f}", str(result), "", "")
        store.close()
    Console().print(lines)
    same = all((o.readings, o.bounds) == (outcomes[0].readings, outcomes[0].bounds) for o in outcomes)
    close = all(math.isclose(o.total_w_m2, outcomes[0].total_w_m2, rel_tol=1e-9) for o in outcomes)
    raise SystemExit(0 if same and close else "the results differ")


def add_line(lines: Table, what: str, wall: float, cpu: float, outcome: Outcome) -> None:
    total = f"{outcome.total_w_m2:.9g}"
    lines.add_row(what, f"{wall:.2f}", f"{cpu:.2f}", str(outcome.readings), str(outcome.bounds), total)


if __name__ == "__main__":
    main()
