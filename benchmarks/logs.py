"""Exact figures of real logs recomputed from the raw files; speed and memory on a month at 20 readings a second.

    python -m benchmarks.logs --data DIR            figures against DIR/log_expected.json
    python -m benchmarks.logs --speed [--days 30 | --rows N]   speed and memory on made-up data
    python -m benchmarks.logs --stations            two Dask workers against one on 200 files
    python -m benchmarks.logs --coverage            intervals against the known truth of simulated years and short logs

Only figures that the product states are compared: averages and percentiles by time observed have no peer that counts
readings. The last line is one JSON object. A figure counts as right if a whole number, a time or a name is equal and a
decimal number agrees to 12 significant digits with the one printed.
"""

from __future__ import annotations

import argparse
import json
import math
import re
import resource
import tempfile
import time
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import duckdb

from benchmarks import logs_speed
from roomfield.errors import RoomfieldError
from roomfield.logs.clock import MICRO
from roomfield.logs.guess import guess_mapping
from roomfield.logs.intake import ingest
from roomfield.logs.log_series import GapRule, LogSeries
from roomfield.logs.summary import statistics

DIGITS = 12
_TABLES = (".parquet", ".csv", ".csv.gz", ".tsv", ".tsv.gz", ".xlsx")


def peak_mb() -> float:
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0


# --- finding the rows of a named log -------------------------------------------------------------------------


def tables(folder: Path) -> dict[str, Path]:
    """Files that can be a log, by name without ending; Parquet before text."""
    found: dict[str, Path] = {}
    for ending in _TABLES:
        for path in sorted(folder.rglob(f"*{ending}")):
            found.setdefault(path.name.removesuffix(ending), path)
    return found


def source_of(name: str, expected: dict[str, Any], found: dict[str, Path], scratch: Path) -> Path:
    """The file of a log; where the name means part of a file, that part as a file of its own.

    A log is named as its file is. Otherwise the file is the one whose name shares the longest beginning and
    whose unit is that of the log, and the rest of the name is ``all``, a day (UTC), or a value in a column.
    """
    if name in found:
        return found[name]
    ranked = sorted(found, key=lambda stem: -_shared(stem, name))
    for stem in ranked:
        if _shared(stem, name) >= 4 and _unit_fits(found[stem], expected["unit"]):
            rest = name[_shared(stem, name) :].strip("_-")
            return _part(found[stem], rest, scratch / f"{name}.parquet")
    raise SystemExit(f"no file was found for the log {name!r}")


def _shared(a: str, b: str) -> int:
    return next((i for i, (x, y) in enumerate(zip(a, b, strict=False)) if x != y), min(len(a), len(b)))


def _unit_fits(path: Path, unit: str) -> bool:
    try:
        guess = guess_mapping(path)
    except RoomfieldError:
        return False
    return guess.unit == unit and "value" in guess.layout.columns


def _part(path: Path, rest: str, target: Path) -> Path:
    day = re.search(r"\d{4}-\d\d-\d\d", rest)
    words = [w for w in re.split(r"[_\-]", rest) if w and w != "s"]
    if not day and (not words or words[-1] == "all"):
        return path
    reader = "read_parquet" if path.suffix == ".parquet" else "read_csv"
    with duckdb.connect() as database:
        database.execute("SET TimeZone='UTC'")
        columns = [row[0] for row in database.execute(f"DESCRIBE FROM {reader}('{path}')").fetchall()]
        if day:
            where = f"strftime(timestamp::TIMESTAMP, '%Y-%m-%d') = '{day.group()}'"
        else:
            where = " OR ".join(f"\"{c}\"::VARCHAR = '{words[-1]}'" for c in columns)
        database.execute(f"COPY (FROM {reader}('{path}') WHERE {where}) TO '{target}'")
    return target


# --- the figures ---------------------------------------------------------------------------------------------


