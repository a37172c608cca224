"""Surveys of every shape, drawn at random, and a small sound one."""

from __future__ import annotations

import enum
import types
import typing
from dataclasses import fields, is_dataclass
from typing import Any

import pytest
from hypothesis import strategies as st

from roomfield.survey import Meter, Place, RadioState, Survey, Visit


def drawn(kind: Any) -> st.SearchStrategy[Any]:
    """Values of a declared type, every field drawn and none left at its default."""
    if is_dataclass(kind):
        hints = typing.get_type_hints(kind)
        return st.builds(kind, **{field.name: drawn(hints[field.name]) for field in fields(kind)})
    if isinstance(kind, type) and issubclass(kind, enum.Enum):
        return st.sampled_from(kind)
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin is tuple:
        if len(arguments) == 2 and arguments[1] is Ellipsis:
            return st.lists(drawn(arguments[0]), max_size=2).map(tuple)
        return st.tuples(*(drawn(argument) for argument in arguments))
    if origin in (types.UnionType, typing.Union):
        return st.one_of(*(drawn(argument) for argument in arguments))
    return PLAIN[kind]


PLAIN: dict[Any, st.SearchStrategy[Any]] = {
    str: st.text(max_size=8),
    float: st.floats(allow_nan=False, allow_infinity=False),
    int: st.integers(-(2**53), 2**53),
    bool: st.booleans(),
    type(None): st.none(),
}


@pytest.fixture
def surveys() -> st.SearchStrategy[Survey]:
    return drawn(Survey)


@pytest.fixture
def survey() -> Survey:
    return Survey(
        id="Flat 7/b",
        title="An invented flat",
        created_at="2026-03-01T08:00:00+01:00",
        invented=True,
        places=(Place("bed", "Bed, parents"), Place("desk", "Desk")),
        meters=(
            Meter("m1", "invented meter", tolerance_db=6.0, repeatability_db=1.0, floor_w_m2=1e-8, overload_w_m2=2.5),
        ),
        visits=(
            Visit(
                "v1",
                "2026-03-02T10:00:00+01:00",
                "A. Sessor",
                radio_states=(RadioState("found", "As found"), RadioState("quiet", "Router off", ("wlan",))),
            ),
        ),
    )
