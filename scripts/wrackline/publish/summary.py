"""The site in figures: counts, areas, lengths, depths and axes, each with what it rests on.

Sums and means over rooms rest on shared errors. How much of them is shared can't be told from the
tables, so their sd is that of errors shared in full, which none can exceed (GUM 5.2.2, note 1:
fully correlated input adds linearly); the basis says so.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import contract
from wrackline.crs import grid_factors
from wrackline.drawn_marks import are_marks
from wrackline.publish.tables import json_rows
from wrackline.quantities import MISSING, SIGNS, fixed, measured, rounded
from wrackline.rooms.figures import axial_mean
from wrackline.rooms.kinds import COURT, LANE, ROOM, UNKNOWN

Array = npt.NDArray[np.float64]

SQUARE_M_PER_HA = 10_000.0
FULL = "sd as if all errors were shared, which is the most that it can be"
LEAST_GAP_DEG, LEAST_BUILDINGS = 15.0, 3
"""Axes fall into two families only across two gaps as wide, each family with as many buildings,
its axes spread over less than half of the narrower gap (no source)."""

LEAST_LENGTH = 1e-12
"""Mean vectors are taken to be as long at least, so that every spread is a number."""


@dataclass(frozen=True)
class Figure:
    """One figure of the summary; `value` None says in `basis` why it is missing."""

    figure: str
    text: str
    value: float | int | str | None
    basis: str
    sd: float | None = None
    unit: str = ""

    @property
    def shown(self) -> str:
        """The figure as printed."""
        if isinstance(self.value, str):
            return self.value
        if self.value is None:
            return MISSING
        if self.unit == "share":
            return f"{fixed(100 * self.value, 1)} %"
        if isinstance(self.value, int):
            return f"{self.value:d}"
        if self.sd is None:
            sign = SIGNS.get(self.unit, self.unit)
            return _three_digits(self.value) + ("" if sign == "°" else " ") + sign
        return measured(self.value, self.sd, self.unit)

    def record(self) -> dict[str, Any]:
        """Return the figure as `contract.TABLES["summary"]` has it, missing numbers as None."""
        return {name: getattr(self, name) for name in contract.table_columns("summary")}


def _three_digits(value: float) -> str:
    """Return a figure of which no uncertainty is known, to three digits.

    >>> _three_digits(930.105), _three_digits(0.17849), _three_digits(0.0), _three_digits(1234.5)
    ('930', '0.178', '0.00', '1230')
    """
    return fixed(value, 2 - int(np.floor(np.log10(abs(value)))) if value else 2)


def summarise(plan: Mapping[str, gpd.GeoDataFrame], deposit: pd.DataFrame) -> list[Figure]:
    """Return the figures of a site, in the order in which they are printed.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The layers `contract.PLAN_LAYERS`, and `surveys` and `waterlines`.
    deposit : DataFrame
        The table of deposit over floors met, `deposit.csv`.
    """
    rooms, walls, buildings = plan["rooms"], plan["wall_lines"], plan["buildings"]
    scale = _scale(plan["surveys"])
    return [
        _ground(plan["surveys"], scale),
        *_counts(rooms, buildings),
        *_areas(rooms, buildings),
        *_wall_lengths(walls),
        *_openings(plan["openings"]),
        *_depths(rooms, walls),
        *orientation(buildings),
        *_deposit(deposit),
        *_features(plan["features"]),
        *_waterlines(plan["waterlines"], scale),
    ]


def summary_table(figures: Iterable[Figure]) -> pd.DataFrame:
    """Return the figures as a table, the fields of `contract.TABLES["summary"]`."""
    rows = [figure.record() for figure in figures]
    return pd.DataFrame(rows, columns=list(contract.table_columns("summary")), dtype=object)


def techniques_of(surveys: gpd.GeoDataFrame) -> list[dict[str, Any]]:
    """Return one record a technique: its surveys, what they hold, first and last day.

    Parameters
    ----------
    surveys : GeoDataFrame
        The layer `surveys`.
    """
    return [
        {
            "technique": str(technique),
            "surveys": sorted(mine["survey"]),
            "holds": sorted(set(mine["holds"])),
            "from_date": min(mine["from_date"]),
            "to_date": max(mine["to_date"]),
            "rows": int(mine["rows"].sum()),
        }
        for technique, mine in surveys.groupby("technique", sort=True)
    ]


def document(
    figures: Iterable[Figure], tables: Mapping[str, pd.DataFrame], surveys: gpd.GeoDataFrame
) -> dict[str, Any]:
    """Return what `summary.json` holds: figures, sea levels, flooding, and techniques."""
    return {
        "figures": [figure.record() for figure in figures],
        **{name: json_rows(tables[name]) for name in ("levels", "sea_level", "flooding")},
        "techniques": techniques_of(surveys),
    }


def _scale(layer: gpd.GeoDataFrame) -> float:
    """Return the grid's scale in the middle of a layer."""
    if not len(layer) or np.isnan(layer.total_bounds).any():
        return 1.0
    middle = shapely.box(*layer.total_bounds).centroid
    _, scale = grid_factors(str(layer.crs), np.array([middle.x]), np.array([middle.y]))
    return float(scale[0])


