"""What became of every surveyed wall line, as a table."""

from __future__ import annotations

from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy import sparse

from wrackline import vectors
from wrackline.walls.beside import every_line
from wrackline.walls.coverage import Coverage
from wrackline.walls.linework import Array, Linework, line_name
from wrackline.walls.placing import Again, Placed
from wrackline.walls.repeats import REPEAT_SDS
from wrackline.walls.tracings import Groups, Sources

Rows = list[dict[str, Any]]

TRACING_COLUMNS = {
    "survey": "text",
    "season": "text",
    "line": "text",
    "row": "whole",
    "wall_line": "text",
    "standing": "flag",
    "weight": "real",
    "length_m": "real",
    "off_m": "real",
    "off_sd_m": "real",
    "disagrees": "flag",
    "why": "text",
}
"""Columns of `tracings.parquet`: one row a surveyed line and wall that it became part of.

`wall_line` is the standing line, its own where it stands itself; `weight` the share in the wall's
place; `length_m` how far it runs along the wall in the grid; `off_m` how far it lies to the left of
the wall as placed, faces and centre lines brought together, and `off_sd_m` the sd of that."""

OLD = "an old plan: no share in the wall's place where better is known"
SIDE = "the wall's thickness, or on which side of the face it lies, is not known"
FAR = "further off than three of their sd, though not surely apart among so many: no share"
SHORT = "no end or corner of the wall lies beside it"
NEAREST = "runs along no stretch that stands; the nearest wall is named"


def again_rows(again: Again, groups: Groups, place: Placed, sources: Sources) -> Rows:
    """Return a row for each tracing of a wall that stands by another line, as `Groups` has them."""
    every = again.every
    shift = place.shift(every)
    off = groups.off_m + groups.by_wall[:, : len(shift)] @ shift
    wall = groups.by_wall[:, : place.share.shape[0]] @ place.share
    sd = sources.sds(sparse.csr_matrix(groups.by_tracing + wall))
    weight = np.bincount(groups.of, place.weight * groups.share, len(off))
    far = np.abs(groups.off_m) > REPEAT_SDS * np.hypot(
        every.tracing.whole_m[groups.one], every.tracing.whole_m[groups.wall]
    )
    rows = []
    for k, one in enumerate(groups.one.tolist()):
        known = np.isfinite(off[k])
        why = "" if weight[k] > 0 else FAR if far[k] else SHORT if known else SIDE
        rows.append(
            {
                "of": one,
                "wall": int(groups.wall[k]),
                "weight": float(weight[k]),
                "length_m": float(groups.length_m[k]),
                "off_m": float(off[k]) if known else None,
                "off_sd_m": float(sd[k]) if known else None,
                "disagrees": False if known else None,
                "why": OLD if every.old[one] else why,
            }
        )
    return rows


def standing_rows(again: Again, covered: Coverage, place: Placed, sources: Sources) -> Rows:
    """Return a row for each line that stands itself."""
    every, stretches = again.every, again.every.stretches
    mine = np.flatnonzero(stretches.line < every.standing)
    line = stretches.line[mine]
    whole = np.bincount(line, stretches.length[mine], every.standing)
    part = (stretches.length[mine] / whole[line])[:, None] / 2
    along = stretches.along[mine]
    left = np.stack([-along[:, 1], along[:, 0]], axis=1) * part
    columns = [
        3 * end[mine] + axis for axis in range(2) for end in (stretches.first, stretches.last)
    ]
    values = [left[:, axis] for axis in range(2) for _ in range(2)]
    shape = (every.standing, place.share.shape[1])
    entries = (np.concatenate(values), (np.tile(line, 4), np.concatenate(columns)))
    own = sparse.csr_matrix(entries, shape=shape)
    shift = place.shift(every)
    off = -np.asarray(own[:, : len(shift)] @ shift)
    sd = sources.sds(sparse.csr_matrix(own - own[:, : len(shift)] @ place.share))
    length = _standing_m(covered, every.work.xyz, every.standing)
    share = np.bincount(again.wall, place.weight * again.pairs.length_m, every.standing) / whole
    weight = np.clip(1 - share, 0.0, 1.0)
    return [_standing_row(k, *x) for k, x in enumerate(zip(weight, length, off, sd, strict=True))]


