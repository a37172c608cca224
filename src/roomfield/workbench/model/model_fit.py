"""How well the model of the dwelling fits what was read, for a door to show beside its answers."""

from __future__ import annotations

from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.fit import Fit, Together, fit_of, together
from roomfield.field.posterior import Posterior
from roomfield.show.phrase import Phrase, phrase
from roomfield.show.words import load_words
from roomfield.survey import Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import can_be_modelled, posterior_of


@in_turn
def fit_at(survey: Survey, visit_id: str | None = None) -> Fit:
    """Misfit by site, gain errors against the meters' tolerance, outlying readings.

    Parameters
    ----------
    visit_id : str, optional
        The visit; the first one if left out.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from yet.
    """
    return fit_of(posterior_of(survey, visit_id))


_DOUBTS = (FindingKind.GAIN, FindingKind.STRANGE_SITE, FindingKind.OUTLIER, FindingKind.UNPLACED,
           FindingKind.OUTSIDE_BAND)  # fmt: skip


@in_turn
def doubts_at(survey: Survey, visit_id: str | None = None) -> tuple[str, ...]:
    """What of the fit must be told beside every answer of the model, in words; nothing if all is well."""
    return tuple(f.text for f in diagnostics(posterior_of(survey, visit_id)) if f.kind in _DOUBTS)


def meter_question(posterior: Posterior) -> Phrase | None:
    """Where all readings together lie, and whether meter or transmitter is the cause; None if it is nothing unusual."""
    found = together(posterior)
    return phrase(f"together.{_side(found)}.question", **_ends(found)) if found.beyond else None


def meter_finding(posterior: Posterior) -> Phrase | None:
    """The same in one short sentence, without the question."""
    found = together(posterior)
    return phrase(f"together.{_side(found)}.finding", **_ends(found)) if found.beyond else None


def _side(found: Together) -> str:
    return "over" if found.offset_db.median > 0.0 else "under"


def _ends(found: Together) -> dict[str, float]:
    low, high = sorted((abs(found.offset_db.low), abs(found.offset_db.high)))
    return {"off": abs(found.offset_db.median), "low": low, "high": high, "tolerance": found.tolerance_db}


@in_turn
def meter_question_at(survey: Survey, visit_id: str | None = None, language: str = "en") -> str:
    """The question about meter and transmitters in words; empty if there is none, or no model to ask."""
    if not can_be_modelled(survey, visit_id):
        return ""
    asked = meter_question(posterior_of(survey, visit_id))
    return load_words(language).text(asked) if asked else ""
