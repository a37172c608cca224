"""Writes a survey document and a survey package as the present release writes them, from the invented home.

Run once for each version of the form:  python tests/data/releases/make_documents.py 2
The files stay as they are; every later release must open them. Those of version 1 were made by the release of that time.
"""

from __future__ import annotations

import hashlib
import sys
import tempfile
from dataclasses import replace
from pathlib import Path

from roomfield.demo.invented_survey import demo_survey
from roomfield.exchange.package import write_package
from roomfield.exchange.survey_document import write_document
from roomfield.survey import MediaItem

HERE = Path(__file__).parent
PHOTO = b"an invented photo" * 3


def main(version: str) -> None:
    survey = demo_survey()
    survey = replace(survey, readings=survey.readings[:24])
    (HERE / f"document-{version}.json").write_bytes(write_document(survey))
    item = MediaItem(hashlib.sha256(PHOTO).hexdigest(), "bed.png", "image/png", len(PHOTO))
    with tempfile.TemporaryDirectory() as folder:
        photo = Path(folder) / "photo"
        photo.write_bytes(PHOTO)
        write_package(replace(survey, media=(item,)), lambda _sha256: photo, HERE / f"package-{version}.zip")


if __name__ == "__main__":
    main(sys.argv[1])
