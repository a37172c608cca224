"""I/Q recordings in SigMF: the envelope of their power, heard like a meter's sound, and labels written beside them."""

from __future__ import annotations

import json
import pickle
import tracemalloc

import numpy as np
import pytest
import sigmf
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from sigmf.utils import get_data_type_str

from roomfield.errors import FormatError, InputError, RangeError
from roomfield.extras import MissingExtraError
from roomfield.signals import iq_recording
from roomfield.signals.iq_recording import open_iq
from roomfield.signals.recording import open_source
from roomfield.workbench.record.recording_analysis import listen
from roomfield.workbench.record.sigmf_labels import write_labels

RATE_HZ = 1.0e6


def store(folder, samples, name="r", rate_hz=RATE_HZ, datatype="", **more):
    """A recording written by the reference library of the format."""
    samples.tofile(folder / f"{name}.sigmf-data")
    fields = {
        "core:datatype": datatype or get_data_type_str(samples), "core:sample_rate": rate_hz, "core:version": "1.2.0"
    } | more  # fmt: skip
    made = sigmf.SigMFFile(data_file=folder / f"{name}.sigmf-data", global_info=fields)
    made.add_capture(0, metadata={"core:frequency": 1.8816e9})
    made.tofile(folder / f"{name}.sigmf-meta", overwrite=True)
    return folder / f"{name}.sigmf-meta"


def cordless(seconds=6.0, rate_hz=RATE_HZ, seed=4):
    """Bursts of 368 µs each 10 ms on a carrier off the centre (ETSI EN 300 175-2), 12 dB over noise."""
    n = int(seconds * rate_hz)
    t = np.arange(n) / rate_hz
    rng = np.random.default_rng(seed)
    noise = (rng.normal(size=n) + 1j * rng.normal(size=n)) * 0.03
    on = (t % 0.010) < 368e-6
    return (noise + 0.2 * on * np.exp(2j * np.pi * 123e3 * t)).astype(np.complex64)


