"""Plots on axes of matplotlib, for a notebook; the report's own figures are drawn in `roomfield.show.figures`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roomfield.errors import TooEarlyError
from roomfield.extras import library
from roomfield.show.figures import style
from roomfield.survey import Survey
from roomfield.workbench.model.joint_model import kind_named
from roomfield.workbench.notebook import Findings
from roomfield.workbench.publish.level_maps import MapOrder, ordered_map
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.things import id_named

if TYPE_CHECKING:
    from matplotlib.axes import Axes

pyplot = library("matplotlib.pyplot", "plots")
colors = library("matplotlib.colors", "plots")
_W_TO_UW_DB = 60.0
_CONTOUR_DB = 5.0


def plot_levels(findings: Findings, *, kind: str = "", ax: Axes | None = None) -> Axes:
    """Levels as found, a bar over the interval for each place, on a logarithmic axis.

    Parameters
    ----------
    findings : Findings
        From `roomfield.assess`.
    kind : str
        ``peak``, ``highest_held`` or ``average``; all if empty.
    ax : Axes, optional
        Where to draw; the current axes if left out.

    Returns
    -------
    Axes
        With the places on the left, levels in µW/m².

    Raises
    ------
    TooEarlyError
        If there is no level of this kind.

    Examples
    --------
    >>> import roomfield as rf
    >>> axes = rf.plot_levels(rf.assess(rf.open_demo()), kind="highest_held")
    >>> axes.get_xscale()
    'log'
    """
    wanted = kind_named(kind).value if kind else ""
    rows = [row for row in findings.places if wanted in ("", row.kind)]
    if not rows:
        raise TooEarlyError(f"no {wanted.replace('_', ' ')} was read.", mend="Name another kind.")
    axes = pyplot.gca() if ax is None else ax
    low, median, high = (
        1e6 * np.array([getattr(row, f"{end}_w_m2") for row in rows]) for end in ("low", "median", "high")
    )
    places = np.arange(len(rows))
    axes.hlines(places, low, high, color=style.ACCENT, linewidth=6, alpha=0.45)
    axes.plot(median, places, "|", color=style.INK, markersize=12)
    axes.set_xscale("log")
    axes.set_yticks(places, [f"{row.place}, {row.kind.replace('_', ' ')}" for row in rows])
    axes.invert_yaxis()
    axes.set_xlabel(f"µW/m², {100 * findings.assessment.terms.coverage:g} % interval")
    return axes


def plot_map(
    survey: Job | Survey,
    *,
    visit_id: str | None = None,
    storey: str = "",
    kind: str = "peak",
    step_m: float = 0.25,
    ax: Axes | None = None,
) -> Axes:
    """The map of a storey: the expected level with contour lines every 5 dB, in dB over 1 µW/m².

    Parameters
    ----------
    survey : Job or Survey
        With a plan and readings.
    visit_id : str, optional
        The visit; the first one if left out.
    storey : str
        Name or id; the first one if empty.
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    step_m : float
        Edge of a cell [m].
    ax : Axes, optional
        Where to draw; the current axes if left out.

    Returns
    -------
    Axes
        In metres on the plan. The standard deviation is not drawn; `level_map` writes it.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from.

    Examples
    --------
    >>> import matplotlib.pyplot as plt, roomfield as rf
    >>> axes = rf.plot_map(rf.open_demo(), step_m=1.0, ax=plt.figure().gca())
    >>> axes.get_xlabel()
    'm east on the plan'
    """
    home = survey.survey if isinstance(survey, Job) else survey
    order = MapOrder(kind_named(kind), step_m)
    _, found = ordered_map(home, visit_id, id_named(home, "storey", storey), order)
    level = np.ma.masked_invalid(found.mean_db + _W_TO_UW_DB)
    axes = pyplot.gca() if ax is None else ax
    axes.pcolormesh(found.x_m, found.y_m, level, cmap=_colours(), shading="nearest")
    ends = np.floor(level.min() / _CONTOUR_DB), np.ceil(level.max() / _CONTOUR_DB)
    lines = axes.contour(found.x_m, found.y_m, level, _CONTOUR_DB * np.arange(ends[0], ends[1] + 1),
                         colors=style.INK, linewidths=0.7)  # fmt: skip
    axes.clabel(lines, fmt="%g dB")
    axes.set_aspect("equal")
    axes.set_xlabel("m east on the plan")
    axes.set_ylabel("m plan north")
    return axes


def _colours() -> Any:
    """The one hue that levels have in every figure, from light to dark."""
    return colors.LinearSegmentedColormap.from_list("level", [style.shade(n / 16.0) for n in range(17)])
