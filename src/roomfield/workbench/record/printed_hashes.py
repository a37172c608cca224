"""The text of a report, whatever form it is in, so that the hashes that it prints can be found."""

from __future__ import annotations

import re
import zipfile
import zlib
from io import BytesIO
from pathlib import Path

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.regular_files import whole_file

pypdfium2 = library("pypdfium2", "plans")

_BETWEEN = re.compile(r"[\s\u00ad\u200b\u2011-]+")
_MOST_BYTES = 256 * 2**20


def report_text(path: Path) -> str:
    """The text of a report without spaces, line ends and hyphens, for hashes may be broken over lines.

    Parameters
    ----------
    path : Path
        PDF, XLSX, HTML, JSON or text.

    Raises
    ------
    InputError
        If it cannot be read.
    FormatError
        If it is a damaged PDF or XLSX, or too long.
    """
    content = whole_file(path, _MOST_BYTES, "Choose the report itself.")
    return _BETWEEN.sub("", _text(content, path.name))


def _text(content: bytes, where: str) -> str:
    if content.startswith(b"%PDF-"):
        return _pdf_text(content, where)
    return _xlsx_text(content, where) if content.startswith(b"PK\x03\x04") else content.decode("utf-8", "replace")


def _xlsx_text(content: bytes, where: str) -> str:
    try:
        with zipfile.ZipFile(BytesIO(content)) as book:
            sheets = [name for name in book.namelist() if name.endswith(".xml")]
            return "\n".join(book.read(name).decode("utf-8", "replace") for name in sheets)
    except (zipfile.BadZipFile, zlib.error, RuntimeError):
        raise FormatError("it is a damaged table.", where=where, mend="Save it again.") from None


def _pdf_text(content: bytes, where: str) -> str:
    try:
        document = pypdfium2.PdfDocument(content)
        try:
            return "\n".join(page.get_textpage().get_text_bounded() for page in document)
        finally:
            document.close()
    except pypdfium2.PdfiumError:
        raise FormatError("it is a damaged PDF file.", where=where, mend="Save it again.") from None
