"""How well the model of the dwelling fits what was read, for a door to show beside its answers."""

from __future__ import annotations

from roomfield.field.diagnostics import FindingKind, diagnostics
from roomfield.field.fit import Fit, fit_of
from roomfield.survey import Survey
from roomfield.workbench.compute_lock import in_turn
from roomfield.workbench.model.joint_model import posterior_of


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
