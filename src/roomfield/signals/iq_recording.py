"""I/Q recordings in SigMF as the envelope that a square-law detector would give, read in parts of bounded size.

SigMF: the Signal Metadata Format specification (sigmf.org), a JSON file ``.sigmf-meta`` beside samples ``.sigmf-data``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from roomfield.errors import FormatError
from roomfield.extras import library
from roomfield.regular_files import refuse_irregular
from roomfield.signals.hearing import MeterAudio

sigmf = library("sigmf", "sigmf")
sigmf_error = library("sigmf.error", "sigmf")

F32 = NDArray[np.float32]

META, DATA = ".sigmf-meta", ".sigmf-data"
ENVELOPE_AUDIO = MeterAudio("square", 0.0)
"""The envelope's law: power, with its mean kept."""
FINEST_HZ = 64_000.0
"""Rate that the envelope does not exceed: the ear works below it."""
_CHUNK = 1 << 20
_LONGEST_META = 64 << 20
_MEND = "Give a SigMF recording: NAME.sigmf-meta beside NAME.sigmf-data."


def is_iq(path: str | Path) -> bool:
    """Whether a file name is that of a SigMF recording."""
    return Path(path).suffix.lower() in (META, DATA)


@dataclass(frozen=True)
class IqRecording:
    """A recording of samples and its description.

    Parameters
    ----------
    path : Path
        The ``.sigmf-meta`` file.
    samples : int
        Number of samples per channel.
    sample_rate_hz : float
        Of the recording [Hz].
    frequency_hz : float or None
        Centre frequency [Hz]; None if it is not stated.
    is_complex : bool
        False for real samples, which are taken as the sound of a meter.
    """

    path: Path
    samples: int
    sample_rate_hz: float
    frequency_hz: float | None
    is_complex: bool

    @property
    def step(self) -> int:
        """Samples whose mean power makes one value of the envelope."""
        return max(1, int(np.ceil(self.sample_rate_hz / FINEST_HZ))) if self.is_complex else 1

    @property
    def envelope_rate_hz(self) -> float:
        """Rate of the envelope [Hz]."""
        return self.sample_rate_hz / self.step

    @property
    def frames(self) -> int:
        """Values of the envelope."""
        return self.samples // self.step

    def read(self, first: int, last: int) -> F32:
        """Values ``first`` to ``last`` of the envelope, shape (n,): mean of I² + Q² over channels and `step` samples.

        Half of it, so that 1 is reached only where both I and Q are at full scale. Real samples come as they are.

        Parameters
        ----------
        first, last : int
            Of the envelope.

        Raises
        ------
        FormatError
            If the samples break off or are no numbers.
        """
        found = np.empty(last - first, np.float32)
        at_once = max(1, _CHUNK // self.step)
        for start in range(first, last, at_once):
            end = min(start + at_once, last)
            found[start - first : end - first] = self._values(start, end)
        if not np.isfinite(found).all():
            raise FormatError("the recording holds values that are not numbers.", where=self.path.name, mend=_MEND)
        return found

    def _values(self, start: int, end: int) -> F32:
        try:
            raw = _reader(self.path, self.path.stat().st_mtime_ns).read_samples(
                start * self.step, (end - start) * self.step
            )
            rows = np.asarray(raw).reshape((end - start) * self.step, -1)
        except (OSError, ValueError, sigmf_error.SigMFError) as fault:
            raise FormatError("the samples break off.", where=self.path.name, mend=_MEND) from fault
        if not self.is_complex:
            return np.asarray(rows.mean(axis=1), np.float32)
        power = (rows.real**2 + rows.imag**2).mean(axis=1)
        return np.asarray(power.reshape(-1, self.step).mean(axis=1) / 2.0, np.float32)


@lru_cache(maxsize=4)
def _reader(meta: Path, _changed_ns: int) -> Any:
    """The library's handle, made in each process anew: it maps the samples, which must not travel with a recording."""
    return sigmf.fromfile(str(meta), skip_checksum=True)


def open_iq(path: Path) -> IqRecording:
    """Look at a SigMF recording without reading its samples.

    Parameters
    ----------
    path : Path
        Either of its two files.

    Raises
    ------
    FormatError
        If a file is not there, it is valid SigMF recording, or more than one capture lies in it.
    """
    meta = path.with_suffix(META)
    for file in (meta, path.with_suffix(DATA)):
        if not file.is_file():
            raise FormatError(f"{file.name} is not there.", where=path.name, mend=_MEND)
        refuse_irregular(file)
    described = _described(meta)
    fields, captures = described.get("global", {}), described.get("captures", [])
    if fields.get("core:dataset") not in (None, path.with_suffix(DATA).name) or fields.get("core:metadata_only"):
        raise FormatError("its samples lie in another file.", where=meta.name, mend=_MEND)
    if len(captures) > 1:
        raise FormatError(
            f"it holds {len(captures)} captures, between which time or frequency may jump.",
            where=meta.name,
            mend="Give each capture as a recording of its own.",
        )
    rate = fields.get("core:sample_rate")
    if not isinstance(rate, (int, float)) or not rate > 0.0:
        raise FormatError("it does not state its sample rate.", where=meta.name, mend="Add core:sample_rate to it.")
    try:
        samples = int(sigmf.fromfile(str(meta), skip_checksum=True).sample_count)
    except (sigmf_error.SigMFError, ValueError, KeyError, TypeError, OSError) as fault:
        raise FormatError(
            f"it is no valid SigMF recording ({str(fault).splitlines()[0][:120]}).", where=meta.name, mend=_MEND
        ) from None
    frequency = captures[0].get("core:frequency") if captures else None
    is_complex = str(fields.get("core:datatype", "")).startswith("c")
    return IqRecording(meta, samples, float(rate), frequency, is_complex)


def _described(meta: Path) -> dict[str, Any]:
    if meta.stat().st_size > _LONGEST_META:
        raise FormatError(f"it is longer than {_LONGEST_META >> 20} MiB.", where=meta.name, mend=_MEND)
    try:
        found = json.loads(meta.read_text("utf-8"))
    except (UnicodeError, ValueError):
        raise FormatError("it is no JSON.", where=meta.name, mend=_MEND) from None
    parts = found if isinstance(found, dict) else {}
    captures = parts.get("captures", [])
    if not isinstance(parts.get("global"), dict) or not isinstance(captures, list):
        raise FormatError("it has no part 'global'.", where=meta.name, mend=_MEND)
    if not all(isinstance(one, dict) for one in captures):
        raise FormatError("its captures are no objects.", where=meta.name, mend=_MEND)
    return parts
