"""Many files: here and on Dask workers alike, faults reported, work resumed."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from roomfield.errors import InputError, TooEarlyError
from roomfield.logs import analyse_stations, guess_mapping, open_series


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    source = tmp_path / "stations"
    (source / "north").mkdir(parents=True)
    for i in range(5):
        rng = np.random.default_rng(i)
        levels = rng.lognormal(3, 1, 500)
        rows = [f"2026-03-0{1 + k // 100} {k % 24:02d}:{k % 60:02d}:00,{v:.3f}" for k, v in enumerate(levels)]
        name = source / ("north" if i % 2 else ".") / f"station{i}.csv"
        name.write_text("time UTC,average uW/m2\n" + "\n".join(rows) + "\n")
    (source / "broken.csv").write_text("this is no log\nat all\n")
    (source / "notes.md").write_text("not a log either")
    return source


def test_a_failing_file_is_reported_and_stops_nothing(folder, tmp_path):
    told = []
    report = analyse_stations(folder, tmp_path / "out", bound=1e-4, progress=lambda done, of: told.append((done, of)))
    assert len(report.results) == 5
    assert [Path(fault.url).name for fault in report.faults] == ["broken.csv"]
    assert "A log needs" in report.faults[0].reason
    assert told[-1] == (6, 6)
    first = report.results[0]
    assert first["statistics"]["above"]["bound"] == 1e-4
    assert len(first["day_profile"]["bins"]) == 24
    assert json.loads(json.dumps(report.to_dict()))["resumed"] == 0


def test_a_second_run_goes_on_and_a_changed_file_is_done_anew(folder, tmp_path):
    first = analyse_stations(folder, tmp_path / "out")
    again = analyse_stations(folder, tmp_path / "out")
    assert again.resumed == 5
    assert again.results == first.results
    changed = folder / "station0.csv"
    changed.write_text(changed.read_text() + "2026-03-09 00:00:00,5\n")
    (folder / "broken.csv").write_text("time UTC,average uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,2\n")
    third = analyse_stations(folder, tmp_path / "out")
    assert (third.resumed, len(third.results), third.faults) == (4, 6, ())
    rows = {Path(r["url"]).name: r["statistics"]["readings"] for r in third.results}
    assert (rows["station0.csv"], rows["broken.csv"]) == (501, 2)


@pytest.mark.published("dask.distributed, local cluster of two processes")
def test_workers_give_the_same_to_the_last_bit(folder, tmp_path):
    pytest.importorskip("distributed")
    here = analyse_stations(folder, tmp_path / "here", bound=2e-5)
    there = analyse_stations(folder, tmp_path / "there", bound=2e-5, scheduler="local", workers=2)
    assert there.results == here.results
    assert there.faults == here.faults


def test_a_url_gives_the_same_as_the_folder(folder, tmp_path):
    fsspec = pytest.importorskip("fsspec")
    memory = fsspec.filesystem("memory")
    for path in folder.rglob("*.csv"):
        memory.pipe(f"/year/{path.relative_to(folder)}", path.read_bytes())
    local = analyse_stations(folder, tmp_path / "a")
    remote = analyse_stations("memory://year", tmp_path / "b")
    assert [r["statistics"] for r in remote.results] == [r["statistics"] for r in local.results]
    assert len(remote.faults) == 1


def test_one_confirmed_mapping_serves_all_files_of_its_columns(folder, tmp_path):
    for path in folder.rglob("station*.csv"):
        path.write_text(path.read_text().replace("time UTC", "time"))
    without = analyse_stations(folder, tmp_path / "a")
    assert len(without.faults) == 6
    assert "time zone" in without.faults[1].reason
    guess = guess_mapping(folder / "station0.csv")
    with pytest.raises(TooEarlyError, match="not confirmed"):
        analyse_stations(folder, tmp_path / "b", mapping=guess)
    mapping = guess.confirm(zone="Europe/Zurich")
    (folder / "station0.csv").write_text("time,peak uW/m2\n2026-03-01 00:00:00,1\n2026-03-01 00:00:01,2\n")
    found = analyse_stations(folder, tmp_path / "b", mapping=mapping, keep_series=True)
    assert len(found.results) == 4
    assert any("not those of the confirmed mapping" in fault.reason for fault in found.faults)
    kept = sorted((tmp_path / "b" / "series").iterdir())
    assert {open_series(path).zone for path in kept} == {"Europe/Zurich"}


def test_nothing_to_do_is_said(tmp_path):
    with pytest.raises(InputError, match="no log to analyse"):
        analyse_stations(tmp_path, tmp_path / "out")


def test_what_was_done_before_an_interruption_is_not_done_again(folder, tmp_path):
    def stop_at_the_third(done: int, _of: int) -> None:
        if done == 3:
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        analyse_stations(folder, tmp_path / "out", progress=stop_at_the_third)
    done = {path.name: path.stat().st_mtime_ns for path in (tmp_path / "out" / "results").iterdir()}
    assert 1 <= len(done) < 5
    half = tmp_path / "out" / "results" / "half.1234.part"
    half.write_text('{"torn": ')
    report = analyse_stations(folder, tmp_path / "out")
    assert (report.resumed, len(report.results), len(report.faults)) == (len(done), 5, 1)
    assert {name: (tmp_path / "out" / "results" / name).stat().st_mtime_ns for name in done} == done


def test_another_bound_is_another_analysis(folder, tmp_path):
    analyse_stations(folder, tmp_path / "out", bound=1e-5)
    other = analyse_stations(folder, tmp_path / "out", bound=2e-5)
    assert other.resumed == 0
    assert {result["statistics"]["above"]["bound"] for result in other.results} == {2e-5}
    assert analyse_stations(folder, tmp_path / "out", bound=1e-5).resumed == 5


@pytest.mark.published("fsspec, local and zip file systems")
def test_a_store_of_objects_in_other_places(folder, tmp_path):
    pytest.importorskip("fsspec")
    import shutil

    archive = shutil.make_archive(str(tmp_path / "year"), "zip", folder)
    here = analyse_stations(folder, tmp_path / "a")
    for number, url in enumerate((f"file://{folder}", f"zip://::file://{archive}")):
        there = analyse_stations(url, tmp_path / f"b{number}")
        assert [r["statistics"] for r in there.results] == [r["statistics"] for r in here.results]
        assert len(there.faults) == 1
        assert analyse_stations(url, tmp_path / f"b{number}").resumed == 5


def test_a_store_that_cannot_be_reached_is_said_in_one_sentence(tmp_path):
    pytest.importorskip("fsspec")
    for url in ("nosuchscheme://bucket/year", f"file://{tmp_path}/absent"):
        with pytest.raises(InputError) as caught:
            analyse_stations(url, tmp_path / "out")
        assert "\n" not in caught.value.sentence()
