"""Emitters in and around dwellings, published levels, positions of mainstream bodies, rules of practice."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from roomfield.errors import UnknownNameError
from roomfield.quantities.convert import density_from_eirp
from roomfield.references.source import Source
from roomfield.references.table import SOURCE, column, load_csv


@dataclass(frozen=True)
class EmitterType:
    """A kind of emitter: powers are EIRP [W], duty is the fraction of time it transmits."""

    name: str = column("source")
    place: str = column()
    f_low_hz: float = column("f_low_mhz", scale=1e6, low=0.0)
    f_high_hz: float = column("f_high_mhz", scale=1e6, low=0.0)
    eirp_max_w: float | None = column("eirp_max_mw", scale=1e-3, low=0.0, blank=True)
    eirp_typical_w: float | None = column("eirp_typical_mw", scale=1e-3, low=0.0, blank=True)
    duty_low: float = column(low=0.0, high=1.0)
    duty_high: float = column(low=0.0, high=1.0)
    time_pattern: str = column()
    source: Source = SOURCE

    def burst_density_w_m2(self, distance_m: float) -> float | None:
        """Typical free-space power density [W/m²] during a burst, at a distance [m].

        None if it is not an EIRP source. Closer than about 0.3 m it is an order of magnitude only
        (near field).
        """
        if self.eirp_typical_w is None:
            return None
        return float(density_from_eirp(self.eirp_typical_w, distance_m))

    def overlaps(self, low_hz: float, high_hz: float) -> bool:
        """True if any part of its range lies in a band [Hz]."""
        return self.f_low_hz <= high_hz and self.f_high_hz >= low_hz


@dataclass(frozen=True)
class ServiceBand:
    """A band in which radio services are found in Europe [Hz]; ``services`` as guidelines name them, with blanks."""

    name: str = column("band")
    services: str = column(blank=True)
    low_hz: float = column("f_low_mhz", scale=1e6, low=0.0)
    high_hz: float = column("f_high_mhz", scale=1e6, low=0.0)
    source: Source = SOURCE


@dataclass(frozen=True)
class PublishedLevel:
    """A level from the literature [W/m²]; means of V/m squared are not means of power density."""

    situation: str = column()
    as_published: str = column()
    low_w_m2: float = column("low_uw_m2", scale=1e-6, low=0.0)
    high_w_m2: float = column("high_uw_m2", scale=1e-6, low=0.0)
    source: Source = SOURCE


@dataclass(frozen=True)
class BodyPosition:
    """What a mainstream body holds, in our own words."""

    body: str = column()
    source: Source = SOURCE
    position: str = column()


@dataclass(frozen=True)
class PracticeRule:
    """One rule of measurement practice."""

    topic: str = column()
    rule: str = column()
    value: str = column()
    unit: str = column()
    source: Source = SOURCE


@dataclass(frozen=True)
class TimeVariability:
    """Spread of a service's level over 24 h [dB], for the budget of a spot reading."""

    service: str = column()
    spread_db: float = column(low=0.0)
    source: Source = SOURCE
    note: str = column(blank=True)


@dataclass(frozen=True)
class SchemePoint:
    """One point of a spatial scheme: sideways offset [m] and height above the floor [m]."""

    scheme: str = column()
    title: str = column()
    point: float = column(low=1.0)
    x_m: float = column()
    height_m: float = column(low=0.0)
    source: Source = SOURCE
    note: str = column(blank=True)


@dataclass(frozen=True)
class Extrapolation:
    """How a selective reading is extrapolated to full traffic; a broadband meter cannot do it."""

    technology: str = column()
    measured_reference: str = column()
    formula: str = column()
    factor_meaning: str = column()
    typical_factor: str = column()
    source: Source = SOURCE


@dataclass(frozen=True)
class RegisterEntry:
    """One entry of the evidence register that ``how`` refers to."""

    evidence_id: str = column("id")
    what: str = column()
    where: str = column()
    confirms: str = column()


@cache
def emitters() -> tuple[EmitterType, ...]:
    """All kinds of emitters."""
    return load_csv(EmitterType, "emitters", "emitters.csv")


def emitter(name: str) -> EmitterType:
    """One kind of emitter by its name.

    Raises
    ------
    UnknownNameError
        If there is none of that name.
    """
    for item in emitters():
        if item.name == name:
            return item
    raise UnknownNameError("emitter", name, (item.name for item in emitters()))


@cache
def service_bands() -> tuple[ServiceBand, ...]:
    """Bands of radio services in Europe, rising in frequency; none overlaps the next."""
    return load_csv(ServiceBand, "service-bands", "bands.csv")


@cache
def published_levels() -> tuple[PublishedLevel, ...]:
    """Levels from the literature, for orientation."""
    return load_csv(PublishedLevel, "emitters", "published-levels.csv")


@cache
def mainstream_positions() -> tuple[BodyPosition, ...]:
    """Positions of mainstream bodies; a report that shows a guideline shows these."""
    return load_csv(BodyPosition, "mainstream-positions", "positions.csv")


@cache
def practice_rules(topic: str | None = None) -> tuple[PracticeRule, ...]:
    """Rules of measurement practice, all or of one topic."""
    rules = load_csv(PracticeRule, "practice", "rules.csv")
    return tuple(rule for rule in rules if topic in (None, rule.topic))


@cache
def time_variability(service: str) -> TimeVariability:
    """Spread of one service over a day.

    Raises
    ------
    UnknownNameError
        If nothing is known of the service.
    """
    rows = {row.service: row for row in load_csv(TimeVariability, "practice", "time-variability.csv")}
    if service not in rows:
        raise UnknownNameError("service with a known spread over a day", service, rows)
    return rows[service]


@cache
def scheme_points(scheme: str) -> tuple[SchemePoint, ...]:
    """Points of a spatial scheme: "single", "three", "six" or "twenty".

    Raises
    ------
    UnknownNameError
        If there is no such scheme.
    """
    rows = load_csv(SchemePoint, "practice", "spatial-schemes.csv")
    found = tuple(row for row in rows if row.scheme == scheme)
    if not found:
        raise UnknownNameError("spatial scheme", scheme, {row.scheme for row in rows})
    return found


@cache
def extrapolations() -> tuple[Extrapolation, ...]:
    """Extrapolations to full traffic."""
    return load_csv(Extrapolation, "practice", "extrapolation.csv")


@cache
def evidence() -> dict[str, RegisterEntry]:
    """The evidence register by identifier."""
    return {item.evidence_id: item for item in load_csv(RegisterEntry, "evidence", "evidence.csv")}
