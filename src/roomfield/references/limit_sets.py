"""What a limit is: a set of laws of frequency, and the value it gives."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from itertools import pairwise

from roomfield.errors import RangeError
from roomfield.quantities.convert import field_from_power_density, power_density_from_field
from roomfield.references.source import Authority, Source
from roomfield.references.table import SOURCE, STANDING, column

POWER_DENSITY, ELECTRIC_FIELD = "power_density", "electric_field"
QUANTITIES = (POWER_DENSITY, ELECTRIC_FIELD)
TIERS = ("general_public", "occupational")
SCOPES = ("whole_body", "local")
_HZ = {"MHz": 1e6, "GHz": 1e9}
_EQUIVALENT = "plane-wave equivalent; the document states no limit of this quantity here"


@dataclass(frozen=True)
class LimitLaw:
    """One row of a table of limits: ``coefficient * f**exponent`` over a range of frequency.

    Parameters
    ----------
    set_id : str
        Set the row belongs to.
    source : Source
        Document, edition, clause, how known.
    f_low_hz, f_high_hz : float
        Range [Hz]: above the lower edge, up to and including the upper one.
    quantity : str
        "power_density" [W/m²] or "electric_field" [V/m].
    coefficient, exponent : float
        Of the law, with f in ``frequency_unit``.
    averaging_min, averaging_exponent : float
        Averaging time ``averaging_min * f**averaging_exponent`` [min]; None if it is no time average.
    """

    set_id: str = column("set")
    source: Source = SOURCE
    f_low_hz: float = column("f_low_mhz", scale=1e6, low=0.0)
    f_high_hz: float = column("f_high_mhz", scale=1e6, low=0.0)
    quantity: str = column(choices=QUANTITIES)
    coefficient: float = column(low=1e-12)
    exponent: float = column(low=-4.0, high=4.0)
    frequency_unit: str = column(choices=tuple(_HZ))
    averaging_min: float | None = column(low=0.0, blank=True)
    averaging_exponent: float | None = column(blank=True)
    note: str = column(blank=True)

    def _frequency(self, frequency_hz: float) -> float:
        return frequency_hz / _HZ[self.frequency_unit]

    def value(self, frequency_hz: float) -> float:
        """Limit in the unit of ``quantity``; the range is not checked."""
        return self.coefficient * float(self._frequency(frequency_hz) ** self.exponent)

    def value_w_m2(self, frequency_hz: float) -> float:
        """Limit as power density [W/m²], by plane-wave equivalence if it is a field limit."""
        value = self.value(frequency_hz)
        return value if self.quantity == POWER_DENSITY else float(power_density_from_field(value))

    def averaging_s(self, frequency_hz: float) -> float | None:
        """Averaging time [s]; None if the document averages over no time."""
        if self.averaging_min is None:
            return None
        return 60.0 * self.averaging_min * float(self._frequency(frequency_hz) ** (self.averaging_exponent or 0.0))


@dataclass(frozen=True)
class LimitValue:
    """A limit at one frequency, or the smallest one of a band, with all a report says of it.

    Parameters
    ----------
    value_w_m2 : float
        Power density [W/m²].
    value_v_m : float
        Field strength [V/m]; both are plane-wave equivalents of each other unless the document states both.
    averaging_s : float or None
        Averaging time [s]; None if the document averages over no time.
    equivalent : bool
        True if the quantity asked for is not stated by the document and follows from the other one.
    band_hz : (float, float) or None
        Meter's band if this is the smallest limit in it; None for a limit at one frequency.
    uncovered_hz : tuple of (float, float)
        Parts of that band for which the set gives no limit.
    spot_testable : bool
        False if a spot reading of the total cannot test it; ``spot_note`` says why.
    pulse_w_m2 : float or None
        Limit of the mean over a pulse [W/m²], an extra condition beside the average; None if none is stated.
    """

    value_w_m2: float
    value_v_m: float
    averaging_s: float | None
    document: str
    edition: str
    clause: str
    how_known: str
    standing: Authority
    set_id: str
    jurisdiction: str
    tier: str
    scope: str
    kind: str
    frequency_hz: float
    equivalent: bool = False
    band_hz: tuple[float, float] | None = None
    uncovered_hz: tuple[tuple[float, float], ...] = ()
    spot_testable: bool = True
    spot_note: str = ""
    from_memory: bool = False
    pulse_w_m2: float | None = None
    note: str = ""

    @property
    def source(self) -> Source:
        """The citation."""
        return Source(self.document, self.edition, self.clause, self.how_known)

    @property
    def is_smallest_in_band(self) -> bool:
        """True if the frequency was unknown and the smallest limit in the meter's band was taken."""
        return self.band_hz is not None


