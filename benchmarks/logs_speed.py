"""Speed and memory on a month at 20 readings a second; workers; coverage. Called by ``python -m benchmarks.logs``.

Every stage runs in a process of its own, which measures its own wall clock, processor time and peak memory.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np

BOUND_W_M2 = 1e-4


def timed(stage: Callable[[], dict[str, Any]]) -> dict[str, Any]:
    wall, cpu = time.perf_counter(), time.process_time()
    result = stage()
    return {
        **result,
        "seconds": round(time.perf_counter() - wall, 3),
        "cpu_seconds": round(time.process_time() - cpu, 3),
        "peak_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024, 1),
    }


def apart(stage: str, *arguments: object) -> dict[str, Any]:
    """Run a stage in a process of its own."""
    command = [sys.executable, "-m", "benchmarks.logs_speed", stage, *map(str, arguments)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{stage} failed: {done.stderr[-2000:]}")
    return json.loads(done.stdout.splitlines()[-1])


# --- stages ---------------------------------------------------------------------------------------------------


def make(path: str, days: str) -> dict[str, Any]:
    """A day's course, noise, and a meter-like burst now and then; three decimals, as a logger prints."""
    import duckdb

    rows = int(float(days) * 86400 * 20)
    level = "20 * (1 + 0.6 * sin(i / 275019.74)) * exp(0.3 * (random() + random() - 1)) + if(i % 613 < 2, 900, 0)"
    stamp = "strftime(make_timestamp(1772323200000000 + i * 50000), '%Y-%m-%dT%H:%M:%S.%gZ')"
    query = f"SELECT {stamp} AS time, printf('%.3f', {level}) AS \"average µW/m²\" FROM range({rows}) t(i)"
    with duckdb.connect() as database:
        database.execute(f"COPY ({query}) TO '{path}' (HEADER)")
    return {"rows": rows, "file_mb": round(Path(path).stat().st_size / 1e6, 1)}


def take_in(path: str, store: str) -> dict[str, Any]:
    from roomfield.logs import guess_mapping, ingest

    series = ingest(path, guess_mapping(path).confirm(), store)
    return {"rows": series.rows, "directory": str(series.directory)}


def everything(directory: str) -> dict[str, Any]:
    """Percentiles, mean, rolling maxima, time above, events, gaps; day and week profile, changes, duration."""
    from roomfield.logs import change_points, day_profile, open_series, required_duration, statistics, week_profile

    series = open_series(directory)
    parts: dict[str, float] = {}
    results: list[Any] = []
    calls: dict[str, Callable[[], Any]] = {
        "statistics": lambda: statistics(series, bound_w_m2=BOUND_W_M2),
        "day_profile": lambda: day_profile(series),
        "week_profile": lambda: week_profile(series),
        "change_points": lambda: change_points(series),
        "required_duration": lambda: required_duration(series),
    }
    for name, call in calls.items():
        before = time.perf_counter()
        results.append(call())
        parts[name] = round(time.perf_counter() - before, 3)
    found = results[0]
    return {
        "parts": parts,
        "mean": found.mean,
        "rolling": [r.value for r in found.rolling],
        "median": dict(found.percentiles)[50.0],
        "above_s": found.above.time_above_s,
    }


def warm() -> dict[str, Any]:
    """Compile the loops once, so that no stage pays for it."""
    from roomfield.logs import guess_mapping, ingest

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "log.csv"
        rows = [f"2026-03-01T{h:02d}:{m:02d}:00Z,{1 + m}" for h in range(24) for m in range(60)]
        path.write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
        series = ingest(path, guess_mapping(path).confirm(), folder)
        return everything(str(series.directory))


def bare_scan(directory: str) -> dict[str, Any]:
    """One DuckDB query that decodes both columns, best of three."""
    import duckdb

    query = (
        "SELECT count(*), min(t_us), max(t_us), avg(value), min(value), max(value) "
        f"FROM read_parquet('{directory}/series.parquet')"
    )
    walls, cpus = [], []
    with duckdb.connect() as database:
        for _ in range(3):
            wall, cpu = time.perf_counter(), time.process_time()
            database.execute(query).fetchall()
            walls.append(time.perf_counter() - wall)
            cpus.append(time.process_time() - cpu)
    return {"best_s": round(min(walls), 3), "best_cpu_s": round(min(cpus), 3)}


