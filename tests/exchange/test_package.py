"""The survey package: a bag that others can check, taken in only when every byte is right."""

from __future__ import annotations

import hashlib
import shutil
import zipfile
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import bagit
import pytest

from roomfield.errors import FormatError, InputError, IntegrityError
from roomfield.exchange.package import folder_name, package_hash, write_package
from roomfield.exchange.survey_document import write_document
from roomfield.exchange.unpack import Limits, open_package
from roomfield.quantities.kind import Kind
from roomfield.survey import MediaItem, Reading, Survey

MEDIA = (b"RIFF" + bytes(range(256)) * 300, b"a plan page", b"")


@pytest.fixture
def packed(survey: Survey, tmp_path: Path) -> Survey:
    (tmp_path / "kept").mkdir()
    items = []
    for content in MEDIA:
        sha256 = hashlib.sha256(content).hexdigest()
        (tmp_path / "kept" / sha256).write_bytes(content)
        items.append(MediaItem(sha256, "name.bin", "application/octet-stream", len(content)))
    return replace(survey, media=tuple(items))


@pytest.fixture
def package(packed: Survey, tmp_path: Path) -> Path:
    path = tmp_path / "flat.zip"
    write_package(packed, (tmp_path / "kept").joinpath, path)
    return path


def rewritten(package: Path, change: Callable[[dict[str, bytes]], None]) -> Path:
    with zipfile.ZipFile(package) as bag:
        files = {name: bag.read(name) for name in bag.namelist()}
    change(files)
    changed = package.with_name("changed.zip")
    with zipfile.ZipFile(changed, "w", zipfile.ZIP_DEFLATED) as bag:
        for name, content in files.items():
            bag.writestr(name, content)
    return changed


def top_of(package: Path) -> str:
    with zipfile.ZipFile(package) as bag:
        return bag.namelist()[0].partition("/")[0]


def test_there_and_back(packed: Survey, package: Path, tmp_path: Path):
    with open_package(package) as opened:
        assert opened.survey == packed
        assert {path.read_bytes() for path in opened.media.values()} == set(MEDIA)
        assert opened.package_hash == package_hash(packed)
        folder = next(iter(opened.media.values()))
    assert not folder.exists()


@pytest.mark.published("RFC 8493, sections 2.1 and 2.2, as checked by the bagit package")
def test_others_find_the_bag_complete_and_valid(package: Path, tmp_path: Path):
    with zipfile.ZipFile(package) as archive:
        archive.extractall(tmp_path / "unpacked")
    bag = bagit.Bag(str(tmp_path / "unpacked" / top_of(package)))
    bag.validate(completeness_only=False)
    assert bag.version_info == (1, 0)
    assert bag.info["External-Description"] == "An invented flat"
    assert set(bag.payload_files()) == set(bag.payload_entries())


def test_same_survey_same_bytes(packed: Survey, package: Path, tmp_path: Path):
    first = package.read_bytes()
    again = tmp_path / "again.zip"
    reordered = replace(packed, media=packed.media[::-1])
    assert write_package(packed, (tmp_path / "kept").joinpath, again) == package_hash(packed)
    assert again.read_bytes() == first
    assert package_hash(reordered) != package_hash(packed), "the order of media is part of the record"


def test_the_hash_is_that_of_the_manifest_and_can_be_checked_by_hand(packed: Survey, package: Path):
    lines = [f"{item.sha256}  data/media/{item.sha256}\n" for item in packed.media]
    lines.append(f"{hashlib.sha256(write_document(packed)).hexdigest()}  data/survey.json\n")
    manifest = "".join(sorted(lines, key=lambda line: line[66:])).encode()
    with zipfile.ZipFile(package) as bag:
        assert bag.read(f"{top_of(package)}/manifest-sha256.txt") == manifest
    assert package_hash(packed) == hashlib.sha256(manifest).hexdigest()


def test_any_change_of_the_survey_changes_the_hash(packed: Survey):
    assert package_hash(replace(packed, note="one word")) != package_hash(packed)


