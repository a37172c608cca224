"""Actions that make no sense together: what one silences, another need not move, weaken or schedule."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from roomfield.survey import Action, ActionKind

SILENCING = frozenset({ActionKind.SWITCH_OFF, ActionKind.WIRE_INSTEAD})
"""After these a transmitter is silent for good."""


def with_exclusions(actions: Sequence[Action]) -> tuple[Action, ...]:
    """The actions, each with all those that it excludes besides what the record says.

    Parameters
    ----------
    actions : sequence of Action
        What can be chosen from.
    """
    return tuple(
        replace(one, excludes=tuple(dict.fromkeys((*one.excludes, *(o.id for o in actions if _idle_together(one, o))))))
        for one in actions
    )


def _idle_together(one: Action, other: Action) -> bool:
    """Whether one of two actions would be paid for nothing beside the other."""
    if one.id == other.id:
        return False
    return _silences(one, other) or _silences(other, one) or _moves_twice(one, other)


def _silences(one: Action, other: Action) -> bool:
    acted_on = set(other.emitter_ids)
    return one.kind in SILENCING and bool(acted_on) and acted_on <= set(one.emitter_ids)


def _moves_twice(one: Action, other: Action) -> bool:
    if one.kind is not other.kind:
        return False
    if one.kind is ActionKind.MOVE_PLACE:
        return one.place_id == other.place_id
    return one.kind is ActionKind.RELOCATE_EMITTER and bool(set(one.emitter_ids) & set(other.emitter_ids))
