"""The answer in one sentence: names, a set of names, a bare rate, or that something is there."""

from __future__ import annotations

import numpy as np

from roomfield.references.technologies import technology
from roomfield.signals.features import Evidence
from roomfield.signals.hearing import CLAIM, Heard, HearingAnswer, Periodicity
from roomfield.signals.telegrams import lone_telegrams

SET_CLAIM = 0.7
SET_MEMBER = 0.15
LEAST_LINES = 4
LEAST_BURSTS = 3
UNKNOWN_LOG10 = -12.0
HIGH = 8.0  # of edges over their scatter

# Kinds that are taken for one another: if no member is claimed, but one of them is likely there, the set is the answer.
FAMILIES: tuple[tuple[str, ...], ...] = (
    ("nr_tdd", "nr_fdd"), ("lte_fdd", "lte_tdd"), ("lte_fdd", "lte_tdd", "nr_tdd", "nr_fdd", "nr_ue_tdd"),
    ("wifi_data", "wifi_beacon"), ("smart_meter", "lora", "ism_remote"), ("smart_meter", "ism_remote", "zigbee", "wifi_data"),
    ("dmr", "tetra"),
)  # fmt: skip


def likely_set(chances: dict[str, float]) -> tuple[tuple[str, ...], float]:
    """The smallest family of which one member is likely there, its likely members, and the probability of any of them."""
    best: tuple[tuple[str, ...], float] = ((), 0.0)
    for family in FAMILIES:
        together = 1 - float(np.prod([1 - chances[name] for name in family]))
        members = tuple(name for name in family if chances[name] >= SET_MEMBER)
        if len(members) > 1 and together >= SET_CLAIM and (not best[0] or together > best[1] + 0.1):
            best = (members, together)
    return best


def unknown_rates(periods: tuple[Periodicity, ...]) -> tuple[float, ...]:
    """Certain repetitions that nothing explains [Hz]."""
    return tuple(
        p.frequency_hz
        for p in periods
        if not p.explained_by and p.lines >= LEAST_LINES and p.log10_false_alarm < UNKNOWN_LOG10
    )


def _crisp_bursts(evidence: Evidence) -> int:
    table = evidence.bursts
    return int(np.count_nonzero((table.sharpness > 0.5) & (table.heights > HIGH * table.scatter[0])))


def _lone_telegrams(evidence: Evidence) -> int:
    """Telegrams of which a narrow path has left the edges only: no bursts, but more than noise."""
    lone = lone_telegrams(evidence.residual, evidence.conditioned.sample_rate_hz)
    return lone.count if lone.height > HIGH else 0


def answer_for(
    heard: tuple[Heard, ...], periods: tuple[Periodicity, ...], evidence: Evidence, transmitter: float
) -> HearingAnswer:
    """What is said of the recording as a whole.

    Without a transmitter that is more likely there than not, a repetition is a tone or hum: voices and music repeat too.
    """
    claimed = tuple(h for h in heard if h.claimed)
    rates = unknown_rates(periods) if transmitter >= CLAIM else ()
    if claimed:
        return HearingAnswer("named", tuple(h.name for h in claimed), claimed[0].probability, rates)
    if transmitter >= CLAIM:
        bursts = max(_crisp_bursts(evidence), _lone_telegrams(evidence))
        return _something(heard, rates, bursts, transmitter)
    tones = tuple(p.frequency_hz for p in periods if not p.explained_by)
    if tones:
        return HearingAnswer("tone", rates_hz=tones[:1])
    if any("mains" in p.explained_by for p in periods) or evidence.conditioned.hum_hz:
        return HearingAnswer("mains")
    heard_some = _crisp_bursts(evidence) >= LEAST_BURSTS or _lone_telegrams(evidence) > 0
    return HearingAnswer("sounds" if heard_some else "nothing")


def _something(heard: tuple[Heard, ...], rates: tuple[float, ...], bursts: int, transmitter: float) -> HearingAnswer:
    if rates:
        return HearingAnswer("pulsed", (), transmitter, rates)
    members, together = likely_set({h.name: h.probability for h in heard})
    if members:
        return HearingAnswer("set", members, min(together, transmitter))
    if bursts >= LEAST_BURSTS:
        return HearingAnswer("bursts", (), transmitter, bursts=bursts)
    return HearingAnswer("transmitter", (), transmitter)


def _titles(names: tuple[str, ...]) -> str:
    return " / ".join(technology(name).title for name in names)


def _pulsed(answer: HearingAnswer) -> str:
    return f"unknown pulsed signal at {answer.rates_hz[0]:.4g} Hz"


def verdict_text(answer: HearingAnswer, heard: tuple[Heard, ...], duration_s: float) -> str:
    """The answer as a sentence."""
    if answer.kind == "named":
        named = "; ".join(f"{h.title} ({h.probability:.0%})" for h in heard if h.name in answer.names)
        return f"{named}; {_pulsed(answer)}" if answer.rates_hz else named
    sentences = {
        "pulsed": lambda: _pulsed(answer),
        "set": lambda: f"one of these: {_titles(answer.names)} ({answer.probability:.0%})",
        "bursts": lambda: f"unknown sporadic bursts ({answer.bursts} in {duration_s:.0f} s)",
        "transmitter": lambda: f"a transmitter, kind not told ({answer.probability:.0%})",
        "tone": lambda: f"a tone or hum-like sound at {answer.rates_hz[0]:.4g} Hz, no pulsed signal",
        "mains": lambda: "mains hum and noise, no transmitter heard",
        "sounds": lambda: "sounds without the marks of a transmitter",
        "nothing": lambda: "nothing but noise",
    }
    return sentences[answer.kind]()