def _ground(surveys: gpd.GeoDataFrame, scale: float) -> Figure:
    shapes = shapely.force_2d(surveys.geometry.to_numpy())
    whole = shapely.union_all(shapely.make_valid(shapes)) if len(shapes) else shapely.Polygon()
    area = float(shapely.area(whole)) / scale**2 / SQUARE_M_PER_HA
    basis = f"ground that {_count(len(surveys), 'survey')} looked at, overlaps once; no sd stated"
    return Figure("area_looked_at_ha", "area looked at", area, basis, unit="ha")


def _count(number: int, noun: str) -> str:
    """Return a number with its noun.

    >>> _count(1, "survey"), _count(3, "survey")
    ('1 survey', '3 surveys')
    """
    return f"{number} {noun}" + ("" if number == 1 else "s")


def _counts(rooms: gpd.GeoDataFrame, buildings: gpd.GeoDataFrame) -> list[Figure]:
    kinds = rooms["kind"].astype("string").fillna(UNKNOWN)
    basis = "enclosed spaces on the plan; the kind is a suggestion from size and shape"
    words = ((ROOM, "rooms"), (COURT, "courts"), (LANE, "lanes"), (UNKNOWN, "spaces too small"))
    spaces = [
        Figure(f"{kind}s", text, int((kinds == kind).sum()), basis)
        for kind, text in words
        if kind != UNKNOWN or (kinds == kind).any()
    ]
    basis = "rooms that walls hold together, from the plan"
    return [Figure("buildings", "buildings", len(buildings), basis), *spaces]


def _areas(rooms: gpd.GeoDataFrame, buildings: gpd.GeoDataFrame) -> list[Figure]:
    """Return sums of floors and footprints, and the quartiles of the rooms' floors."""
    inner = rooms[(rooms["kind"] == ROOM).fillna(False).to_numpy(bool)]
    courts = rooms[(rooms["kind"] == COURT).fillna(False).to_numpy(bool)]
    figures = [
        _sum("floor_area_total", "floor area of all rooms", inner, "floor_area", "rooms"),
        _sum("court_area_total", "area of all courts", courts, "floor_area", "courts"),
        _sum("footprint_total", "ground covered by buildings", buildings, "footprint", "buildings"),
    ]
    known = inner[inner["floor_area_m2"].notna()]
    area, sd = known["floor_area_m2"].to_numpy(float), known["floor_area_sd_m2"].to_numpy(float)
    for name, text, share in (
        ("median", "median floor area of a room", 0.5),
        ("lower_quartile", "lower quartile of the floor areas", 0.25),
        ("upper_quartile", "upper quartile of the floor areas", 0.75),
    ):
        value = float(np.quantile(area, share)) if len(area) else None
        bound = float(np.nanmax(sd)) if len(area) and np.isfinite(sd).any() else None
        basis = f"{_count(len(area), 'room')}; sd is that of the least sure, the most it can be"
        figures.append(
            Figure(
                f"room_area_{name}_m2", text, value, basis if len(area) else "no room", bound, "m2"
            )
        )
    return figures