def test_a_medium_that_changed_is_not_packed(packed: Survey, tmp_path: Path):
    (tmp_path / "kept" / packed.media[1].sha256).write_bytes(b"tampered")
    with pytest.raises(IntegrityError, match="has changed"):
        write_package(packed, (tmp_path / "kept").joinpath, tmp_path / "bad.zip")
    assert not [path for path in tmp_path.iterdir() if "bad" in path.name]


@pytest.mark.parametrize(("name", "folder"), [("../../x", "survey-x"), ("Ä b/c", "survey-b-c"), ("", "survey-unnamed")])
def test_the_folder_has_a_harmless_name(survey: Survey, name: str, folder: str):
    assert folder_name(replace(survey, id=name)) == folder


# Taking in what is not right


def refuse(package: Path, fault: type[Exception], words: str, **options: object) -> None:
    with pytest.raises(fault, match=words) as caught, open_package(package, **options):  # type: ignore[arg-type]
        pytest.fail("it was taken in")
    assert "\n" not in str(caught.value)
    assert str(caught.value).startswith(package.name)


def survey_file(files: dict[str, bytes]) -> str:
    return next(name for name in files if name.endswith("survey.json"))


def flip_one_bit(files: dict[str, bytes]) -> None:
    name = next(name for name in files if "/media/" in name and len(files[name]) > 100)
    files[name] = bytes([files[name][0] ^ 1]) + files[name][1:]


def change_the_survey(files: dict[str, bytes]) -> None:
    files[survey_file(files)] = files[survey_file(files)].replace(b"Desk", b"Sofa")


def drop_a_medium(files: dict[str, bytes]) -> None:
    del files[next(name for name in files if "/media/" in name)]


def add_a_medium(files: dict[str, bytes]) -> None:
    files[survey_file(files).replace("survey.json", "media/" + "0" * 64)] = b"stowaway"


def change_bag_info(files: dict[str, bytes]) -> None:
    name = next(name for name in files if name.endswith("bag-info.txt"))
    files[name] = files[name].replace(b"An invented flat", b"Another flat")


@pytest.mark.parametrize(
    ("change", "words"),
    [
        (flip_one_bit, "damaged"),
        (change_the_survey, "damaged"),
        (drop_a_medium, "damaged"),
        (add_a_medium, "damaged"),
        (change_bag_info, "damaged"),
    ],
)
def test_damage_is_found(package: Path, change: Callable[[dict[str, bytes]], None], words: str):
    refuse(rewritten(package, change), IntegrityError, words)


def rename_medium_consistently(files: dict[str, bytes]) -> None:
    """A liar who also corrects every manifest: the content must still match its name."""
    old = next(name for name in files if "/media/" in name and len(files[name]) > 100)
    lie = b"not what the name says"
    files[old] = lie
    top = old.partition("/")[0]
    lines = [
        f"{hashlib.sha256(files[name]).hexdigest()}  {name.partition('/')[2]}\n"
        for name in sorted(files)
        if "/data/" in name
    ]
    files[f"{top}/manifest-sha256.txt"] = "".join(lines).encode()
    files.pop(f"{top}/tagmanifest-sha256.txt")
    info = files[f"{top}/bag-info.txt"].decode().splitlines()
    files[f"{top}/bag-info.txt"] = "\n".join(line for line in info if "Oxum" not in line).encode() + b"\n"


def test_a_consistent_lie_is_found(package: Path):
    refuse(
        rewritten(package, rename_medium_consistently),
        IntegrityError,
        "not have the content it is named after",
    )


@pytest.mark.parametrize(
    "name",
    [
        "../evil.txt",
        "/etc/evil",
        "{top}/../../evil",
        "{top}/data/media/../../../evil",
        "{top}\\data\\evil",
        "{top}/fetch.txt",
        "{top}/data/media/short",
        "{top}/data/other.json",
        "other/bagit.txt",
        "C:/evil",
    ],
)
def test_files_that_have_no_place_are_refused(package: Path, tmp_path: Path, name: str):
    top = top_of(package)
    before = sorted(tmp_path.rglob("*"))
    bad = rewritten(package, lambda files: files.__setitem__(name.format(top=top), b"x"))
    refuse(bad, FormatError, r"no place in a survey package|exactly one folder")
    assert [path for path in sorted(tmp_path.rglob("*")) if path not in before] == [bad]