def figures(series: LogSeries, expected: dict[str, Any]) -> dict[str, Any]:
    """The figures that `expected` names, from a stored series."""
    nominal = float(expected["nominal_interval_s"])
    gap_limit = float(expected.get("gap_limit_s", max(10.0, 3 * nominal)))
    rule = GapRule(nominal, 2 * nominal, gap_limit)
    stats = statistics(series, gap_rule=rule, windows_s=())
    report, span = series.report, (series.end_us - series.start_us) / MICRO
    power_mean = _plain_power_mean(series)
    result: dict[str, Any] = {
        "unit": series.unit.name,
        "nominal_interval_s": round(series.nominal_interval_s, 9),
        "rows": report.rows_read - report.missing - report.unreadable,
        "duplicate_rows": report.identical_repeats + report.merged_repeats,
        "merged_samples": stats.readings,
        "start": series.start.isoformat(),
        "end": series.end.isoformat(),
        "span_hours": span / 3600,
        "coverage": stats.readings * nominal / (span + nominal),
        "min": stats.minimum,
        "max": stats.maximum,
        "mean_linear": power_mean,
        "mean_plain": stats.mean_of_readings,
        "gap_limit_s": max(10.0, 3 * nominal),
        "gaps": _gaps(stats),
    }
    result["thresholds"] = {key: _above(series, float(key), rule) for key in expected.get("thresholds", {})}
    return result


def _plain_power_mean(series: LogSeries) -> float:
    _, value, _ = series.readings()
    return series.unit.level_of(math.fsum(series.unit.power(value)) / value.size)


def _gaps(stats: Any) -> dict[str, Any]:
    listed = [{"start": g.start.isoformat(), "end": g.end.isoformat(), "seconds": g.length_s} for g in stats.gaps]
    lengths = [g.length_s for g in stats.gaps]
    return {
        "count": len(lengths),
        "total_hours": sum(lengths) / 3600,
        "longest_s": max(lengths, default=0.0),
        "list": listed,
    }


def _above(series: LogSeries, bound: float, rule: GapRule) -> dict[str, Any]:
    stats = statistics(series, bound=bound, gap_rule=rule, windows_s=(), percents=(50.0,))
    above, n = stats.above, rule.nominal_interval_s
    longest = max(above.events, key=lambda e: e.length_s, default=None)
    return {
        "samples_above": above.readings_above,
        "hours_above": above.readings_above * n / 3600,
        "held_hours_above": above.time_above_s / 3600,
        "fraction": above.readings_above / stats.readings,
        "events": len(above.events),
        "longest_event_s": above.longest_s,
        "longest_event_start": longest.start.isoformat() if longest else None,
        "total_event_s": sum(e.length_s for e in above.events),
    }


def compare(expected: Any, found: Any, path: str = "") -> list[tuple[str, Any, Any, bool]]:
    """Every figure of `expected` with what was found and whether they agree."""
    if isinstance(expected, dict):
        found = found if isinstance(found, dict) else {}
        rows = [row for key in expected for row in compare(expected[key], found.get(key), f"{path}/{key}")]
        if path.endswith(("day_mean_linear", "hour_of_day_median_utc")) and set(found) - set(expected):
            rows.append((f"{path}/more than expected", None, sorted(set(found) - set(expected)), False))
        return rows
    if isinstance(expected, list):
        found = found if isinstance(found, list) else []
        rows = [(f"{path}/length", len(expected), len(found), len(expected) == len(found))]
        padded = [*found, *[None] * (len(expected) - len(found))]
        return rows + [row for i, e in enumerate(expected) for row in compare(e, padded[i], f"{path}/{i}")]
    return [(path, expected, found, _agree(expected, found))]


def _agree(expected: Any, found: Any) -> bool:
    if isinstance(expected, bool) or not isinstance(expected, (int, float)):
        return _moment(expected) == _moment(found)
    if not isinstance(found, (int, float)):
        return False
    if isinstance(expected, int):
        return expected == found
    return math.isclose(expected, found, rel_tol=0.5 * 10.0 ** (1 - DIGITS), abs_tol=1e-300)


def _moment(text: Any) -> Any:
    try:
        moment = datetime.fromisoformat(text)
    except (TypeError, ValueError):
        return text
    return moment if moment.tzinfo else moment.replace(tzinfo=UTC)


