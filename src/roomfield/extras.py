"""Libraries that not everybody needs: loaded when first used, and named with their extra when they are missing.

An extra is a set of libraries that `pip` installs on request, such as ``pip install 'roomfield[logs]'``.
"""

from __future__ import annotations

from importlib import import_module
from typing import Any

from roomfield.errors import RoomfieldError

EXTRAS = {
    "logs": "Logs of hours and weeks need {library}, which is not installed.",
    "plans": "Plans from DXF and PDF need {library}, which is not installed.",
    "phone": "Phones beside this computer need {library}, which is not installed.",
    "signed": "Signatures need {library}, which is not installed.",
    "sealed": "Packages under a passphrase need {library}, which is not installed.",
    "plots": "Plots on axes need {library}, which is not installed.",
    "science": "Data frames and GeoTIFF need {library}, which is not installed.",
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
            raise MissingExtraError(
                EXTRAS[self._extra].format(library=self._module.partition(".")[0]),
                mend=f"Install the extra: pip install 'roomfield[{self._extra}]'.",
            ) from None
        setattr(self, name, value)
        return value


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
