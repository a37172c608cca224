"""Cautions: what a report and a plan of action must say, and what must not be switched off."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.errors import UnknownNameError
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv

NEUTRAL_NOTE = (
    "Two kinds of reference are shown. Legal limits protect against established effects and are set by "
    "authorities. Precautionary guidelines are voluntary values by private groups; authorities have not "
    "adopted them and scientists disagree about their basis. A value above a guideline is not proof of harm; "
    "a value below is not proof of absence of harm. This report gives no medical advice."
)
"""Neutral wording for a report that shows both kinds of reference (own words)."""

PLAN_ORDER = (
    "Nothing needed: legal limits are met and the client has no wish.",
    "Switch off or schedule a device the client owns and may switch off.",
    "Distance, placement, lower transmit power, wired link.",
    "Ask the supplier or operator.",
    "Shielding, only after the others, with an electrician, an emergency-call test and a new measurement.",
)
"""Order of a plan of action (common practice, no source)."""


@dataclass(frozen=True)
class SafetyCaution:
    """One caution.

    Parameters
    ----------
    group : str
        "medical", "access", "electrical", "never", "emergency", "limits", "privacy" and so on.
    topic : str
        Short title.
    text : str
        What to say.
    where : str
        Where it appears: "every report", "site plan", "mitigation", "results" and so on.
    """

    group: str = column()
    topic: str = column()
    text: str = column()
    where: str = column()
    source: Source = SOURCE


@cache
def cautions(group: str | None = None, *, where: str | None = None) -> tuple[SafetyCaution, ...]:
    """All cautions, or those of a group or for a part of the report.

    Parameters
    ----------
    group : str, optional
        One group.
    where : str, optional
        Part of the report; cautions for "all" and "every report" belong to each.

    Raises
    ------
    UnknownNameError
        If there is no such group.
    """
    rows = load_csv(SafetyCaution, "cautions", "cautions.csv")
    groups = {row.group for row in rows}
    if group is not None and group not in groups:
        raise UnknownNameError("group of cautions", group, groups)
    everywhere = ("all", "every report")
    return tuple(
        row
        for row in rows
        if group in (None, row.group) and (where is None or row.where in everywhere or where in row.where)
    )
