"""Small dwellings for tests of propagation and remedies."""

from __future__ import annotations

from roomfield.survey.dwelling import (
    Dwelling,
    FurnitureBox,
    Layer,
    Opening,
    OpeningKind,
    Room,
    ShieldSheet,
    Slab,
    Storey,
    Wall,
)

BRICK = (Layer("brick", 0.24),)
BOARD = (Layer("plasterboard", 0.0125), Layer("air", 0.05), Layer("plasterboard", 0.0125))
PANE = (Layer("glass", 0.006),)
SHEET = ShieldSheet("mesh", ((0.8e9, 42.0), (6e9, 38.0)), "IEEE 299")


def box_home(*, slabs: bool = True) -> Dwelling:
    """One room of 5 m by 4 m with a window in the south, halved by a board wall with a gap; two boxes."""
    outline = ((0.0, 0.0), (5.0, 0.0), (5.0, 4.0), (0.0, 4.0))

    def wall(name, a, b, openings=(), layers=BRICK, exterior=True):
        return Wall(name, "g", a, b, 0.0, 2.5, layers, exterior, openings)

    window = Opening("window", OpeningKind.WINDOW, 1.0, 2.6, 0.9, 2.1, PANE)
    gap = Opening("gap", OpeningKind.GAP, 0.3, 1.2, 0.0, 2.0)
    plates = (
        Slab("floor", 0.0, (Layer("concrete", 0.18),), (outline,)),
        Slab("ceiling", 2.5, (Layer("concrete", 0.18),), (((0.0, 0.0), (5.0, 0.0), (2.5, 5.0)), outline)),
    )
    return Dwelling(
        storeys=(Storey("g", "ground", 0.0, 2.5, outline),),
        rooms=(Room("room", "room", "g", outline),),
        walls=(
            wall("south", (0.0, 0.0), (5.0, 0.0), (window,)),
            wall("east", (5.0, 0.0), (5.0, 4.0)),
            wall("north", (5.0, 4.0), (0.0, 4.0)),
            wall("west", (0.0, 4.0), (0.0, 0.0)),
            wall("middle", (2.8, 0.0), (3.4, 4.0), (gap,), BOARD, False),
        ),
        slabs=plates if slabs else (),
        furniture=(
            FurnitureBox("fridge", "fridge", (0.1, 3.2, 0.0), (0.7, 3.9, 1.8), Layer("metal", 0.001)),
            FurnitureBox("shelf", "shelf", (4.5, 1.0, 0.0), (4.95, 2.0, 2.0), Layer("chipboard", 0.018)),
        ),
    )
