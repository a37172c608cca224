"""The report as the browser asks for it: which parts, which language, which form, as bytes."""

from __future__ import annotations

from dataclasses import dataclass

from roomfield.errors import InputError, UnknownNameError
from roomfield.report.compose import Part
from roomfield.report.document import ReportContent
from roomfield.report.render.html import render_html
from roomfield.report.render.pdf import render_pdf
from roomfield.scratch import scratch_folder
from roomfield.survey import Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.publish.files import FORMATS, require_form, write_field_sheet, write_report
from roomfield.workbench.publish.whole_report import ProgressCall, Wishes, whole_content
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.packages import plain_name
from roomfield.workbench.record.survey_list import Records, opened
from roomfield.workbench.record.visit_choice import visit_asked_or_first_if_any

MEDIA_TYPES = {
    ".pdf": "application/pdf",
    ".html": "text/html; charset=utf-8",
    ".xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    ".csv": "text/csv; charset=utf-8",
    ".json": "application/json",
}
PARTS = tuple(part.value for part in Part)


@dataclass(frozen=True)
class ReportFile:
    """A report ready to be shown or saved."""

    file_name: str
    media_type: str
    content: bytes


@dataclass(frozen=True)
class ReportOrder:
    """What the report is to be.

    Parameters
    ----------
    form : str
        Ending: pdf, html, xlsx, csv or json.
    parts : tuple of str
        Parts to keep; empty for all.
    """

    visit_id: str = ""
    language: str = ""
    form: str = "pdf"
    parts: tuple[str, ...] = ()


@in_turn
def report_file(
    records: Records, survey_id: str, order: ReportOrder, on_progress: ProgressCall | None = None
) -> ReportFile:
    """Make a report.

    Parameters
    ----------
    on_progress : callable, optional
        Called with the share done, 0 to 1; what it raises stops the work.

    Raises
    ------
    InputError
        If the form is none that is written.
    MissingExtraError
        If that form needs a library that is not installed.
    UnknownNameError
        If there is no such part.
    TooEarlyError
        If there is no reading yet.
    """
    ending = f".{order.form}"
    if ending not in FORMATS:
        raise InputError(f"a report cannot be written as {order.form!r}.", mend="Choose pdf, html, xlsx, csv or json.")
    require_form(ending)
    unknown = sorted(set(order.parts) - set(PARTS))
    if unknown:
        raise UnknownNameError("part of the report", unknown[0], PARTS)
    survey = opened(records, survey_id).survey
    job = Job(survey, records)
    wishes = Wishes(visit_id=order.visit_id or None, language=order.language)
    content = whole_content(job, wishes, on_progress)
    language = order.language or survey.assignment.language
    made = _made(content, ending, language, order.parts)
    return ReportFile(f"{file_stem(survey, order.visit_id)}-{language}{ending}", MEDIA_TYPES[ending], made)


def file_stem(survey: Survey, visit_id: str) -> str:
    """Name of a file about one visit: the survey's title and the visit's day, so that no two collide.

    Parameters
    ----------
    survey : Survey
        The survey; before its first visit the name is its title alone.
    visit_id : str
        The visit; empty for the first one.

    Raises
    ------
    UnknownNameError
        If there is no such visit.
    """
    visit = visit_asked_or_first_if_any(survey, visit_id)
    return "-".join([plain_name(survey.title), *([visit.started_at[:10]] if visit else [])])


def _made(content: ReportContent, ending: str, language: str, parts: tuple[str, ...]) -> bytes:
    kept = parts or None
    if ending == ".pdf":
        return render_pdf(content, language=language, parts=kept)
    if ending == ".html":
        return render_html(content, language=language, parts=kept).encode("utf-8")
    with scratch_folder() as folder:
        return write_report(content, folder / f"report{ending}", language=language).read_bytes()


def field_sheet(survey: Survey, visit_id: str, language: str) -> bytes:
    """The printed form whose columns are read back without a question, as PDF.

    Parameters
    ----------
    visit_id : str
        The visit; empty for the first one.
    language : str
        ``en`` or ``de``.
    """
    with scratch_folder() as folder:
        target = folder / "sheet.pdf"
        return write_field_sheet(survey, target, visit_id=visit_id or None, language=language).read_bytes()
