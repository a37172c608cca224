"""From a meter's audio to the transmitters behind it.

``analyse`` hears a file or samples, ``analyse_folder`` a folder, ``StreamingAnalyser`` a stream; ``Hearing`` is the
answer. The names load on first use, so that importing the package costs nothing.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from roomfield.signals.analysis import analyse, warm_up
    from roomfield.signals.folder import FileAnswer, analyse_folder
    from roomfield.signals.hearing import Heard, Hearing, MeterAudio, Periodicity
    from roomfield.signals.live import LiveAnswer, StreamingAnalyser

_HOMES = {
    "analyse": "analysis", "warm_up": "analysis", "FileAnswer": "folder", "analyse_folder": "folder",
    "Heard": "hearing", "Hearing": "hearing", "MeterAudio": "hearing", "Periodicity": "hearing",
    "LiveAnswer": "live", "StreamingAnalyser": "live",
}  # fmt: skip

__all__ = [
    "FileAnswer",
    "Heard",
    "Hearing",
    "LiveAnswer",
    "MeterAudio",
    "Periodicity",
    "StreamingAnalyser",
    "analyse",
    "analyse_folder",
    "warm_up",
]


def __getattr__(name: str) -> Any:
    if name not in _HOMES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"{__name__}.{_HOMES[name]}"), name)
