"""Rooms by size and side: outlines, shared walls, openings, refusals; what is written is read again."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import Polygon, unary_union

from roomfield.errors import RoomfieldError
from roomfield.exchange.plan_rooms import read_room_text

FLAT = """
Living room 5.2 x 4.1       # the large one
Küche 3 x 4,1 östlich von Living room
Bedroom 4 x 3.5 north of Living room, 0.5 along
window Living room south 1.0 to 2.6
door Bedroom south 0.4 to 1.3
"""


def test_rooms_lie_as_told():
    parts = read_room_text(FLAT)
    boxes = {room.name: Polygon(room.outline).bounds for room in parts.rooms}
    assert boxes == {
        "Living room": (0.0, 0.0, 5.2, 4.1),
        "Küche": (5.2, 0.0, 8.2, 4.1),
        "Bedroom": (0.5, 4.1, 4.5, 7.6),
    }


def test_rooms_that_touch_share_one_wall_and_the_outer_ones_are_outer():
    parts = read_room_text(FLAT)
    between = [w for w in parts.walls if w.start[0] == w.end[0] == 5.2]
    assert [w.exterior for w in between] == [False]
    length = sum(math.dist(w.start, w.end) for w in parts.walls)
    outlines = unary_union([Polygon(r.outline).exterior for r in parts.rooms])
    assert length == pytest.approx(outlines.length)
    assert any(w.exterior for w in parts.walls)


def test_openings_lie_in_the_wall_named():
    walls = [w for w in read_room_text(FLAT).walls if w.openings]
    by_kind = {w.openings[0].kind.value: w for w in walls}
    assert set(by_kind) == {"window", "door"}
    assert by_kind["window"].start[1] == by_kind["window"].end[1] == 0.0
    door = by_kind["door"].openings[0]
    assert door.end_m - door.start_m == pytest.approx(0.9)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("A 3 x 4\nB 3 x 4", "line 2: it is not said where"),
        ("A 3 x 4\nB 3 x 4 east of C", "no room named 'C'"),
        ("A 3 x 4\nB 3 x 4 beside of A", "no side named 'beside'"),
        ("A 3 x 4\nB 3 x 4 east of A\nC 3 x 4 east of A", "overlaps 'B'"),
        ("A 3 x 4\nA 3 x 4 east of A", "named 'A' already"),
        ("A 3 x 4\nwindow A south 1 to 5", "wall is 3 m long"),
        ("A three by four", "is no room"),
        ("A 3000 x 4000", "0.3 to 200 m"),
        ("", "no wall and no room"),
    ],
)
def test_what_cannot_be_is_refused_by_line(text, words):
    with pytest.raises(RoomfieldError, match=words):
        read_room_text(text)


@settings(max_examples=40, deadline=None)
@given(st.lists(st.tuples(st.integers(10, 90), st.integers(10, 90)), min_size=1, max_size=6))
def test_a_row_of_rooms_keeps_every_size(sizes):
    lines = [f"R{n} {w / 10:g} x {d / 10:g}" + (f" east of R{n - 1}" if n else "") for n, (w, d) in enumerate(sizes)]
    rooms = read_room_text("\n".join(lines)).rooms
    found = [(b[2] - b[0], b[3] - b[1]) for b in (Polygon(r.outline).bounds for r in rooms)]
    assert found == [pytest.approx((w / 10, d / 10)) for w, d in sizes]
