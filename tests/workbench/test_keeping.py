"""Backups, checks and the identity, as their user calls them."""

from __future__ import annotations

import json
import os
import re
import shutil
import sqlite3
import subprocess
import time
import zipfile
from contextlib import closing
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from roomfield.errors import InputError, IntegrityError, StoreError
from roomfield.exchange.unpack import open_package
from roomfield.quantities.kind import Kind
from roomfield.store import signing
from roomfield.store.repository import Store, open_store
from roomfield.survey import Assignment, Reading
from roomfield.workbench.record import backups, client_data, long_series, proof, readings_intake, time_stamps
from roomfield.workbench.record.authorship import present_identity, set_identity, sign_from_now_on
from roomfield.workbench.record.editing import started_survey
from roomfield.workbench.record.job import Job, unpack_into
from roomfield.workbench.record.survey_list import keep_file, keep_new


@pytest.fixture
def records(tmp_path: Path):
    with open_store(tmp_path / "record.sqlite") as store:
        yield store


@pytest.fixture
def survey_id(records: Store) -> str:
    name = keep_new(records, started_survey("Lindenweg 4", Assignment(client="Family Muster"), "one-room-flat"))
    keep_file(records, name, b"a photo of the bedroom", "bed.png", "image/png")
    return name


def entry(name: str) -> Reading:
    return Reading(name, "visit-1", "meter-1", "as-found", Kind.PEAK, 1e-6, position=(1.0, 1.0, 1.0))


def test_a_backup_made_in_the_middle_of_work_opens_like_any_record(records: Store, survey_id: str, tmp_path: Path):
    records.append(survey_id, [entry("r1")])
    made = backups.back_up(records, str(tmp_path / "stick"))
    records.append(survey_id, [entry("r2")])
    assert (made.files, made.copied) == (1, 1)
    with open_store(made.path) as copy:
        assert [r.id for r in copy.load(survey_id).survey.readings] == ["r1"]
        assert proof.check_record(copy).misfits == ()
    again = backups.back_up(records, str(tmp_path / "other"))
    assert backups.back_up_if_due(records, str(tmp_path / "other")) is None
    assert sorted(path.name[:10] for path in Path(again.path).parent.iterdir()) == ["media", "roomfield-"]


def test_a_backup_that_cannot_be_written_is_one_sentence(records: Store, tmp_path: Path):
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(StoreError, match="backup cannot be written"):
        backups.back_up(records, str(tmp_path / "file" / "sub"))


def test_automatic_backups_come_when_due_and_go_by_age(records: Store, survey_id: str, tmp_path: Path):
    folder = tmp_path / "auto"
    folder.mkdir()
    now = datetime(2026, 6, 30, 12, 30, tzinfo=UTC)
    ages = [timedelta(minutes=10 * n) for n in range(12)] + [timedelta(days=n) for n in range(1, 100)]
    for age in [*ages, timedelta(days=3, hours=2), timedelta(days=60, hours=1)]:
        (folder / f"roomfield-auto-{(now - age).strftime('%Y%m%dT%H%M%SZ')}.sqlite").touch()
    by_hand = folder / f"roomfield-{(now - timedelta(days=3, minutes=1)).strftime('%Y%m%dT%H%M%SZ')}.sqlite"
    by_hand.touch()
    backups.thin_out(folder, now)
    left = sorted(
        (now - datetime.strptime(p.name[-23:-7], "%Y%m%dT%H%M%SZ").replace(tzinfo=UTC)) for p in folder.glob("*auto*")
    )
    assert sum(age < timedelta(hours=2) for age in left) == 3, "one for each of the clock's hours begun"
    assert sum(timedelta(hours=2) <= age < timedelta(days=31) for age in left) == 30
    assert sum(age >= timedelta(days=31) for age in left) == 3, "May, April and March"
    assert by_hand.exists()
    assert backups.back_up_if_due(records, str(tmp_path / "fresh")) is not None
    assert backups.back_up_if_due(records, str(tmp_path / "fresh")) is None


def test_a_check_reads_every_file_and_walks_every_link(records: Store, survey_id: str):
    found = proof.check_record(records)
    assert (found.misfits, found.files, found.links) == ((), 1, 2)
    assert found.heads == (("Lindenweg 4", proof.chain_head(records, survey_id).sha256),)
    path = records.media.path(next(records.media.hashes()))
    path.write_bytes(b"another bedroom")
    assert [one.what for one in proof.check_record(records).misfits] == ["it has changed since it was stored."]
    records.media.put(b"an offer nobody took")
    assert proof.check_record(records).remarks == ("1 files belong to no survey.",)
    path.unlink()
    assert "missing" in proof.check_record(records).misfits[0].what


