"""What surveyed items must be to be used: drawn, of the right shape, finite, with heights."""

from __future__ import annotations

import difflib
from collections.abc import Iterator

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.errors import Fault
from wrackline.intake.shape_checks import as_outlines, check_heights, check_lines, without_twins
from wrackline.intake.units import metres_in_numbers
from wrackline.verdict import Problems, Source
from wrackline.walls.linework import FLOOR_EVIDENCE

MISSING = "the survey would be missing from the record"
SHAPES = {
    "wall_lines": ("LineString",),
    "floor_points": ("Point",),
    "features": ("Point", "LineString", "Polygon"),
    "probes": ("Point",),
    "trench_outlines": ("Polygon",),
    "finds": ("Point", "Polygon"),
    "picture": ("Polygon",),
}
"""Single shapes that a survey's items may have, by what it holds."""
SHAPES_ALLOWED = {
    "wall_lines": "lines, or polygons whose outlines are walls",
    "floor_points": "points",
    "features": "points, lines or polygons",
    "probes": "points",
    "trench_outlines": "polygons, or closed lines",
    "finds": "points or polygons",
    "picture": "polygons",
}
NEED_HEIGHTS = ("floor_points", "probes")
"""What says nothing without a height."""
MET = ("floor", "rock", "nothing")
"""What a probe can have met."""

DEEPEST_M = 9000.0
"""Vertical numbers beyond these are slips or marks of a missing value."""


def check_items(
    source: Source, items: gpd.GeoDataFrame, seen: int, problems: Problems
) -> gpd.GeoDataFrame:
    """Return the items that can be used, each that can't named with its row.

    Parameters
    ----------
    source : Source
    items : GeoDataFrame
        `ITEM_COLUMNS`, geometry of any kind in the file's own numbers.
    seen : int
        Rows in the file.
    problems : Problems

    Returns
    -------
    GeoDataFrame
        Single shapes of the kinds in `SHAPES`, finite, none twice.
    """
    there = np.array([g is not None and not g.is_empty for g in items.geometry], dtype=bool)
    for row in items["row"][~there]:
        problems.add(_no_shape(source, int(row)))
    items = items[there].explode(ignore_index=True)
    scale = metres_in_numbers(source)
    if source.survey.holds == "wall_lines":
        items = _as_lines(items)
    finite = [np.isfinite(shapely.get_coordinates(g)).all() for g in items.geometry]
    if source.survey.holds == "trench_outlines" and all(finite):
        items = as_outlines(source, items, scale, problems)
    right = items.geom_type.isin(SHAPES[source.survey.holds]).to_numpy(bool)
    for _, item in items[~right].iterrows():
        problems.add(_wrong_shape(source, item.geometry.geom_type, int(item["row"])))
    items = items[right].reset_index(drop=True)
    items = items.iloc[list(_sound(source, items, problems))].reset_index(drop=True)
    if source.survey.holds == "wall_lines":
        items = without_twins(source, items, scale, problems)
    if not len(items) and not problems.fatal:
        problems.add(_no_rows(source, seen))
    if source.survey.holds in ("wall_lines", "features", "finds"):
        check_lines(source, items, scale, problems)
    _check_heights(source, items, problems)
    check_heights(source, items, problems)
    _check_evidence(source, items, problems)
    return items


