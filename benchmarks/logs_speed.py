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


def make(path: str, rows: str) -> dict[str, Any]:
    """A day's course, noise, and a meter-like burst now and then; three decimals, as a logger prints."""
    import duckdb

    level = "20 * (1 + 0.6 * sin(i / 275019.74)) * exp(0.3 * (random() + random() - 1)) + if(i % 613 < 2, 900, 0)"
    stamp = "strftime(make_timestamp(1772323200000000 + i * 50000), '%Y-%m-%dT%H:%M:%S.%gZ')"
    query = f"SELECT {stamp} AS time, printf('%.3f', {level}) AS \"average µW/m²\" FROM range({int(rows)}) t(i)"
    with duckdb.connect() as database:
        database.execute(f"COPY ({query}) TO '{path}' (HEADER)")
    return {"rows": int(rows), "file_mb": round(Path(path).stat().st_size / 1e6, 1)}


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
    return {"parts": parts, "figures": _figures(results[0], results[1], results[2])}


def anew(directory: str) -> dict[str, Any]:
    """Statistics under a gap rule of the caller's own, for which nothing was kept: a pass over all readings."""
    from roomfield.logs import GapRule, open_series, statistics

    series = open_series(directory)
    nominal = series.nominal_interval_s
    found = statistics(series, bound_w_m2=BOUND_W_M2, gap_rule=GapRule(nominal, 3 * nominal, 20.0))
    return {"mean": found.mean}


def _figures(found: Any, day: Any, week: Any) -> dict[str, float]:
    """Every figure that pandas can be asked for, by name."""
    events = found.above.events
    named = {
        "observed_s": found.observed_s,
        "mean": found.mean,
        "mean_of_readings": found.mean_of_readings,
        "sd_of_readings": found.sd_of_readings,
        "autocorrelation_lag1": found.autocorrelation_lag1,
        "minimum": found.minimum,
        "maximum": found.maximum,
        "maximum_at": found.maximum_at.timestamp(),
        "gaps": float(len(found.gaps)),
        "time_above_s": found.above.time_above_s,
        "readings_above": float(found.above.readings_above),
        "events": float(len(events)),
        "events_s": sum(e.length_s for e in events),
        "events_peaks": sum(e.peak for e in events),
    }
    named |= {f"percentile {p:g}": level for p, level in found.percentiles}
    named |= {f"rolling {r.window_s:g} s": r.value for r in found.rolling}
    named |= {f"day {b.start_minute} {w}": getattr(b, w).value for b in day.bins for w in ("mean", "median")}
    named |= {
        f"week {b.weekday} {b.start_minute} {w}": getattr(b, w).value for b in week.bins for w in ("mean", "median")
    }
    return named


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
    span, spent, used = series.end - series.start, [], []
    rng = np.random.default_rng(0)
    for zoom in range(22):
        width = max(span / 2**zoom, timedelta(milliseconds=200))
        for _ in range(5):
            start = series.start + (span - width) * float(rng.random())
            before, begun = time.perf_counter(), time.process_time()
            timeline(series, start, start + width, 1000)
            spent.append(time.perf_counter() - before)
            used.append(time.process_time() - begun)
    return {
        "first_ms": round(first * 1e3, 1),
        "median_ms": round(float(np.median(spent)) * 1e3, 2),
        "p95_ms": round(float(np.percentile(spent, 95)) * 1e3, 2),
        "worst_ms": round(max(spent) * 1e3, 2),
        "worst_cpu_ms": round(max(used) * 1e3, 2),
    }


