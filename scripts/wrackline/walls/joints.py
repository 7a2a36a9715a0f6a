"""Joints of bedrock and beach rock, which run straight and parallel as walls do.

A wall ends at other walls. Joints come in numbers, run through each other and end in the open. Such
lines close no room, unless the surveyor says that they are built. Tried on simulated towns
(tests/benchmarks); no source.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from wrackline.walls.linework import Ints, Linework, Pieces

Bools = npt.NDArray[np.bool_]

THROUGH_M = 0.5
"""Two lines run through each other where all four parts beyond the crossing are longer."""

FEWEST = 3
"""Fewer lines that run through each other are no field of joints."""

PARTNERS = 2
"""A line with an end at a wall is a joint too if it runs through so many that are."""

BUILT = "built"


def joints_of(work: Linework, recorded: Pieces, slip_m: float) -> Bools:
    """Tell which lines run through others as joints of rock do, and end in the open.

    Parameters
    ----------
    work : Linework
    recorded : Pieces
        The recorded pieces that stand.
    slip_m : float
        An end meets what lies no further from it [m].

    Returns
    -------
    array of bool, shape (lines,)
    """
    shapes = work.lines.geometry.to_numpy()
    one, other = _through(shapes)
    held = _held(shapes, recorded, work, slip_m)
    free = ~(work.lines["origin"] == BUILT).fillna(False).to_numpy(bool)
    joint = _in_fields(one, other, free & (held == 0))
    while True:
        partners = np.bincount(one, joint[other], len(shapes))
        partners += np.bincount(other, joint[one], len(shapes))
        held_once = (partners >= PARTNERS) & (held <= 1)
        more = joint | (free & (held_once | ((partners > 0) & (held == 0))))
        if (more == joint).all():
            return np.asarray(joint, dtype=bool)
        joint = more


def _in_fields(one: Ints, other: Ints, loose: Bools) -> Bools:
    """Tell which loose lines run through so many others, one by way of another."""
    both = loose[one] & loose[other]
    size = (len(loose), len(loose))
    graph = sparse.csr_matrix((np.ones(both.sum()), (one[both], other[both])), shape=size)
    _, field = connected_components(graph, directed=False)
    return np.asarray(np.bincount(field)[field] >= FEWEST, dtype=bool) if len(field) else loose


def _through(shapes: npt.NDArray[np.object_]) -> tuple[Ints, Ints]:
    """Return pairs of lines that run through each other once, well between their ends."""
    one, other = shapely.STRtree(shapes).query(shapes, predicate="crosses")
    one, other = one[one < other], other[one < other]
    at = shapely.intersection(shapes[one], shapes[other])
    once = shapely.get_type_id(at) == 0
    one, other, at = one[once], other[once], at[once]
    through = np.ones(len(one), dtype=bool)
    for line in (one, other):
        along = shapely.line_locate_point(shapes[line], at)
        through &= np.minimum(along, shapely.length(shapes[line]) - along) > THROUGH_M
    return one[through].astype(np.int64), other[through].astype(np.int64)


def _held(shapes: npt.NDArray[np.object_], recorded: Pieces, work: Linework, slip_m: float) -> Ints:
    """Return how many ends of each line have another line beside them."""
    pieces = shapely.linestrings(recorded.ends(work.xyz)[:, :, :2])
    tree = shapely.STRtree(pieces)
    held = np.zeros(len(shapes), dtype=np.int64)
    for place in (0, -1):
        end, piece = tree.query(
            shapely.get_point(shapes, place), predicate="dwithin", distance=slip_m
        )
        met = end[recorded.line[piece] != end]
        held[np.unique(met)] += 1
    return held
