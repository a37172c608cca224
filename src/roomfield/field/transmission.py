"""Reflection and transmission of layered plates and thin conducting sheets.

Plane wave on a stack of homogeneous layers, air on both sides: ITU-R P.2040-3 (08/2023), section 2.2.2.2,
in its recursive form. Permittivity and conductivity over frequency: the same document, Table 3.
Thin sheet of surface resistance Rs: SE = 20 log10(1 + Z0 / 2 Rs) at normal incidence (standard thin-sheet
formula), with the wave impedances Z0/cos(angle) for TE and Z0 cos(angle) for TM at oblique incidence.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from roomfield.constants import FREE_SPACE_IMPEDANCE_OHM, SPEED_OF_LIGHT_M_S, VACUUM_PERMITTIVITY_F_M
from roomfield.references.films import LossFilm, film_named
from roomfield.references.materials import DEFAULT_EDITION, material
from roomfield.survey.dwelling import Layer

Array = NDArray[np.float64]
ComplexArray = NDArray[np.complex128]
EMPTY = frozenset({"", "air", "vacuum"})
"""Materials that are nothing at all."""
_LEAST_COSINE = 1e-6
FILM_DEPTH_M = 1e-7
"""Depth that a film is reckoned with, whatever thickness was entered: far under its skin depth [m]."""


class Optics(NamedTuple):
    """Power reflection and transmission of one plate.

    Parameters
    ----------
    transmission : ndarray
        Share of the incident power density that passes; the same from both sides.
    front, back : ndarray
        Share that is thrown back from the first and from the last layer's side.
    """

    transmission: Array
    front: Array
    back: Array


@dataclass(frozen=True)
class Dielectric:
    """What a material is at one frequency.

    Parameters
    ----------
    permittivity : complex
        Relative permittivity, imaginary part negative (time factor exp(+jwt)).
    in_range : bool
        False if the frequency lies outside the range that the table states.
    """

    permittivity: complex
    in_range: bool


def dielectric(name: str, frequency_hz: float, edition: str = DEFAULT_EDITION) -> Dielectric:
    """Complex relative permittivity of a building material.

    Parameters
    ----------
    name : str
        Key of the materials table; underscores may stand for blanks; ``air`` for nothing.
    frequency_hz : float
        Frequency [Hz].
    edition : str
        Edition of the table.

    Returns
    -------
    Dielectric
        With the law carried on beyond its range if need be, and said so.

    Raises
    ------
    UnknownNameError
        If the table has no such material.

    Notes
    -----
    ITU-R P.2040-3, section 2.1.4: imaginary part = conductivity / (2 pi f eps0).
    """
    if name in EMPTY:
        return Dielectric(1.0 + 0.0j, True)
    film = film_named(name)
    if film is not None:
        return Dielectric(_film_permittivity(film, frequency_hz), film.covers(frequency_hz))
    row = material(name.replace("_", " "), edition=edition, frequency_hz=frequency_hz)
    real = row.relative_permittivity(frequency_hz, beyond_range=True)
    sigma = row.conductivity_s_m(frequency_hz, beyond_range=True)
    imaginary = sigma / (2.0 * np.pi * frequency_hz * VACUUM_PERMITTIVITY_F_M)
    return Dielectric(complex(real, -imaginary), row.covers(frequency_hz))


def _film_permittivity(film: LossFilm, frequency_hz: float) -> complex:
    """Of a layer `FILM_DEPTH_M` thick that loses as much as the film.

    A film of sheet resistance R between two half-spaces of air passes 1 / (1 + Z0 / 2R)^2 at normal incidence, as
    `sheet_optics` has it, so that its conductance follows from the loss.
    """
    conductance = 2.0 * (10.0 ** (film.loss_at_db(frequency_hz) / 20.0) - 1.0) / FREE_SPACE_IMPEDANCE_OHM
    sigma = conductance / FILM_DEPTH_M
    return complex(1.0, -sigma / (2.0 * np.pi * frequency_hz * VACUUM_PERMITTIVITY_F_M))


def stack_amplitudes(
    permittivities: Sequence[complex],
    thicknesses_m: Sequence[float],
    frequency_hz: float,
    cosine: ArrayLike,
    *,
    magnetic: bool,
) -> tuple[ComplexArray, ComplexArray]:
    """Amplitude reflection and transmission of a stack of layers in air.

    Parameters
    ----------
    permittivities, thicknesses_m : sequence
        Complex relative permittivity and thickness [m] of each layer, in the order the wave meets them.
    frequency_hz : float
        Frequency [Hz].
    cosine : array_like
        Cosine of the angle of incidence in air.
    magnetic : bool
        True for TM (magnetic field across the plane of incidence), False for TE.

    Returns
    -------
    reflection, transmission : ndarray of complex
        Field amplitudes (TE: electric, TM: magnetic field).

    Notes
    -----
    ITU-R P.2040-3 (08/2023), section 2.2.2.2, recursive method.
    """
    c = np.maximum(np.asarray(cosine, dtype=np.float64), _LEAST_COSINE)
    sine2 = 1.0 - c * c
    wave_number = 2.0 * np.pi * frequency_hz / SPEED_OF_LIGHT_M_S
    media = [1.0 + 0.0j, *permittivities, 1.0 + 0.0j]
    normal = [np.sqrt(complex(eta) - sine2 + 0j) for eta in media]
    admittance = [n / eta for n, eta in zip(normal, media, strict=True)] if magnetic else normal
    depths = [0.0, *thicknesses_m, 0.0]
    reflection: ComplexArray = np.zeros(c.shape, dtype=np.complex128)
    transmission: ComplexArray = np.ones(c.shape, dtype=np.complex128)
    for k in range(len(media) - 2, -1, -1):
        here, there = admittance[k], admittance[k + 1]
        step = np.exp(-1j * wave_number * depths[k + 1] * normal[k + 1])
        single = (here - there) / (here + there)
        below = reflection * step * step
        denominator = 1.0 + single * below
        transmission = transmission * (1.0 + single) * step / denominator
        reflection = (single + below) / denominator
    return reflection, transmission


def stack_optics(
    layers: Sequence[Layer], frequency_hz: ArrayLike, cosine: ArrayLike, edition: str = DEFAULT_EDITION
) -> tuple[Optics, Optics]:
    """Power reflection and transmission of a layered plate for TE and TM.

    Parameters
    ----------
    layers : sequence of Layer
        From front to back; none for an open gap.
    frequency_hz : array_like
        Frequency [Hz]; each one with the material's permittivity there.
    cosine : array_like
        Cosine of the angle of incidence; broadcast against the frequencies.

    Returns
    -------
    te, tm : Optics
        Arrays of the shape that both broadcast to.

    Examples
    --------
    >>> from roomfield.survey import Layer
    >>> te, _ = stack_optics([Layer("concrete", 0.18)], [900e6, 2.45e9, 5.5e9], 1.0)
    >>> (10.0 * np.log10(te.transmission)).round(1)
    array([ -7.3, -13.4, -24. ])
    """
    given = np.asarray(frequency_hz, dtype=np.float64)
    if given.ndim == 0:
        return _optics_at(layers, float(given), cosine, edition)
    f, c = np.broadcast_arrays(given, np.asarray(cosine, dtype=np.float64))
    filled = np.empty((2, 3, *f.shape))
    for one in np.unique(f):
        here = f == one
        for plane, found in zip(filled, _optics_at(layers, float(one), c[here], edition), strict=True):
            plane[:, here] = found.transmission, found.front, found.back
    return Optics(*filled[0]), Optics(*filled[1])


def _optics_at(layers: Sequence[Layer], frequency_hz: float, cosine: ArrayLike, edition: str) -> tuple[Optics, Optics]:
    """The same at one frequency [Hz]."""
    c = np.asarray(cosine, dtype=np.float64)
    etas = [dielectric(x.material, frequency_hz, edition).permittivity for x in layers]
    depths = [FILM_DEPTH_M if film_named(x.material) else x.thickness_m for x in layers]
    both = []
    for magnetic in (False, True):
        front, through = stack_amplitudes(etas, depths, frequency_hz, c, magnetic=magnetic)
        back, _ = stack_amplitudes(etas[::-1], depths[::-1], frequency_hz, c, magnetic=magnetic)
        both.append(Optics(np.abs(through) ** 2, np.abs(front) ** 2, np.abs(back) ** 2))
    return both[0], both[1]


def sheet_optics(attenuation_db: float, coverage: float, cosine: ArrayLike) -> tuple[Optics, Optics]:
    """Power reflection and transmission of a thin conducting sheet for TE and TM.

    Parameters
    ----------
    attenuation_db : float
        Loss of power density at normal incidence, as measured [dB].
    coverage : float
        Share of the area that is covered; the rest is open.
    cosine : array_like
        Cosine of the angle of incidence.

    Returns
    -------
    te, tm : Optics

    Notes
    -----
    With a share ``a`` left open the loss cannot exceed -10 log10(a): power passes area by area.
    """
    c = np.maximum(np.asarray(cosine, dtype=np.float64), _LEAST_COSINE)
    half = 10.0 ** (max(attenuation_db, 0.0) / 20.0) - 1.0
    both = []
    for x in (half / c, half * c):
        through = coverage / (1.0 + x) ** 2 + (1.0 - coverage)
        thrown = coverage * (x / (1.0 + x)) ** 2
        both.append(Optics(through, thrown, thrown))
    return both[0], both[1]


def in_series(first: Optics, second: Optics) -> Optics:
    """Two plates one behind the other, their echoes added in power.

    Parameters
    ----------
    first, second : Optics
        In the order the wave meets them.
    """
    room = 1.0 - first.back * second.front
    return Optics(
        first.transmission * second.transmission / room,
        first.front + first.transmission**2 * second.front / room,
        second.back + second.transmission**2 * first.back / room,
    )
