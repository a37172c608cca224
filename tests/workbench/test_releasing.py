"""Review and release in a file: by a second name, on what was reviewed, printed and checked."""

from __future__ import annotations

from dataclasses import replace

import pytest

import roomfield as rf
from roomfield.demo.invented_survey import demo_survey
from roomfield.errors import InputError, RightsError, StoreError, TooEarlyError, UnknownNameError
from roomfield.store.identity import Identity, acting_as
from roomfield.store.repository import open_store
from roomfield.survey import ReportStage, SignOff
from roomfield.workbench.publish.check_report import check
from roomfield.workbench.publish.whole_report import Wishes, whole_report
from roomfield.workbench.record.job import open_job, unpack_into
from roomfield.workbench.record.proof import check_package, check_record, check_report
from roomfield.workbench.record.releasing import report_standing, sign_off

ANN, RITA = Identity("Ann Author", "laptop"), Identity("Rita Reader", "tower")


@pytest.fixture
def store(tmp_path):
    with open_store(tmp_path) as opened:
        opened.create(replace(demo_survey(), media=(), recordings=(), logs=()))
        yield opened


def survey_id(store) -> str:
    return store.surveys()[0].id


def released(store) -> None:
    name = survey_id(store)
    with acting_as(ANN):
        sign_off(store, name, "draft")
    with acting_as(RITA):
        sign_off(store, name, "reviewed", note="two slips mended")
        sign_off(store, name, "released")


def test_steps_are_taken_in_order_by_a_second_person(store):
    name = survey_id(store)
    with acting_as(RITA), pytest.raises(TooEarlyError, match=r"not yet draft.*sign-off draft"):
        sign_off(store, name, "reviewed")
    with acting_as(ANN):
        sign_off(store, name, "draft")
        with pytest.raises(RightsError, match="Ann Author drew up the report"):
            sign_off(store, name, "reviewed")
    with acting_as(Identity("ANN AUTHOR", "another")), pytest.raises(RightsError):
        sign_off(store, name, "reviewed")
    with pytest.raises(UnknownNameError):
        sign_off(store, name, "approved")
    with pytest.raises(InputError, match="not replaced"):
        store.update(name, 1, sign_offs=())


def test_what_was_changed_since_is_a_draft_again(store):
    released(store)
    name = survey_id(store)
    assert report_standing(store.load(name).survey).stage == "released"
    store.update(name, 1, note="one word more")
    stored = store.load(name).survey
    assert report_standing(stored).stage == "changed"
    with acting_as(RITA), pytest.raises(TooEarlyError, match="was changed"):
        sign_off(store, name, "released")


def test_nothing_is_signed_that_was_written_to_meanwhile(store):
    name = survey_id(store)
    stale = store.load(name)
    store.update(name, 1, note="meanwhile")
    item = SignOff(ReportStage.DRAFT, "v", "A", "d", "", "2026-01-01", "0" * 64)
    with pytest.raises(StoreError, match="while you looked"):
        store.sign_off(name, item, stale.head)


def test_the_chain_shows_a_step_that_somebody_wrote_into_the_record(store):
    released(store)
    name = survey_id(store)
    assert check_record(store, name).misfits == ()
    draft, reviewed, last = store.load(name).survey.sign_offs
    forged = replace(store.load(name).survey, id="forged", sign_offs=(draft, replace(reviewed, by="Ann Author"), last))
    store.create(forged)
    assert "by the one who drew it up" in str(check_record(store, "forged").misfits)


def test_a_package_takes_its_steps_along(store, tmp_path):
    released(store)
    open_job(tmp_path, survey_id(store)).write_package(tmp_path / "flat.zip")
    (tmp_path / "other").mkdir()
    with open_store(tmp_path / "other") as other:
        taken = unpack_into(str(tmp_path / "other"), tmp_path / "flat.zip")
        assert report_standing(taken).stage == "released"
        assert check_record(other, taken.id).misfits == ()


def test_the_report_says_who_released_it_and_can_be_checked(store, tmp_path):
    released(store)
    job = open_job(tmp_path, survey_id(store))
    path = whole_report(job, tmp_path / "report.html", Wishes(short=True, issued_at="2026-03-20T10:00:00+01:00"))
    page = path.read_text(encoding="utf-8")
    assert "Released by Rita Reader on" in page and "two slips mended" in page
    german = whole_report(job, tmp_path / "bericht.html", Wishes(short=True, language="de"))
    assert "von Rita Reader freigegeben" in german.read_text(encoding="utf-8")
    assert "by Rita Reader (report released)" in " ".join(check_report(path, store))
    job.write_package(tmp_path / "flat.zip")
    assert check_package(tmp_path / "flat.zip").misfits == ()
    assert "The report was released by Rita Reader on" in check(path, tmp_path / "flat.zip").sentence()


def test_a_report_that_was_never_put_up_says_nothing_of_it(store, tmp_path):
    path = whole_report(open_job(tmp_path, survey_id(store)), tmp_path / "r.html", Wishes(short=True))
    page = path.read_text(encoding="utf-8")
    assert "Released by" not in page and "put up for review" not in page


def test_a_notebook_signs_too(store, tmp_path):
    job = rf.open(tmp_path, survey_id(store))
    with acting_as(ANN):
        assert rf.sign_off(job, "draft").survey.sign_offs[-1].by == "Ann Author"
    with pytest.raises(InputError, match="lies in a record"):
        rf.sign_off(rf.Job(job.survey), "draft")
