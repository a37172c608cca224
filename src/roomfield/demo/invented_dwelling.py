"""An invented terraced house of two storeys: 8.4 m by 7.2 m, every figure made up.

Ground storey: living room, kitchen, hall. Upper storey: parents' room, child's room, study, bathroom.
"""

from __future__ import annotations

from roomfield.survey import (
    Dwelling,
    FurnitureBox,
    Layer,
    Opening,
    OpeningKind,
    Place,
    PlaceKind,
    Point2,
    Room,
    Slab,
    Storey,
    Wall,
)

WIDTH_M, DEPTH_M = 8.4, 7.2
GROUND, UPPER = "ground", "upper"
_HEIGHTS = {GROUND: (0.0, 2.5), UPPER: (2.7, 5.1)}
_OUTLINE: tuple[Point2, ...] = ((0.0, 0.0), (WIDTH_M, 0.0), (WIDTH_M, DEPTH_M), (0.0, DEPTH_M))
_BRICK, _PARTY = (Layer("brick", 0.24),), (Layer("concrete", 0.2),)
_LIGHT, _SOLID = (Layer("plasterboard", 0.025),), (Layer("brick", 0.115),)
_GLASS, _WOOD = (Layer("glass", 0.008),), (Layer("wood", 0.04),)


def _window(name: str, start_m: float, end_m: float, sill_m: float, head_m: float) -> Opening:
    return Opening(name, OpeningKind.WINDOW, start_m, end_m, sill_m, head_m, _GLASS)


def _door(name: str, start_m: float, end_m: float, floor_m: float) -> Opening:
    return Opening(name, OpeningKind.DOOR, start_m, end_m, floor_m, floor_m + 2.0, _WOOD)


def _wall(
    name: str,
    storey: str,
    start: Point2,
    end: Point2,
    layers: tuple[Layer, ...],
    *openings: Opening,
    exterior: bool = False,
) -> Wall:
    base, top = _HEIGHTS[storey]
    return Wall(name, storey, start, end, base, top, layers, exterior, openings)


def _ground_walls() -> tuple[Wall, ...]:
    south = (_window("g_win_living", 1.0, 3.4, 0.4, 2.1), _window("g_win_kitchen", 6.0, 7.4, 1.0, 2.1))
    return (
        _wall("g_south", GROUND, (0, 0), (WIDTH_M, 0), _BRICK, *south, exterior=True),
        _wall("g_east", GROUND, (WIDTH_M, 0), (WIDTH_M, DEPTH_M), _PARTY, exterior=True),
        _wall(
            "g_north",
            GROUND,
            (WIDTH_M, DEPTH_M),
            (0, DEPTH_M),
            _BRICK,
            _door("g_front_door", 2.0, 3.0, 0.0),
            _window("g_win_hall", 5.2, 6.4, 1.0, 2.1),
            exterior=True,
        ),
        _wall("g_west", GROUND, (0, DEPTH_M), (0, 0), _PARTY, exterior=True),
        _wall("g_living_kitchen", GROUND, (5.0, 0), (5.0, 4.4), _SOLID),
        _wall("g_living_hall", GROUND, (0, 4.4), (5.0, 4.4), _SOLID, _door("g_door_living", 3.2, 4.1, 0.0)),
        _wall(
            "g_kitchen_hall",
            GROUND,
            (5.0, 4.4),
            (WIDTH_M, 4.4),
            _LIGHT,
            _door("g_door_kitchen", 0.5, 1.4, 0.0),
        ),
    )


