"""Long series: ingest, gaps, rolling averages, percentiles, day profile, events.

The names below are loaded when first used, so that importing this package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

_HOMES = {
    "guess_mapping": "guess",
    "Mapping": "mapping",
    "Guess": "mapping",
    "Question": "mapping",
    "ingest": "intake",
    "open_series": "log_series",
    "LogSeries": "log_series",
    "IngestReport": "log_series",
    "GapRule": "log_series",
    "statistics": "summary",
    "LogStatistics": "summary",
    "events": "exceedance",
    "Event": "exceedance",
    "timeline": "timeline_envelope",
    "Envelope": "timeline_envelope",
    "day_profile": "profile",
    "week_profile": "profile",
    "Profile": "profile",
    "compare": "periods",
    "PeriodComparison": "periods",
    "change_points": "changes",
    "ChangePoint": "changes",
    "required_duration": "duration",
    "RequiredDuration": "duration",
    "bursts": "pulses",
    "Bursts": "pulses",
    "held_stretches": "held",
    "HeldStretch": "held",
    "analyse_stations": "stations",
    "StationsReport": "stations",
}

__all__ = list(_HOMES)


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(name)
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
