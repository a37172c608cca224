"""points: levels between the points of a site that has no plan."""

from __future__ import annotations

from dataclasses import asdict
from typing import TYPE_CHECKING, Annotated

import typer

from roomfield.cli.console import AsJson, answer, echo, table
from roomfield.cli.terminal_numbers import microwatts, span

if TYPE_CHECKING:
    from roomfield.workbench.model.levels_from_points import PointLevels


def register(app: typer.Typer) -> None:
    """Add the verb."""
    app.command()(points)


def points(
    file: Annotated[
        str, typer.Argument(help="CSV or XLSX: x, y, z in metres, one column of readings with its unit; empty to ask.")
    ],
    emitters: Annotated[str, typer.Option(help="Table of known transmitters: emitter, x, y, z in metres.")] = "",
    as_json: AsJson = False,
) -> None:
    """Say the levels between the points of a site without a plan, and where its transmitters stand."""
    from roomfield.workbench.model.levels_from_points import levels_from_points

    found = levels_from_points(file, emitters or None)
    answer(as_json, asdict(found), lambda: _show(found))


def _show(found: PointLevels) -> None:
    echo(f"From {found.readings} readings at points; no walls are known, so intervals are wide.")
    rows = [
        (str(one.line), ", ".join(f"{c:g}" for c in one.xyz), one.emitter, microwatts(one.median_w_m2),
         span(one.low_w_m2, one.high_w_m2))
        for one in found.levels
    ]  # fmt: skip
    if rows:
        table("What a reading would show there, µW/m²", ("line", "x, y, z", "source", "level", "90%"), rows)
    for one in found.sought:
        x, y = one.centre_m
        echo(
            f"{one.emitter or 'The source'}: most likely near x = {x:.1f} m, y = {y:.1f} m; "
            f"the smallest area that holds it with 90% is {one.area_m2:.0f} m²"
        )
        if one.outside_deg is not None:
            echo(
                f"  That area reaches the edge of what was searched: it may also stand outside, towards "
                f"{one.outside_deg:.0f}° clockwise from the y axis. Read points farther out there."
            )
