"""Labelled arrays for a notebook: the map, the draws behind it, and a plan from a frame with geometries."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import ArrayLike

from roomfield.errors import FormatError, TooEarlyError
from roomfield.exchange.plan_drawing import PlanDrawing, PlanOptions, assemble
from roomfield.exchange.plan_geojson import as_metres, draw_feature, feature_of, plane_around
from roomfield.extras import library
from roomfield.field.export import map_to_netcdf
from roomfield.field.posterior import levels_at
from roomfield.quantities import Kind
from roomfield.survey import Dwelling, Survey
from roomfield.workbench.model.joint_model import kind_named, posterior_of
from roomfield.workbench.publish.level_maps import MapOrder, ordered_map
from roomfield.workbench.record.job import Job
from roomfield.workbench.record.things import id_named

if TYPE_CHECKING:
    from pandas import DataFrame
    from xarray import Dataset

xarray = library("xarray", "science")
_WHERE = "the frame"


def map_arrays(
    survey: Job | Survey,
    *,
    visit_id: str | None = None,
    storey: str = "",
    kind: str = "peak",
    step_m: float = 0.25,
    bound_w_m2: float | None = None,
) -> Dataset:
    """The map of a storey as labelled arrays, as `level_map` writes them to NetCDF.

    Parameters
    ----------
    survey : Job or Survey
        With readings and a plan.
    visit_id : str, optional
        The visit; the first one if left out.
    storey : str
        Name or id; the first one if empty.
    kind : str
        ``peak``, ``highest_held`` or ``average``.
    step_m : float
        Edge of a cell [m].
    bound_w_m2 : float, optional
        Also the probability of exceeding this [W/m²].

    Returns
    -------
    Dataset
        ``mean_db`` [dB re 1 W/m²] and ``std_db`` [dB] over y and x [m], and ``probability_over_bound`` if asked for;
        not a number outside the storey.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from.

    Examples
    --------
    >>> import roomfield as rf
    >>> found = rf.map_arrays(rf.open_demo(), step_m=1.0)
    >>> found["mean_db"].dims, found["mean_db"].attrs["units"]
    (('y', 'x'), 'dB re 1 W/m2')
    """
    home = survey.survey if isinstance(survey, Job) else survey
    order = MapOrder(kind_named(kind), step_m, bound_w_m2)
    _, found = ordered_map(home, visit_id, id_named(home, "storey", storey), order)
    with xarray.open_dataset(io.BytesIO(map_to_netcdf(found)), engine="scipy") as made:
        return made.load()


def level_draws(
    survey: Job | Survey,
    points: ArrayLike | None = None,
    *,
    visit_id: str | None = None,
    kind: str = "peak",
    state: str = "",
) -> Dataset:
    """Draws of the level at places or points, as the one posterior has them: what every interval is read off.

    Parameters
    ----------
    survey : Job or Survey
        With readings and a plan.
    points : array_like, shape (n, 3), optional
        Where [m]; the places that stand on the plan if left out.
    visit_id : str, optional
        The visit; the first one if left out.
    kind : str
        ``peak``, ``highest_held`` or ``average``; of peak and highest held the largest about a point.
    state : str
        Radio state, by id; nothing off if empty.

    Returns
    -------
    Dataset
        ``density_w_m2`` over draw and place, ``by_source_w_m2`` over draw, source and place [W/m²]; ``to_netcdf``
        writes it, and draws of one call belong together row by row.

    Raises
    ------
    TooEarlyError
        If there is nothing to infer from, or no place stands on the plan.

    Examples
    --------
    >>> import roomfield as rf
    >>> draws = rf.level_draws(rf.open_demo(), kind="highest_held")
    >>> draws["density_w_m2"].dims
    ('draw', 'place')
    >>> bool((draws["density_w_m2"] > 0).all())
    True
    """
    home = survey.survey if isinstance(survey, Job) else survey
    placed = [place for place in home.places if place.position is not None]
    where = np.array([place.position for place in placed]) if points is None else np.asarray(points, dtype=np.float64)
    if not where.size:
        raise TooEarlyError("no place stands on the plan.", where=home.title, mend="Put the places on the plan.")
    posterior, wanted = posterior_of(home, visit_id), Kind(kind_named(kind))
    found = levels_at(posterior, where.reshape(-1, 3), kind=wanted, state=state or None)
    names = {emitter.id: emitter.name for emitter in posterior.survey.emitters}
    labels = [place.name for place in placed] if points is None else [str(n) for n in range(len(found.density_w_m2[0]))]
    unit = {"units": "W m-2", "kind": wanted.value}
    return xarray.Dataset(
        {
            "density_w_m2": (("draw", "place"), found.density_w_m2, {**unit, "long_name": "level"}),
            "by_source_w_m2": (
                ("draw", "source", "place"), found.by_emitter_w_m2, {**unit, "long_name": "local mean by source"},
            ),
        },
        coords={
            "place": labels,
            "source": [names.get(one, one) for one in found.emitter_ids],
            **{axis: ("place", where.reshape(-1, 3)[:, n], {"units": "m"}) for n, axis in enumerate("xyz")},
        },
        attrs={"Conventions": "CF-1.8", "title": home.title, "seed": posterior.seed},
    )  # fmt: skip


def plan_from_frame(frame: DataFrame, *, ceiling_m: float = 2.5, storey: str = "Storey") -> Dwelling:
    """A dwelling from a frame with geometries: lines are walls, polygons rooms, unless a column ``kind`` says else.

    Parameters
    ----------
    frame : GeoDataFrame, or DataFrame with a column ``geometry`` of Shapely geometries
        Columns that are read where they are there: kind, name, material with thickness_m, or build_up, exterior,
        sill_m, head_m; as a plan in GeoJSON has them. In metres, unless its reference system is one of degrees.
    ceiling_m : float
        Height of the storey [m].
    storey : str
        Its name.

    Raises
    ------
    FormatError
        If there is no geometry, a row is wrong, or its size cannot be that of a dwelling.

    Examples
    --------
    >>> import pandas as pd, roomfield as rf
    >>> from shapely import LineString
    >>> walls = [LineString([(0, 0), (4, 0)]), LineString([(4, 0), (4, 3)])]
    >>> home = rf.plan_from_frame(pd.DataFrame({"geometry": walls, "build_up": "brick 0.24"}))
    >>> len(home.walls), home.walls[0].layers[0].material
    (2, 'brick')
    """
    if "geometry" not in frame:
        raise FormatError("it has no column 'geometry'.", where=_WHERE, mend="Give Shapely geometries in it.")
    features = [_feature(row) for row in frame.to_dict("records")]
    system: Any = getattr(frame, "crs", None)
    to_plan = plane_around(features, _WHERE) if system is not None and system.is_geographic else as_metres
    drawing = PlanDrawing()
    for number, feature in enumerate(features):
        draw_feature(feature, drawing, to_plan, f"{_WHERE}: row {number}")
    options = PlanOptions(storey_name=storey, ceiling_m=ceiling_m)
    return assemble(drawing, options, _WHERE).added_to(Dwelling())


def _feature(row: dict[Any, Any]) -> dict[str, Any]:
    """A row as GeoJSON has it; what is not a number or missing is left out."""
    given = {str(name): value for name, value in row.items() if name != "geometry" and value is not None}
    plain = {n: v.item() if isinstance(v, np.generic) else v for n, v in given.items()}
    kept = {name: value for name, value in plain.items() if not (isinstance(value, float) and np.isnan(value))}
    return feature_of(row["geometry"], kept)