def _standing_row(line: int, weight: float, length_m: float, off_m: float, sd_m: float) -> Any:
    """Return the row of a line that stands."""
    return {
        "of": line,
        "wall": line,
        "weight": float(weight),
        "length_m": float(length_m),
        "off_m": float(off_m),
        "off_sd_m": float(sd_m),
        "disagrees": False,
        "why": "",
    }


def _standing_m(covered: Coverage, xyz: Array, count: int) -> Array:
    """Return how much of each line stands, shape (count,) [m]."""
    ends = covered.pieces.ends(xyz)[:, :, :2]
    step = ends[:, 1] - ends[:, 0]
    size = np.hypot(step[:, 0], step[:, 1])
    return np.bincount(covered.pieces.line, size, count).astype(float)


def table_alone(work: Linework, covered: Coverage, lines: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    """Return the table of one survey's lines, of which none traces another's wall again.

    Parameters
    ----------
    work : Linework
        What stands.
    covered : Coverage
    lines : GeoDataFrame
        All lines.
    """
    length = _standing_m(covered, work.xyz, len(work.lines))
    rows = [_standing_row(k, 1.0, along, 0.0, 0.0) for k, along in enumerate(length)]
    return table_of(every_line(work.lines, lines), len(work.lines), rows)


def _lost_rows(lines: gpd.GeoDataFrame, standing: int, rows: Rows) -> Rows:
    """Return a row for each line that stands nowhere and runs along nothing: a remnant."""
    shapes = lines.geometry.to_numpy()
    named = {row["of"] for row in rows}
    lost = [k for k in range(standing, len(shapes)) if k not in named]
    names = list(zip(lines["survey"], lines["row"], strict=True))
    own = set(names[:standing])
    lost = [k for k in lost if names[k] not in own]
    if not lost:
        return []
    nearest = shapely.STRtree(shapes[:standing]).nearest(shapes[lost])
    empty = {"weight": 0.0, "length_m": 0.0, "off_m": None, "off_sd_m": None, "disagrees": None}
    return [
        {"of": k, "wall": int(wall), **empty, "why": NEAREST}
        for k, wall in zip(lost, nearest, strict=True)
    ]


def table_of(lines: gpd.GeoDataFrame, standing: int, rows: Rows) -> gpd.GeoDataFrame:
    """Return rows as a table in the order of surveys, rows and walls; parts of a line once.

    Parameters
    ----------
    lines : GeoDataFrame
        Lines as traced, those that stand first.
    standing : int
        How many stand.
    rows : list of dict
        What is known of each line and wall; lines of which nothing is are named at the nearest.
    """
    rows = [*rows, *_lost_rows(lines, standing, rows)]
    if not rows:
        return vectors.empty(TRACING_COLUMNS, lines.crs)
    table = pd.DataFrame(rows)
    of, wall = table.pop("of").to_numpy(), table.pop("wall").to_numpy()
    names = np.array(
        [line_name(row) for row in lines[["survey", "line", "row"]].to_dict("records")]
    )
    for column in ("survey", "season", "line", "row"):
        table[column] = lines[column].to_numpy(object)[of]
    table["wall_line"] = names[wall]
    table["standing"] = np.isin(names[of], names[:standing])
    table["geometry"] = lines.geometry.to_numpy()[of]
    table = table.sort_values(["survey", "row", "wall_line"], kind="stable")
    once = ["survey", "row", "wall_line"]
    table["length_m"] = table.groupby(once)["length_m"].transform("sum")
    table = table.drop_duplicates(once)
    placed_table = gpd.GeoDataFrame(table, geometry="geometry", crs=lines.crs)
    return vectors.conform(placed_table, TRACING_COLUMNS).reset_index(drop=True)