def with_pandas(path: str) -> dict[str, Any]:
    """The straightforward way to the same figures: the whole file as a frame, then each statistic by its method.

    Percentiles, means and rolling means are weighted by how long a reading stands, gaps are left out and events
    joined, as the stated gap rule wants it. What pandas has no method for (intervals, change points, needed
    duration) is left out here and not counted in its favour.
    """
    import pandas as pd

    before, cpu = time.perf_counter(), time.process_time()
    frame = pd.read_csv(path, parse_dates=["time"], index_col="time")
    level = frame.iloc[:, 0] * 1e-6
    read_s, read_cpu_s = time.perf_counter() - before, time.process_time() - cpu
    step = level.index.to_series().diff().dt.total_seconds().shift(-1)
    nominal = step.median()
    step = step.fillna(nominal)
    hold = step.clip(upper=2 * nominal)
    energy = hold * level
    figures = {
        **_plain_in_pandas(level, hold, energy, step),
        **_above_in_pandas(level, hold, nominal),
        **_weighted_in_pandas(level, hold, energy),
        **_course_in_pandas(hold, energy),
    }
    return {"read_s": round(read_s, 2), "read_cpu_s": round(read_cpu_s, 2), "figures": figures}


def _plain_in_pandas(level: Any, hold: Any, energy: Any, step: Any) -> dict[str, float]:
    gap = step > max(10.0, 3 * float(step.median()))
    apart = level - level.mean()
    lagged = (apart * apart.shift()).where(~gap.shift(fill_value=True)).sum()
    return {
        "observed_s": hold.sum(),
        "mean": energy.sum() / hold.sum(),
        "mean_of_readings": level.mean(),
        "sd_of_readings": level.std(),
        "autocorrelation_lag1": lagged / (apart * apart).sum(),
        "minimum": level.min(),
        "maximum": level.max(),
        "maximum_at": level.idxmax().timestamp(),
        "gaps": float(gap.sum()),
    }


def _above_in_pandas(level: Any, hold: Any, nominal: float) -> dict[str, float]:
    above = level[level > BOUND_W_M2]
    stamps = above.index.to_series()
    event = (stamps.diff().dt.total_seconds() > 60.0).cumsum()
    ends = stamps.groupby(event).agg(["first", "last"])
    return {
        "time_above_s": hold[level > BOUND_W_M2].sum(),
        "readings_above": float(above.size),
        "events": float(len(ends)),
        "events_s": ((ends["last"] - ends["first"]).dt.total_seconds() + nominal).sum(),
        "events_peaks": above.groupby(event).max().sum(),
    }


def _weighted_in_pandas(level: Any, hold: Any, energy: Any) -> dict[str, float]:
    from roomfield.logs.percentile import PERCENTS

    ordered = level.reset_index(drop=True).sort_values()
    reached = hold.reset_index(drop=True)[ordered.index].cumsum()
    at = reached.searchsorted([reached.iloc[-1] * p / 100 * (1 - 1e-12) for p in PERCENTS])
    figures = {f"percentile {p:g}": ordered.iloc[i] for p, i in zip(PERCENTS, at, strict=True)}
    for window in (360, 1800):
        seen = hold.rolling(f"{window}s").sum()
        mean = energy.rolling(f"{window}s").sum() / seen
        figures[f"rolling {window} s"] = mean[seen >= 0.8 * window - 1e-6].max()
    return figures


def _course_in_pandas(hold: Any, energy: Any) -> dict[str, float]:
    seen = hold.resample("1h").sum()
    hourly = (energy.resample("1h").sum() / seen)[seen >= 0.25 * 3600]
    day = hourly.groupby(hourly.index.hour).agg(["mean", "median"])
    week = hourly.groupby([hourly.index.dayofweek, hourly.index.hour]).agg(["mean", "median"])
    figures = {f"day {60 * h} {w}": day.loc[h, w] for h in day.index for w in ("mean", "median")}
    return figures | {f"week {d} {60 * h} {w}": week.loc[(d, h), w] for d, h in week.index for w in ("mean", "median")}


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