def timelines(directory: str) -> dict[str, Any]:
    """A thousand bins at every zoom, first call apart."""
    from datetime import timedelta

    from roomfield.logs import open_series, timeline

    series = open_series(directory)
    before = time.perf_counter()
    timeline(series)
    first = time.perf_counter() - before
    span, spent = series.end - series.start, []
    rng = np.random.default_rng(0)
    for zoom in range(22):
        width = max(span / 2**zoom, timedelta(milliseconds=200))
        for _ in range(5):
            start = series.start + (span - width) * float(rng.random())
            before = time.perf_counter()
            timeline(series, start, start + width, 1000)
            spent.append(time.perf_counter() - before)
    return {
        "first_ms": round(first * 1e3, 1),
        "median_ms": round(float(np.median(spent)) * 1e3, 2),
        "p95_ms": round(float(np.percentile(spent, 95)) * 1e3, 2),
        "worst_ms": round(max(spent) * 1e3, 2),
    }


def with_pandas(path: str) -> dict[str, Any]:
    """The straightforward way: the whole file as a frame, then each statistic by its method."""
    import pandas as pd

    before = time.perf_counter()
    frame = pd.read_csv(path, parse_dates=["time"], index_col="time")
    level = frame.iloc[:, 0] * 1e-6
    read_s = time.perf_counter() - before
    rolling = [level.rolling(f"{w}s", min_periods=int(0.8 * w * 20)).mean().max() for w in (360, 1800)]
    above = level > BOUND_W_M2
    runs = (above & ~above.shift(fill_value=False)).sum()
    level.quantile([0.05, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999])
    hourly = level.resample("1h").mean()
    hourly.groupby(hourly.index.hour).agg(["mean", "median"])
    hourly.groupby([hourly.index.dayofweek, hourly.index.hour]).agg(["mean", "median"])
    level.autocorr(1)
    return {
        "read_s": round(read_s, 2),
        "mean": float(level.mean()),
        "rolling": [float(r) for r in rolling],
        "median": float(level.median()),
        "above_s": float(above.sum() * 0.05),
        "runs": int(runs),
    }