def _upper_walls() -> tuple[Wall, ...]:
    south = (_window("u_win_parents", 1.2, 3.0, 3.6, 4.8), _window("u_win_child", 5.6, 7.2, 3.6, 4.8))
    return (
        _wall("u_south", UPPER, (0, 0), (WIDTH_M, 0), _BRICK, *south, exterior=True),
        _wall("u_east", UPPER, (WIDTH_M, 0), (WIDTH_M, DEPTH_M), _PARTY, exterior=True),
        _wall(
            "u_north",
            UPPER,
            (WIDTH_M, DEPTH_M),
            (0, DEPTH_M),
            _BRICK,
            _window("u_win_study", 1.2, 2.6, 3.6, 4.8),
            _window("u_win_bath", 5.8, 6.6, 4.0, 4.8),
            exterior=True,
        ),
        _wall("u_west", UPPER, (0, DEPTH_M), (0, 0), _PARTY, exterior=True),
        _wall("u_parents_child", UPPER, (4.4, 0), (4.4, 4.0), _LIGHT),
        _wall("u_parents_landing", UPPER, (0, 4.0), (4.4, 4.0), _LIGHT, _door("u_door_parents", 3.0, 3.9, 2.7)),
        _wall("u_child_study", UPPER, (4.4, 4.0), (WIDTH_M, 4.0), _LIGHT),
        _wall("u_landing_study", UPPER, (4.4, 4.0), (4.4, DEPTH_M), _LIGHT, _door("u_door_study", 0.4, 1.3, 2.7)),
        _wall("u_bath", UPPER, (3.4, 5.2), (3.4, DEPTH_M), _SOLID),
        _wall("u_bath_landing", UPPER, (0, 5.2), (3.4, 5.2), _SOLID, _door("u_door_bath", 2.2, 3.0, 2.7)),
    )


def _box(low: Point2, high: Point2) -> tuple[Point2, ...]:
    return (low, (high[0], low[1]), high, (low[0], high[1]))


def demo_dwelling() -> Dwelling:
    """The invented house."""
    concrete = (Layer("concrete", 0.18),)
    return Dwelling(
        storeys=tuple(
            Storey(name, f"{name.capitalize()} storey", *_HEIGHTS[name], _OUTLINE) for name in (GROUND, UPPER)
        ),
        rooms=(
            Room("living", "Living room", GROUND, _box((0, 0), (5.0, 4.4))),
            Room("kitchen", "Kitchen", GROUND, _box((5.0, 0), (WIDTH_M, 4.4))),
            Room("hall", "Hall", GROUND, _box((0, 4.4), (WIDTH_M, DEPTH_M))),
            Room("parents", "Parents' room", UPPER, _box((0, 0), (4.4, 4.0))),
            Room("child", "Child's room", UPPER, _box((4.4, 0), (WIDTH_M, 4.0))),
            Room("study", "Study", UPPER, _box((4.4, 4.0), (WIDTH_M, DEPTH_M))),
            Room("bath", "Bathroom", UPPER, _box((0, 5.2), (3.4, DEPTH_M))),
        ),
        walls=_ground_walls() + _upper_walls(),
        slabs=(
            Slab("slab_ground", 0.0, concrete, (_OUTLINE,)),
            Slab("slab_upper", 2.6, concrete, (_OUTLINE,)),
            Slab("roof", 5.1, (Layer("wood", 0.03), Layer("plasterboard", 0.025)), (_OUTLINE,)),
        ),
        furniture=(FurnitureBox("fridge", "Fridge", (7.7, 3.6, 0.0), (8.3, 4.3, 1.8), Layer("metal", 0.001)),),
        north_deg=20.0,
    )


def demo_places() -> tuple[Place, ...]:
    """Where the invented people sleep, sit and work."""
    upper, ground = UPPER, GROUND
    return (
        Place(
            "bed_left",
            "Parents' bed, left pillow",
            PlaceKind.BED,
            "parents",
            upper,
            (1.0, 3.3, 3.3),
            8.0,
            0.0,
        ),
        Place(
            "bed_right",
            "Parents' bed, right pillow",
            PlaceKind.BED,
            "parents",
            upper,
            (1.9, 3.3, 3.3),
            8.0,
            0.0,
        ),
        Place("cot", "Child's cot", PlaceKind.COT, "child", upper, (7.7, 3.3, 3.2), 11.0, 2.0),
        Place("play", "Child's play mat", PlaceKind.PLAY, "child", upper, (5.8, 1.6, 3.0), 0.0, 3.0),
        Place("desk", "Desk in the study", PlaceKind.DESK, "study", upper, (7.4, 5.0, 3.8), 0.0, 7.0),
        Place("sofa", "Sofa", PlaceKind.SOFA, "living", ground, (1.2, 2.6, 0.8), 0.0, 3.0),
        Place("table", "Dining table", PlaceKind.TABLE, "kitchen", ground, (6.4, 2.0, 1.0), 0.0, 2.0),
    )
