"""What was measured, as the model's absolute answers are tied to it."""

from __future__ import annotations

from functools import lru_cache

from roomfield.errors import TooEarlyError
from roomfield.field.measured import Tie, tie
from roomfield.field.posterior import Posterior
from roomfield.quantities import Kind, UncertainLevel
from roomfield.workbench.assess.place_levels import LevelTable, level_table


@lru_cache(maxsize=16)
def tie_of(posterior: Posterior, kind: Kind) -> Tie:
    """Factors from the model's levels to those measured as found; places that were not read share the common one.

    A place of which only the other kind of instantaneous power was read is tied by that, so that its level is the
    measured one times the model's ratio of the two.

    Parameters
    ----------
    posterior : Posterior
        From `roomfield.workbench.model.joint_model.posterior_of`.
    kind : Kind
        Of the levels.
    """
    try:
        table = level_table(posterior.survey, posterior.visit_id)
    except TooEarlyError:
        return tie(posterior, {}, kind=kind)
    found = _tied_by(posterior, table, kind)
    if kind.instantaneous:
        other = Kind.PEAK if kind is Kind.HIGHEST_HELD else Kind.HIGHEST_HELD
        found = found.with_more(_tied_by(posterior, table, other))
    return found


def _tied_by(posterior: Posterior, table: LevelTable, kind: Kind) -> Tie:
    measured: dict[str, UncertainLevel] = {}
    for item in table.levels:
        if item.state_id == table.base_state.id and item.kind is kind:
            measured.setdefault(item.place_id, item.combined.level)
    return tie(posterior, measured, kind=kind, state=table.base_state)
