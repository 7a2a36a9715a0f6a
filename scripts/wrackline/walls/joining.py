"""Joining of a view's walls: from surveyed lines, phase by phase, to one network.

Repeats are merged, gaps closed, faces that were missing put in, and all of it noded at once.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.collection import collection_paused
from wrackline.model import Decision, Phasing, WallSettings
from wrackline.uncertainty import ErrorModel
from wrackline.walls.beside import Every, every_line
from wrackline.walls.closings import close_gaps
from wrackline.walls.coverage import Coverage, Tracing, cover
from wrackline.walls.decided import Outcome, outcomes
from wrackline.walls.joints import joints_of
from wrackline.walls.levels import levels_of
from wrackline.walls.linework import Array, Linework, line_name, linework
from wrackline.walls.missing import (
    Laid,
    by_pieces,
    first_pieces,
    lay,
    phase_of,
    sides_in,
    tell,
)
from wrackline.walls.network import Network
from wrackline.walls.noding import noded, noded_along
from wrackline.walls.phases import phase_lines, standing_in
from wrackline.walls.planar import NODE_M
from wrackline.walls.plausible import MARGIN, SPREAD, Plausible, plausible
from wrackline.walls.repeats import merge_repeats, off_face, position_sd, span_of, stacked
from wrackline.walls.settling import Settled, settle, settle_alone
from wrackline.walls.stretches import Stretches, stretches_of


@dataclass(frozen=True)
class Team:
    """What the team says of walls before they are joined.

    Attributes
    ----------
    phases : tuple of Phasing
    order : tuple of str
        Names of the site's phases, the earliest first.
    decisions : tuple of Decision
    """

    phases: tuple[Phasing, ...] = ()
    order: tuple[str, ...] = ()
    decisions: tuple[Decision, ...] = ()


@dataclass(frozen=True)
class Joined:
    """A view's walls, joined.

    Attributes
    ----------
    network : Network
    outlines : list of Plausible
        Plausible outlines of each phase.
    outcomes : list of Outcome or None
        What became of each decision; None of those that wait for the rooms.
    notes : list of str
        What could not be followed in the register of phases, and walls one on another.
    set_aside : list of str
        Lines taken for joints of rock, which close no room.
    settled : Settled
        Walls as placed by all their tracings, and what became of these.
    """

    network: Network
    outlines: list[Plausible]
    outcomes: list[Outcome | None]
    notes: list[str]
    set_aside: list[str]
    settled: Settled

    @property
    def tracings(self) -> gpd.GeoDataFrame:
        """What became of every surveyed line, `accounts.TRACING_COLUMNS`."""
        return self.settled.tracings


def build_network(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> Network:
    """Return the network of a view of which the team says nothing, see `join_walls`."""
    return _joined(lines, models, settings, Team(), outlines=False).network


def join_walls(
    lines: gpd.GeoDataFrame,
    models: Mapping[str, ErrorModel],
    settings: WallSettings,
    team: Team | None = None,
) -> Joined:
    """Return the walls of a view, joined in every phase.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all the view's surveys, in the site's CRS.
    models : mapping of str to ErrorModel
        Errors by survey, to decide which lines repeat others.
    settings : WallSettings
        Joining distance, widest doorway, longest lost stretch [m].
    team : Team
        What the team says of walls.
    """
    return _joined(lines, models, settings, team or Team(), outlines=True)


@collection_paused()
def _joined(
    lines: gpd.GeoDataFrame,
    models: Mapping[str, ErrorModel],
    settings: WallSettings,
    team: Team,
    *,
    outlines: bool,
) -> Joined:
    phased = phase_lines(lines, models, settings, team.phases, team.order)
    settled, stretches, covered = settle_walls(phased.lines, models, settings)
    work = settled.work
    joint = joints_of(work, covered.pieces, settings.join_gap_m)
    covered = covered.pick(~joint[covered.pieces.line])
    tracing = tracing_of(work.lines, models, settings)
    stands = standing_in(work.lines, len(phased.names))[covered.pieces.line]
    alike = _alike(stands)
    beyond = MARGIN * SPREAD if outlines or tracing.face.any() else 0.0
    phases, differ = [], sorted(set(alike))
    for k in differ:
        part = covered.pick(stands[:, k])
        sided = sides_in(work, part, tracing, settings.wall_max_thickness_m)
        part = replace(part, jamb=sided.jamb)
        closed = close_gaps(work, stretches, part, tracing, settings, team.decisions, beyond=beyond)
        phases.append(phase_of(work, part.pieces, sided, closed, settings, beyond))
    number = np.array([differ.index(k) for k in alike])
    laid = lay(covered.pieces, phases, stands, number)
    network = _noded(work, laid, phased.names, settings.wall_max_thickness_m)
    shown = _outlines(network, laid, settings) if outlines else []
    ends = network.pieces.ends(work.xyz)[:, :, :2]
    aside = [line_name(row) for _, row in work.lines[joint].iterrows()]
    return Joined(
        network=network,
        outlines=[shown[k] for k in number] if outlines else [],
        outcomes=outcomes(team.decisions, network.pieces, ends, work.lines),
        notes=phased.notes + stacked(work.lines, models, settings),
        set_aside=aside,
        settled=settled,
    )


def _outlines(network: Network, laid: Laid, settings: WallSettings) -> list[Plausible]:
    """Return plausible outlines of the phases that differ."""
    drawn = []
    missing = network.piece >= laid.firm
    for k, phase in enumerate(laid.phases):
        first = laid.first(k)
        recorded = laid.pieces.pick(np.flatnonzero(laid.stands[:, first]))
        shut = network.edges[missing & network.standing[:, first]]
        slip = settings.join_gap_m
        drawn.append(plausible(network.work, recorded, phase.closed, slip, missing=shut))
    return drawn


def _alike(stands: npt.NDArray[np.bool_]) -> list[int]:
    """Return, for each phase, the first in which the same stands.

    >>> _alike(np.array([[True, False, True], [True, True, True]]))
    [0, 1, 0]
    """
    columns = [column.tobytes() for column in np.ascontiguousarray(stands.T)]
    return [columns.index(column) for column in columns]


def _noded(work: Linework, laid: Laid, names: tuple[str, ...], thickest_m: float) -> Network:
    """Return the network of all that stands, in phases of so many names."""
    ends = laid.pieces.ends(work.xyz)[:, :, :2]
    there = laid.there()
    if len(names) > 1 or any(phase.side.any() for phase in laid.phases):
        edges, along = noded_along(ends, NODE_M)
        piece = along[1][np.flatnonzero(np.diff(along[0], prepend=-1))]
    else:
        edges, piece = noded(ends, NODE_M)
    standing = np.ones((len(edges), len(names)), dtype=bool)
    lies = np.zeros((len(edges), len(names), 2), dtype=np.int64)
    for k, phase in enumerate(laid.phases):
        of = np.flatnonzero(laid.number == k)
        own = piece if len(names) == 1 else first_pieces(along, there[:, of[0]])
        on = np.flatnonzero(own < len(ends))
        standing[np.ix_(np.setdiff1d(np.arange(len(edges)), on), of)] = False
        if phase.side.any():
            side, in_line = by_pieces(laid, ends, edges, along, k)
            told, kept = tell(laid, edges[on], own[on], (side[on], in_line[on]), k, thickest_m)
            lies[np.ix_(on, of)] = told[:, None]
            standing[np.ix_(on[~kept], of)] = False
    fraction = _fractions(edges, ends[piece])
    network = Network(work, laid.pieces, edges, piece, fraction, standing, names, lies)
    return network.without(np.zeros_like(standing)).pruned(laid.firm)


def tracing_of(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> Tracing:
    """Return how well lines are placed, from their surveys' errors."""
    named = lines["survey"]
    near = {name: model.random_horizontal for name, model in models.items()}
    whole = {name: position_sd(model) for name, model in models.items()}
    return Tracing(
        survey=np.asarray(pd.Categorical(named).codes, dtype=np.int64),
        random_m=named.map(near).to_numpy(float),
        whole_m=named.map(whole).to_numpy(float),
        face=(lines["line_follows"] != "centre").to_numpy(bool, na_value=True),
        thick_m=np.nan_to_num(pd.to_numeric(lines["thickness_m"]).to_numpy(float, na_value=0.0)),
        off_m=off_face(lines),
        span=span_of(lines),
        levels=levels_of(lines, models, settings),
    )