@dataclass(frozen=True)
class LimitSet:
    """A set of limits: one document, edition, tier, scope and kind.

    Parameters
    ----------
    set_id : str
        Stable name, such as "icnirp-2020-public-whole-body".
    jurisdiction : str
        ISO 3166 code, or "EU", "ICNIRP", "IEEE", or "user".
    edition_key : str
        Short edition for `lookup`, such as "2020".
    in_force : bool
        False for what has been replaced or repealed.
    default : bool
        True for the set that `lookup` takes if nothing narrower is asked.
    pulse_factor : float or None
        Highest power density of a pulse over the limit of the average, where the document states one; how it
        is known stands in ``pulse_how``.
    installations_only : bool
        True if the document binds fixed installations such as masts, and not the devices in a home (from memory).
    laws : tuple of LimitLaw
        Rows of the table.
    """

    set_id: str = column("id")
    jurisdiction: str = column()
    title: str = column()
    source: Source = SOURCE
    edition_key: str = column()
    tier: str = column(choices=TIERS)
    scope: str = column(choices=SCOPES)
    kind: str = column()
    standing: Authority = STANDING
    standing_note: str = column(blank=True)
    place: str = column(blank=True)
    in_force: bool = column(blank=True)
    default: bool = column(blank=True)
    spot_testable: bool = column(blank=True)
    spot_note: str = column(blank=True)
    summation: str = column(blank=True)
    pulse_factor: float | None = column(low=1.0, blank=True)
    pulse_how: str = column(blank=True)
    installations_only: bool = column(blank=True)
    laws: tuple[LimitLaw, ...] = field(default=(), metadata={"row": False})

    @property
    def range_hz(self) -> tuple[float, float]:
        """Lowest and highest frequency [Hz] with a limit."""
        return min(law.f_low_hz for law in self.laws), max(law.f_high_hz for law in self.laws)

    def law_at(self, frequency_hz: float, quantity: str = POWER_DENSITY) -> LimitLaw | None:
        """The row that rules at a frequency [Hz]: of the quantity if there is one, else of the other."""
        for wanted in (quantity, *(q for q in QUANTITIES if q != quantity)):
            found = _ruling(frequency_hz, [law for law in self.laws if law.quantity == wanted])
            if found is not None:
                return found
        return None

    def at(self, frequency_hz: float, quantity: str = POWER_DENSITY) -> LimitValue:
        """Limit at one frequency.

        Parameters
        ----------
        frequency_hz : float
            Frequency [Hz].
        quantity : str
            "power_density" or "electric_field".

        Raises
        ------
        RangeError
            If the set gives no limit there.
        """
        law = self.law_at(frequency_hz, quantity)
        if law is None:
            raise RangeError(
                "frequency",
                frequency_hz,
                self.range_hz,
                "Hz",
                where=self.title,
                mend="Choose another set of limits for this frequency.",
            )
        return self._value(law, frequency_hz, quantity)

    def smallest_in_band(self, low_hz: float, high_hz: float) -> LimitValue:
        """Smallest power-density limit of a band: what a reading of unknown frequency is held against.

        Parameters
        ----------
        low_hz, high_hz : float
            The meter's band [Hz].

        Raises
        ------
        RangeError
            If the set gives no limit over any part of the band.
        """
        best: tuple[float, float, LimitLaw] | None = None
        uncovered: list[tuple[float, float]] = []
        for start, end in _pieces(low_hz, high_hz, self.laws):
            law = self.law_at(0.5 * (start + end))
            if law is None:
                uncovered.append((start, end))
                continue
            candidates = [(law.value_w_m2(f), f, law) for f in (end, start)]
            best = min([*candidates, *([best] if best else [])], key=lambda c: c[0])
        if best is None:
            raise RangeError(
                "the meter's band, lower edge",
                low_hz,
                self.range_hz,
                "Hz",
                where=self.title,
                mend="This set gives no limit across the band; name the emitters' frequencies instead.",
            )
        value = self._value(best[2], best[1], POWER_DENSITY)
        return replace(value, band_hz=(low_hz, high_hz), uncovered_hz=_joined(uncovered))

    def _value(self, law: LimitLaw, frequency_hz: float, quantity: str) -> LimitValue:
        density = law.value_w_m2(frequency_hz)
        stated = law.quantity == quantity
        companion = self.law_at(frequency_hz, ELECTRIC_FIELD)
        has_field = companion is not None and companion.quantity == ELECTRIC_FIELD
        field_v_m = (
            companion.value(frequency_hz) if companion and has_field else float(field_from_power_density(density))
        )
        if not stated and quantity == ELECTRIC_FIELD:
            field_v_m = float(field_from_power_density(density))
        note = "; ".join(part for part in ("" if stated else _EQUIVALENT, law.note) if part)
        return LimitValue(
            value_w_m2=density,
            value_v_m=field_v_m,
            averaging_s=law.averaging_s(frequency_hz),
            document=law.source.document,
            edition=law.source.edition,
            clause=law.source.clause,
            how_known=law.source.how,
            standing=self.standing,
            set_id=self.set_id,
            jurisdiction=self.jurisdiction,
            tier=self.tier,
            scope=self.scope,
            kind=self.kind,
            frequency_hz=frequency_hz,
            equivalent=not stated,
            spot_testable=self.spot_testable,
            spot_note=self.spot_note,
            from_memory=law.source.from_memory,
            pulse_w_m2=None if self.pulse_factor is None else self.pulse_factor * density,
            note=note,
        )


def _ruling(frequency_hz: float, laws: Iterable[LimitLaw]) -> LimitLaw | None:
    """The row whose range holds the frequency; an edge belongs to the lower row, the lowest to its own."""
    for law in laws:
        if law.f_low_hz < frequency_hz <= law.f_high_hz:
            return law
    return next((law for law in laws if law.f_low_hz == frequency_hz), None)


def _pieces(low_hz: float, high_hz: float, laws: Iterable[LimitLaw]) -> list[tuple[float, float]]:
    edges = {low_hz, high_hz}
    for law in laws:
        edges.update(f for f in (law.f_low_hz, law.f_high_hz) if low_hz < f < high_hz)
    ordered = sorted(edges)
    return list(pairwise(ordered))


def _joined(ranges: Iterable[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    joined: list[tuple[float, float]] = []
    for start, end in ranges:
        if joined and joined[-1][1] == start:
            joined[-1] = (joined[-1][0], end)
        else:
            joined.append((start, end))
    return tuple(joined)