def test_a_package_carries_its_chain_and_a_changed_one_is_found(records: Store, survey_id: str, tmp_path: Path):
    records.append(survey_id, [entry("r1")])
    records.amend(survey_id, "r1", "note", "left", reason="slip", by="A")
    job = Job(records.load(survey_id).survey, records)
    job.write_package(tmp_path / "flat.zip")
    found = proof.check_package(tmp_path / "flat.zip")
    assert (found.misfits, found.links) == ((), 4)
    assert found.heads[0][1] == proof.chain_head(records, survey_id).sha256
    taken = unpack_into(str(tmp_path / "other.sqlite"), tmp_path / "flat.zip")
    with open_store(tmp_path / "other.sqlite") as other:
        first = other.history(taken.id)[0]
        assert first.what == f"taken in: package {job.content_sha256}, chain {found.heads[0][1]}"
    other_value = replace(job.survey, readings=(replace(entry("r1"), value_w_m2=9e-6),))
    Job(other_value, records).write_package(tmp_path / "forged.zip")
    assert "rows of reading" in proof.check_package(tmp_path / "forged.zip").misfits[0].what
    with open_package(tmp_path / "flat.zip") as opened:
        assert opened.package_hash == Job(job.survey).content_sha256, (
            "the chain does not change the hash of the content"
        )
    with zipfile.ZipFile(tmp_path / "flat.zip") as bag:
        assert any(name.endswith("/chain.json") for name in bag.namelist())


def test_a_report_is_held_against_record_and_package(records: Store, survey_id: str, tmp_path: Path):
    head = proof.chain_head(records, survey_id)
    report = tmp_path / "report.html"
    report.write_text(f"<p>Record {head.sha256[:32]}<wbr>\u00ad\n {head.sha256[32:]}</p>".replace("<wbr>", ""), "utf-8")
    records.append(survey_id, [entry("r1")])
    said = proof.check_report(report, records)
    assert [line.split(": ", 1)[1].split(" of ")[0] for line in said] == ["Lindenweg 4, link 2"]
    Job(records.load(survey_id).survey, records).write_package(tmp_path / "flat.zip")
    assert proof.check_report(report, package=tmp_path / "flat.zip")
    report.write_text("<p>Nothing to see</p>", "utf-8")
    with pytest.raises(InputError, match="prints no hash that belongs"):
        proof.check_report(report, records)


def test_the_old_value_and_the_author_of_a_change_to_a_meter_stay(records: Store, survey_id: str, tmp_path: Path):
    stored = records.load(survey_id)
    meters = (replace(stored.survey.meters[0], tolerance_db=3.0),)
    records.update(survey_id, stored.revision, meters=meters)
    with closing(sqlite3.connect(tmp_path / "record.sqlite")) as database:
        bodies = [
            row[0] for row in database.execute("SELECT body FROM part_version WHERE name='meters' ORDER BY number")
        ]
    assert ['"tolerance_db":null' in bodies[0], '"tolerance_db":3.0' in bodies[1]] == [True, True]
    assert records.history(survey_id)[-1].by == present_identity().name


def test_the_identity_is_set_once_and_bad_names_are_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    before = present_identity()
    assert before.name
    set_identity("A. Sessor", "laptop in the car")
    assert present_identity() == replace(before, name="A. Sessor", device="laptop in the car")
    for name in ("", " ", "a\nb\0", "x" * 200):
        with pytest.raises(InputError):
            set_identity(name)


def night(tmp_path: Path) -> Path:
    path = tmp_path / "night.csv"
    rows = "".join(f"2026-03-01 {i // 60:02d}:{i % 60:02d}:00,{10 + i % 7}\n" for i in range(300))
    path.write_text("time UTC,average µW/m²\n" + rows, encoding="utf-8")
    return path


def test_a_log_kept_twice_is_one_log(records: Store, survey_id: str, tmp_path: Path):
    path = night(tmp_path)
    mapping = long_series.guessed_log(path).confirm()
    kept = [
        long_series.keep_log(Job(records.load(survey_id).survey, records), path, mapping, long_series.LogPlace())
        for _ in range(2)
    ]
    assert kept[0] == kept[1]
    assert records.load(survey_id).survey.logs == (kept[0],)
    place = records.load(survey_id).survey.places[0].id
    other = long_series.keep_log(
        Job(records.load(survey_id).survey, records), path, mapping, long_series.LogPlace(place_id=place)
    )
    assert [log.id for log in records.load(survey_id).survey.logs] == [kept[0].id, other.id]
    assert proof.check_record(records).misfits == ()