def _sum(name: str, text: str, table: gpd.GeoDataFrame, stem: str, noun: str) -> Figure:
    """Return a sum of areas, its sd bounded by errors shared in full."""
    value = table[f"{stem}_m2"].to_numpy(float)
    known = np.isfinite(value)
    sd = table[f"{stem}_sd_m2"].to_numpy(float)[known]
    if not known.any():
        why = f"none of {len(table)} {noun} has an area" if len(table) else f"no {noun}"
        return Figure(f"{name}_m2", text, None, why, unit="m2")
    alone = float(np.sqrt((sd**2).sum()))
    total = float(value[known].sum())
    basis = f"sum over {int(known.sum())} of {len(table)} {noun}; {FULL}"
    if known.sum() > 1 and alone > 0:
        basis += f"; {rounded(0.0, alone)[1]} m² if none were"
    return Figure(f"{name}_m2", text, total, basis, float(sd.sum()), "m2")


def _wall_lengths(walls: gpd.GeoDataFrame) -> list[Figure]:
    length = walls["length_m"].fillna(0.0).to_numpy(float)
    evidence = walls["evidence"].astype("string").fillna("").to_numpy(str)
    total = float(length.sum())
    faces = int((walls["line_follows"] != "centre").fillna(True).sum())
    basis = (
        f"{_count(len(walls), 'wall line')}, of which {faces} along faces: a wall traced on both "
        "faces counts twice; no sd stated"
    )
    figures = [
        Figure(f"wall_{key}_m", text, float(length[evidence == name].sum()), basis, unit="m")
        for key, name, text in (
            ("recorded", "recorded", "wall lines recorded"),
            ("inferred", "inferred", "wall lines inferred, joints and doorways included"),
            ("old_plan", "old plan", "wall lines from old plans"),
        )
        if name != "old plan" or (evidence == name).any()
    ]
    share = float(length[evidence == "recorded"].sum()) / total if total else None
    text = "share of the wall lines' length that was recorded"
    return [*figures, Figure("wall_recorded_share", text, share, basis, unit="share")]


def _openings(openings: gpd.GeoDataFrame) -> list[Figure]:
    seen = int((openings["evidence"] == "seen").fillna(False).sum())
    return [
        Figure("openings_seen", "openings with a threshold or jamb", seen, "one was recorded"),
        Figure(
            *("openings_possible", "openings possible", len(openings) - seen),
            "gaps of a doorway's width; robbing makes the same gap",
        ),
    ]


def _depths(rooms: gpd.GeoDataFrame, walls: gpd.GeoDataFrame) -> list[Figure]:
    """Return least and greatest depth of wall tops, of the seabed in rooms, and of floors met."""
    floors = int(rooms["floor_depth_m"].notna().sum())
    met = f"{floors} of {_count(len(rooms), 'enclosed space')}: excavated, threshold, paving, probe"
    return [
        *_range(walls, "top_depth_m", "wall_top_depth", "wall top", "wall lines with heights"),
        *_range(rooms, "bed_depth_m", "bed_depth", "room's seabed (median)", "spaces sounded"),
        *_range(rooms, "floor_depth_m", "floor_depth", "floor that was met", "floors met"),
        Figure("floors_met", "rooms and courts whose floor was met", floors, met),
    ]


