"""Walls as placed by all their tracings: which of these agree, and where the walls then lie."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cached_property, partial

import geopandas as gpd
import numpy as np
import shapely

from wrackline.uncertainty import ErrorModel
from wrackline.walls.accounts import Rows, again_rows, standing_rows, table_alone, table_of
from wrackline.walls.beside import Every, beside
from wrackline.walls.coverage import Coverage
from wrackline.walls.displaced import Offsets, displaced
from wrackline.walls.linework import Ints, Linework
from wrackline.walls.moved import Moved, traits_of
from wrackline.walls.placing import Again, Placed, placed
from wrackline.walls.tracings import Sources, disagreeing, groups_of, sources_of


@dataclass(frozen=True)
class Settled:
    """Walls as placed by all their tracings.

    Attributes
    ----------
    work : Linework
        Standing lines as placed.
    notes : list of str
        Disagreements that need a person, those of whole surveys first.
    account : callable
        Makes `tracings`.
    """

    work: Linework
    notes: list[str]
    account: Callable[[], gpd.GeoDataFrame]

    @cached_property
    def tracings(self) -> gpd.GeoDataFrame:
        """What became of every surveyed line, `TRACING_COLUMNS`."""
        return self.account()


def settle_alone(work: Linework, covered: Coverage, lines: gpd.GeoDataFrame) -> Settled:
    """Return the walls of one survey: they lie where they were traced.

    Parameters
    ----------
    work : Linework
        What stands.
    covered : Coverage
    lines : GeoDataFrame
        All lines.
    """
    return Settled(work, [], partial(table_alone, work, covered, lines))


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
    traced_again = again_rows(again, groups, place, sources)
    for row, why in apart.why.items():
        traced_again[row] |= {"disagrees": True, "why": why}
    rows = [*traced_again, *standing_rows(again, covered, place, sources)]
    work = _work(again, place, sources)
    work = replace(work, lines=_with_sources(work.lines, lines, traced_again))
    return Settled(work, apart.notes, partial(table_of, lines, every.standing, rows))


def _with_sources(
    standing: gpd.GeoDataFrame, lines: gpd.GeoDataFrame, rows: Rows
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
