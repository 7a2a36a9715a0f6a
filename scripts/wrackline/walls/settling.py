"""Walls as placed by all their tracings, and what became of every tracing, as a table."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import sparse

from wrackline import vectors
from wrackline.uncertainty import ErrorModel
from wrackline.walls.beside import Every, beside
from wrackline.walls.coverage import Coverage
from wrackline.walls.displaced import Offsets, displaced
from wrackline.walls.linework import Ints, Linework, line_name
from wrackline.walls.moved import Moved, traits_of
from wrackline.walls.placing import Again, Placed, placed
from wrackline.walls.repeats import REPEAT_SDS
from wrackline.walls.tracings import Groups, Sources, disagreeing, groups_of, sources_of

Bools = npt.NDArray[np.bool_]

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


@dataclass(frozen=True)
class Settled:
    """Walls as placed by all their tracings.

    Attributes
    ----------
    work : Linework
        Standing lines as placed.
    tracings : GeoDataFrame
        `TRACING_COLUMNS`.
    notes : list of str
        Disagreements that need a person, those of whole surveys first.
    """

    work: Linework
    tracings: gpd.GeoDataFrame
    notes: list[str]


def settle(
    every: Every, covered: Coverage, side: Ints, models: Mapping[str, ErrorModel]
) -> Settled:
    """Return a view's walls, placed by all their tracings, and what became of each tracing.

    Parameters
    ----------
    every : Every
    covered : Coverage
        What stands of the first lines of `every`.
    side : array of int, shape (stretches,)
        On which side of each stretch of a face its wall lies: +1 left, -1 right, 0 not known.
    models : mapping of str to ErrorModel
    """
    lines = every.work.lines
    names = np.unique(lines["survey"].to_numpy(str))
    pairs = beside(every, covered, side)
    again = Again(every, pairs, side, [models[name] for name in names], traits_of(lines))
    groups = groups_of(again)
    sources = sources_of(again)
    sd = sources.sds(groups.by_tracing + groups.by_wall)
    offsets = Offsets(groups, sd, disagreeing(groups.off_m, sd))
    place = placed(again, ~offsets.beyond[groups.of])
    apart = displaced(again, offsets)
    traced_again = _again_rows(again, groups, place, sources)
    rows = [
        *traced_again,
        *_standing_rows(again, covered, place, sources),
    ]
    for row, why in apart.why.items():
        rows[row] |= {"disagrees": True, "why": why}
    table = _as_table(every, [*rows, *_lost_rows(every, rows)])
    work = _work(again, place, sources)
    work = replace(work, lines=_with_sources(work.lines, lines, traced_again))
    return Settled(work, table, apart.notes)


def _with_sources(
    standing: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, rows: list[dict[str, Any]]
) -> gpd.GeoDataFrame:
    """Return standing lines with every survey that has a share in their places in `repeats`."""
    noted = {
        k: set(filter(None, str(text).split(";"))) for k, text in enumerate(standing["repeats"])
    }
    surveys = lines["survey"].to_numpy(str)
    for row in rows:
        if row["weight"] > 0:
            noted[row["wall"]].add(str(surveys[row["of"]]))
    return standing.assign(repeats=[";".join(sorted(names)) for names in noted.values()])


def _again_rows(
    again: Again, groups: Groups, place: Placed, sources: Sources
) -> list[dict[str, Any]]:
    """Return a row for each tracing of a wall that stands by another line."""
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


def _standing_rows(
    again: Again, covered: Coverage, place: Placed, sources: Sources
) -> list[dict[str, Any]]:
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
    ends = covered.pieces.ends(every.work.xyz)[:, :, :2]
    step = ends[:, 1] - ends[:, 0]
    length = np.bincount(covered.pieces.line, np.hypot(step[:, 0], step[:, 1]), every.standing)
    share = np.bincount(again.wall, place.weight * again.pairs.length_m, every.standing) / whole
    return [
        {
            "of": k,
            "wall": k,
            "weight": float(np.clip(1 - share[k], 0.0, 1.0)),
            "length_m": float(length[k]),
            "off_m": float(off[k]),
            "off_sd_m": float(sd[k]),
            "disagrees": False,
            "why": "",
        }
        for k in range(every.standing)
    ]


def _lost_rows(every: Every, rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return a row for each line that stands nowhere and runs along nothing: a remnant."""
    shapes = every.work.lines.geometry.to_numpy()
    named = {row["of"] for row in rows}
    lost = [k for k in range(every.standing, len(shapes)) if k not in named]
    standing = every.work.lines.iloc[: every.standing]
    own = set(zip(standing["survey"], standing["row"], strict=True))
    lines = every.work.lines
    lost = [k for k in lost if (lines["survey"].iloc[k], lines["row"].iloc[k]) not in own]
    if not lost:
        return []
    nearest = shapely.STRtree(shapes[: every.standing]).nearest(shapes[lost])
    empty = {"weight": 0.0, "length_m": 0.0, "off_m": None, "off_sd_m": None, "disagrees": None}
    return [
        {"of": k, "wall": int(wall), **empty, "why": NEAREST}
        for k, wall in zip(lost, nearest, strict=True)
    ]


def _as_table(every: Every, rows: list[dict[str, Any]]) -> gpd.GeoDataFrame:
    """Return rows as a table in the order of surveys, rows and walls; parts of a line once."""
    lines = every.work.lines
    if not rows:
        return vectors.empty(TRACING_COLUMNS, lines.crs)
    table = pd.DataFrame(rows)
    of, wall = table.pop("of").to_numpy(), table.pop("wall").to_numpy()
    names = np.array([line_name(row) for _, row in lines.iterrows()], dtype=object)
    for column in ("survey", "season", "line", "row"):
        table[column] = lines[column].to_numpy(object)[of]
    table["wall_line"] = names[wall]
    table["standing"] = np.isin(names[of], names[: every.standing])
    table["geometry"] = lines.geometry.to_numpy()[of]
    table = table.sort_values(["survey", "row", "wall_line"], kind="stable")
    once = ["survey", "row", "wall_line"]
    table["length_m"] = table.groupby(once)["length_m"].transform("sum")
    table = table.drop_duplicates(once)
    placed_table = gpd.GeoDataFrame(table, geometry="geometry", crs=lines.crs)
    return vectors.conform(placed_table, TRACING_COLUMNS).reset_index(drop=True)


def _work(again: Again, place: Placed, sources: Sources) -> Linework:
    """Return the standing lines as placed, with what their places rest on."""
    every, count = again.every, len(place.xyz)
    lines = every.work.lines.iloc[: every.standing]
    line = every.work.line[:count]
    shapes = shapely.linestrings(place.xyz, indices=line)
    lines = lines.set_geometry(gpd.GeoSeries(shapes, lines.index, lines.crs))
    share = place.share.tocsc()
    used = np.unique(np.flatnonzero(np.diff(share.indptr)) // 3)
    further = used[used >= count]
    if not len(further):
        return Linework(lines, place.xyz, line)
    columns = (3 * np.r_[np.arange(count), further][:, None] + np.arange(3)).ravel()
    every_source = sources.moved
    moved = Moved(
        every_source.xyz[further],
        every_source.survey[further],
        every_source.trait[further],
        every_source.sd_m[further],
        share[:, columns].tocsr(),
    )
    return replace(Linework(lines, place.xyz, line), moved=moved)
