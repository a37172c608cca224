"""The same analysis over many files: a folder or an object store, here or on Dask workers.

Needs the ``stations`` extra (Dask and fsspec) for anything but a local folder worked through in this process.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
from collections.abc import Callable, Iterator
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, InputError, RoomfieldError, StoreError, TooEarlyError
from roomfield.logs.guess import guess_mapping
from roomfield.logs.intake import ingest
from roomfield.logs.layout import look_at
from roomfield.logs.log_series import LogSeries
from roomfield.logs.mapping import Mapping
from roomfield.logs.profile import day_profile
from roomfield.logs.summary import statistics

ENDINGS = (".csv", ".tsv", ".txt", ".csv.gz", ".tsv.gz", ".txt.gz", ".parquet", ".xlsx")
SCHEDULER_PATIENCE_S = 30
"""How long a scheduler may take to answer [s]."""
_RESULT_VERSION = 2


@dataclass(frozen=True)
class StationFile:
    """A file to be analysed.

    Parameters
    ----------
    url : str
        Where it lies.
    stamp : str
        Size and change time or tag: a changed file is analysed anew.
    """

    url: str
    stamp: str


@dataclass(frozen=True)
class StationPlan:
    """What is done with every file.

    Parameters
    ----------
    mapping : dict or None
        The confirmed mapping, JSON form; None takes each file's guess if it leaves nothing open.
    bound : float or None
        Bound for the time above, in the unit of the series.
    series_dir : str
        Folder that keeps the stored series; empty keeps none.
    """

    mapping: dict[str, Any] | None = None
    bound: float | None = None
    series_dir: str = ""


@dataclass(frozen=True)
class StationFault:
    """A file that could not be analysed, and why."""

    url: str
    reason: str


@dataclass(frozen=True)
class StationsReport:
    """Results of many files.

    Parameters
    ----------
    results : tuple of dict
        One a file, in the order of their URLs: ``url``, ``series``, ``statistics``, ``day_profile``.
    faults : tuple of StationFault
        Files that failed.
    resumed : int
        Results that were there already.
    """

    results: tuple[dict[str, Any], ...]
    faults: tuple[StationFault, ...]
    resumed: int

    def to_dict(self) -> dict[str, Any]:
        """JSON-ready form."""
        return asdict(self)


def analyse_stations(
    source: str | Path,
    out_dir: str | Path,
    *,
    mapping: Mapping | None = None,
    bound: float | None = None,
    scheduler: str = "",
    workers: int = 0,
    keep_series: bool = False,
    progress: Callable[[int, int], None] | None = None,
) -> StationsReport:
    """Analyse every log of a folder.

    Each result is written on its own as soon as it is there; a second call goes on where the first stopped.

    Parameters
    ----------
    source : str or Path
        A folder, or any URL that fsspec opens (``s3://bucket/year``).
    out_dir : str or Path
        Folder for the results; workers must see it under the same name.
    mapping : Mapping or None
        Confirmed once for all files, which must have its columns; None takes each file's guess, and files whose
        guess leaves something open are reported as faults.
    bound : float or None
        Bound for the time above, in the unit of the series.
    scheduler : str
        Empty works in this process; ``local`` starts a Dask cluster here; else a Dask scheduler's address.
    workers : int
        Workers of a local cluster; 0 for one a core.
    keep_series : bool
        Keep the stored series under `out_dir`, for timelines.
    progress : callable or None
        Told how many files are done, of how many.

    Raises
    ------
    InputError
        If there is no file to analyse, or a needed package is not installed.
    TooEarlyError
        If the mapping is not confirmed.
    StoreError
        If `out_dir` cannot be written.
    """
    out = Path(out_dir)
    if mapping is not None and not mapping.confirmed:
        raise TooEarlyError("the mapping is not confirmed.", mend="Call confirm() on it first.")
    try:
        (out / "results").mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise StoreError("it cannot be written to.", where=str(out), mend="Choose another folder.") from fault
    series_dir = str((out / "series").resolve()) if keep_series else ""
    plan = StationPlan(mapping.to_dict() if mapping else None, bound, series_dir)
    files = list_files(source)
    targets = {file.url: _target(out, file, plan) for file in files}
    waiting = [file for file in files if not targets[file.url].is_file()]
    faults: list[StationFault] = []
    done = len(files) - len(waiting)
    for file, reason in _run(waiting, plan, targets, scheduler, workers):
        done += 1
        if reason:
            faults.append(StationFault(file.url, reason))
        if progress:
            progress(done, len(files))
    results = [
        json.loads(targets[file.url].read_text(encoding="utf-8")) for file in files if targets[file.url].is_file()
    ]
    return StationsReport(tuple(results), tuple(sorted(faults, key=lambda f: f.url)), len(files) - len(waiting))


def list_files(source: str | Path) -> list[StationFile]:
    """The logs under a folder or URL, in the order of their names.

    Raises
    ------
    InputError
        If there is none.
    """
    if "://" in str(source):
        found = list(_remote_files(str(source)))
    else:
        folder = Path(source)
        found = [
            StationFile(str(path.resolve()), f"{path.stat().st_size} {path.stat().st_mtime_ns}")
            for path in folder.rglob("*")
            if path.is_file() and path.name.lower().endswith(ENDINGS)
        ]
    if not found:
        raise InputError("there is no log to analyse.", where=str(source), mend=f"Known endings: {' '.join(ENDINGS)}.")
    return sorted(found, key=lambda file: file.url)


def _remote_files(url: str) -> Iterator[StationFile]:
    for name, facts in _listed(url):
        if name.lower().endswith(ENDINGS):
            tag = next((str(facts[key]) for key in ("ETag", "etag", "mtime", "LastModified") if key in facts), "")
            yield StationFile(_url_of(url, name), f"{facts.get('size')} {tag}")


def _listed(url: str) -> list[tuple[str, dict[str, Any]]]:
    """What lies under a URL, with size and tag; whatever a store's own driver raises becomes one sentence."""
    fsspec = _fsspec()
    try:
        system, path = fsspec.core.url_to_fs(url)
        return list(system.find(path, detail=True).items())
    except ImportError as fault:
        raise InputError(f"its driver is not installed ({fault}).", where=url, mend="Install that package.") from fault
    except Exception as fault:
        words = str(fault).splitlines()[0] if str(fault) else type(fault).__name__
        raise InputError(
            f"the store cannot be listed ({words}).", where=url, mend="Check the URL and your rights to read it."
        ) from fault


def _url_of(source: str, name: str) -> str:
    """URL of a file that was found under a URL, which may stand within another (``zip://::s3://bucket/year.zip``)."""
    inner, chained, outer = source.partition("::")
    if chained:
        return f"{inner.partition('://')[0]}://{name}::{outer}"
    return str(_fsspec().core.url_to_fs(source)[0].unstrip_protocol(name))


def _fsspec() -> Any:
    try:
        import fsspec
    except ImportError as fault:
        raise InputError("fsspec is not installed.", mend="Install roomfield[stations].") from fault
    return fsspec


def _target(out: Path, file: StationFile, plan: StationPlan) -> Path:
    core = json.dumps([_RESULT_VERSION, file.url, file.stamp, asdict(plan)], sort_keys=True, default=str)
    return out / "results" / f"{hashlib.sha256(core.encode()).hexdigest()[:32]}.json"


def _run(
    files: list[StationFile], plan: StationPlan, targets: dict[str, Path], scheduler: str, workers: int
) -> Iterator[tuple[StationFile, str]]:
    """Analyse files in any order; yields each with the reason it failed, empty if it did not."""
    if not files:
        return
    if not scheduler:
        for file in files:
            yield file, analyse_one(file.url, plan, str(targets[file.url]))
        return
    client = _client(scheduler, workers)
    try:
        yield from _on_workers(client, files, plan, targets)
    finally:
        client.close()
        if client.cluster is not None:
            client.cluster.close()


def _client(scheduler: str, workers: int) -> Any:
    try:
        from dask.distributed import Client, LocalCluster
    except ImportError as fault:
        raise InputError("Dask is not installed.", mend="Install roomfield[stations].") from fault
    if scheduler != "local":
        try:
            return Client(scheduler, timeout=SCHEDULER_PATIENCE_S)
        except (OSError, ValueError) as fault:
            raise InputError("no scheduler answers there.", where=scheduler, mend="Check its address.") from fault
    cluster = LocalCluster(
        n_workers=workers or os.cpu_count() or 1, threads_per_worker=1, dashboard_address=None, host="127.0.0.1"
    )
    return Client(cluster)


def _on_workers(
    client: Any, files: list[StationFile], plan: StationPlan, targets: dict[str, Path]
) -> Iterator[tuple[StationFile, str]]:
    from dask.distributed import as_completed

    futures = {
        client.submit(analyse_one, file.url, plan, str(targets[file.url].resolve()), pure=False): file for file in files
    }
    for future in as_completed(futures):
        fault = future.exception()
        yield futures[future], f"the worker failed: {fault}" if fault else future.result()


def analyse_one(url: str, plan: StationPlan, target: str) -> str:
    """Analyse one file and write its result; the reason why not, or an empty string.

    Parameters
    ----------
    url : str
        The file.
    plan : StationPlan
        What is done with it.
    target : str
        File to write.
    """
    try:
        with tempfile.TemporaryDirectory(prefix="roomfield-") as scratch:
            result = _analysed(url, plan, Path(scratch))
        _write_whole(Path(target), json.dumps(result, sort_keys=True, ensure_ascii=False))
    except RoomfieldError as fault:
        return fault.sentence()
    except Exception as fault:  # one bad file must not stop a thousand good ones
        return f"{type(fault).__name__}: {str(fault).splitlines()[0] if str(fault) else 'no message'}"
    return ""


def _analysed(url: str, plan: StationPlan, scratch: Path) -> dict[str, Any]:
    path = _fetched(url, scratch)
    series = ingest(path, _mapping_for(path, plan), plan.series_dir or scratch / "series")
    stats = statistics(series, bound=plan.bound)
    profile = None if series.kind == "highest_held" else day_profile(series).to_dict()
    return {"url": url, "series": _facts(series), "statistics": stats.to_dict(), "day_profile": profile}


def _facts(series: LogSeries) -> dict[str, Any]:
    data = series.to_dict()
    data.pop("mapping")
    return {**data, "unit": series.unit.name}


def _fetched(url: str, scratch: Path) -> Path:
    if "://" not in url:
        return Path(url)
    system, path = _fsspec().core.url_to_fs(url)
    target = scratch / Path(path).name
    system.get_file(path, str(target))
    return target


def _mapping_for(path: Path, plan: StationPlan) -> Mapping:
    if plan.mapping is None:
        return guess_mapping(path)
    mapping = Mapping.from_dict(plan.mapping)
    layout = look_at(path, mapping.layout.sheet).layout
    if layout.columns != mapping.layout.columns:
        raise FormatError(
            f"its columns are {', '.join(layout.columns[:6])}, not those of the confirmed mapping.",
            where=path.name,
            mend="Analyse it by itself, with a mapping of its own.",
        )
    return replace(mapping, layout=layout)


def _write_whole(target: Path, text: str) -> None:
    partial = target.with_suffix(f".{os.getpid()}.part")
    partial.write_text(text, encoding="utf-8")
    os.replace(partial, target)
