"""Invented dwellings in the layout of the benchmark folders (scene.json), varied by a number."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

BRICK, CONCRETE, BOARD = ("brick", 0.24), ("concrete", 0.2), ("plasterboard", 0.025)
GLASS, DOOR, OUTER_DOOR = ("glass", 0.008), ("wood", 0.04), ("wood", 0.05)
MAST = (("mast_800", 0.8e9, 600.0, 0.5), ("mast_1800", 1.8e9, 1000.0, 0.45), ("mast_3500", 3.5e9, 2000.0, 0.25))
SHIELDS = (
    ("shield20_wall", 20, "wall", False), ("shield40_wall", 40, "wall", False), ("shield30_win", 30, "windows", False),
    ("shield30_both", 30, "wall+windows", False), ("shield40_both", 40, "wall+windows", False),
    ("shield40_all_ext", 40, "wall+windows", True),
)  # fmt: skip


class Plan:
    """A scene under construction; lengths in metres, rectangles as x0, y0, x1, y1."""

    def __init__(self, name: str, kind: str, seed: int) -> None:
        self.random = np.random.default_rng(seed)
        self.scene = {
            "schema": "truth-dwelling/1", "units": "m", "axes": "x east, y plan north, z up", "name": name,
            "kind": kind, "storeys": [], "rooms": [], "walls": [], "slabs": [], "furniture": [], "sources": [],
            "places": [], "direction_points": [], "scenarios": [],
        }  # fmt: skip

    def storey(self, number: int, floor: float, ceiling: float, outline) -> None:
        self.scene["storeys"].append(
            {"id": number, "floor_z": floor, "ceiling_z": ceiling, "map_z": floor + 1.2, "outline": corners(outline)}
        )

    def room(self, name: str, storey: int, rect, count: int) -> None:
        """A room with places at random, well off its walls, and one point for bearings."""
        self.scene["rooms"].append({"id": name, "name": name, "storey": storey, "polygon": corners(rect)})
        floor = self.scene["storeys"][storey]["floor_z"]
        x0, y0, x1, y1 = rect
        found: list[np.ndarray] = []
        for _ in range(400):
            spot = self.random.uniform([x0 + 0.4, y0 + 0.4], [x1 - 0.4, y1 - 0.4])
            if len(found) <= count and all(np.hypot(*(spot - p)) > 0.7 for p in found) and self._free(spot):
                found.append(spot)
        for k, spot in enumerate(found):
            height = floor + float(self.random.choice([0.4, 0.6, 0.8, 1.1, 1.4]))
            item = {"storey": storey, "pos": [round(float(x), 2) for x in (*spot, height)]}
            if k < count:
                self.scene["places"].append({"id": f"{name}_{k + 1}", "room": name, "kind": "place", **item})
            else:
                item["pos"][2] = floor + 1.3
                number = len(self.scene["direction_points"]) + 1
                self.scene["direction_points"].append({"id": f"dir{number}", **item})

    def _free(self, spot) -> bool:
        """Not within half a metre of a box."""
        boxes = self.scene["furniture"]
        return not any(
            f["min"][0] - 0.3 < spot[0] < f["max"][0] + 0.3 and f["min"][1] - 0.3 < spot[1] < f["max"][1] + 0.3
            for f in boxes
        )

    def wall(self, name, storey, a, b, build, openings=(), *, exterior=False) -> None:
        level = self.scene["storeys"][storey]
        self.scene["walls"].append({
            "id": name, "storey": storey, "a": list(a), "b": list(b), "z0": level["floor_z"],
            "z1": level["ceiling_z"], "material": build[0], "thickness_m": build[1], "exterior": exterior,
            "inside": 1 if exterior else 0, "openings": [opening(o, level["floor_z"]) for o in openings],
        })  # fmt: skip

    def slab(self, name: str, z: float, build, *rects) -> None:
        self.scene["slabs"].append(
            {"id": name, "z": z, "material": build[0], "thickness_m": build[1], "rects": [list(r) for r in rects]}
        )

    def box(self, name: str, low, high, build) -> None:
        self.scene["furniture"].append(
            {"id": name, "min": list(low), "max": list(high), "material": build[0], "thickness_m": build[1]}
        )

    def source(self, name, kind, pos, frequency_hz, eirp_w, duty, **more) -> None:
        """An emitter; indoor ones are vertical half-wave dipoles and can be switched unless told otherwise."""
        outdoor = more.get("outdoor", False)
        self.scene["sources"].append({
            "id": name, "kind": kind, "group": more.get("group", name), "pos": [round(float(x), 3) for x in pos],
            "frequency_hz": frequency_hz, "eirp_dbm": float(10.0 * np.log10(eirp_w * 1e3)), "eirp_w": eirp_w,
            "pattern": more.get("pattern", "iso_v" if outdoor else "hw_dipole_v"), "polarization": "vertical",
            "duty": duty, "outdoor": outdoor, "switchable": more.get("switchable", not outdoor),
        })  # fmt: skip

    def mast(self, bearing_deg: float, distance_m: float, height_m: float) -> None:
        middle = np.mean(self.scene["storeys"][0]["outline"], axis=0)
        turn = np.radians(bearing_deg)
        x, y = middle + distance_m * np.array([np.sin(turn), np.cos(turn)])
        for name, frequency_hz, eirp_w, duty in MAST:
            self.source(name, "base_station", (x, y, height_m), frequency_hz, eirp_w, duty, group="mast", outdoor=True)
        facing = [
            w["id"] for w in self.scene["walls"] if w["exterior"] and _outward(w) @ (np.sin(turn), np.cos(turn)) > 0.4
        ]
        every = [w["id"] for w in self.scene["walls"] if w["exterior"]]
        for name, db, parts, all_round in SHIELDS:
            walls = every if all_round else facing
            change = {"op": "shield", "walls": walls, "db": db, "parts": parts}
            self.scenario(name, f"-{db} dB sheet, {parts}, on {', '.join(walls)}", change)

    def scenario(self, name: str, description: str, *changes) -> None:
        self.scene["scenarios"].append({"id": name, "description": description, "changes": list(changes)})


def corners(rect) -> list[list[float]]:
    x0, y0, x1, y1 = rect
    return [[x0, y0], [x1, y0], [x1, y1], [x0, y1]]


def opening(item, floor: float) -> dict:
    """(id, kind, s0, s1, z0, z1) over the storey's floor into the layout's record."""
    name, kind, s0, s1, z0, z1 = item
    material, thickness = {"window": GLASS, "door": DOOR, "entrance": OUTER_DOOR, "gap": ("air", 0.0)}[kind]
    return {
        "id": name, "kind": "door" if kind == "entrance" else kind, "s0": s0, "s1": s1, "z0": floor + z0,
        "z1": floor + z1, "material": material, "thickness_m": thickness,
    }  # fmt: skip


def _outward(wall: dict) -> np.ndarray:
    along = np.array(wall["b"], dtype=float) - np.array(wall["a"], dtype=float)
    return np.array([along[1], -along[0]]) / np.linalg.norm(along)


def _shell(plan: Plan, storey: int, rect, build, openings, prefix: str) -> None:
    """Four exterior walls, anticlockwise, the inside on the left; openings by side s, e, n, w."""
    points = corners(rect)
    for k, side in enumerate("senw"):
        plan.wall(
            f"{prefix}{side}", storey, points[k], points[(k + 1) % 4], build, openings.get(side, ()), exterior=True
        )


def house(seed: int) -> dict:
    """Two storeys of brick, a timber floor with a stair well between them, a tiled roof on board."""
    p = Plan(f"house_{seed}", "two-storey house", seed)
    r = p.random
    w, d = round(float(r.uniform(8.0, 9.6)), 1), round(float(r.uniform(7.0, 8.2)), 1)
    mx, my = round(w * 0.55, 1), round(d * 0.52, 1)
    p.storey(0, 0.0, 2.55, (0, 0, w, d))
    p.storey(1, 2.75, 5.2, (0, 0, w, d))
    p.box("fridge", (w - 0.8, d - 0.9, 0.0), (w - 0.15, d - 0.2, 1.8), ("metal", 0.001))
    p.box("wardrobe", (0.15, d - 2.2, 2.75), (0.75, d - 0.3, 4.85), ("chipboard", 0.018))
    low = {"s": [("win_a", "window", 1.0, 3.2, 0.2, 2.1), ("win_b", "window", w - 2.6, w - 1.0, 0.9, 2.1)],
           "n": [("win_c", "window", 1.0, 2.4, 0.9, 2.1)], "w": [("entry", "entrance", 1.2, 2.2, 0.0, 2.05)]}  # fmt: skip
    high = {"s": [("win_d", "window", 1.2, 2.6, 0.9, 2.1), ("win_e", "window", w - 2.6, w - 1.2, 0.9, 2.1)],
            "e": [("win_f", "window", d - 2.4, d - 1.4, 1.1, 2.1)], "n": [("win_g", "window", w - 3.0, w - 1.6, 0.9, 2.1)]}  # fmt: skip
    _shell(p, 0, (0, 0, w, d), BRICK, low, "g_")
    _shell(p, 1, (0, 0, w, d), BRICK, high, "u_")
    p.wall("g_mid", 0, (mx, 0), (mx, my), ("brick", 0.115), [("d_liv", "door", 2.0, 2.9, 0.0, 2.0)])
    p.wall(
        "g_cross",
        0,
        (0, my),
        (w, my),
        ("brick", 0.115),
        [("d_hall", "gap", 1.0, 2.0, 0.0, 2.05), ("d_kit", "door", w - 1.5, w - 0.6, 0.0, 2.0)],
    )
    p.wall("g_kit", 0, (mx, my), (mx, d), BOARD)
    p.wall(
        "u_cross",
        1,
        (0, my),
        (w, my),
        BOARD,
        [("d_b1", "door", 1.4, 2.3, 0.0, 2.0), ("d_b2", "door", w - 2.0, w - 1.1, 0.0, 2.0)],
    )
    p.wall("u_mid", 1, (mx, 0), (mx, my), BOARD)
    p.wall("u_bath", 1, (mx, my), (mx, d), ("brick", 0.115), [("d_bath", "door", 0.4, 1.2, 0.0, 2.0)])
    p.slab("ground", 0.0, ("concrete", 0.2), (0, 0, w, d))
    p.slab(
        "between",
        2.65,
        ("wood", 0.06),
        (0, 0, w, my),
        (0, my, mx - 1.6, d),
        (mx, my, w, d),
        (mx - 1.6, my + 2.2, mx, d),
    )
    p.slab("attic", 5.2, ("plasterboard", 0.025), (0, 0, w, d))
    for name, storey, rect, count in (
        ("living", 0, (0, 0, mx, my), 6), ("study", 0, (mx, 0, w, my), 3), ("hall", 0, (0, my, mx, d), 3),
        ("kitchen", 0, (mx, my, w, d), 4), ("bed1", 1, (0, 0, mx, my), 5), ("bed2", 1, (mx, 0, w, my), 4),
        ("landing", 1, (0, my, mx, d), 3), ("bath", 1, (mx, my, w, d), 2),
    ):  # fmt: skip
        p.room(name, storey, rect, count)
    at = np.array([0.5, my - 0.5, 0.9])
    p.source("router_24", "wlan_router", at, 2.45e9, 0.1, 0.12, group="router")
    p.source("router_5", "wlan_router", at + np.array([0.06, 0.0, 0.0]), 5.5e9, 0.2, 0.08, group="router")
    p.source("dect", "cordless_base", (w - 0.5, 0.6, 3.7), 1.89e9, 0.25, 0.042)
    p.source("monitor", "baby_monitor", (mx + 0.6, my - 0.5, 3.6), 2.44e9, 0.1, 0.6)
    p.source("neighbour", "wlan_router", (-6.0, d * 0.4, 1.4), 2.43e9, 0.1, 0.1, outdoor=True, pattern="hw_dipole_v")
    p.mast(float(r.uniform(100, 200)), float(r.uniform(120, 260)), 22.0)
    _moves(p, "router", (w - 0.6, my + 0.6, 1.6))
    p.scenario("off_monitor", "monitor unplugged", {"op": "off", "source": "monitor"})
    return p.scene


def studio(seed: int) -> dict:
    """One room and a bath in concrete, one glazed front."""
    p = Plan(f"studio_{seed}", "one-room flat, concrete", seed)
    r = p.random
    w, d = round(float(r.uniform(4.4, 5.4)), 1), round(float(r.uniform(6.0, 7.2)), 1)
    p.storey(0, 0.0, 2.5, (0, 0, w, d))
    p.box("fridge", (0.15, d - 1.4, 0.0), (0.75, d - 0.75, 1.6), ("metal", 0.001))
    p.box("shelf", (w - 0.5, 2.0, 0.0), (w - 0.15, 3.6, 2.0), ("chipboard", 0.018))
    sides = {
        "s": [("front", "window", 0.6, w - 0.6, 0.4, 2.3)],
        "n": [("entry", "entrance", w - 1.4, w - 0.4, 0.0, 2.05)],
    }
    _shell(p, 0, (0, 0, w, d), CONCRETE, sides, "")
    p.wall("bath_s", 0, (w - 2.0, d - 2.4), (w, d - 2.4), ("concrete", 0.1))
    p.wall("bath_w", 0, (w - 2.0, d - 2.4), (w - 2.0, d), BOARD, [("d_bath", "door", 0.5, 1.3, 0.0, 2.0)])
    p.slab("floor", 0.0, ("concrete", 0.2), (0, 0, w, d))
    p.slab("ceiling", 2.5, ("concrete", 0.2), (0, 0, w, d))
    p.room("main", 0, (0, 0, w, d - 2.4), 14)
    p.room("kitchen", 0, (0, d - 2.4, w - 2.0, d), 3)
    p.room("bath", 0, (w - 2.0, d - 2.4, w, d), 2)
    p.source("router_24", "wlan_router", (0.5, 0.6, 0.7), 2.45e9, 0.1, 0.12, group="router")
    p.source("router_5", "wlan_router", (0.56, 0.6, 0.7), 5.5e9, 0.2, 0.08, group="router")
    p.source("dect", "cordless_base", (w - 0.4, d - 3.0, 1.0), 1.89e9, 0.25, 0.042)
    p.source("meter", "smart_meter", (-0.3, d - 1.0, 1.6), 0.8683e9, 0.025, 0.01, switchable=False, pattern="iso_v")
    p.mast(float(r.uniform(150, 210)), float(r.uniform(80, 200)), 25.0)
    _moves(p, "router", (w - 0.4, d - 2.9, 1.9))
    p.scenario("off_dect", "cordless base unplugged", {"op": "off", "source": "dect"})
    return p.scene


def bungalow(seed: int) -> dict:
    """One storey of timber frame under a metal roof, a mast outside."""
    p = Plan(f"bungalow_{seed}", "bungalow, metal roof", seed)
    r = p.random
    w, d = round(float(r.uniform(10.0, 12.5)), 1), round(float(r.uniform(7.0, 8.4)), 1)
    mx, my = round(w * 0.45, 1), round(d * 0.5, 1)
    p.storey(0, 0.0, 2.7, (0, 0, w, d))
    p.box("fridge", (0.2, my + 0.2, 0.0), (0.85, my + 0.9, 1.8), ("metal", 0.001))
    p.box("wardrobe", (w - 0.75, 0.3, 0.0), (w - 0.15, 2.0, 2.1), ("chipboard", 0.018))
    sides = {"s": [("win_a", "window", 1.0, 3.4, 0.4, 2.2), ("win_b", "window", w - 3.4, w - 1.6, 0.9, 2.2)],
             "e": [("win_c", "window", d - 2.6, d - 1.2, 0.9, 2.2)],
             "n": [("win_d", "window", 1.4, 2.8, 0.9, 2.2), ("win_e", "window", w - 3.0, w - 1.6, 1.0, 2.2)],
             "w": [("entry", "entrance", d - 1.6, d - 0.6, 0.0, 2.05)]}  # fmt: skip
    _shell(p, 0, (0, 0, w, d), ("wood", 0.12), sides, "ext_")
    p.wall(
        "a",
        0,
        (mx, 0),
        (mx, d),
        BOARD,
        [("d_a", "gap", 1.2, 2.2, 0.0, 2.05), ("d_b", "door", d - 1.6, d - 0.7, 0.0, 2.0)],
    )
    p.wall("b", 0, (0, my), (mx, my), BOARD, [("d_c", "door", 1.8, 2.7, 0.0, 2.0)])
    p.wall(
        "c",
        0,
        (mx, my),
        (w, my),
        BOARD,
        [("d_d", "door", 0.8, 1.7, 0.0, 2.0), ("d_e", "door", w - mx - 1.5, w - mx - 0.6, 0.0, 2.0)],
    )
    p.wall("e", 0, (w - 3.2, my), (w - 3.2, d), BOARD)
    p.slab("floor", 0.0, ("concrete", 0.15), (0, 0, w, d))
    p.slab("roof", 2.7, ("metal", 0.0007), (0, 0, w, d))
    for name, rect, count in (
        ("living", (0, 0, mx, my), 7), ("kitchen", (0, my, mx, d), 5), ("bed1", (mx, 0, w, my), 6),
        ("bed2", (mx, my, w - 3.2, d), 4), ("bath", (w - 3.2, my, w, d), 3),
    ):  # fmt: skip
        p.room(name, 0, rect, count)
    p.source("router_24", "wlan_router", (mx - 0.4, 0.7, 1.1), 2.45e9, 0.1, 0.12, group="router")
    p.source("router_5", "wlan_router", (mx - 0.34, 0.7, 1.1), 5.5e9, 0.2, 0.08, group="router")
    p.source("dect", "cordless_base", (mx + 0.5, d - 0.5, 1.0), 1.89e9, 0.25, 0.042)
    p.source("meter", "smart_meter", (w + 0.25, d * 0.4, 1.5), 0.8683e9, 0.025, 0.01, switchable=False, pattern="iso_v")
    p.mast(float(r.uniform(0, 360)), float(r.uniform(150, 400)), 30.0)
    _moves(p, "router", (0.5, d - 0.6, 1.8))
    p.scenario("off_dect", "cordless base unplugged", {"op": "off", "source": "dect"})
    return p.scene


def _moves(plan: Plan, group: str, to) -> None:
    """Scenarios in which the two bands of a router are moved, or off."""
    bands = [s["id"] for s in plan.scene["sources"] if s["group"] == group]
    moves = [{"op": "move", "source": b, "pos": [round(to[0] + 0.06 * k, 3), *to[1:]]} for k, b in enumerate(bands)]
    plan.scenario(f"move_{group}", f"{group} moved", *moves)
    plan.scenario(f"off_{group}", f"{group} switched off", *({"op": "off", "source": b} for b in bands))


PLANS: dict[str, Callable[[int], dict]] = {"house": house, "studio": studio, "bungalow": bungalow}
