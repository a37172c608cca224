"""The report: content from an assessment, and files from the content."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from roomfield import __version__
from roomfield.errors import InputError
from roomfield.extras import require
from roomfield.references.rules import decision_rule
from roomfield.report.document import Custody, Parties, ReportContent, Rules, SignedStep
from roomfield.show.phrase import phrase
from roomfield.show.words.message_catalogue import load_words
from roomfield.survey import Survey
from roomfield.workbench.assess.assessment import Assessment
from roomfield.workbench.plan.live_advice import advised_order
from roomfield.workbench.publish.contents import method, place_findings, plan_figures, report_basis, steps, unsettled
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.proof import ChainHead, chain_head
from roomfield.workbench.record.releasing import report_standing
from roomfield.workbench.record.visit_choice import visit_asked_or_first_if_any

TABLE_FORMATS = (".xlsx", ".csv", ".json")
FALSE_ACCEPTANCE = {"guard-0.83U": 0.05, "guard-U": 0.025, "guard-1.5U": 0.0016, "three-way": 0.025}
"""Risk of a wrong "below" that a rule's document states for a normal error; see the table of rules."""
SOFTWARE = f"roomfield {__version__}"
FORMATS = (".pdf", ".html", *TABLE_FORMATS)
FORM_LIBRARIES = {".pdf": ("typst", "pdf"), ".xlsx": ("openpyxl", "workbooks")}
"""Library and extra of the forms that not everybody can write."""


def issued_now() -> str:
    """The present moment with the offset of this computer's clock, ISO 8601."""
    return datetime.now(UTC).astimezone().isoformat(timespec="seconds")


def report_content(assessment: Assessment, *, issued_at: str = "", custody: Custody | None = None) -> ReportContent:
    """What the report says about one visit.

    Parameters
    ----------
    assessment : Assessment
        Result of `assess`.
    issued_at : str
        Date and time of the report, ISO 8601; the same content and time give the same bytes. Now if left out.
    custody : Custody, optional
        Name and hashes of the survey package behind it, from `custody_of`.
    """
    survey, visit = assessment.survey, assessment.table.visit
    places = place_findings.place_findings(assessment)
    stands = report_standing(survey, visit.id)
    return ReportContent(
        survey_id=survey.id,
        title=survey.title,
        issued_at=issued_at or issued_now(),
        state_id=assessment.table.base_state.id,
        law_id=assessment.limits.set_id,
        guideline_id=place_findings.aim_reference(assessment),
        aim=assessment.aim,
        invented=survey.invented,
        parties=_parties(survey),
        rules=_rules(assessment),
        custody=custody or Custody(software=SOFTWARE),
        visits=report_basis.visit_entries(survey),
        states=place_findings.state_entries(assessment),
        places=places,
        verdicts=place_findings.verdicts(assessment),
        bands=place_findings.band_levels(assessment),
        band_totals=place_findings.band_totals(assessment),
        contributions=place_findings.switch_contributions(assessment),
        steps=steps.next_steps(assessment),
        storeys=plan_figures.plan_storeys(survey, places, visit.id),
        method=method.method_paragraphs(assessment),
        undetermined=unsettled.unsettled(assessment),
        meters=report_basis.meter_entries(survey, visit.started_at),
        budgets=report_basis.typical_budgets(assessment),
        references=report_basis.reference_entries(assessment),
        positions=report_basis.position_entries(),
        proofs=report_basis.proof_entries(report_basis.reference_entries(assessment), report_basis.position_entries()),
        cautions=report_basis.caution_entries(),
        amendments=report_basis.amendment_entries(survey),
        readings=report_basis.reading_entries(survey, visit.id),
        stage=stands.stage,
        signed=tuple(SignedStep(one.stage.value, one.by, one.at, one.note) for one in stands.steps),
        checklist=report_basis.checklist_entry(survey, visit.id),
    )


def _rules(assessment: Assessment) -> Rules:
    rule = decision_rule(assessment.terms.rule)
    key = rule.rule_id.replace("-", "_").replace(".", "_")
    risk = FALSE_ACCEPTANCE.get(rule.rule_id)
    return Rules(assessment.terms.coverage, phrase(f"decision_rule.{key}"), risk)


