"""An invented log: the meter left beside the cot for four days, one value every fifteen seconds."""

from __future__ import annotations

import io

import numpy as np

LOG_NAME = "cot-four-days-invented.csv"
SEED = 20260315
STEP_S = 15.0
HOURS = 100
_START = np.datetime64("2026-03-14T12:00:00")
_STEADY_UW_M2 = 900.0
"""What the unknown transmitter near the cot makes all the time [µW/m²]: most of the average read there by hand."""
_QUIET_UW_M2 = 130.0
"""Lowest hourly mean of the mast and the neighbours [µW/m²]; made up."""


def overnight_csv() -> bytes:
    """The log as the invented meter wrote it: UTC, average power density in µW/m².

    A transmitter near by that never rests, a mast that is busier in the evening,
    a router that is used by day, a neighbour who comes and goes.
    """
    rng = np.random.default_rng(SEED)
    count = round(HOURS * 3600.0 / STEP_S)
    hour = 12.0 + np.arange(count) * STEP_S / 3600.0
    of_day = hour % 24.0
    mast_db = 2.5 * np.exp(-(((of_day - 20.5 + 12.0) % 24.0 - 12.0) ** 2) / 10.0)
    drift_db = np.cumsum(rng.normal(0.0, 0.01, count))
    mast = _QUIET_UW_M2 * 10.0 ** ((mast_db + drift_db - drift_db.mean()) / 10.0)
    used = (of_day > 6.5) & (of_day < 22.5)
    router = np.where(used, rng.gamma(0.4, 150.0, count), rng.gamma(0.4, 15.0, count))
    noise = 10.0 ** (rng.normal(0.0, 0.4, count) / 10.0)
    values = (_STEADY_UW_M2 + mast + router) * noise
    stamps = _START + (np.arange(count) * STEP_S * 1000.0).astype("timedelta64[ms]")
    text = io.StringIO()
    text.write("time (UTC),average [uW/m2]\n")
    for stamp, value in zip(stamps, values, strict=True):
        text.write(f"{np.datetime_as_string(stamp, unit='s')}Z,{value:.4g}\n")
    return text.getvalue().encode("ascii")
