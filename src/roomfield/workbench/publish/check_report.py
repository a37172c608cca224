"""A report held against the survey package that is said to be behind it."""

from __future__ import annotations

import re
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from roomfield.errors import FormatError, InputError, IntegrityError
from roomfield.exchange.package import package_hash
from roomfield.exchange.unpack import open_package
from roomfield.workbench.record.job import file_sha256

_DIGEST = re.compile(r"(?<![0-9a-f])(?:[0-9a-f]{8}\s+){7}[0-9a-f]{8}(?![0-9a-f])|(?<![0-9a-f])[0-9a-f]{64}(?![0-9a-f])")


@dataclass(frozen=True)
class ReportCheck:
    """A report that belongs to a package.

    Parameters
    ----------
    same_file : bool
        True if the report prints the checksum of this very file; False if only that of its content, which was packed
        anew.
    """

    report: str
    package: str
    package_sha256: str
    content_sha256: str
    survey_id: str
    readings: int
    same_file: bool

    def to_dict(self) -> dict[str, Any]:
        """As plain values."""
        return dict(vars(self))

    def sentence(self) -> str:
        """What was found."""
        kind = "this package" if self.same_file else "this package's content, which was packed anew since"
        return (
            f"{self.report} was made from {kind}: survey {self.survey_id}, {self.readings} readings, every checksum in "
            f"{self.package} matches.\nSHA-256 {self.package_sha256}"
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
        source.name, bag.name, whole, content, survey.id, len(survey.readings), same_file=whole in printed
    )


def printed_digests(report: Path) -> set[str]:
    """Every SHA-256 that a report prints.

    Raises
    ------
    FormatError
        If it cannot be read as what its name says.
    """
    return {re.sub(r"\s", "", found.group()) for found in _DIGEST.finditer(_text(report))}


def _text(report: Path) -> str:
    ending = report.suffix.lower()
    try:
        if ending == ".pdf":
            return _pdf_text(report)
        if ending == ".xlsx":
            with zipfile.ZipFile(report) as book:
                sheets = [name for name in book.namelist() if name.endswith(".xml")]
                return "\n".join(book.read(name).decode("utf-8", "replace") for name in sheets)
        return report.read_text(encoding="utf-8", errors="replace")
    except (zipfile.BadZipFile, RuntimeError, OSError) as fault:
        raise FormatError(f"it cannot be read ({fault}).", where=report.name, mend="Choose a whole report.") from None


def _pdf_text(report: Path) -> str:
    import pypdfium2

    document = pypdfium2.PdfDocument(report)
    try:
        return "\n".join(page.get_textpage().get_text_range() for page in document)
    finally:
        document.close()