def coverage(years: str) -> dict[str, Any]:
    """Intervals of the hour of day, of a change and of the mean on simulated years of half-hours with known truth."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    from roomfield.logs import compare, day_profile, guess_mapping, ingest

    hits = {"hour": [0, 0], "change": [0, 0]}
    change_db = -4.0
    for seed in range(int(years)):
        rng = np.random.default_rng(seed)
        t = 1767225600 + np.arange(0, 364 * 86400, 1800)
        day, hour = (t - t[0]) // 86400, (t - t[0]) / 3600 % 24
        wander = rng.normal(size=364)
        for i in range(1, 364):
            wander[i] = 0.5 * wander[i - 1] + np.sqrt(0.75) * wander[i]
        week = np.where(day % 7 < 5, 1.0, 0.6)
        level = 1e-4 * (1 + 0.5 * np.sin(2 * np.pi * (hour - 14) / 24)) * np.exp(0.3 * wander)[day] * week
        level *= np.exp(0.2 * rng.normal(size=t.size)) * np.where(day < 182, 1.0, 10 ** (change_db / 10))
        truth = 1e-4 * np.exp((0.3**2 + 0.2**2) / 2) * (5 + 2 * 0.6) / 7
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "year.parquet"
            stamps = pa.array(t * 1_000_000, pa.timestamp("us", "UTC"))
            pq.write_table(pa.table({"time": stamps, "average W/m2": pa.array(level)}), path)
            series = ingest(path, guess_mapping(path).confirm(), folder)
            cut = series.start.replace(month=7, day=2)
            first, second = series.between(None, cut), series.between(cut, None)
            for part in day_profile(first).bins:
                at = truth * np.mean(
                    1 + 0.5 * np.sin(2 * np.pi * (part.start_minute / 60 + np.array([0, 0.5]) - 14) / 24)
                )
                hits["hour"][0] += part.mean.low <= at <= part.mean.high
                hits["hour"][1] += 1
            found = compare(first, second).change_db
            hits["change"][0] += found.low <= change_db <= found.high
            hits["change"][1] += 1
    return {f"{name}_coverage": round(a / b, 3) for name, (a, b) in hits.items()} | {"years": int(years)}


def many(source: str, out: str, workers: str) -> dict[str, Any]:
    """The files of a folder on so many workers, without the time to start them."""
    from roomfield.logs import stations

    client = stations._client("local", int(workers))
    try:
        client.wait_for_workers(int(workers))
        list(client.map(_load, range(4 * int(workers)), pure=False))
        client.gather(client.map(_load, range(4 * int(workers)), pure=False))
        before = time.perf_counter()
        report = stations.analyse_stations(source, out, scheduler=client.scheduler.address)
        spent = time.perf_counter() - before
    finally:
        client.close()
        client.cluster.close()
    return {"files": len(report.results), "faults": len(report.faults), "files_s": round(spent, 3)}


def _load(_: int) -> int:
    from roomfield.logs import stations

    return len(stations.ENDINGS)


# --- the reports ----------------------------------------------------------------------------------------------


def run_speed(days: float, pandas: bool, scratch: Path | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        path, store = Path(folder) / "log.csv", Path(folder) / "store"
        made = apart("make", path, days)
        print(f"made {made['rows']:,} rows, {made['file_mb']} MB of CSV, in {made['seconds']} s")
        apart("warm")
        taken = apart("take_in", path, store)
        print(f"ingest: {taken['seconds']} s ({taken['cpu_seconds']} s of processor), peak {taken['peak_mb']} MB")
        stats = apart("everything", taken["directory"])
        print(
            f"all statistics: {stats['seconds']} s ({stats['cpu_seconds']}), peak {stats['peak_mb']} MB {stats['parts']}"
        )
        scan = apart("bare_scan", taken["directory"])
        again = apart("everything", taken["directory"])
        best = min(stats["seconds"], again["seconds"])
        over, best_cpu = best / scan["best_s"], min(stats["cpu_seconds"], again["cpu_seconds"])
        print(
            f"one bare scan: {scan['best_s']} s ({scan['best_cpu_s']}); statistics take {over:.1f} scans by the clock, "
            f"{best_cpu / scan['best_cpu_s']:.1f} by processor time (best of two)"
        )
        lines = apart("timelines", taken["directory"])
        print(f"timeline of 1000 bins: {lines}")
        result = {
            "rows": made["rows"],
            "ingest_s": taken["seconds"],
            "statistics_s": stats["seconds"],
            "peak_mb": max(taken["peak_mb"], stats["peak_mb"]),
            "scan_s": scan["best_s"],
            "statistics_over_scan": round(over, 2),
            "statistics_over_scan_cpu": round(best_cpu / scan["best_cpu_s"], 2),
            "timeline_p95_ms": lines["p95_ms"],
        }
        if pandas:
            result |= _against_pandas(path, taken, stats)
    return result


def _against_pandas(path: Path, taken: dict[str, Any], stats: dict[str, Any]) -> dict[str, Any]:
    other = apart("with_pandas", path)
    ours, memory = taken["seconds"] + stats["seconds"], max(taken["peak_mb"], stats["peak_mb"])
    print(
        f"pandas: {other['seconds']} s ({other['cpu_seconds']} s of processor; {other['read_s']} s to read), "
        f"peak {other['peak_mb']} MB"
    )
    for name in ("mean", "median", "above_s"):
        print(f"  {name}: {stats[name]!r} here, {other[name]!r} by pandas")
    print(f"  rolling maxima: {stats['rolling']} here, {other['rolling']} by pandas")
    return {
        "pandas_s": other["seconds"],
        "pandas_mb": other["peak_mb"],
        "times_faster": round(other["seconds"] / ours, 2),
        "times_faster_cpu": round(other["cpu_seconds"] / (taken["cpu_seconds"] + stats["cpu_seconds"]), 2),
        "share_of_memory": round(memory / other["peak_mb"], 3),
    }


def run_stations(files: int, scratch: Path | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        source = Path(folder) / "stations"
        source.mkdir()
        stamps = [
            f"2026-03-{1 + i // 86400:02d}T{i // 3600 % 24:02d}:{i // 60 % 60:02d}:{i % 60:02d}Z"
            for i in range(0, 4 * 86400, 6)
        ]
        for k in range(files):
            levels = np.random.default_rng(k).lognormal(3, 1, len(stamps))
            rows = [f"{t},{v:.3f}" for t, v in zip(stamps, levels, strict=True)]
            (source / f"station{k:04d}.csv").write_text("time,average uW/m2\n" + "\n".join(rows) + "\n")
        apart("warm")
        one = apart("many", source, Path(folder) / "one", 1)
        two = apart("many", source, Path(folder) / "two", 2)
    print(f"{one['files']} files of {len(stamps):,} rows: one worker {one['files_s']} s, two {two['files_s']} s")
    return {
        "files": one["files"],
        "one_s": one["files_s"],
        "two_s": two["files_s"],
        "ratio": round(one["files_s"] / two["files_s"], 2),
    }


STAGES: dict[str, Callable[..., dict[str, Any]]] = {
    stage.__name__: stage
    for stage in (make, take_in, everything, warm, bare_scan, timelines, with_pandas, coverage, many)
}


def load(stage: str) -> None:
    """Import what a stage needs, so that no stage pays for it."""
    import duckdb
    import pandas

    modules: list[object] = [duckdb, pandas]
    if stage in ("take_in", "everything", "timelines", "coverage", "many"):
        from roomfield import logs

        modules += [getattr(logs, name) for name in logs.__all__]
    if not all(modules):
        raise SystemExit("a module is missing")


if __name__ == "__main__":
    name, *arguments = sys.argv[1:]
    load(name)
    print(json.dumps(timed(lambda: STAGES[name](*arguments))))
