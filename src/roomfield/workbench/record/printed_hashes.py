"""The text of a report, whatever form it is in, so that the hashes that it prints can be found."""

from __future__ import annotations

import re
from pathlib import Path

from roomfield.errors import FormatError, InputError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular

pypdfium2 = library("pypdfium2", "plans")

_BETWEEN = re.compile(r"[\s\u00ad\u200b\u2011-]+")
_MOST_BYTES = 256 * 2**20


def report_text(path: Path) -> str:
    """The text of a report without spaces, line ends and hyphens, for hashes may be broken over lines.

    Parameters
    ----------
    path : Path
        PDF, HTML, JSON or text.

    Raises
    ------
    InputError
        If it cannot be read.
    FormatError
        If it is a damaged PDF.
    """
    try:
        refuse_irregular(path)
        if path.stat().st_size > _MOST_BYTES:
            raise FormatError("it is longer than 256 MiB.", where=path.name, mend="Choose the report itself.")
        content = path.read_bytes()
    except OSError as fault:
        raise InputError(f"it cannot be read ({fault.strerror}).", where=path.name, mend="Check the path.") from None
    text = _pdf_text(content, path.name) if content.startswith(b"%PDF-") else content.decode("utf-8", "replace")
    return _BETWEEN.sub("", text)


def _pdf_text(content: bytes, where: str) -> str:
    try:
        document = pypdfium2.PdfDocument(content)
        try:
            return "\n".join(page.get_textpage().get_text_bounded() for page in document)
        finally:
            document.close()
    except pypdfium2.PdfiumError:
        raise FormatError("it is a damaged PDF file.", where=where, mend="Save it again.") from None
