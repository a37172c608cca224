"""What is told of a package under a passphrase that does not open."""

import re
from pathlib import Path

import pytest

from roomfield.errors import InputError, IntegrityError
from roomfield.exchange.sealed_package import seal, unseal

PASSPHRASE = "four words that wander"


@pytest.fixture(scope="module")
def sealed(tmp_path_factory) -> Path:
    folder = tmp_path_factory.mktemp("sealed")
    (folder / "survey.zip").write_bytes(b"the content")
    seal(folder / "survey.zip", folder / "survey.zip.age", PASSPHRASE)
    return folder / "survey.zip.age"


def test_another_passphrase_is_told(sealed: Path, tmp_path: Path):
    with pytest.raises(IntegrityError, match="the passphrase is another"):
        unseal(sealed, tmp_path / "clear", "four words that do not")
    assert not (tmp_path / "clear").exists()


@pytest.mark.published(
    "age-encryption.org/v1, scrypt recipient stanza: the last argument is the base-2 log of the work"
)
def test_more_work_than_the_machine_does_at_the_moment_is_not_called_another_passphrase(sealed: Path, tmp_path: Path):
    laboured = tmp_path / "laboured.age"
    laboured.write_bytes(re.sub(rb"(-> scrypt \S+ )\d+", rb"\g<1>30", sealed.read_bytes()))
    with pytest.raises(InputError, match="more work than this machine") as told:
        unseal(laboured, tmp_path / "clear", PASSPHRASE)
    assert "Close other programs" in str(told.value)
    assert not (tmp_path / "clear").exists()