def test_what_a_killed_take_in_of_a_log_left_is_swept_once_it_is_old(records: Store, survey_id: str, tmp_path: Path):
    path = night(tmp_path)
    for name, age_s in ((".incoming-old", 1e6), (".incoming-young", 10.0)):
        left = tmp_path / "series" / name
        left.mkdir(parents=True)
        (left / "readings.parquet").write_bytes(b"half")
        for one in (left / "readings.parquet", left):
            os.utime(one, (time.time() - age_s,) * 2)
    mapping = long_series.guessed_log(path).confirm()
    long_series.keep_log(Job(records.load(survey_id).survey, records), path, mapping, long_series.LogPlace())
    assert sorted(one.name for one in (tmp_path / "series").glob(".*")) == [".incoming-young"]


TABLE = "place,peak µW/m²,date\nBed,10,2026-03-01\nBed,12,2026-03-01\n"


def taken(records: Store, survey_id: str, path: Path, **more):
    mapping = readings_intake.guessed(path).with_decimal(".")
    given = readings_intake.Circumstances("visit-1", "meter-1", "as-found", make_places=True, **more)
    job = Job(records.load(survey_id).survey, records)
    return readings_intake.take_in(job, path, mapping, given, confirmed=True)


def test_readings_are_not_kept_if_the_table_they_rest_on_cannot_be(
    records: Store, survey_id: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    path = tmp_path / "walk.csv"
    path.write_text(TABLE, encoding="utf-8")

    def full(*_args, **_more):
        raise StoreError("the file cannot be kept (No space left on device).")

    before = records.load(survey_id)
    with monkeypatch.context() as broken:
        broken.setattr(type(records.media), "put", full)
        with pytest.raises(StoreError, match="No space left"):
            taken(records, survey_id, path)
    assert records.load(survey_id) == before
    plan = taken(records, survey_id, path)
    assert records.history(survey_id)[-1].what == "added: 2 reading, 1 file"
    assert plan.remarks == ()


def test_a_table_taken_in_again_says_how_many_were_new(records: Store, survey_id: str, tmp_path: Path):
    path = tmp_path / "walk.csv"
    path.write_text(TABLE, encoding="utf-8")
    taken(records, survey_id, path)
    with pytest.raises(InputError, match="taken in before"):
        taken(records, survey_id, path)
    again = taken(records, survey_id, path, again=True)
    assert again.remarks[-1] == "2 of them were in the record already and were not added again."
    assert len(records.load(survey_id).survey.readings) == 2


def test_a_report_prints_the_end_of_its_chain_and_is_known_by_it(records: Store, survey_id: str, tmp_path: Path):
    from roomfield.workbench.publish.files import custody_of

    custody = custody_of(Job(records.load(survey_id).survey, records))
    assert (custody.chain_sha256, custody.chain_links) == (proof.chain_head(records, survey_id).sha256, 2)
    report = tmp_path / "report.txt"
    groups = [custody.chain_sha256[i : i + 8] for i in range(0, 64, 8)]
    report.write_text("Last link\n" + " ".join(groups), "utf-8")
    assert "link 2 of" in proof.check_report(report, records)[0]


def test_a_package_under_a_passphrase_opens_with_it_and_with_no_other(records: Store, survey_id: str, tmp_path: Path):
    pytest.importorskip("pyrage")
    sealed = tmp_path / "flat.zip.age"
    job = Job(records.load(survey_id).survey, records)
    digest = job.write_sealed(sealed, "four words that differ")
    assert digest == job.package_sha256()
    content = sealed.read_bytes()
    assert content.startswith(b"age-encryption.org/v1\n")
    assert b"Lindenweg" not in content
    assert sealed.stat().st_mode & 0o077 == 0
    survey = unpack_into(str(tmp_path / "other.sqlite"), sealed, "four words that differ")
    assert survey.title == "Lindenweg 4"
    with pytest.raises(IntegrityError, match="passphrase is another"):
        unpack_into(str(tmp_path / "third.sqlite"), sealed, "four words that differ not")
    sealed.write_bytes(content[:-3] + b"abc")
    with pytest.raises(IntegrityError, match="changed"):
        unpack_into(str(tmp_path / "third.sqlite"), sealed, "four words that differ")
    assert not (tmp_path / "third.sqlite").exists()
    with pytest.raises(InputError, match="at least 12"):
        job.write_sealed(tmp_path / "weak.age", "short")


def test_everything_held_about_a_client_can_be_handed_over(records: Store, survey_id: str, tmp_path: Path):
    keep_new(records, started_survey("Elsewhere", Assignment(client="Somebody Else"), "blank"))
    found = client_data.export_held(records, " family  MUSTER", tmp_path / "held")
    assert [(one.title, one.files) for one in found] == [("Lindenweg 4", 1)]
    listed = json.loads((tmp_path / "held" / "held.json").read_text("utf-8"))
    assert listed[0]["client"] == "Family Muster"
    assert sorted(p.name for p in (tmp_path / "held").iterdir()) == ["01-lindenweg-4.zip", "held.json"]
    assert proof.check_package(tmp_path / "held" / found[0].package).misfits == ()
    with pytest.raises(StoreError, match="Name a new folder"):
        client_data.export_held(records, "Family Muster", tmp_path / "held")
    with pytest.raises(InputError, match="nothing is held about 'Nobody'"):
        client_data.held_about(records, "Nobody")


@pytest.mark.skipif(not shutil.which("openssl"), reason="needs openssl")
@pytest.mark.published("RFC 3161, sections 2.4.1 and 2.4.2: requests and answers as OpenSSL reads and writes them")
def test_a_time_stamp_is_asked_for_and_its_answer_kept(records: Store, survey_id: str, tmp_path: Path):
    def openssl(*arguments: str) -> str:
        done = subprocess.run(["openssl", *arguments], cwd=tmp_path, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr
        return done.stdout

    asked = time_stamps.ask(records, survey_id, tmp_path / "head.tsq")
    shown = openssl("ts", "-query", "-in", "head.tsq", "-text")
    assert "Hash Algorithm: sha256" in shown
    lines = re.findall(r"00[01]0 - ((?:[0-9a-f]{2}[ -]){15}[0-9a-f]{2})", shown)
    digits = re.sub(r"[ -]", "", "".join(lines))
    assert digits == asked.sha256
    (tmp_path / "tsa.cnf").write_text(AUTHORITY, "utf-8")
    openssl("req", "-x509", "-newkey", "rsa:2048", "-nodes", "-keyout", "key.pem", "-out", "cert.pem", "-days", "2",
            "-subj", "/CN=Invented authority", "-config", "tsa.cnf", "-extensions", "stamp")  # fmt: skip
    (tmp_path / "serial").write_text("01\n")
    openssl("ts", "-reply", "-queryfile", "head.tsq", "-out", "head.tsr", "-config", "tsa.cnf", "-section", "tsa")
    records.append(survey_id, [entry("later")])
    assert time_stamps.keep(records, survey_id, tmp_path / "head.tsr") == asked
    assert any(item.file_name == f"link-{asked.number}.tsr" for item in records.load(survey_id).survey.media)
    openssl("ts", "-verify", "-digest", asked.sha256, "-in", "head.tsr", "-CAfile", "cert.pem")
    (tmp_path / "odd.tsr").write_bytes(
        (tmp_path / "head.tsr").read_bytes().replace(bytes.fromhex(asked.sha256), b"x" * 32)
    )
    with pytest.raises(InputError, match="no time stamp"):
        time_stamps.keep(records, survey_id, tmp_path / "odd.tsr")


AUTHORITY = """
[req]
distinguished_name = dn
[dn]
[stamp]
extendedKeyUsage = critical,timeStamping
basicConstraints = CA:TRUE
[tsa]
serial = serial
signer_cert = cert.pem
signer_key = key.pem
signer_digest = sha256
default_policy = 1.2.3.4
digests = sha256
"""


@pytest.mark.published("RFC 8032, section 7.1, test 2: an Ed25519 signature")
def test_links_are_signed_with_a_key_of_the_keyring_and_a_forged_chain_is_not(
    records: Store, survey_id: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
):
    pytest.importorskip("cryptography")
    keyring = pytest.importorskip("keyring")
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    held: dict[tuple[str, str], str] = {}
    monkeypatch.setattr(signing, "_keyring", keyring)
    monkeypatch.setattr(keyring, "set_password", lambda service, name, key: held.update({(service, name): key}))
    monkeypatch.setattr(keyring, "get_password", lambda service, name: held.get((service, name)))
    signer = sign_from_now_on().signer
    assert list(held) == [("roomfield", signer)]
    records.append(survey_id, [entry("signed")])
    link = records.history(survey_id)[-1]
    assert (link.signer, len(link.signature)) == (signer, 128)
    assert proof.check_record(records).misfits == ()
    assert not signing.is_signed(link.sha256[::-1], signer, link.signature)
    held.clear()
    records.append(survey_id, [entry("locked")])
    assert records.history(survey_id)[-1].signature == "", "an entry is kept even if the keyring is locked"
    public = "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c"
    signature = ("92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da"
                 "085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00")  # fmt: skip
    assert signing.is_signed("72", public, signature)
    assert not signing.is_signed("73", public, signature)
