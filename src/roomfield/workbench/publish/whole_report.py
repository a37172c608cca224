"""The whole report: every chapter for which the record holds something."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

from roomfield.field.posterior import Posterior
from roomfield.report.document import ReportContent
from roomfield.show.words.message_catalogue import load_words
from roomfield.survey import Survey
from roomfield.workbench.assess.assessment import Assessment, Terms, assess
from roomfield.workbench.model.joint_model import can_be_modelled, posterior_of
from roomfield.workbench.model.model_fit import meter_finding
from roomfield.workbench.publish.contents.listening import recording_entries
from roomfield.workbench.publish.contents.long_logs import log_doubt_texts, log_entries
from roomfield.workbench.publish.contents.measuring import measuring_advice
from roomfield.workbench.publish.contents.model_answers import (
    map_grids,
    model_contributions,
    open_questions,
    search_steps,
    source_entries,
    with_sought,
)
from roomfield.workbench.publish.contents.photo_evidence import photo_entries
from roomfield.workbench.publish.contents.remedy_plan import with_remedy
from roomfield.workbench.publish.contents.steps import with_agreed_steps
from roomfield.workbench.publish.files import checked_target, custody_of, report_content, write_report
from roomfield.workbench.publish.ways_picture import with_ways
from roomfield.workbench.record.job import Job

ProgressCall = Callable[[float], None]


@dataclass(frozen=True)
class Wishes:
    """What a report is to cover and how.

    Parameters
    ----------
    visit_id : str or None
        The visit; the first one if None.
    language : str
        ``en`` or ``de``; the survey's own if empty.
    terms : Terms
        Coverage and decision rule.
    user_limits : str
        Path of a TOML file with limits of your own, held beside the law.
    short : bool
        True for the chapters that follow from the readings alone.
    issued_at : str
        Date and time of the report, ISO 8601; now if empty.
    """

    visit_id: str | None = None
    language: str = ""
    terms: Terms = Terms()  # noqa: RUF009 - a frozen value
    user_limits: str = ""
    short: bool = False
    issued_at: str = ""


def whole_report(
    job: Job, target: str | Path, wishes: Wishes | None = None, on_progress: ProgressCall | None = None
) -> Path:
    """Assess a visit and write its report.

    Parameters
    ----------
    job : Job
        The survey.
    target : str or Path
        Ends in .pdf, .html, .xlsx, .csv or .json.
    wishes : Wishes, optional
        What it is to cover and how.
    on_progress : callable, optional
        Called with the share done, 0 to 1.
    """
    wanted = wishes or Wishes()
    step = on_progress or (lambda _share: None)
    checked_target(target)
    language = wanted.language or job.survey.assignment.language
    load_words(language)
    content = whole_content(job, wanted, step)
    path = write_report(content, target, language=language)
    step(1.0)
    return path


def whole_content(job: Job, wanted: Wishes, on_progress: ProgressCall | None = None) -> ReportContent:
    """What the report says, before it is set.

    Parameters
    ----------
    job : Job
        The survey.
    wanted : Wishes
        What it is to cover and how.
    on_progress : callable, optional
        Called with the share done, 0 to 0.7.
    """
    step = on_progress or (lambda _share: None)
    assessment = assess(job.survey, wanted.visit_id, terms=wanted.terms, user_limits=wanted.user_limits)
    step(0.2)
    content = report_content(assessment, issued_at=wanted.issued_at, custody=custody_of(job))
    if not wanted.short and can_be_modelled(job.survey, assessment.table.visit.id):
        posterior = posterior_of(job.survey, assessment.table.visit.id)
        step(0.3)
        content = with_model(content, posterior, job.survey)
        step(0.38)
        content = with_ways(content, job.survey, assessment.table.visit.id)
        step(0.42)
        content = with_agreed_steps(with_remedy(content, job.survey, assessment.table.visit.id))
        step(0.47)
        spoken = wanted.language or job.survey.assignment.language
        content = replace(content, measuring=measuring_advice(job.survey, assessment.table.visit.id, spoken))
    step(0.5)
    if not wanted.short and job.store is not None:
        content = with_files(content, job, assessment)
    step(0.7)
    return content


def with_model(content: ReportContent, posterior: Posterior, survey: Survey) -> ReportContent:
    """The content with what the model of the dwelling adds."""
    storeys = with_sought(posterior, survey, content.storeys)
    return replace(
        content,
        contributions=(*content.contributions, *model_contributions(posterior, content.places, content.frame)),
        sources=source_entries(posterior, survey),
        maps=map_grids(posterior, storeys),
        storeys=storeys,
        undetermined=(*content.undetermined, *open_questions(posterior)),
        together=meter_finding(posterior),
        steps=(*search_steps(posterior), *content.steps),
    )


def with_files(content: ReportContent, job: Job, assessment: Assessment) -> ReportContent:
    """The content with what the survey's recordings and logs say."""
    return replace(
        content,
        recordings=recording_entries(job, assessment.table.visit.id),
        logs=log_entries(job, assessment),
        photos=photo_entries(job, assessment.table.visit.id),
        undetermined=(*log_doubt_texts(job, assessment), *content.undetermined),
    )
