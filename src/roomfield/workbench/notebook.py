"""The job for a notebook: objects that show themselves, hand out data frames and write reports."""

from __future__ import annotations

from dataclasses import dataclass
from html import escape
from pathlib import Path
from typing import TYPE_CHECKING

from roomfield.demo.survey import demo_survey
from roomfield.survey import Survey
from roomfield.workbench.assess import Assessment, Terms
from roomfield.workbench.assess import assess as assess_survey
from roomfield.workbench.job import Job
from roomfield.workbench.summaries import PlaceRow, place_rows, switch_row
from roomfield.workbench.whole import Wishes, whole_report

if TYPE_CHECKING:
    import pandas as pd

_SHOWN = ("place", "state", "kind", "low_w_m2", "median_w_m2", "high_w_m2", "outcome", "category")


@dataclass(frozen=True, repr=False)
class Findings:
    """What a visit's readings mean.

    Parameters
    ----------
    job : Job
        The survey.
    assessment : Assessment
        Levels, comparisons and differences.
    """

    job: Job
    assessment: Assessment

    @property
    def places(self) -> tuple[PlaceRow, ...]:
        """Levels as found with what they mean; densities in W/m²."""
        return place_rows(self.assessment)

    @property
    def all_states(self) -> tuple[PlaceRow, ...]:
        """Levels in every radio state."""
        return place_rows(self.assessment, all_states=True)

    @property
    def switches(self) -> tuple[dict[str, object], ...]:
        """Differences between radio states: what each switch contributes, with interval."""
        return tuple(switch_row(self.assessment, f) for f in self.assessment.switches)

    def to_frame(self) -> pd.DataFrame:
        """Levels in every radio state as a data frame; densities in W/m²."""
        import pandas as pd

        return pd.DataFrame([row.to_dict() for row in self.all_states])

    def report(self, path: str | Path, *, language: str = "", short: bool = False) -> Path:
        """Write the report; the ending of the name says in which form.

        Parameters
        ----------
        path : str or Path
            Ends in .pdf, .html, .xlsx, .csv or .json.
        language : str
            ``en`` or ``de``; the survey's own if left out.
        short : bool
            True for the chapters that follow from the readings alone.
        """
        wishes = Wishes(self.assessment.table.visit.id, language, self.assessment.terms, short=short)
        return whole_report(self.job, path, wishes)

    def __repr__(self) -> str:
        visit, survey = self.assessment.table.visit, self.assessment.survey
        head = f"{survey.title}, visit {visit.id}: {len(self.assessment.table.levels)} levels"
        lines = [
            f"  {r.place}, {r.kind}: {r.median_w_m2 * 1e6:.3g} "
            f"[{r.low_w_m2 * 1e6:.3g}, {r.high_w_m2 * 1e6:.3g}] µW/m² {r.outcome or r.category}".rstrip()
            for r in self.places
        ]
        return "\n".join([head, *lines])

    def _repr_html_(self) -> str:
        head = "".join(f"<th>{escape(name)}</th>" for name in _SHOWN)
        body = "".join(
            "<tr>" + "".join(f"<td>{_cell(getattr(row, name))}</td>" for name in _SHOWN) + "</tr>"
            for row in self.places
        )
        return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>"


def _cell(value: object) -> str:
    return f"{value:.3g}" if isinstance(value, float) else escape(str(value))


def assess(
    survey: Job | Survey,
    visit_id: str | None = None,
    *,
    coverage: float = 0.95,
    rule: str = "three-way",
    user_limits: str = "",
) -> Findings:
    """Say what a visit's readings mean.

    Parameters
    ----------
    survey : Job or Survey
        From `roomfield.open`, or a survey of your own making.
    visit_id : str, optional
        The visit; the first one if left out.
    coverage : float
        Probability content of every interval, 0 to 1.
    rule : str
        Decision rule for legal limits.
    user_limits : str
        Path of a TOML file with limits of your own.

    Examples
    --------
    >>> import roomfield as rf
    >>> findings = rf.assess(rf.open_demo())
    >>> findings.places[0].kind
    'peak'
    """
    job = survey if isinstance(survey, Job) else Job(survey)
    found = assess_survey(job.survey, visit_id, terms=Terms(coverage, rule), user_limits=user_limits)
    return Findings(job, found)


def open_demo() -> Job:
    """The demo survey, in memory: invented home, invented meter, invented people."""
    return Job(demo_survey())
