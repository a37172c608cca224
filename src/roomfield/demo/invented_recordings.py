"""Invented recordings of the meter's audio in the invented house."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from roomfield.extras import library
from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose

soundfile = library("soundfile", "sound")

DURATION_S = 10.0
SAMPLE_RATE_HZ = 48_000
SEED = 20260317


@dataclass(frozen=True)
class DemoRecording:
    """One invented recording.

    Parameters
    ----------
    technologies : tuple of str
        What was put into it.
    """

    file_name: str
    place_id: str
    state_id: str
    technologies: tuple[str, ...]


DEMO_RECORDINGS = (
    DemoRecording("cot-as-found-invented.flac", "cot", "as_found", ("dect", "wifi_beacon")),
    DemoRecording("cot-own-off-invented.flac", "cot", "own_off", ("lte_fdd",)),
)


def write_recording(recording: DemoRecording, folder: Path) -> Path:
    """Write one invented recording as FLAC.

    Parameters
    ----------
    folder : Path
        Where to write it.
    """
    seed = [SEED, DEMO_RECORDINGS.index(recording)]
    scene = compose(
        np.random.default_rng(seed),
        recording.technologies,
        duration_s=DURATION_S,
        sample_rate_hz=SAMPLE_RATE_HZ,
        snr_db=28.0,
        meter=SimulatedMeter("square", 40.0, 20_000.0),
        clean=True,
    )
    path = folder / recording.file_name
    soundfile.write(path, scene.samples, scene.sample_rate_hz, format="FLAC", subtype="PCM_16")
    return path
