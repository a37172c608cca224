"""Amendments: what was corrected, by whom and why. The observation itself stays."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Amendment:
    """One correction of one field of one observation.

    Parameters
    ----------
    target_id : str
        The observation's id.
    field : str
        Name of the field, or ``withdrawn`` to take the observation out of the findings.
    old, new : str
        Values as JSON.
    reason, by, at : str
        Why, who, and when (ISO 8601).
    """

    id: str
    target_id: str
    field: str
    old: str
    new: str
    reason: str
    by: str
    at: str