def test_a_link_is_refused(package: Path):
    with zipfile.ZipFile(package, "a") as bag:
        link = zipfile.ZipInfo(f"{top_of(package)}/data/media/{'1' * 64}")
        link.external_attr = 0o120777 << 16
        bag.writestr(link, "/etc/passwd")
    refuse(package, FormatError, "no place")


def test_a_doubled_name_is_refused(package: Path):
    with pytest.warns(UserWarning, match="Duplicate"), zipfile.ZipFile(package, "a") as bag:
        bag.writestr(f"{top_of(package)}/data/survey.json", b"{}")
    refuse(package, FormatError, "twice")


def test_too_much_is_refused_before_it_is_written(package: Path):
    refuse(package, FormatError, "larger than", limits=Limits(total_bytes=1000))
    refuse(package, FormatError, "at most 3", limits=Limits(files=3))


def test_a_bomb_that_lies_about_its_length_is_refused(package: Path, tmp_path: Path):
    def inflate(files: dict[str, bytes]) -> None:
        files[next(name for name in files if name.endswith("bag-info.txt"))] = b"0" * (40 << 20)

    refuse(rewritten(package, inflate), FormatError, "larger than")
    bomb = rewritten(package, lambda files: files.__setitem__(survey_file(files), b" " * (4 << 20)))
    content = bytearray(bomb.read_bytes())
    true_length = (4 << 20).to_bytes(4, "little")
    where = content.rfind(true_length)
    content[where : where + 4] = (10).to_bytes(4, "little")
    bomb.write_bytes(content)
    refuse(bomb, FormatError, r"no readable zip file|larger than")


@pytest.mark.parametrize("content", [b"", b"PK\x03\x04", b"not a zip at all" * 99])
def test_what_is_no_zip_is_refused(tmp_path: Path, content: bytes):
    path = tmp_path / "odd.zip"
    path.write_bytes(content)
    refuse(path, FormatError, "no readable zip file")


def test_a_cut_off_package_is_refused(package: Path, tmp_path: Path):
    cut = tmp_path / "cut.zip"
    cut.write_bytes(package.read_bytes()[:-200])
    refuse(cut, FormatError, "no readable zip file")


@pytest.mark.parametrize("missing", ["bagit.txt", "manifest-sha256.txt", "survey.json"])
def test_what_is_no_package_is_refused(package: Path, missing: str):
    def drop(files: dict[str, bytes]) -> None:
        for name in [name for name in files if name.endswith(f"/{missing}")]:
            del files[name]

    refuse(rewritten(package, drop), FormatError, "it has no ")


def test_a_document_of_tomorrow_is_refused(package: Path, tmp_path: Path, survey: Survey):
    with zipfile.ZipFile(package) as archive:
        archive.extractall(tmp_path / "raw")
    data = tmp_path / "raw" / top_of(package) / "data"
    (data / "survey.json").write_bytes(write_document(survey).replace(b'"version":3', b'"version":4'))
    plain = tmp_path / "bag" / "survey-x"
    shutil.copytree(data, plain)
    bagit.make_bag(str(plain), checksums=["sha256"])
    made = shutil.make_archive(str(tmp_path / "tomorrow"), "zip", tmp_path / "bag")
    refuse(Path(made), FormatError, "version 4; this release reads versions 1 to 3")


def test_a_missing_file_is_named(tmp_path: Path):
    refuse(tmp_path / "gone.zip", InputError, "cannot be read")


@pytest.mark.parametrize(
    "reading",
    [
        {"value_w_m2": -5e-12},
        {"value_w_m2": 5e-324},
        {"value_w_m2": 1e296},
        {"place_id": "attic"},
        {"taken_at": "1800-01-01"},
        {"position": (1e300, 0.0, 0.0)},
    ],
)
def test_a_package_with_valid_checksums_and_a_value_that_cannot_be_is_refused(
    survey: Survey, tmp_path: Path, reading: dict[str, object]
):
    sound = Reading("r1", "v1", "m1", "found", Kind.PEAK, 1e-6, "bed")
    path = tmp_path / "odd.zip"
    write_package(replace(survey, readings=(replace(sound, **reading),)), tmp_path.joinpath, path)
    with pytest.raises(InputError, match=r"odd.zip: data/survey.json"), open_package(path):
        pass
