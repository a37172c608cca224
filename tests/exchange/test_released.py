"""Documents and packages of every released form are kept, and must open for ever."""

from __future__ import annotations

from pathlib import Path

import pytest

from roomfield.exchange.survey_document import VERSION, read_document_file
from roomfield.exchange.unpack import open_package
from roomfield.quantities.kind import Kind
from roomfield.store.repository import open_store
from roomfield.workbench.record.job import unpack_into
from roomfield.workbench.record.proof import check_package, check_record

RELEASES = Path(__file__).parents[1] / "data" / "releases"
VERSIONS = [str(version) for version in range(1, VERSION + 1)]


@pytest.mark.parametrize("version", VERSIONS)
def test_a_released_document_opens(version: str):
    survey = read_document_file(RELEASES / f"document-{version}.json")
    assert len(survey.readings) == 24
    assert {reading.kind for reading in survey.readings} <= set(Kind)
    assert survey.faults() == ()


@pytest.mark.parametrize("version", VERSIONS)
def test_a_released_package_opens_and_comes_into_a_record(version: str, tmp_path: Path):
    path = RELEASES / f"package-{version}.zip"
    with open_package(path) as package:
        assert len(package.media) == 1
        assert package.survey.readings == read_document_file(RELEASES / f"document-{version}.json").readings
    assert check_package(path).misfits == ()
    unpack_into(str(tmp_path / "record.sqlite"), path)
    with open_store(tmp_path / "record.sqlite") as store:
        assert check_record(store).misfits == ()
