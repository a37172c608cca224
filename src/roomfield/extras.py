"""Libraries that not everybody needs: loaded when first used, and named with their extra when they are missing.

An extra is a set of libraries that `pip` installs on request, such as ``pip install 'roomfield[logs]'``.
"""

from __future__ import annotations

from importlib import import_module
from importlib.util import find_spec
from typing import Any

from roomfield.errors import RoomfieldError

JOB = ("logs", "pdf", "phone", "plans", "sound", "workbooks")
"""The extras that a job from the visit to the report uses; ``roomfield[job]`` brings them all."""
EXTRAS = {
    "pdf": "PDF needs {library}, which is not installed.",
    "workbooks": "Workbooks (.xlsx, .xls, .ods) need {library}, which is not installed.",
    "sound": "Recordings of the meter's sound need {library}, which is not installed.",
    "logs": "Logs of hours and weeks need {library}, which is not installed.",
    "plans": "Plans from DXF and PDF need {library}, which is not installed.",
    "phone": "Phones beside this computer need {library}, which is not installed.",
    "signed": "Signatures need {library}, which is not installed.",
    "sealed": "Packages under a passphrase need {library}, which is not installed.",
    "soundcard": "Sound from a sound card needs {library}, which is not installed.",
    "plots": "Plots on axes need {library}, which is not installed.",
    "sigmf": "I/Q recordings (SigMF) need {library}, which is not installed.",
    "geo": "GeoPackage needs {library}, which is not installed.",
    "ifc": "Plans from IFC need {library}, which is not installed.",
    "photos": "Photos from a file need {library}, which is not installed.",
    "touchstone": "Cables as two-ports (Touchstone) need {library}, which is not installed.",
    "science": "Data frames, labelled arrays and GeoTIFF need {library}, which is not installed.",
}
"""What is said when a library of an extra is missing."""


class MissingExtraError(RoomfieldError):
    """A library is not installed that this needs and others do not."""


class Library:
    """A library that stands for itself until it is used.

    Parameters
    ----------
    module : str
        Dotted name.
    extra : str
        The extra that brings it; one of `EXTRAS`.
    """

    def __init__(self, module: str, extra: str) -> None:
        self._module, self._extra = module, extra

    def __getattr__(self, name: str) -> Any:
        try:
            value = getattr(import_module(self._module), name)
        except ModuleNotFoundError as fault:
            if (fault.name or "").partition(".")[0] != self._module.partition(".")[0]:
                raise
            raise missing(self._module.partition(".")[0], self._extra) from None
        setattr(self, name, value)
        return value


def _mend(extra: str) -> str:
    command = f"pip install 'roomfield[{extra}]'"
    if extra in JOB:
        return f"Install all that a job uses: pip install 'roomfield[job]'; or this alone: {command}."
    return f"Install the extra: {command}."


def missing(name: str, extra: str) -> MissingExtraError:
    """What is raised when a library of an extra is not there.

    Parameters
    ----------
    name : str
        The library.
    extra : str
        The extra that brings it; one of `EXTRAS`.
    """
    return MissingExtraError(EXTRAS[extra].format(library=name), mend=_mend(extra))


def require(module: str, extra: str) -> None:
    """Refuse now what would be refused at the end of a long calculation.

    Parameters
    ----------
    module : str
        Name of the library, which is looked for and not loaded.
    extra : str
        The extra that brings it; one of `EXTRAS`.

    Raises
    ------
    MissingExtraError
        If the library is not installed.
    """
    if find_spec(module) is None:
        raise missing(module, extra)


def library(module: str, extra: str) -> Any:
    """A library that is loaded when something of it is first asked for.

    Parameters
    ----------
    module : str
        Dotted name.
    extra : str
        The extra that brings it; one of `EXTRAS`.
    """
    return Library(module, extra)
