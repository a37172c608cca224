"""Logs in the record: kept with their mapping, recognised, made again, and shown."""

from __future__ import annotations

import shutil

import pytest

from roomfield.demo.overnight import LOG_NAME, overnight_csv
from roomfield.errors import InputError
from roomfield.workbench.contents.logs import log_entries
from roomfield.workbench.example import demo_job
from roomfield.workbench.job import Job
from roomfield.workbench.series import LogPlace, guessed_log, keep_log, kept_series, series_folder, view_of


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
    (entry,) = log_entries(job, job.survey.visits[0].id, 1e-4)
    assert entry.place == "Child's cot"
    assert entry.timeline is not None and len(entry.timeline.at) <= 400
    assert entry.day is not None and len(entry.day.hour) == 24
    assert "log.needed" in {name.key for name, _ in entry.figures}


def test_a_survey_in_no_record_takes_no_log(job, tmp_path):
    path = tmp_path / LOG_NAME
    path.write_bytes(overnight_csv())
    with pytest.raises(InputError, match="no record"):
        keep_log(Job(job.survey), path, guessed_log(path).confirm(), LogPlace("cot"))