def _as_lines(items: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return polygons as their rings, lines without points that repeat the one before."""
    shapes, at = [], []
    for k, shape in enumerate(items.geometry):
        rings = [shape.exterior, *shape.interiors] if shape.geom_type == "Polygon" else [shape]
        lines = [_plain(r) if r.geom_type in ("LineString", "LinearRing") else r for r in rings]
        shapes += lines
        at += [k] * len(lines)
    return items.iloc[at].reset_index(drop=True).set_geometry(gpd.GeoSeries(shapes))


def _plain(line: shapely.Geometry) -> shapely.LineString:
    """Return a line without consecutive points at one place; the first of them stays."""
    xyz = shapely.get_coordinates(line, include_z=shapely.has_z(line))
    new = np.r_[True, np.any(np.diff(xyz[:, :2], axis=0) != 0, axis=1)]
    return shapely.LineString(xyz[new] if new.sum() > 1 else xyz[:2])


def _sound(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> Iterator[int]:
    """Yield the places of items whose numbers can be used; name the others."""
    heights = source.survey.holds in NEED_HEIGHTS
    for k, shape in enumerate(items.geometry):
        row = int(items["row"].iloc[k])
        xyz = shapely.get_coordinates(shape, include_z=True)
        if not np.isfinite(xyz[:, :2]).all() or np.isinf(xyz[:, 2]).any():
            problems.add(_not_finite(source, row))
        elif np.abs(xyz[:, 2]).max(initial=0.0, where=np.isfinite(xyz[:, 2])) > DEEPEST_M:
            problems.add(_impossible(source, row, _first(xyz)))
        elif heights and np.isnan(xyz[:, 2]).any():
            problems.add(_floor_without_height(source, row, _first(xyz)))
        elif shape.geom_type == "LineString" and shape.length == 0:
            problems.add(_zero_length(source, row, _first(xyz)))
        else:
            yield k


def _first(xyz: npt.NDArray[np.float64]) -> tuple[float, float]:
    return float(xyz[0, 0]), float(xyz[0, 1])


def _check_heights(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> None:
    """Say where heights are promised and missing."""
    if source.survey.vertical.meaning == "none" or not len(items):
        return
    xyz, item = shapely.get_coordinates(
        items.geometry.to_numpy(), include_z=True, return_index=True
    )
    flat = np.unique(item[~np.isfinite(xyz[:, 2])])
    if len(flat):
        row = int(items["row"].iloc[flat[0]])
        problems.add(_flat(source, len(flat), len(items), row))


def _check_evidence(source: Source, items: gpd.GeoDataFrame, problems: Problems) -> None:
    """Say where a floor's evidence is none of the words by which floors are ranked."""
    if source.survey.holds != "floor_points":
        return
    for text, row in zip(items["evidence"], items["row"], strict=True):
        if text not in FLOOR_EVIDENCE:
            problems.add(_odd_evidence(source, text, int(row)))


def _impossible(source: Source, row: int, at: tuple[float, float]) -> Fault:
    return source.fault(
        "impossible_vertical",
        f"a vertical number beyond ±{DEEPEST_M:g} m",
        f"numbers within ±{DEEPEST_M:g} m",
        "a mark of a missing value would be taken for a height",
        "leave out heights that weren't taken",
        row=row,
        at=at,
    )


def _floor_without_height(source: Source, row: int, at: tuple[float, float]) -> Fault:
    return source.fault(
        "no_height",
        "a floor point or probe without a height",
        "a height at every one of them",
        "the floor's depth would be unknown",
        "export the file with heights (3-D points), or leave the point out",
        row=row,
        at=at,
    )


def _odd_evidence(source: Source, text: object, row: int) -> Fault:
    given = text if isinstance(text, str) else ""
    near = difflib.get_close_matches(given, FLOOR_EVIDENCE, n=1, cutoff=0.5)
    return source.suspicion(
        "odd_evidence",
        f"evidence '{given}'" if given else "no evidence",
        ", ".join(FLOOR_EVIDENCE),
        "the point counts only where no better floor was met",
        f"did you mean '{near[0]}'?" if near else "say in `evidence` how the floor was met",
        row=row,
    )


def _no_shape(source: Source, row: int) -> Fault:
    return source.suspicion(
        "no_shape",
        "a feature without geometry",
        "a drawn line, point or polygon",
        "it is left out",
        "draw it, or delete the empty row",
        row=row,
    )


def _wrong_shape(source: Source, shape: str, row: int) -> Fault:
    holds = source.survey.holds
    return source.fault(
        "wrong_shape",
        f"a {shape}",
        SHAPES_ALLOWED[holds],
        f"it can't be read as one of the survey's {holds.replace('_', ' ')}",
        "mend `holds`, or keep the two kinds in two layers",
        row=row,
    )


def _not_finite(source: Source, row: int) -> Fault:
    return source.fault(
        "not_finite",
        "a coordinate that is no number",
        "finite eastings and northings",
        "the item would lie nowhere",
        "measure or draw it anew",
        row=row,
    )


def _zero_length(source: Source, row: int, at: tuple[float, float]) -> Fault:
    return source.suspicion(
        "zero_length",
        "a line of no length",
        "two points apart",
        "it is left out",
        "a point recorded twice, or the second point missing: check the field book",
        row=row,
        at=at,
    )


def _no_rows(source: Source, seen: int) -> Fault:
    return source.fault(
        "no_rows",
        f"{seen} rows, none of which can be used",
        "at least one",
        MISSING,
        "check the file and `layer`",
    )


def _flat(source: Source, flat: int, count: int, row: int) -> Fault:
    return source.suspicion(
        "no_heights",
        f"{flat} of {count} items have points without a height, though heights are promised",
        "a height at every point, or vertical.meaning: none",
        "their depths stay empty",
        "export the file with heights (3-D lines), or say that it has none",
        row=row,
    )
