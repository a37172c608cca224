"""A report held against the survey package that is said to be behind it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import InputError, IntegrityError
from roomfield.exchange.package import package_hash
from roomfield.exchange.unpack import open_package
from roomfield.survey import ReportStage, Survey
from roomfield.workbench.record.job import file_sha256
from roomfield.workbench.record.printed_hashes import report_text
from roomfield.workbench.record.releasing import report_standing

_DIGEST = re.compile(r"(?=([0-9a-f]{64}))")
"""At every place, for without its spaces a text may run on into a digest."""


@dataclass(frozen=True)
class ReportCheck:
    """A report that belongs to a package.

    Parameters
    ----------
    same_file : bool
        True if the report prints the checksum of this very file; False if only that of its content, which was packed
        anew.
    released : str
        By whom and when the report of that content was released; empty if it was not.
    """

    report: str
    package: str
    package_sha256: str
    content_sha256: str
    survey_id: str
    readings: int
    same_file: bool
    released: str = ""

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return dict(vars(self))

    def sentence(self) -> str:
        """What was found."""
        kind = "this package" if self.same_file else "this package's content, which was packed anew since"
        said = f"\nThe report was released by {self.released}." if self.released else ""
        return (
            f"{self.report} was made from {kind}: survey {self.survey_id}, {self.readings} readings, every checksum in "
            f"{self.package} matches.{said}\nSHA-256 {self.package_sha256}"
        )


def check(report: str | Path, package: str | Path) -> ReportCheck:
    """Check a report against a survey package.

    Parameters
    ----------
    report : str or Path
        PDF, HTML, XLSX or JSON.
    package : str or Path
        The zip file.

    Raises
    ------
    InputError
        If a file cannot be read, or the report prints no checksum.
    FormatError, IntegrityError
        If the package is none, a checksum in it does not match, or the report was made from another one.
    """
    source, bag = Path(report), Path(package)
    for path in (source, bag):
        if not path.is_file():
            raise InputError("there is no such file.", where=str(path), mend="Check the name.")
    printed = printed_digests(source)
    if not printed:
        raise InputError("the report prints no checksum.", where=source.name, mend="Make it from a record.")
    with open_package(bag) as opened:
        survey = opened.survey
    whole, content = file_sha256(bag), package_hash(survey)
    if not {whole, content} & printed:
        raise IntegrityError(
            f"the report was made from another package; this one has SHA-256 {whole}.",
            where=source.name,
            mend="Ask for the package that was handed over with the report.",
        )
    return ReportCheck(
        source.name, bag.name, whole, content, survey.id, len(survey.readings), whole in printed, _released(survey)
    )


def _released(survey: Survey) -> str:
    step = report_standing(survey).step(ReportStage.RELEASED) if report_standing(survey).stage == "released" else None
    return f"{step.by} on {step.at}" if step else ""


def printed_digests(report: Path) -> set[str]:
    """Everything in a report that can be a SHA-256.

    Raises
    ------
    InputError, FormatError
        If it cannot be read.
    """
    return set(_DIGEST.findall(report_text(report)))