def short_coverage(trials: str) -> dict[str, Any]:
    """How often 95 % intervals of the mean hold the truth, for logs of a few lognormal days that resemble each other."""
    from roomfield.logs.intervals import mean_interval

    found = {}
    for days in (3, 7, 14, 30):
        for correlation in (0.0, 0.5, 0.7):
            rng, hits = np.random.default_rng(days), 0
            for _ in range(int(trials)):
                wander = rng.normal(size=days)
                for i in range(1, days):
                    wander[i] = correlation * wander[i - 1] + np.sqrt(1 - correlation**2) * wander[i]
                interval = mean_interval(np.exp(0.4 * wander))
                hits += interval.low <= np.exp(0.08) <= interval.high
            found[f"{days} days, {correlation}"] = round(hits / int(trials), 3)
    return {"short_logs": found, "trials": int(trials)}


def many(source: str, out: str, workers: str) -> dict[str, Any]:
    """The files of a folder on so many workers, without the time to start them."""
    from roomfield.logs import stations

    client = stations._client("local", int(workers))
    try:
        client.wait_for_workers(int(workers))
        list(client.map(_load, range(4 * int(workers)), pure=False))
        client.gather(client.map(_load, range(4 * int(workers)), pure=False))
        before, begun = time.perf_counter(), client.run(time.process_time)
        report = stations.analyse_stations(source, out, scheduler=client.scheduler.address)
        spent, ended = time.perf_counter() - before, client.run(time.process_time)
    finally:
        client.close()
        client.cluster.close()
    busiest = max(ended[name] - begun[name] for name in begun)
    return {
        "files": len(report.results),
        "faults": len(report.faults),
        "files_s": round(spent, 3),
        "busiest_cpu_s": round(busiest, 3),
    }


def _load(_: int) -> int:
    from roomfield.logs import stations

    return len(stations.ENDINGS)


# --- the reports ----------------------------------------------------------------------------------------------


def run_speed(rows: int, pandas: bool, scratch: Path | None) -> dict[str, Any]:
    with tempfile.TemporaryDirectory(dir=scratch) as folder:
        path, store = Path(folder) / "log.csv", Path(folder) / "store"
        made = apart("make", path, rows)
        print(f"made {made['rows']:,} rows, {made['file_mb']} MB of CSV, in {made['seconds']} s")
        apart("warm")
        taken = apart("take_in", path, store)
        print(f"ingest: {_spent(taken)}, peak {taken['peak_mb']} MB")
        runs = [apart("everything", taken["directory"]) for _ in range(3)]
        scan = apart("bare_scan", taken["directory"])
        stats = {**runs[0], **{name: min(r[name] for r in runs) for name in ("seconds", "cpu_seconds")}}
        print(f"all statistics, best of three: {_spent(stats)}, peak {stats['peak_mb']} MB {stats['parts']}")
        over, over_cpu = (stats[a] / scan[b] for a, b in (("seconds", "best_s"), ("cpu_seconds", "best_cpu_s")))
        print(
            f"one bare scan, best of three: {scan['best_s']} s ({scan['best_cpu_s']} s of processor); "
            f"all statistics take {over:.1f} scans by the clock, {over_cpu:.1f} by processor time"
        )
        anew = apart("anew", taken["directory"])
        print(
            f"statistics under another gap rule, for which nothing is kept: {_spent(anew)}, peak {anew['peak_mb']} MB"
        )
        lines = apart("timelines", taken["directory"])
        print(f"timeline of 1000 bins: {lines}")
        result = {
            "rows": made["rows"],
            "ingest_s": taken["seconds"],
            "ingest_cpu_s": taken["cpu_seconds"],
            "statistics_s": stats["seconds"],
            "statistics_cpu_s": stats["cpu_seconds"],
            "statistics_anew_s": anew["seconds"],
            "statistics_anew_cpu_s": anew["cpu_seconds"],
            "peak_mb": max(taken["peak_mb"], stats["peak_mb"], anew["peak_mb"]),
            "scan_s": scan["best_s"],
            "statistics_over_scan": round(over, 2),
            "statistics_over_scan_cpu": round(over_cpu, 2),
            "timeline_first_ms": lines["first_ms"],
            "timeline_p95_ms": lines["p95_ms"],
            "timeline_worst_ms": lines["worst_ms"],
            "timeline_worst_cpu_ms": lines["worst_cpu_ms"],
        }
        if pandas:
            result |= _against_pandas(path, taken, stats, result["peak_mb"])
    return result


