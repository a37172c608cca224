"""Review and release of a report: who stood up for what, and which content of the survey they had before them."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class ReportStage(StrEnum):
    """How far a report has come."""

    DRAFT = "draft"
    """Its author asks for review."""
    REVIEWED = "reviewed"
    """A second person has read it and found no fault."""
    RELEASED = "released"
    """It may be handed over."""


@dataclass(frozen=True)
class SignOff:
    """One step of a report; kept for ever, each in a link of the chain.

    Parameters
    ----------
    visit_id : str
        The visit that the report is about.
    by, device : str
        Who, and on which device, as in the chain.
    account : str
        Login on the server, as the server knows it; empty in a file.
    at : str
        When, ISO 8601.
    content_sha256 : str
        Hash of the survey as it was then, its sign-offs left out (SHA-256 of the package's manifest).
    note : str
        What the person wished to say.
    """

    stage: ReportStage
    visit_id: str
    by: str
    device: str
    account: str
    at: str
    content_sha256: str
    note: str = ""

    def is_of(self, other: SignOff) -> bool:
        """Whether one person made both: by account where there are accounts, else by name.

        Parameters
        ----------
        other : SignOff
            The other step.
        """
        if self.account and other.account:
            return self.account == other.account
        return self.by.casefold() == other.by.casefold()


def standing(sign_offs: tuple[SignOff, ...], visit_id: str, content_sha256: str) -> tuple[SignOff, ...]:
    """The steps that the present report of a visit stands on: from the last draft on, while its content is the same.

    Empty if there is none, or something was changed since.
    """
    mine = [one for one in sign_offs if one.visit_id == visit_id]
    last = max((k for k, one in enumerate(mine) if one.stage is ReportStage.DRAFT), default=None)
    since = mine[last:] if last is not None else []
    return tuple(since) if all(one.content_sha256 == content_sha256 for one in since) else ()