def score(name: str, source: Path, expected: dict[str, Any], scratch: Path) -> list[tuple[str, Any, Any, bool]]:
    mapping = guess_mapping(source)
    answers: dict[str, Any] = {"keep_unit": True, "skip_unreadable": True}
    answers |= {"unit": expected["unit"]} if any(q.what == "unit" for q in mapping.questions) else {}
    if "value" in mapping.layout.columns:
        answers["value_column"] = "value"
    if "unit" in mapping.layout.columns:
        answers |= {"unit_column": "unit", "unit": expected["unit"]}
    answers |= {"zone": "UTC"} if any(q.what == "zone" for q in mapping.questions) else {}
    series = ingest(source, mapping.confirm(**answers), scratch / "store")
    found = figures(series, expected)
    left_out = sorted(set(expected) - set(found))
    if left_out:
        print(f"{name}: not held against anything, for the product states them otherwise: {', '.join(left_out)}")
    return compare({key: value for key, value in expected.items() if key in found}, found, name)


def run_figures(data: Path) -> dict[str, Any]:
    started = time.perf_counter()
    everything = json.loads((data / "log_expected.json").read_text(encoding="utf-8"))
    rows: list[tuple[str, Any, Any, bool]] = []
    found = tables(data)
    with tempfile.TemporaryDirectory() as scratch:
        for name, expected in everything.items():
            before = time.perf_counter()
            part = score(name, source_of(name, expected, found, Path(scratch)), expected, Path(scratch))
            wrong = [row for row in part if not row[3]]
            print(f"{name}: {len(part)} figures, {len(wrong)} wrong, {time.perf_counter() - before:.2f} s")
            for path, want, got, _ in wrong[:20]:
                print(f"  {path}: expected {want!r}, found {got!r}")
            rows += part
    same = sum(a == b or _moment(a) == _moment(b) for _, a, b, _ in rows)
    print(f"{same} of {len(rows)} figures are the same to the last bit")
    return {
        "figures_checked": len(rows),
        "figures_wrong": sum(not row[3] for row in rows),
        "seconds": round(time.perf_counter() - started, 2),
        "peak_mb": round(peak_mb(), 1),
    }


def _made_up(given: argparse.Namespace) -> dict[str, Any]:
    if given.speed:
        rows = given.rows or int(given.days * 86400 * 20)
        return logs_speed.run_speed(rows, not given.no_pandas, given.scratch)
    if given.stations:
        return logs_speed.run_stations(given.files, given.scratch)
    short = logs_speed.apart("short_coverage", given.trials)
    print(f"short logs, 95 % intervals of the mean that hold it: {short['short_logs']}")
    return {**logs_speed.apart("coverage", given.years), "short_logs": short["short_logs"]}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--data", type=Path)
    parser.add_argument("--log", type=Path, help="one log, to go with --expected")
    parser.add_argument("--expected", type=Path, help="expected figures of that one log")
    parser.add_argument("--speed", action="store_true")
    parser.add_argument("--days", type=float, default=30.0)
    parser.add_argument("--rows", type=int, default=0, help="rows of the made-up log, instead of --days")
    parser.add_argument("--no-pandas", action="store_true", help="leave out the comparison with pandas")
    parser.add_argument("--stations", action="store_true")
    parser.add_argument("--files", type=int, default=200)
    parser.add_argument("--coverage", action="store_true")
    parser.add_argument("--years", type=int, default=60)
    parser.add_argument("--trials", type=int, default=2000, help="short logs of each kind, to go with --coverage")
    parser.add_argument("--scratch", type=Path, help="folder for what is made up; removed again")
    given = parser.parse_args()
    if given.speed or given.stations or given.coverage:
        print(json.dumps(_made_up(given)))
        return
    if given.log:
        expected = json.loads(given.expected.read_text(encoding="utf-8"))
        with tempfile.TemporaryDirectory() as scratch:
            rows = score(given.log.stem, given.log, expected, Path(scratch))
        for path, want, got, _ in [row for row in rows if not row[3]][:20]:
            print(f"  {path}: expected {want!r}, found {got!r}")
        print(json.dumps({"figures_checked": len(rows), "figures_wrong": sum(not row[3] for row in rows)}))
    elif given.data:
        print(json.dumps(run_figures(given.data)))
    else:
        parser.error("give --data DIR, --speed, --stations or --coverage")


if __name__ == "__main__":
    main()