def _spent(stage: dict[str, Any]) -> str:
    return f"{stage['seconds']} s by the clock, {stage['cpu_seconds']} s of processor"


def _against_pandas(path: Path, taken: dict[str, Any], stats: dict[str, Any], peak_mb: float) -> dict[str, Any]:
    other = apart("with_pandas", path)
    print(f"pandas: {_spent(other)} ({other['read_s']} s of them to read the file), peak {other['peak_mb']} MB")
    ours, theirs = stats["figures"], other["figures"]
    apart_by = {name: abs(ours[name] - theirs[name]) / abs(theirs[name] or 1.0) for name in ours if name in theirs}
    alone = sorted(set(ours) ^ set(theirs))
    worst = max(apart_by, key=lambda name: apart_by[name])
    print(
        f"  {len(apart_by)} figures made both ways; they differ by {apart_by[worst]:.1e} at most ({worst}); "
        f"made one way only: {', '.join(alone) or 'none'}"
    )
    for name in sorted(n for n, d in apart_by.items() if d > 1e-6)[:20]:
        print(f"  {name}: {ours[name]!r} here, {theirs[name]!r} by pandas")
    return {
        "pandas_s": other["seconds"],
        "pandas_cpu_s": other["cpu_seconds"],
        "pandas_mb": other["peak_mb"],
        "figures_both_ways": len(apart_by),
        "figures_apart": sum(d > 1e-6 for d in apart_by.values()) + len(alone),
        "times_faster": round(other["seconds"] / (taken["seconds"] + stats["seconds"]), 2),
        "times_faster_cpu": round(other["cpu_seconds"] / (taken["cpu_seconds"] + stats["cpu_seconds"]), 2),
        "statistics_times_faster": round((other["seconds"] - other["read_s"]) / stats["seconds"], 2),
        "statistics_times_faster_cpu": round((other["cpu_seconds"] - other["read_cpu_s"]) / stats["cpu_seconds"], 2),
        "share_of_memory": round(peak_mb / other["peak_mb"], 3),
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
    print(
        f"{one['files']} files of {len(stamps):,} rows: one worker {one['files_s']} s by the clock, two {two['files_s']} s; "
        f"processor time of the busiest worker {one['busiest_cpu_s']} s and {two['busiest_cpu_s']} s"
    )
    return {
        "files": one["files"],
        "one_s": one["files_s"],
        "two_s": two["files_s"],
        "ratio": round(one["files_s"] / two["files_s"], 2),
        "ratio_cpu": round(one["busiest_cpu_s"] / two["busiest_cpu_s"], 2),
    }


STAGES: dict[str, Callable[..., dict[str, Any]]] = {
    stage.__name__: stage
    for stage in (
        make,
        take_in,
        everything,
        anew,
        warm,
        bare_scan,
        timelines,
        with_pandas,
        coverage,
        short_coverage,
        many,
    )
}


def load(stage: str) -> None:
    """Import what a stage needs, so that no stage pays for it."""
    import duckdb
    import pandas

    modules: list[object] = [duckdb, pandas]
    if stage in ("take_in", "everything", "anew", "timelines", "coverage", "short_coverage", "many"):
        from roomfield import logs

        modules += [getattr(logs, name) for name in logs.__all__]
    if not all(modules):
        raise SystemExit("a module is missing")


if __name__ == "__main__":
    name, *arguments = sys.argv[1:]
    load(name)
    print(json.dumps(timed(lambda: STAGES[name](*arguments))))