@pytest.mark.calculated("mean of I² + Q² over each step, in numpy")
@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.integers(65_000, 400_000), st.sampled_from([64_000.0, 200e3, 1e6, 2.4e6]), st.integers(0, 2**31))
def test_what_was_written_comes_back_as_its_power(tmp_path, count, rate_hz, seed):
    rng = np.random.default_rng(seed)
    samples = ((rng.normal(size=count) + 1j * rng.normal(size=count)) * 0.2).astype(np.complex64)
    iq = open_iq(store(tmp_path, samples, rate_hz=rate_hz))
    step = int(np.ceil(rate_hz / 64_000.0))
    assert (iq.step, iq.frames, iq.frequency_hz) == (step, count // step, 1.8816e9)
    whole = samples[: iq.frames * step].astype(np.complex128)
    expected = (np.abs(whole) ** 2).reshape(-1, step).mean(axis=1) / 2.0
    first, last = iq.frames // 3, iq.frames
    assert iq.read(first, last) == pytest.approx(expected[first:last], rel=1e-4, abs=1e-9)


@pytest.mark.published("SigMF 1.2: ci16_le and cu8 are scaled to -1 to 1")
@pytest.mark.parametrize("datatype", ["ci16_le", "cu8"])
def test_whole_numbers_are_scaled(tmp_path, datatype):
    raw = np.zeros(2 * 100_000, np.int16 if datatype == "ci16_le" else np.uint8)
    raw[0::2], raw[1::2] = (16384, 0) if datatype == "ci16_le" else (192, 128)
    iq = open_iq(store(tmp_path, raw, datatype=datatype, rate_hz=64e3))
    assert iq.read(0, 1000) == pytest.approx(0.125, rel=0.02)


def test_a_recording_travels_to_another_process_without_its_samples(tmp_path):
    meta = store(tmp_path, np.full(500_000, 0.1, np.complex64))
    source = open_source(meta, None)
    source.read(0, 100)
    sent = pickle.dumps(source)
    assert len(sent) < 5_000
    assert pickle.loads(sent).read(0, 100) == pytest.approx(0.005, rel=1e-3)


def test_memory_stays_bounded(tmp_path, monkeypatch):
    monkeypatch.setattr(iq_recording, "_CHUNK", 1 << 14)
    meta = store(tmp_path, np.zeros(8_000_000, np.complex64) + np.complex64(0.1), rate_hz=8e6)
    source = open_source(meta, None)
    tracemalloc.start()
    read = source.read(0, source.frames)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert read == pytest.approx(0.005, rel=1e-3)
    assert peak < 8_000_000 * 8 / 8


def test_a_cordless_telephone_is_heard_and_labelled(tmp_path):
    meta = store(tmp_path, cordless())
    hearing = listen(meta)
    assert [heard.name for heard in hearing.claimed] == ["dect"]
    assert hearing.measured.duty_cycle == pytest.approx(0.0368, rel=0.25)
    path = write_labels(hearing, meta, tmp_path / "labelled.sigmf-meta")
    again = sigmf.fromfile(str(path))
    again.validate()
    (label,) = again.get_annotations()
    assert label["core:label"] == hearing.claimed[0].title
    assert (label["core:sample_start"], label["core:sample_count"]) == (0, pytest.approx(6_000_000, abs=64))
    assert label["core:freq_lower_edge"] == pytest.approx(1.8816e9 - RATE_HZ / 2.0)
    assert again.sample_count == 6_000_000 and again.get_captures() == sigmf.fromfile(str(meta)).get_captures()
    with pytest.raises(InputError, match="already"):
        write_labels(hearing, meta, path)


def test_labels_of_others_stay(tmp_path):
    meta = store(tmp_path, cordless())
    described = json.loads(meta.read_text("utf-8"))
    described["annotations"] = [{"core:sample_start": 5, "core:sample_count": 9, "core:label": "mine"}]
    meta.write_text(json.dumps(described), encoding="utf-8")
    path = write_labels(listen(meta), meta, tmp_path / "both.sigmf-meta")
    assert [one["core:label"] for one in json.loads(path.read_text("utf-8"))["annotations"]][1:] == ["mine"]


def changed(meta, change):
    described = json.loads(meta.read_text("utf-8"))
    change(described)
    meta.write_text(json.dumps(described), encoding="utf-8")


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda d: d["global"].pop("core:sample_rate"), "sample rate"),
        (lambda d: d["global"].__setitem__("core:sample_rate", "fast"), "sample rate"),
        (lambda d: d["global"].__setitem__("core:datatype", "cf99"), "no valid"),
        (lambda d: d["global"].__setitem__("core:dataset", "../other.bin"), "another file"),
        (lambda d: d["captures"].append({"core:sample_start": 50_000}), "2 captures"),
        (lambda d: d.pop("global"), "'global'"),
        (lambda d: d.__setitem__("captures", [1]), "captures"),
    ],
)
def test_what_is_no_recording_is_told(tmp_path, change, told):
    meta = store(tmp_path, np.zeros(100_000, np.complex64))
    changed(meta, change)
    with pytest.raises(FormatError, match=told):
        open_iq(meta)


def test_other_faults_are_told(tmp_path):
    meta = store(tmp_path, np.zeros(100_000, np.complex64), rate_hz=100e3)
    iq = open_iq(meta)
    with meta.with_suffix(".sigmf-data").open("r+b") as data:
        data.truncate(80_000)
    with pytest.raises(FormatError, match="break off"):
        iq.read(0, iq.frames)
    meta.write_text("{", encoding="utf-8")
    with pytest.raises(FormatError, match="no JSON"):
        open_iq(meta)
    meta.with_suffix(".sigmf-data").unlink()
    with pytest.raises(FormatError, match="is not there"):
        open_iq(meta)
    with pytest.raises(RangeError):
        listen(store(tmp_path, np.zeros(100_000, np.complex64), "slow", 2000.0))


def test_labels_go_beside_the_recording_only(tmp_path):
    meta = store(tmp_path, cordless(2.0))
    hearing = listen(meta)
    for target in (tmp_path / "labels.json", tmp_path / "elsewhere" / "x.sigmf-meta"):
        with pytest.raises(InputError, match="beside"):
            write_labels(hearing, meta, target)
    with pytest.raises(InputError, match="SigMF"):
        write_labels(hearing, tmp_path / "r.wav", tmp_path / "x.sigmf-meta")


def test_the_missing_library_is_named(tmp_path, monkeypatch):
    meta = store(tmp_path, np.zeros(100_000, np.complex64))
    monkeypatch.setitem(__import__("sys").modules, "sigmf", None)
    monkeypatch.setattr(iq_recording, "sigmf", iq_recording.library("sigmf", "sigmf"))
    with pytest.raises(MissingExtraError) as told:
        open_iq(meta)
    assert "roomfield[sigmf]" in told.value.mend
