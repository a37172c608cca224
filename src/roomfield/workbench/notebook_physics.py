"""The physics by itself, for arrays: walls, a dwelling's field, the largest of a scan, an error budget."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.errors import InputError, UnknownNameError
from roomfield.extras import library
from roomfield.field.hand_scan import scan_gain
from roomfield.field.propagation import unit_density
from roomfield.field.scene import Scene
from roomfield.field.transmission import stack_optics
from roomfield.instrument.correct import to_level
from roomfield.references.materials import DEFAULT_EDITION
from roomfield.survey import Dwelling, Layer, Meter, Reading, Survey
from roomfield.survey.emitter import AntennaPattern, Polarisation
from roomfield.workbench.record.job import Job

if TYPE_CHECKING:
    from pandas import DataFrame

pandas = library("pandas", "science")
Array = NDArray[np.float64]
_MIXES = {"te": (1.0, 0.0), "tm": (0.0, 1.0), "both": (0.5, 0.5)}
_COLUMNS = ("x", "y", "z", "frequency_hz", "eirp_w")


def wall_loss_db(
    layers: Sequence[Layer | tuple[str, float]],
    frequency_hz: ArrayLike,
    angle_deg: ArrayLike = 0.0,
    *,
    polarisation: str = "both",
    edition: str = DEFAULT_EDITION,
) -> Array:
    """Loss of power density through a wall, slab or pane, with the echoes between its faces.

    Parameters
    ----------
    layers : sequence of Layer or (material, thickness)
        From front to back; the thickness in m.
    frequency_hz : array_like
        Frequency [Hz].
    angle_deg : array_like
        Angle of incidence from the normal [deg], 0 to 90; broadcast against the frequencies.
    polarisation : str
        "te" (electric field along the wall), "tm", or "both": the mean of their powers.
    edition : str
        Edition of ITU-R P.2040 for the materials.

    Returns
    -------
    ndarray
        Loss [dB], of the shape that both broadcast to.

    Raises
    ------
    UnknownNameError
        If a material or the polarisation is not known.
    InputError
        If an angle lies outside 0 to 90.

    Notes
    -----
    ITU-R P.2040-3 (08/2023), section 2.2.2.2. Outside the range that a material's row states the law is used all the
    same; `roomfield.references.materials` says where it holds.

    Examples
    --------
    >>> import roomfield as rf
    >>> rf.wall_loss_db([("concrete", 0.18)], [900e6, 2.45e9, 5.5e9]).round(1)
    array([ 7.3, 13.4, 24. ])
    >>> rf.wall_loss_db([("glass", 0.004), ("air", 0.016), ("glass", 0.004)], 2.45e9, [[0.0], [60.0]]).shape
    (2, 1)
    """
    if polarisation not in _MIXES:
        raise UnknownNameError("polarisation", polarisation, _MIXES)
    angle = np.asarray(angle_deg, dtype=np.float64)
    if not ((angle >= 0.0) & (angle <= 90.0)).all():
        raise InputError("an angle of incidence lies outside 0 to 90 degrees.", mend="Count it from the normal.")
    made = [one if isinstance(one, Layer) else Layer(*one) for one in layers]
    te, tm = stack_optics(made, frequency_hz, np.cos(np.radians(angle)), edition)
    of_te, of_tm = _MIXES[polarisation]
    return np.asarray(-10.0 * np.log10(of_te * te.transmission + of_tm * tm.transmission))


def scan_maximum_db(frequency_hz: ArrayLike, rice_factor: ArrayLike = 0.0, edge_m: ArrayLike = 0.5) -> Array:
    """How far the largest value that a slow hand scan finds lies above the mean over the scanned cube.

    Parameters
    ----------
    frequency_hz : array_like
        Frequency [Hz].
    rice_factor : array_like
        Power of the strongest path over that of all others; 0 for a field without a strong path (Rayleigh).
    edge_m : array_like
        Edge of the scanned cube [m].

    Returns
    -------
    ndarray
        Median of the largest over the mean [dB], broadcast over the arguments.

    Notes
    -----
    Order statistics of Rice's law over places half a wavelength apart; see `roomfield.field.hand_scan`.

    Examples
    --------
    >>> import roomfield as rf
    >>> bool(rf.scan_maximum_db(2.45e9) > rf.scan_maximum_db(2.45e9, rice_factor=10.0))
    True
    """
    return scan_gain(frequency_hz, rice_factor, edge_m).median_db


def field_at(
    home: Job | Survey | Dwelling,
    emitters: DataFrame | Mapping[str, ArrayLike],
    points: DataFrame | ArrayLike,
    *,
    order: int = 3,
    each: bool = False,
) -> Array:
    """Power density at points of a dwelling from transmitters with known power: the power sum of all paths.

    Parameters
    ----------
    home : Job, Survey or Dwelling
        Walls, slabs, openings and furniture.
    emitters : DataFrame or mapping of columns
        x, y, z [m], frequency_hz [Hz] and eirp_w [W], one row each; vertical dipoles.
    points : DataFrame with x, y, z, or array_like of shape (n, 3)
        Where [m].
    order : int
        Highest number of reflections, 0 to 3.
    each : bool
        True for every transmitter by itself.

    Returns
    -------
    ndarray, shape (n,) or (n, m)
        Power density [W/m²], local mean over some wavelengths.

    Raises
    ------
    InputError
        If a column is missing, or a position is not finite.

    Notes
    -----
    Image method, ITU-R P.2040-3 plates, single diffraction at openings; what it rests on: docs/propagation.md.

    Examples
    --------
    >>> import roomfield as rf
    >>> router = {"x": [1.0], "y": [2.0], "z": [1.0], "frequency_hz": [2.45e9], "eirp_w": [0.1]}
    >>> rf.field_at(rf.open_demo(), router, [[3.0, 2.0, 1.0]]).shape
    (1,)
    """
    table = {name: np.atleast_1d(np.asarray(_column(emitters, name), dtype=np.float64)) for name in _COLUMNS}
    where = points if isinstance(points, np.ndarray | list | tuple) else np.stack(
        [np.asarray(_column(points, axis), dtype=np.float64) for axis in _COLUMNS[:3]], axis=-1
    )  # fmt: skip
    positions = np.stack([table[axis] for axis in _COLUMNS[:3]], axis=-1)
    found = unit_density(
        Scene.from_dwelling(_dwelling_of(home)), positions, table["frequency_hz"], AntennaPattern.VERTICAL_DIPOLE,
        where, polarisation=Polarisation.VERTICAL, order=order,
    ) * table["eirp_w"]  # fmt: skip
    return found if each else np.asarray(found.sum(axis=1))


def _dwelling_of(home: Job | Survey | Dwelling) -> Dwelling:
    if isinstance(home, Job):
        return home.survey.dwelling
    return home.dwelling if isinstance(home, Survey) else home


def _column(table: Any, name: str) -> Any:
    try:
        return table[name]
    except (KeyError, TypeError, IndexError):
        raise InputError(
            f"the column {name!r} is missing.", mend=f"Give {', '.join(_COLUMNS)} of emitters, x, y, z of points."
        ) from None


def error_budget(reading: Reading, meter: Meter, *, frequency_hz: float | None = None) -> DataFrame:
    """What the error of one reading is made of, as a data frame.

    Parameters
    ----------
    reading : Reading
        As written down.
    meter : Meter
        That took it.
    frequency_hz : float, optional
        Of what dominates the reading [Hz]; None for a total over an unknown mix.

    Returns
    -------
    DataFrame
        A row for each part: ``std_db`` [dB], ``shape`` of its distribution, ``shared_by`` (readings with the same
        entry have this error in common; empty for an error of its own), and the ``share`` of the variance.

    Notes
    -----
    JCGM 100:2008 (GUM), 5.1.2, in dB: the variances of independent parts add.

    Examples
    --------
    >>> import roomfield as rf
    >>> survey = rf.open_demo().survey
    >>> budget = rf.error_budget(survey.readings[0], survey.meters[0])
    >>> round(float(budget["share"].sum()), 6)
    1.0
    """
    parts = to_level(reading, meter, frequency_hz=frequency_hz).level.contributions
    variance = sum(part.effective_std_db**2 for part in parts)
    rows = [
        {
            "part": part.name,
            "std_db": part.effective_std_db,
            "shape": part.shape.value,
            "shared_by": part.shared_key,
            "share": part.effective_std_db**2 / variance if variance else 0.0,
        }
        for part in parts
    ]
    return pandas.DataFrame(rows)
