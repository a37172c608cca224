"""Logs in the record: kept with their mapping, recognised, made again, and shown."""

from __future__ import annotations

import math
import shutil

import pytest

from roomfield.demo.overnight import LOG_NAME, overnight_csv
from roomfield.errors import InputError
from roomfield.workbench.assess.assessment import assess
from roomfield.workbench.publish.contents import long_logs
from roomfield.workbench.publish.contents.long_logs import log_entries
from roomfield.workbench.record.demo_record import demo_job
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.long_series import (
    LogPlace,
    guessed_log,
    keep_log,
    kept_series,
    series_folder,
    series_from,
    view_of,
)


@pytest.fixture(scope="module")
def job(tmp_path_factory) -> Job:
    return demo_job(tmp_path_factory.mktemp("record"))


def test_the_demo_holds_a_log_beside_the_cot(job):
    (record,) = job.survey.current_logs()
    assert record.place_id == "cot"
    assert {item.sha256 for item in job.survey.media} >= {record.media_sha256}


def test_a_lost_series_is_made_again_from_the_file_as_received(job):
    (record,) = job.survey.current_logs()
    first = kept_series(job, record)
    shutil.rmtree(series_folder(job))
    again = kept_series(job, record)
    assert again.id == first.id == record.series_sha256
    assert again.rows == 24_000


def test_without_its_mapping_a_log_says_what_to_do(job):
    (record,) = job.survey.current_logs()
    bare = Job(type(job.survey)(job.survey.id, job.survey.title, job.survey.created_at), job.store)
    shutil.rmtree(series_folder(job))
    with pytest.raises(InputError, match="Take the log in again"):
        kept_series(bare, record)


def test_the_view_agrees_with_plain_arithmetic(job, tmp_path):
    path = tmp_path / LOG_NAME
    path.write_bytes(overnight_csv())
    values = [float(line.rsplit(b",", 1)[1]) * 1e-6 for line in path.read_bytes().splitlines()[1:]]
    (record,) = job.survey.current_logs()
    found = view_of(kept_series(job, record), bound_w_m2=1e-4)
    assert found.statistics.mean == pytest.approx(sum(values) / len(values), rel=1e-9)
    assert found.statistics.maximum == pytest.approx(max(values))
    assert found.statistics.above.share_above == pytest.approx(sum(v > 1e-4 for v in values) / len(values), rel=1e-6)
    assert found.day is not None
    assert found.bursts is None


def test_the_report_shows_it(job):
    (entry,) = log_entries(job, assess(job.survey))
    assert entry.place == "Child's cot"
    assert entry.timeline is not None and len(entry.timeline.at) <= 400
    assert entry.day is not None and len(entry.day.hour) == 24
    figures = {name.key: value for name, value in entry.figures}
    assert "log.needed" in figures
    view = view_of(kept_series(job, job.survey.current_logs()[0]))
    steps = dict(figures["log.steps"].values)
    largest = max(view.changes, key=lambda change: abs(change.step_db))
    assert (steps["count"], steps["step"]) == (len(view.changes), largest.step_db)


def test_the_report_explains_why_peak_and_average_differ(tmp_path):
    path = tmp_path / "fast.csv"
    rows = [
        f"2026-03-01T00:{i // 1200:02d}:{i // 20 % 60:02d}.{i % 20 * 5:02d}0Z,{800 if i % 400 < 2 else 1}"
        for i in range(12000)
    ]
    path.write_text("time,peak uW/m2\n" + "\n".join(rows) + "\n")
    view = view_of(series_from(path, guessed_log(path).confirm(), tmp_path))
    figures = {
        name.key: dict(value.values) for name, value in long_logs.log_figures(view) if not isinstance(value, str)
    }
    assert figures["log.bursts"]["count"] == pytest.approx(30 * 144)
    assert figures["log.duty"]["percent"] == pytest.approx(0.5)
    assert figures["log.crest"]["value"] == pytest.approx(10 * math.log10(800 / (0.005 * 800 + 0.995)))


def test_a_survey_in_no_record_takes_no_log(job, tmp_path):
    path = tmp_path / LOG_NAME
    path.write_bytes(overnight_csv())
    with pytest.raises(InputError, match="no record"):
        keep_log(Job(job.survey), path, guessed_log(path).confirm(), LogPlace("cot"))
