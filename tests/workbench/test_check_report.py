"""A report is held against the file that was handed over with it."""

from __future__ import annotations

import hashlib
import json
import zipfile
from dataclasses import replace
from pathlib import Path

import pytest

from roomfield.errors import FormatError, InputError, IntegrityError
from roomfield.store.repository import open_store
from roomfield.survey import Kind
from roomfield.workbench.publish.check_report import check, printed_digests
from roomfield.workbench.publish.whole_report import Wishes, whole_report
from roomfield.workbench.record import proof
from roomfield.workbench.record.job import Job

from .surveys import typed


@pytest.fixture(scope="module")
def handed_over(tmp_path_factory):
    """A record with one survey, its package, and its reports in every form."""
    folder = tmp_path_factory.mktemp("custody")
    store = open_store(folder / "roomfield.sqlite")
    survey = typed([("bed", "as_found", Kind.PEAK, 1e-4), ("bed", "as_found", Kind.AVERAGE, 1e-5)])
    job = Job(store.create(survey).survey, store)
    job.write_package(folder / "package.zip")
    for ending in ("pdf", "html", "xlsx", "json"):
        whole_report(job, folder / f"report.{ending}", Wishes(short=True))
    return folder, job


@pytest.mark.published("FIPS 180-4, SHA-256, here as hashlib computes it over the bytes of the file")
@pytest.mark.parametrize("ending", ["pdf", "html", "xlsx", "json"])
def test_the_checksum_printed_is_that_of_the_file(handed_over, ending):
    folder, _ = handed_over
    digest = hashlib.sha256((folder / "package.zip").read_bytes()).hexdigest()
    assert digest in printed_digests(folder / f"report.{ending}")
    found = check(folder / f"report.{ending}", folder / "package.zip")
    assert found.same_file
    assert found.package_sha256 == digest


@pytest.mark.parametrize("ending", ["pdf", "html", "xlsx", "json"])
def test_the_record_check_knows_the_package_of_a_report_in_every_form(handed_over, ending):
    folder, _ = handed_over
    said = proof.check_report(folder / f"report.{ending}", package=folder / "package.zip")
    assert said[0].endswith("this very package")


@pytest.mark.parametrize("start", [b"%PDF-1.7\n", b"PK\x03\x04"])
def test_a_damaged_report_is_told_as_such(handed_over, tmp_path, start):
    folder, _ = handed_over
    (tmp_path / "report").write_bytes(start + b"nothing more")
    with pytest.raises(FormatError, match="damaged"):
        check(tmp_path / "report", folder / "package.zip")


def test_another_package_is_refused(handed_over, tmp_path):
    folder, job = handed_over
    other = replace(job.survey, title="Another home")
    Job(other, job.store).write_package(tmp_path / "other.zip")
    with pytest.raises(IntegrityError, match="another package"):
        check(folder / "report.pdf", tmp_path / "other.zip")


def test_a_changed_reading_is_noticed(handed_over, tmp_path):
    folder, _ = handed_over
    forged = tmp_path / "forged.zip"
    with zipfile.ZipFile(folder / "package.zip") as old, zipfile.ZipFile(forged, "w") as new:
        for name in old.namelist():
            content = old.read(name)
            if name.endswith("survey.json"):
                document = json.loads(content)
                document["survey"]["readings"][0]["value_w_m2"] = 1e-9
                content = json.dumps(document).encode()
            new.writestr(name, content)
    with pytest.raises(IntegrityError):
        check(folder / "report.pdf", forged)


def test_the_same_content_packed_anew_is_told_as_such(handed_over, tmp_path):
    folder, _ = handed_over
    anew = tmp_path / "anew.zip"
    with zipfile.ZipFile(folder / "package.zip") as old, zipfile.ZipFile(anew, "w") as new:
        for name in old.namelist():
            new.writestr(name, old.read(name))
    found = check(folder / "report.pdf", anew)
    assert not found.same_file
    assert "packed anew" in found.sentence()


def test_what_is_no_report_is_refused(handed_over, tmp_path):
    folder, _ = handed_over
    Path(tmp_path / "note.html").write_text("nothing", encoding="utf-8")
    with pytest.raises(InputError, match="prints no checksum"):
        check(tmp_path / "note.html", folder / "package.zip")
