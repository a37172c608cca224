"""How strong each emitter is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roomfield.field.posterior import Posterior
from roomfield.field.ranges import Range


@dataclass(frozen=True)
class EmitterPower:
    """Radiated power of one emitter, EIRP while transmitting [W], and its share of time on air."""

    emitter_id: str
    eirp_w: Range
    duty: Range


def emitter_powers(posterior: Posterior) -> tuple[EmitterPower, ...]:
    """Radiated power of every emitter."""
    return tuple(
        EmitterPower(
            name,
            Range.of(10.0 ** (posterior.eirp_db[:, row] / 10.0)),
            Range.of(np.minimum(10.0 ** (posterior.duty_db[:, row] / 10.0), 1.0)),
        )
        for row, name in enumerate(posterior.emitter_ids)
    )
