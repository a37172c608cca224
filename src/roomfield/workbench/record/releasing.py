"""Review and release of a report by a second person, and surveys that are handed over."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from roomfield.errors import InputError, RightsError, TooEarlyError, UnknownNameError
from roomfield.exchange.package import package_hash
from roomfield.store.database_rights import Right
from roomfield.store.identity import present_identity
from roomfield.store.office import Ownership
from roomfield.store.parts import encode
from roomfield.store.repository import Store
from roomfield.survey import ReportStage, SignOff, Survey
from roomfield.survey.chain import Link, text_digest
from roomfield.survey.sign_off import standing
from roomfield.workbench.record.visit_choice import visit_asked_or_first

STAGES = tuple(stage.value for stage in ReportStage)
_BEFORE = {ReportStage.REVIEWED: ReportStage.DRAFT, ReportStage.RELEASED: ReportStage.REVIEWED}
_CALL = "roomfield sign-off {stage}"


@dataclass(frozen=True)
class ReportStanding:
    """How far the report of a visit has come.

    Parameters
    ----------
    stage : str
        ``draft``, ``reviewed`` or ``released``; ``changed`` if the survey was changed after the last step; empty if no
        step was ever taken.
    steps : tuple of SignOff
        Those that the present report stands on, oldest first; for ``changed`` those that it no longer stands on.
    """

    stage: str
    steps: tuple[SignOff, ...] = ()

    def step(self, stage: ReportStage) -> SignOff | None:
        """The last step of one stage; None if it was not taken."""
        return next((one for one in reversed(self.steps) if one.stage is stage), None)


def content_signed(survey: Survey) -> str:
    """Hash of a survey without its sign-offs (SHA-256 of the package's manifest)."""
    return package_hash(replace(survey, sign_offs=()))


def report_standing(survey: Survey, visit_id: str | None = None) -> ReportStanding:
    """How far the report of a visit has come.

    Parameters
    ----------
    visit_id : str, optional
        The visit; the first one if left out.
    """
    mine = tuple(one for one in survey.sign_offs if visit_id is None or one.visit_id == visit_id)
    if not mine:
        return ReportStanding("")
    steps = standing(survey.sign_offs, visit_id or mine[-1].visit_id, content_signed(survey))
    return ReportStanding(steps[-1].stage.value, steps) if steps else ReportStanding("changed", mine)


def sign_off(store: Store, survey_id: str, stage: str, *, visit_id: str | None = None, note: str = "") -> SignOff:
    """Take one step with the report of a visit: ask for review, say that it was reviewed, or release it.

    Review and release are taken by others than the one who asked, and only while nothing was changed since. In a file
    people are told apart by the name that each has set; on a server by account, and reviewers alone may take them.

    Parameters
    ----------
    stage : str
        ``draft``, ``reviewed`` or ``released``.
    visit_id : str, optional
        The visit; the first one if left out.
    note : str
        What is to be said with it.

    Raises
    ------
    UnknownNameError
        If there is no such stage or visit.
    TooEarlyError
        If the step before is missing, or the survey was changed since.
    RightsError
        If it is the same person, or an account that may not review.
    """
    if stage not in STAGES:
        raise UnknownNameError("stage", stage, STAGES)
    if len(note) > 2000:
        raise InputError("the note is too long.", mend="Say it in at most 2000 letters.")
    stored = store.load(survey_id)
    visit, who = visit_asked_or_first(stored.survey, visit_id), present_identity()
    item = SignOff(
        ReportStage(stage), visit.id, who.name, who.device, store.account(),
        datetime.now(UTC).isoformat(timespec="seconds"), content_signed(stored.survey), " ".join(note.split()),
    )  # fmt: skip
    if item.stage is not ReportStage.DRAFT:
        _refuse_missing(item, report_standing(stored.survey, visit.id))
        _refuse_no_reviewer(store, item)
    return store.sign_off(survey_id, item, stored.head)


def hand_over(store: Store, survey_id: str, account: str) -> None:
    """Give a survey to another assessor of the server; from then on only that one may write to it."""
    store.hand_over(survey_id, account)


def owners(store: Store, survey_id: str) -> tuple[Ownership, ...]:
    """Who had a survey on a server, the present owner last."""
    return store.owners(survey_id)


def sign_off_faults(survey: Survey, links: tuple[Link, ...]) -> Iterator[str]:
    """What does not fit between the sign-offs of a survey and the links of its chain that wrote them."""
    wrote = [link for link in links if link.what in {f"report {stage}" for stage in STAGES}]
    later = survey.sign_offs[_brought_along(survey, links) :]
    if len(wrote) != len(later):
        yield "a step of the report has no link of its own."
    for one, link in zip(later, wrote, strict=False):
        if (one.by, one.account) != (link.by, link.account) or link.what != f"report {one.stage}":
            yield f"the report is {one.stage} by {one.account or one.by}, but its link is by {link.account or link.by}."
    drafts: dict[str, SignOff] = {}
    for one in survey.sign_offs:
        if one.stage is ReportStage.DRAFT:
            drafts[one.visit_id] = one
        elif one.visit_id not in drafts or one.is_of(drafts[one.visit_id]):
            yield f"the report is {one.stage} by the one who drew it up, or was never put up for review."


def _brought_along(survey: Survey, links: tuple[Link, ...]) -> int:
    """How many of the steps were there when the chain began, for a survey that was taken in from a package."""
    said = json.loads(links[0].content)["parts"].get("sign_offs") if links else None
    known = range(len(survey.sign_offs), -1, -1)
    return next((n for n in known if said == text_digest(encode("sign_offs", survey.sign_offs[:n]))), 0)


def _refuse_missing(item: SignOff, now: ReportStanding) -> None:
    before = _BEFORE[item.stage]
    if now.stage == "changed":
        raise TooEarlyError(
            "the survey was changed after the report was put up for review.",
            mend=f"Its author puts it up again: {_CALL.format(stage=ReportStage.DRAFT)}",
        )
    if now.step(before) is None:
        raise TooEarlyError(f"the report is not yet {before}.", mend=f"That comes first: {_CALL.format(stage=before)}")
    draft = now.step(ReportStage.DRAFT)
    if draft is not None and item.is_of(draft):
        raise RightsError(
            f"{draft.account or draft.by} drew up the report and cannot be the one by whom it is {item.stage}.",
            mend="Let a second person do it, on an account or computer of their own ('roomfield identity').",
        )


def _refuse_no_reviewer(store: Store, item: SignOff) -> None:
    if item.account and store.accounts().get(item.account) != Right.REVIEW:
        raise RightsError(
            f"{item.account} is no reviewer of this record.",
            mend=f"Whoever owns the tables can say so: roomfield rights {item.account} review",
        )
