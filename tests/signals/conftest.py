"""Invented recordings shared by the tests."""

import numpy as np
import pytest

from roomfield.signals.simulation.audio_scene import SimulatedMeter, compose

PLAIN_METER = SimulatedMeter("square", 40.0, 20000.0)


@pytest.fixture(scope="session")
def invent():
    """Make a clean recording of the named technologies: ``invent("dect", seed=1, duration_s=6)``."""

    def make(*names, seed=1, duration_s=6.0, snr_db=26.0, rate=48000, meter=PLAIN_METER):
        return compose(
            np.random.default_rng(seed), names, duration_s=duration_s, sample_rate_hz=rate, snr_db=snr_db,
            meter=meter, clean=True,
        )  # fmt: skip

    return make
