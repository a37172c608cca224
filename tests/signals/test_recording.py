"""Reading sound: formats, channels, rates, and one clear error for each kind of bad file."""

import numpy as np
import pytest
import soundfile

from roomfield.errors import FormatError, InputError, RangeError
from roomfield.signals.conditioning import clipped_share, condition, one_channel
from roomfield.signals.recording import blocks, open_source

RATE = 8000


@pytest.fixture
def tone():
    return (0.3 * np.sin(2 * np.pi * 440 * np.arange(RATE * 3) / RATE)).astype(np.float32)


@pytest.mark.parametrize("suffix", ["wav", "flac", "ogg"])
def test_formats_read_back(tmp_path, tone, suffix):
    path = tmp_path / f"tone.{suffix}"
    soundfile.write(path, tone, RATE)
    source = open_source(path, None)
    assert source.duration_s == pytest.approx(3.0, abs=0.05)
    data = source.read(0, source.frames)
    assert np.corrcoef(data[: tone.size], tone[: data.size])[0, 1] > 0.99


@pytest.mark.published("libsndfile's own scaling to floats, read by soundfile")
@pytest.mark.parametrize(
    "suffix, subtype", [("wav", "PCM_16"), ("flac", "PCM_16"), ("wav", "PCM_24"), ("wav", "PCM_U8")]
)
def test_whole_numbers_are_read_as_the_library_scales_them(tmp_path, suffix, subtype):
    path = tmp_path / f"a.{suffix}"
    soundfile.write(str(path), np.random.default_rng(4).uniform(-1, 1, (30000, 2)), 48000, subtype=subtype)
    read = open_source(path, None).read(1000, 20000)
    assert read.dtype == np.float32
    np.testing.assert_array_equal(read, soundfile.read(str(path), dtype="float32")[0][1000:20000])


def test_long_files_come_in_equal_blocks_that_join_up(tmp_path):
    x = np.random.default_rng(0).uniform(-0.5, 0.5, RATE * 70).astype(np.float32)
    path = tmp_path / "long.wav"
    soundfile.write(path, x, RATE, subtype="FLOAT")
    source = open_source(path, None)
    parts = list(blocks(source))
    assert max(p.shape[0] for _, p in parts) <= 24 * RATE
    np.testing.assert_array_equal(np.concatenate([p for _, p in parts]), x)
    assert parts[1][0] == pytest.approx(parts[0][1].shape[0] / RATE)


def test_stereo_like_channels_are_averaged_and_a_silent_one_is_dropped(tone):
    both = np.column_stack([tone, tone * 0.9])
    np.testing.assert_allclose(one_channel(both), tone * 0.95, atol=1e-6)
    lone = np.column_stack([np.zeros_like(tone), tone])
    np.testing.assert_array_equal(one_channel(lone), tone)


def test_integers_are_scaled():
    source = open_source((np.ones(RATE) * 16384).astype(np.int16), RATE)
    assert float(source.read(0, 10)[0]) == pytest.approx(0.5, abs=1e-3)


def test_high_rates_are_brought_down():
    x = np.random.default_rng(0).standard_normal(192000 * 2).astype(np.float32)
    assert condition(x, 192000.0).sample_rate_hz == 48000.0


def test_clipping_is_seen_and_a_clean_peak_is_not():
    t = np.arange(48000) / 48000
    sine = np.sin(2 * np.pi * 50 * t).astype(np.float32)
    assert clipped_share(np.clip(sine * 2, -1, 1)) > 0.5
    rng = np.random.default_rng(0)
    assert clipped_share((sine + 0.01 * rng.standard_normal(t.size)).astype(np.float32)) == 0.0


@pytest.mark.calculated("mains harmonics at whole multiples of 50 Hz")
def test_hum_is_notched_and_the_rest_kept():
    t = np.arange(48000 * 4) / 48000
    hum = sum(np.cos(2 * np.pi * 49.97 * k * t) / k for k in range(1, 8))
    hiss = 0.01 * np.random.default_rng(0).standard_normal(t.size)
    got = condition((hum + hiss).astype(np.float32), 48000.0)
    assert got.hum_hz == pytest.approx(49.97, abs=0.15)
    assert got.samples[4800:-4800].std() < 0.12 * hum.std()


@pytest.mark.parametrize(
    ("make", "error", "words"),
    [
        (lambda p: p / "none.wav", InputError, "no such file"),
        (lambda p: _written(p / "text.wav", b"this is no sound"), FormatError, "not a sound file"),
        (lambda p: _written(p / "empty.flac", b""), FormatError, "not a sound file"),
        (lambda p: _sound(p / "short.wav", 100), FormatError, "too short"),
        (lambda p: _sound(p / "nothing.wav", 0), FormatError, "too short"),
    ],
)
def test_bad_files_give_one_clear_error(tmp_path, make, error, words):
    with pytest.raises(error, match=words) as caught:
        open_source(make(tmp_path), None)
    assert "\n" not in str(caught.value)


def _written(path, content):
    path.write_bytes(content)
    return path


def _sound(path, frames):
    soundfile.write(path, np.zeros(frames), RATE)
    return path


def test_truncated_file_says_so(tmp_path, tone):
    path = tmp_path / "cut.flac"
    soundfile.write(path, np.random.default_rng(0).uniform(-1, 1, RATE * 3), RATE)
    path.write_bytes(path.read_bytes()[:20000])
    source = open_source(path, None)
    with pytest.raises(FormatError, match="breaks off"):
        source.read(source.frames - 100, source.frames)


def test_samples_need_a_rate_real_numbers_and_sense(tone):
    with pytest.raises(InputError, match="sample_rate_hz"):
        open_source(tone, None)
    with pytest.raises(FormatError, match="not numbers"):
        open_source(np.full(RATE, np.nan), RATE)
    with pytest.raises(FormatError, match="no recording"):
        open_source(np.zeros((4, 4, 4)), RATE)
    with pytest.raises(RangeError, match="sample rate"):
        open_source(tone, 100)