def custody_of(job: Job) -> Custody:
    """Name and hashes of the survey package as `Job.write_package` writes it now."""
    digest = job.package_sha256()
    content = job.content_sha256 if digest else ""
    head = chain_head(job.store, job.survey.id) if job.store is not None else ChainHead("", 0, "", "")
    return Custody(f"{job.survey.id}.zip" if digest else "", digest, SOFTWARE, content, head.sha256, head.number)


def _parties(survey: Survey) -> Parties:
    order = survey.assignment
    return Parties(order.client, order.address, order.assessor, order.organisation, order.question)


def checked_target(path: str | Path) -> Path:
    """The file a report is to lie in, once its name says a form that there is.

    Parameters
    ----------
    path : str or Path
        Ends in .pdf, .html, .xlsx, .csv or .json.

    Raises
    ------
    InputError
        If the ending is none of these, or a folder has that name.
    MissingExtraError
        If that form needs a library that is not installed.
    """
    target = Path(path)
    ending = target.suffix.lower()
    if ending not in FORMATS:
        raise InputError(
            f"a report cannot be written as {ending or 'a file without an ending'}.",
            where=target.name,
            mend=f"Choose a name that ends in {', '.join(FORMATS)}.",
        )
    if target.is_dir():
        raise InputError("a folder has this name.", where=str(target), mend="Choose another name.")
    require_form(ending)
    return target


def require_form(ending: str) -> None:
    """Refuse a form whose library is missing before anything is computed for it.

    Parameters
    ----------
    ending : str
        One of `FORMATS`.

    Raises
    ------
    MissingExtraError
        If that form needs a library that is not installed.
    """
    if ending in FORM_LIBRARIES:
        require(*FORM_LIBRARIES[ending])


def write_report(content: ReportContent, path: str | Path, *, language: str = "en") -> Path:
    """Write the report; the ending of the name says in which form.

    Parameters
    ----------
    content : ReportContent
        What is to be said.
    path : str or Path
        Ends in .pdf, .html, .xlsx, .csv or .json.
    language : str
        ``en`` or ``de``.

    Raises
    ------
    InputError
        If the ending is none of these.
    """
    target, ending = checked_target(path), Path(path).suffix.lower()
    load_words(language)
    target.parent.mkdir(parents=True, exist_ok=True)
    if ending == ".pdf":
        from roomfield.report.render.pdf import render_pdf

        render_pdf(content, target, language=language)
    elif ending == ".html":
        from roomfield.report.render.html import render_html

        target.write_text(render_html(content, language=language), encoding="utf-8")
    else:
        from roomfield.report.render.tables import write_tables

        write_tables(content, target)
    return target


def write_field_sheet(survey: Survey, path: str | Path, *, visit_id: str | None = None, language: str = "") -> Path:
    """Write the printable form for a visit: what is worth measuring next, then each place in each radio state.

    Parameters
    ----------
    path : str or Path
        PDF file.
    visit_id : str, optional
        The visit; the first one if left out.
    language : str
        ``en`` or ``de``; the survey's own if empty.
    """
    from roomfield.report.render.field_sheet import SheetOrder, field_sheet

    visit = visit_asked_or_first_if_any(survey, visit_id)
    states = visit.radio_states if visit else ()
    groups = place_findings.group_names(survey)
    order = SheetOrder(
        survey.id,
        survey.title,
        tuple((place.name, state.name) for state in states for place in survey.places),
        tuple((s.name, ", ".join(groups.get(g, g) for g in s.off_groups)) for s in states),
        visit.assessor if visit else survey.assignment.assessor,
        ", ".join(m.name for m in survey.meters),
        max((m.figures.body_distance_m for m in survey.meters), default=0.3),
        invented=survey.invented,
        advice=advised_order(survey, visit.id if visit else "", language or survey.assignment.language),
    )
    target = Path(path)
    if target.suffix.lower() != ".pdf":
        raise InputError("a field sheet is a PDF.", where=target.name, mend="Choose a name that ends in .pdf.")
    target.parent.mkdir(parents=True, exist_ok=True)
    field_sheet(order, target, language=language or survey.assignment.language)
    return target
