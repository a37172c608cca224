"""Where a value comes from: document, edition, clause, how it is known, and its standing."""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum

_EVIDENCE_ID = re.compile(r"\bE\d{2}\b")
NOT_STATED = ("not stated", "undated")
"""What a row writes when its document names no clause or edition; a blank is a fault."""


class Authority(StrEnum):
    """What kind of authority a limit or guideline has."""

    LAW = "law"
    OFFICIAL_RECOMMENDATION = "official recommendation"
    EXPERT_GUIDELINE = "expert guideline"
    VOLUNTARY_STANDARD = "voluntary standard"
    VOLUNTARY_DISPUTED = "voluntary, disputed"
    POLITICAL_RESOLUTION = "political resolution"
    HISTORICAL = "historical recommendation"
    STATED_BY_USER = "stated by the user"


class Knowledge(StrEnum):
    """How a value reached the table."""

    CONFIRMED = "confirmed"
    PARTLY = "partly confirmed, partly from memory"
    MEMORY = "from memory"
    COMPUTED = "computed"
    MEASURED = "measured"
    USER = "stated by the user"
    UNCLEAR = "unclear"


@dataclass(frozen=True)
class Source:
    """One citation.

    Parameters
    ----------
    document : str
        Title or number of the document.
    edition : str
        Edition or date; "undated" if there is none.
    clause : str
        Clause, table or equation; "not stated" if unknown.
    how : str
        How the value is known, with the identifiers of the evidence register.
    """

    document: str
    edition: str
    clause: str
    how: str

    @property
    def knowledge(self) -> Knowledge:
        """The class of ``how``."""
        # "also from memory" backs a confirmed row; it does not weaken it.
        memory = "memory" in self.how.replace("also from memory", "")
        confirmed = bool(_EVIDENCE_ID.search(self.how))
        if memory and confirmed:
            return Knowledge.PARTLY
        if memory:
            return Knowledge.MEMORY
        if confirmed:
            return Knowledge.CONFIRMED
        if "computed" in self.how or "derived" in self.how:
            return Knowledge.COMPUTED
        return Knowledge.USER if "stated by the user" in self.how else Knowledge.UNCLEAR

    @property
    def from_memory(self) -> bool:
        """True if any part of the row was not seen in a document; a report says so."""
        return self.knowledge in (Knowledge.MEMORY, Knowledge.PARTLY)

    @property
    def evidence_ids(self) -> tuple[str, ...]:
        """Identifiers of the evidence register named in ``how``."""
        return tuple(dict.fromkeys(_EVIDENCE_ID.findall(self.how)))

    def citation(self) -> str:
        """Document, edition and clause as one line."""
        parts = [self.document]
        parts += [part for part in (self.edition, self.clause) if part not in NOT_STATED]
        return ", ".join(parts)