def _range(table: gpd.GeoDataFrame, column: str, name: str, noun: str, rest: str) -> list[Figure]:
    known = table[table[column].notna()].sort_values(column, kind="stable")
    ends = ((0, "least", "least"), (-1, "greatest", "greatest"))
    if not len(known):
        return [
            Figure(f"{name}_{key}_m", f"{word} depth of a {noun}", None, f"no {rest}", unit="m")
            for _, key, word in ends
        ]
    sds = known[column.replace("_m", "_sd_m")].to_numpy(float)
    return [
        Figure(
            f"{name}_{key}_m",
            f"{word} depth of a {noun}",
            float(known[column].iloc[k]),
            f"the {word} of {len(known)} {rest}, with that one's sd; negative lies above the level",
            None if np.isnan(sds[k]) else float(sds[k]),
            "m",
        )
        for k, key, word in ends
    ]


VAGUE_DEG = 3.0
"""Axes with a larger sd, such as round buildings have, belong to no family (no source)."""


def families(axis_deg: Array) -> npt.NDArray[np.int64]:
    """Return the family of each axis, right angles taken as the same: 0, or 0 and 1.

    Parameters
    ----------
    axis_deg : array, shape (n,)
        Axes, modulo 90 [degrees].

    Examples
    --------
    >>> families(np.array([12.0, 13.0, 4.0, 61.0, 62.0, 60.0])).tolist()
    [0, 0, 0, 1, 1, 1]
    >>> families(np.array([12.0, 13.0, 30.0, 61.0, 62.0, 60.0])).tolist()
    [0, 0, 0, 0, 0, 0]
    """
    order = np.argsort(axis_deg % 90.0, kind="stable")
    axis = axis_deg[order] % 90.0
    one = np.zeros(len(axis), dtype=np.int64)
    if len(axis) < 2 * LEAST_BUILDINGS:
        return one
    gaps = np.diff(axis, append=axis[0] + 90.0)
    first, second = sorted(int(k) for k in np.argsort(-gaps, kind="stable")[:2])
    narrow = float(min(gaps[first], gaps[second]))
    size = second - first, len(axis) - (second - first)
    inner = float(axis[second] - axis[first + 1])
    outer = 90.0 - inner - float(gaps[first] + gaps[second])
    if min(size) < LEAST_BUILDINGS or narrow < LEAST_GAP_DEG or max(inner, outer) > narrow / 2:
        return one
    one[order[first + 1 : second + 1]] = 1
    return one


def mean_axis(axis_deg: Array, weight: Array) -> tuple[float, float]:
    """Return weighted mean and circular standard deviation of axes modulo 90 [degrees].

    The deviation is sqrt(-2 ln R) / 4, R the length of the mean vector of the angles times four
    (Fisher 1993, Statistical Analysis of Circular Data, 2.3).

    Examples
    --------
    >>> [round(figure, 6) for figure in mean_axis(np.array([89.0, 1.0]), np.ones(2))]
    [0.0, 1.000407]
    """
    mean, length = axial_mean(np.radians(axis_deg), weight, 4)
    spread = float(np.sqrt(-2 * np.log(np.clip(length, LEAST_LENGTH, 1.0)))) / 4
    return round(float(np.degrees(mean)), 9) % 90.0, float(np.degrees(spread))