def _covered(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> tuple[Linework, Stretches, Coverage]:
    """Return the lines that stand somewhere; a line that repeats others whole is noted at them."""
    work = linework(lines)
    tracing = tracing_of(lines, models, settings)
    stretches = stretches_of(work, tracing.random_m)
    covered = cover(work, stretches, tracing, settings.join_gap_m)
    gone = np.setdiff1d(np.arange(len(lines)), covered.pieces.line)
    if not len(gone):
        return work, stretches, covered
    noted: dict[int, set[str]] = {}
    named = lines["survey"].to_numpy(str)
    for row, other in covered.repeats[np.isin(covered.repeats[:, 0], gone)].tolist():
        noted.setdefault(other, set()).add(str(named[row]))
    repeats = lines["repeats"].to_numpy(object, copy=True)
    for row, names in noted.items():
        names.update(filter(None, str(repeats[row]).split(";")))
        repeats[row] = ";".join(sorted(names - {str(named[row])}))
    kept = lines.assign(repeats=repeats)
    kept = kept.drop(index=kept.index[gone]).reset_index(drop=True)
    return _covered(kept, models, settings)


def settle_walls(
    lines: gpd.GeoDataFrame, models: Mapping[str, ErrorModel], settings: WallSettings
) -> tuple[Settled, Stretches, Coverage]:
    """Return the lines that stand, placed by all tracings, before any gap is closed.

    Parameters
    ----------
    lines : GeoDataFrame
        `LINE_COLUMNS` of all surveys of a view, with the phases in which they stand.
    models : mapping of str to ErrorModel
        Errors by survey.
    settings : WallSettings

    Returns
    -------
    settled : Settled
    stretches : Stretches
        Straight stretches of what stands, as placed.
    covered : Coverage
        Which parts of them stand.
    """
    merged = merge_repeats(lines, models, settings)
    work, stretches, covered = _covered(merged, models, settings)
    if lines["survey"].nunique() < 2:
        return settle_alone(work, covered, lines), stretches, covered
    together = linework(every_line(work.lines, lines))
    tracing = tracing_of(together.lines, models, settings)
    every = Every(together, stretches_of(together, tracing.random_m), tracing, len(work.lines))
    side = np.zeros(len(every.stretches.first), dtype=np.int64)
    if len(np.unique(tracing.off_m[tracing.face])) > 1:
        sided = sides_in(work, covered, tracing, settings.wall_max_thickness_m)
        np.maximum.at(side, covered.stretch, sided.side)
        np.minimum.at(side, covered.stretch[sided.side < 0], sided.side[sided.side < 0])
    settled = settle(every, covered, side, models)
    return settled, stretches.placed(settled.work), covered


def _fractions(edges: Array, ends: Array) -> Array:
    """Return where both ends of edges lie on their pieces, shape (k, 2).

    A piece shorter than a cell of the noding, as between vertices drawn twice, is one place: 0.
    """
    step = ends[:, 1] - ends[:, 0]
    along = ((edges - ends[:, None, 0]) * step[:, None]).sum(axis=2)
    size = (step**2).sum(axis=1)
    return np.asarray(along / np.where(size < NODE_M**2, np.inf, size)[:, None])
