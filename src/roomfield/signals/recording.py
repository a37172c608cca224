"""Sound files and arrays as a stream of blocks of bounded size."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError, InputError, RangeError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular
from roomfield.signals.iq_recording import IqRecording, is_iq, open_iq

soundfile = library("soundfile", "sound")

F32 = NDArray[np.float32]

BLOCK_S = 16.0
LONGEST_SINGLE_S = 24.0
SHORTEST_S = 0.5
RATES_HZ = (4000.0, 768000.0)
BY_EXTRA = {".m4a", ".mp4", ".aac", ".webm", ".3gp"}


@dataclass(frozen=True)
class AudioSource:
    """A recording not yet read.

    Attributes
    ----------
    name : str
        File name, or "samples".
    sample_rate_hz : float
        [Hz]
    frames : int
        Number of samples per channel.
    path : Path or None
        File, if it can be read in parts.
    samples : ndarray or None
        Samples, if they are in memory, shape (n,) or (n, channels).
    iq : IqRecording or None
        An I/Q recording, of which the envelope is read.
    """

    name: str
    sample_rate_hz: float
    frames: int
    path: Path | None = None
    samples: NDArray[np.floating] | None = None
    iq: IqRecording | None = None

    @property
    def duration_s(self) -> float:
        """Length [s]."""
        return self.frames / self.sample_rate_hz

    def cuts(self) -> tuple[tuple[int, int], ...]:
        """First and last sample of each block: one block up to 24 s, else equal blocks of about 16 s."""
        count = 1 if self.duration_s <= LONGEST_SINGLE_S else max(2, round(self.duration_s / BLOCK_S))
        edges = np.linspace(0, self.frames, count + 1).astype(int)
        return tuple((int(a), int(b)) for a, b in zip(edges[:-1], edges[1:], strict=True))

    def read(self, first: int, last: int) -> NDArray[np.floating]:
        """Samples ``first`` to ``last``, shape (n,) or (n, channels)."""
        if self.samples is not None:
            return self.samples[first:last]
        if self.iq is not None:
            return self.iq.read(first, last)
        try:
            with soundfile.SoundFile(str(self.path)) as file:
                file.seek(first)
                data = _floats(file, last - first)
        except (soundfile.LibsndfileError, RuntimeError) as fault:
            raise FormatError("the sound file breaks off or is damaged.", where=self.name, mend=_RESAVE) from fault
        return _checked(data, self.name)


def _floats(file: Any, count: int) -> F32:
    """The next samples, full scale being 1; of 16 bits they are scaled here, which costs a fifth of having the library do it."""
    if file.subtype != "PCM_16":
        return np.asarray(file.read(count, dtype="float32"))
    return np.multiply(file.read(count, dtype="int16"), np.float32(1 / 32768), dtype=np.float32)


_RESAVE = "Save it again as WAV or FLAC."


def _checked(data: NDArray[np.floating], name: str) -> NDArray[np.floating]:
    if not np.isfinite(data).all():
        raise FormatError("the recording holds values that are not numbers.", where=name, mend=_RESAVE)
    return data


def open_source(recording: str | Path | NDArray[np.floating], sample_rate_hz: float | None) -> AudioSource:
    """Look at a file or an array without reading it all.

    Raises
    ------
    InputError
        If there is no such file, or samples come without their rate.
    FormatError
        If the file is no sound, is empty, or is too short to judge.
    RangeError
        If the sample rate is out of range.
    """
    if isinstance(recording, (str, Path)):
        refuse_irregular(Path(recording))
        source = _open_file(Path(recording))
    else:
        source = _open_samples(np.asarray(recording), sample_rate_hz)
    if not RATES_HZ[0] <= source.sample_rate_hz <= RATES_HZ[1]:
        raise RangeError(
            "sample rate", source.sample_rate_hz, RATES_HZ, "Hz", where=source.name, mend="Record it at 48 kHz."
        )
    if source.duration_s < SHORTEST_S:
        raise FormatError(
            f"the recording lasts {source.duration_s:.2f} s, too short to judge.", where=source.name,
            mend="Record at least half a second; ten seconds are better.",
        )  # fmt: skip
    return source


def _open_samples(samples: NDArray[np.generic], sample_rate_hz: float | None) -> AudioSource:
    if sample_rate_hz is None:
        raise InputError("samples were given without their sample rate.", where="samples", mend="Give sample_rate_hz.")
    if samples.ndim not in (1, 2) or samples.dtype.kind not in "fiu":
        raise FormatError(
            f"samples of shape {samples.shape} and type {samples.dtype} are no recording.", where="samples",
            mend="Give real numbers of shape (n,) or (n, channels).",
        )  # fmt: skip
    if samples.dtype.kind in "iu":
        samples = np.asarray(samples, np.float64) / float(np.iinfo(samples.dtype.name).max)
    return AudioSource(
        "samples",
        float(sample_rate_hz),
        samples.shape[0],
        None,
        _checked(np.asarray(samples, samples.dtype if samples.dtype.kind == "f" else np.float64), "samples"),
    )


def _open_file(path: Path) -> AudioSource:
    if not path.is_file():
        raise InputError("there is no such file.", where=str(path), mend="Check the name and folder.")
    if is_iq(path):
        iq = open_iq(path)
        return AudioSource(path.name, iq.envelope_rate_hz, iq.frames, path, iq=iq)
    if path.suffix.lower() in BY_EXTRA:
        return _decode(path)
    try:
        info = soundfile.info(str(path))
    except (soundfile.LibsndfileError, RuntimeError) as fault:
        raise FormatError(
            "this is not a sound file that can be read.", where=str(path), mend="Use WAV, FLAC, OGG or MP3."
        ) from fault
    return AudioSource(path.name, float(info.samplerate), int(info.frames), path)


def _decode(path: Path) -> AudioSource:
    try:
        import av
    except ImportError as fault:
        raise FormatError(
            "reading this kind of file needs the optional audio decoder.", where=str(path),
            mend="Install the extra 'm4a', or save the recording as WAV or FLAC.",
        ) from fault  # fmt: skip
    try:
        with av.open(str(path)) as container:
            rate = float(container.streams.audio[0].rate)
            parts = [_channel_rows(frame.to_ndarray(), frame) for frame in container.decode(audio=0)]
    except (av.FFmpegError, IndexError, ValueError) as fault:
        raise FormatError("this is not a sound file that can be read.", where=str(path), mend=_RESAVE) from fault
    data = np.concatenate(parts) if parts else np.zeros((0, 1), np.float32)
    return AudioSource(path.name, rate, data.shape[0], None, _checked(data, path.name))


def _channel_rows(raw: NDArray[np.generic], frame: object) -> F32:
    """One decoded frame as (n, channels) of float32, whether packed or planar."""
    channels = int(getattr(frame, "layout").nb_channels)  # noqa: B009
    rows = raw.T if raw.shape[0] == channels else raw.reshape(-1, channels)
    scale = float(np.iinfo(raw.dtype.name).max) if raw.dtype.kind == "i" else 1.0
    return np.asarray(rows, np.float64).astype(np.float32) / np.float32(scale)


def blocks(source: AudioSource) -> Iterator[tuple[float, NDArray[np.floating]]]:
    """Start [s] and samples of each block in turn."""
    for first, last in source.cuts():
        yield first / source.sample_rate_hz, source.read(first, last)