def orientation(buildings: gpd.GeoDataFrame) -> list[Figure]:
    """Return the mean axis of each family of buildings, weighted by their outlines, and its spread.

    Parameters
    ----------
    buildings : GeoDataFrame
        The layer `buildings`.
    """
    told = buildings["axis_deg"].notna() & ~(buildings["axis_sd_deg"] > VAGUE_DEG)
    known = buildings[told]
    if not len(known):
        return [Figure("axis_1_deg", "axis of the buildings", None, "no building", unit="deg")]
    axis, weight = known["axis_deg"].to_numpy(float), shapely.length(known.geometry.to_numpy())
    sd = known["axis_sd_deg"].to_numpy(float)
    family = families(axis)
    order = np.argsort(-np.bincount(family, weights=weight), kind="stable")
    figures = [
        Figure("axis_families", "families of axes", len(order), "two only where no doubt is left")
    ]
    for place, number in enumerate(order, start=1):
        mine = family == number
        mean, spread = mean_axis(axis[mine], weight[mine])
        which = "of the buildings" if len(order) == 1 else f"of family {place}"
        among = "with an axis" if len(order) == 1 else which
        shared = float(np.average(sd[mine], weights=weight[mine]))
        basis = (
            f"{_count(int(mine.sum()), 'building')}, weighted by length of outline, clockwise from "
            "true north, right angles taken as the same"
        )
        figures += [
            Figure(
                *(f"axis_{place}_deg", f"mean axis {which}", mean, f"{basis}; {FULL}"),
                sd=None if np.isnan(shared) else shared,
                unit="deg",
            ),
            Figure(
                f"axis_{place}_spread_deg", f"spread of the axes {which}", spread, basis, unit="deg"
            ),
            Figure(f"axis_{place}_buildings", f"buildings {among}", int(mine.sum()), basis),
        ]
    return figures


def _deposit(deposit: pd.DataFrame) -> list[Figure]:
    known = deposit[deposit["deposit_m"].notna()].sort_values("deposit_m", kind="stable")
    value, sd = known["deposit_m"].to_numpy(float), known["deposit_sd_m"].to_numpy(float)
    points = _count(len(known), "point") + " where a floor was met and the seabed sounded"
    names = (("least", 0), ("median", None), ("greatest", -1))
    if not len(known):
        return [
            Figure(
                f"deposit_{key}_m",
                f"{key} deposit over a floor",
                None,
                f"no {points[2:]}",
                unit="m",
            )
            for key, _ in names
        ]
    return [
        Figure(
            f"deposit_{key}_m",
            f"{key} deposit over a floor",
            float(np.median(value) if k is None else value[k]),
            f"{points}; sd is that of " + ("the least sure point" if k is None else "that point"),
            float(sd.max() if k is None else sd[k]),
            "m",
        )
        for key, k in names
    ] + [Figure("deposit_points", "points with a thickness of deposit", len(known), points)]


def _features(features: gpd.GeoDataFrame) -> list[Figure]:
    features = features[~are_marks(features["kind"])]
    origin = features["origin"].astype("string").fillna("not stated")
    kind = features["kind"].astype("string").fillna("unnamed")
    counts = Counter(zip(kind.tolist(), origin.tolist(), strict=True))
    return [
        Figure(
            f"features_{name.casefold().replace(' ', '_')}_{made.replace(' ', '_')}",
            f"features: {name}",
            number,
            f"recorded as {made}, the team's word",
        )
        for (name, made), number in sorted(counts.items())
    ]


def _waterlines(lines: gpd.GeoDataFrame, scale: float) -> list[Figure]:
    length = pd.Series(shapely.length(lines.geometry.to_numpy()) / scale, dtype=float)
    level = lines["sea_level"].astype("string").to_numpy()
    sums = length.groupby(level).sum()
    off = pd.Series(lines["may_lie_off_m"].to_numpy(float), dtype=float).groupby(level).median()
    return [
        Figure(
            f"waterline_{number}_m",
            f"length of the line of {name} on today's seabed",
            float(total),
            "contour of the seabed model; no ancient shore; no sd of its length stated; "
            + _placed(float(off[str(name)])),
            unit="m",
        )
        for number, (name, total) in enumerate(sums.sort_index().items(), start=1)
    ]


def _placed(off_m: float) -> str:
    """Return in words how surely a waterline is placed, from the median over its stretches."""
    if np.isnan(off_m):
        return "on ground too flat to say how far off it may lie"
    return f"it may lie off by {_three_digits(off_m)} m across (one sd, median of stretches)"
