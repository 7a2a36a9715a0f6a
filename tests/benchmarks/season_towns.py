"""Small towns for sequences of seasons: walls, and the cells that they part, told exactly.

Every wall that ever stands or is drawn is there from the start. A room, in any season, is a set of
cells: those that no wall known by then parts. So what is the same, split, merged or new is told by
sets, without any measure of likeness. Forms, sizes and gaps are invented (no source).
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from scipy.cluster.hierarchy import DisjointSet
from shapely import affinity

Array = npt.NDArray[np.float64]
Bools = npt.NDArray[np.bool_]
Ints = npt.NDArray[np.int64]
Shapes = npt.NDArray[np.object_]
Rng = np.random.Generator
Room = frozenset[int]

LEAST_SIDE_M = 2.4
LEAST_ROOMS = (6, 23)
OUTSIDE = -1
GRID_M = 1e-6


@dataclass(frozen=True)
class Town:
    """A town with every wall that any season may know.

    Attributes
    ----------
    runs : array of LineString, shape (r,)
        Centre lines of walls from one end to the other, straight [m].
    thick : array, shape (r,)
        Thickness of each [m].
    link : array of bool, shape (r,)
        Whether a run joins two buildings across open ground.
    atoms : array of LineString, shape (a,)
        Runs cut at every junction.
    run : array of int, shape (a,)
        Run of each.
    beside : array of int, shape (a, 2)
        Cells on both sides, `OUTSIDE` for open ground.
    cells : array of Polygon, shape (c,)
        Ground that all walls together enclose, to their centres.
    doors : dict of int to LineString
        Doorway of a run.
    """

    runs: Shapes
    thick: Array
    link: Bools
    atoms: Shapes
    run: Ints
    beside: Ints
    cells: Shapes
    doors: dict[int, shapely.LineString] = field(default_factory=dict)

    def rooms(self, known: Bools, open_cells: Iterable[int] = ()) -> list[Room]:
        """Return the rooms that known walls enclose, as sets of cells, in a fixed order.

        Parameters
        ----------
        known : array of bool, shape (a,)
        open_cells : iterable of int
            Cells that the team calls open ground.
        """
        sets = DisjointSet([*range(len(self.cells)), OUTSIDE])
        for one, other in self.beside[~known].tolist():
            sets.merge(one, other)
        opened = {c for cell in open_cells for c in sets.subset(cell)}
        out = sets.subset(OUTSIDE) | opened
        return sorted((frozenset(s) for s in sets.subsets() if not s & out), key=min)

    def around(self, room: Room) -> Ints:
        """Return the atoms around a room: those with it on one side alone."""
        inside = np.isin(self.beside, list(room))
        return np.flatnonzero(inside.any(axis=1) & ~inside.all(axis=1))

    def floor(self, room: Room, known: Bools) -> shapely.Polygon:
        """Return a room between the faces of the known walls around and in it."""
        ground = shapely.union_all(self.cells[sorted(room)], grid_size=GRID_M)
        near = np.isin(self.beside, list(room)).any(axis=1) & known
        left = shapely.difference(ground, shapely.union_all(self.bodies(near)))
        return max(shapely.get_parts(left), key=shapely.area)

    def bodies(self, chosen: Bools) -> Shapes:
        """Return the ground on which chosen atoms stand."""
        half = self.thick[self.run[chosen]] / 2
        found = shapely.buffer(self.atoms[chosen], half, cap_style="square", join_style="mitre")
        return np.asarray(found, dtype=object)

    def blocks(self, known: Bools) -> list[set[int]]:
        """Return the atoms of buildings: known walls that touch each other."""
        ends = shapely.get_coordinates(self.atoms).reshape(-1, 4).round(3)
        sets = DisjointSet(np.flatnonzero(known).tolist())
        at: dict[tuple[float, ...], int] = {}
        for k in np.flatnonzero(known).tolist():
            for end in (tuple(ends[k, :2]), tuple(ends[k, 2:])):
                sets.merge(k, at.setdefault(end, k))
        return [set(s) for s in sets.subsets()]


def make_town(rng: Rng, least: tuple[int, int] = LEAST_ROOMS) -> Town:
    """Return a town of about 8 to 30 rooms in a few buildings.

    Parameters
    ----------
    rng : Generator
    least : tuple of int
        Buildings are added until there are so many rooms, drawn between these.
    """
    wanted = int(rng.integers(least[0], least[1] + 1))
    turn = float(rng.uniform(0, 90))
    runs: list[shapely.LineString] = []
    thick: list[float] = []
    grounds: list[shapely.Polygon] = []
    while _count(runs) < wanted:
        lines = _building(rng)
        lay = turn + (float(rng.uniform(15, 60)) if rng.random() < 0.3 else rng.uniform(-4, 4))
        moved = _placed(rng, [affinity.rotate(x, lay, origin=(0, 0)) for x in lines], grounds)
        grounds.append(shapely.MultiLineString(moved).convex_hull)
        outer = float(rng.uniform(0.5, 0.8))
        runs += moved
        thick += [outer if k < 4 else float(rng.uniform(0.4, 0.6)) for k in range(len(moved))]
    links = _links(rng, runs, grounds)
    link = np.r_[np.zeros(len(runs), dtype=bool), np.ones(len(links), dtype=bool)]
    thick += [0.5] * len(links)
    return _town(rng, np.array([*runs, *links], dtype=object), np.array(thick), link)


def _count(runs: Sequence[shapely.LineString]) -> int:
    if not runs:
        return 0
    noded = shapely.union_all(runs, grid_size=GRID_M)
    return len(shapely.get_parts(shapely.polygonize(shapely.get_parts(noded))))


def _building(rng: Rng) -> list[shapely.LineString]:
    """Return a building's walls: a plain block, one with a wing, or rooms around a court."""
    form = rng.choice(["block", "wing", "court", "row"], p=[0.4, 0.25, 0.2, 0.15])
    if form == "court":
        return _court(rng)
    if form == "row":
        return list(_row(rng))
    box = _quad(rng, rng.uniform(7, 14), rng.uniform(6, 11))
    lines = [*_sides(box), *_divided(rng, box)]
    if form == "wing":
        lines += _wing(rng, box)
    return lines


def _quad(rng: Rng, wide: float, deep: float) -> Array:
    """Return four corners, anticlockwise, none far off a right angle."""
    box = np.array([[0, 0], [wide, 0], [wide, deep], [0, deep]], dtype=float)
    return box + rng.uniform(-0.5, 0.5, box.shape)


def _sides(box: Array) -> list[shapely.LineString]:
    return [shapely.LineString([box[k], box[(k + 1) % 4]]) for k in range(4)]


def _divided(rng: Rng, box: Array) -> Iterator[shapely.LineString]:
    """Yield walls that divide a four-sided room again and again, some of them aslant."""
    size = np.hypot(*(np.roll(box, -1, axis=0) - box).T)
    if size[0] + size[2] < size[1] + size[3]:
        box, size = np.roll(box, -1, axis=0), np.roll(size, -1)
    long = min(size[0], size[2])
    if long < 2 * LEAST_SIDE_M or shapely.Polygon(box).area < rng.uniform(10, 34):
        return
    edge = LEAST_SIDE_M / long
    share = rng.uniform(edge, 1 - edge)
    slant = rng.uniform(-0.5, 0.5) / long if rng.random() < 0.4 else 0.0
    low = box[0] + share * (box[1] - box[0])
    high = box[3] + np.clip(share + slant, 0.15, 0.85) * (box[2] - box[3])
    yield shapely.LineString([low, high])
    yield from _divided(rng, np.array([box[0], low, high, box[3]]))
    yield from _divided(rng, np.array([low, box[1], box[2], high]))


def _wing(rng: Rng, box: Array) -> list[shapely.LineString]:
    """Return the walls of a wing on the east side of a block, flush with it or set back."""
    foot, top = box[1], box[2]
    low = 0.0 if rng.random() < 0.5 else float(rng.uniform(0.15, 0.35))
    high = low + float(rng.uniform(0.4, 0.6))
    a, d = foot + low * (top - foot), foot + high * (top - foot)
    out = np.array([rng.uniform(3, 7), rng.uniform(-0.3, 0.3)])
    wing = np.array([a, a + out, d + out, d])
    return [*_sides(wing)[:3], *_divided(rng, wing)]


def _court(rng: Rng) -> list[shapely.LineString]:
    """Return rooms around a court."""
    x = np.cumsum([0, rng.uniform(2.6, 4), rng.uniform(3.5, 6), rng.uniform(2.6, 4)])
    y = np.cumsum([0, rng.uniform(2.6, 4), rng.uniform(3.5, 6), rng.uniform(2.6, 4)])
    box = np.array([[0, 0], [x[3], 0], [x[3], y[3]], [0, y[3]]])
    runs = [[(0, y[1]), (x[3], y[1])], [(0, y[2]), (x[3], y[2])]]
    runs += [[(x[k], y[1]), (x[k], y[2])] for k in (1, 2) if k == 1 or rng.random() < 0.7]
    for low, high in ((0, y[1]), (y[2], y[3])):
        cuts = rng.uniform(2.6, x[3] - 2.6, int(rng.integers(1, 3)))
        if np.ptp(cuts) < LEAST_SIDE_M:
            cuts = cuts[:1]
        runs += [[(c, low), (c, high)] for c in cuts]
    return [*_sides(box), *(shapely.LineString(run) for run in runs)]


def _row(rng: Rng) -> Iterator[shapely.LineString]:
    """Yield a row of rooms side by side, some with a back room."""
    widths = rng.uniform(2.8, 5, int(rng.integers(3, 6)))
    x, deep = np.r_[0, np.cumsum(widths)], float(rng.uniform(4, 8))
    yield from _sides(np.array([[0, 0], [x[-1], 0], [x[-1], deep], [0, deep]]))
    for c in x[1:-1]:
        yield shapely.LineString([(c, 0), (c, deep)])
    for west, east in pairwise(x.tolist()):
        if deep > 2 * LEAST_SIDE_M and rng.random() < 0.4:
            back = rng.uniform(LEAST_SIDE_M, deep - LEAST_SIDE_M)
            yield shapely.LineString([(west, back), (east, back)])


def _placed(
    rng: Rng, lines: list[shapely.LineString], grounds: Sequence[shapely.Polygon]
) -> list[shapely.LineString]:
    """Return a building moved to open ground beside the others."""
    hull = shapely.MultiLineString(lines).convex_hull
    middle = np.array(hull.centroid.coords[0])
    spots = np.array([60.0, 60.0]) + rng.uniform(-35, 35, (120, 2)) * bool(grounds)
    moved = np.array([affinity.translate(hull, *(spot - middle)) for spot in spots], dtype=object)
    if grounds:
        away = shapely.distance(shapely.union_all(list(grounds)), moved)
        spots = spots[np.argsort(np.where(away > 1.8, away, np.inf), kind="stable")]
    dx, dy = spots[0] - middle
    return [affinity.translate(line, dx, dy) for line in lines]


def _links(
    rng: Rng, runs: Sequence[shapely.LineString], grounds: Sequence[shapely.Polygon]
) -> list[shapely.LineString]:
    """Return walls straight across open ground from one building to the next, at most two."""
    made: list[shapely.LineString] = []
    walls = np.array(runs, dtype=object)
    wanted = int(rng.integers(0, 3)) if len(grounds) > 1 else 0
    for _ in range(150):
        if len(made) == wanted:
            break
        start = walls[rng.integers(len(walls))].interpolate(
            rng.uniform(0.25, 0.75), normalized=True
        )
        own = shapely.distance(list(grounds), start) < 0.01
        far = np.array([own[np.argmin(shapely.distance(list(grounds), w.centroid))] for w in walls])
        others = np.where(far, np.inf, shapely.distance(walls, start))
        nearest = walls[int(np.argmin(others))]
        foot = nearest.interpolate(nearest.project(start))
        line = shapely.LineString([start, foot])
        clear = shapely.distance(shapely.points(shapely.get_coordinates(walls)), line).min() > 1
        crossed = int(shapely.dwithin(walls, line, 0.01).sum())
        if clear and crossed == 2 and 1.5 < line.length < 8 and _apart(line, made):
            made.append(shapely.LineString([start, _beyond(start, foot, 1e-4)]))
    return made


def _apart(line: shapely.LineString, others: Sequence[shapely.LineString]) -> bool:
    return not others or float(shapely.distance(list(others), line).min()) > LEAST_SIDE_M


def _beyond(start: shapely.Point, foot: shapely.Point, by_m: float) -> tuple[float, float]:
    """Return a point a little past a foot, so that lines meet whatever the rounding."""
    a, b = np.array(start.coords[0]), np.array(foot.coords[0])
    x, y = b + by_m * (b - a) / np.hypot(*(b - a))
    return float(x), float(y)


def _town(rng: Rng, runs: Shapes, thick: Array, link: Bools) -> Town:
    noded = shapely.get_parts(shapely.union_all(runs, grid_size=GRID_M))
    atoms = noded[shapely.length(noded) > 0.01]
    middle = shapely.line_interpolate_point(atoms, 0.5, normalized=True)
    run = np.array([int(np.argmin(shapely.distance(runs, m))) for m in middle])
    cells = np.array(list(shapely.get_parts(shapely.polygonize(noded))), dtype=object)
    town = Town(runs, thick, link, atoms, run, _beside(atoms, cells), cells)
    town = _with_corners_open(rng, town)
    return _with_doors(rng, town)


def _beside(atoms: Shapes, cells: Shapes) -> Ints:
    """Return the cells on both sides of atoms, told 2 cm off their middles."""
    ends = shapely.get_coordinates(atoms).reshape(-1, 2, 2)
    step = ends[:, 1] - ends[:, 0]
    off = 0.02 * np.stack([-step[:, 1], step[:, 0]], axis=-1) / np.hypot(*step.T)[:, None]
    found = np.full((len(atoms), 2), OUTSIDE, dtype=np.int64)
    for side, sign in enumerate((1, -1)):
        points = shapely.points(ends.mean(axis=1) + sign * off)
        at, cell = shapely.STRtree(cells).query(points, predicate="within")
        found[at, side] = cell
    return found


def _with_corners_open(rng: Rng, town: Town) -> Town:
    """Return a town in which some partitions stop short, so that rooms have an L's form."""
    ends = [_meeting(town, k) for k in range(len(town.atoms))]
    wanted = [
        k
        for k, (low, high) in enumerate(ends)
        if (town.beside[k] != OUTSIDE).all() and len(low) > 1 and len(high) > 1
        and _is_tip(town, k) and (town.run == town.run[k]).sum() > 1
    ]  # fmt: skip
    gone = [k for k in wanted if rng.random() < 0.12][:1]
    keep = ~np.isin(np.arange(len(town.atoms)), gone)
    rooms = town.rooms(keep)
    cells = [shapely.union_all(town.cells[sorted(r)], grid_size=GRID_M) for r in rooms]
    polygons = np.array(cells, dtype=object)
    runs = town.runs.copy()
    for k in gone:
        rest = np.flatnonzero((town.run == town.run[k]) & keep)
        whole = shapely.line_merge(shapely.MultiLineString(list(town.atoms[rest])))
        runs[town.run[k]] = shapely.LineString(shapely.get_coordinates(whole)[[0, -1]])
    atoms = town.atoms[keep]
    beside = _beside(atoms, polygons)
    return Town(runs, town.thick, town.link, atoms, town.run[keep], beside, polygons)


def _meeting(town: Town, atom: int) -> tuple[set[int], set[int]]:
    """Return the runs that meet at either end of an atom, its own included."""
    ends = shapely.points(shapely.get_coordinates(town.atoms[atom])[[0, -1]])
    low, high = (
        set(town.run[shapely.dwithin(town.atoms, end, 0.01)].tolist()) for end in ends
    )  # fmt: skip
    return low, high


def _is_tip(town: Town, atom: int) -> bool:
    """Tell whether an atom is the first or last of its run."""
    tips = shapely.points(shapely.get_coordinates(town.runs[town.run[atom]])[[0, -1]])
    return bool(shapely.dwithin(tips, town.atoms[atom], 0.01).any())


def _with_doors(rng: Rng, town: Town) -> Town:
    """Return a town with a doorway in half of its longer walls, in one atom of each."""
    for run in range(len(town.runs)):
        atoms = np.flatnonzero(town.run == run)
        atom = town.atoms[int(rng.choice(atoms))] if len(atoms) else shapely.LineString()
        wide, edge = float(rng.uniform(0.7, 1.3)), town.thick[run] / 2 + 0.4
        if atom.length > wide + 2 * edge + 0.2 and rng.random() < 0.5:
            start = float(rng.uniform(edge, atom.length - wide - edge))
            ends = [atom.interpolate(start), atom.interpolate(start + wide)]
            town.doors[run] = shapely.LineString(ends)
    return town


def ends_on(town: Town, run: int) -> set[int]:
    """Return the runs that end in the middle of another."""
    tips = shapely.get_coordinates(town.runs).reshape(-1, 2, 2)
    own = shapely.points(tips[run])
    found = set()
    for other in range(len(town.runs)):
        ends = shapely.points(tips[other])
        met = shapely.dwithin(ends, town.runs[run], 0.01)
        at_tip = (shapely.distance(ends[:, None], own[None]) < 0.01).any(axis=1)
        if other != run and (met & ~at_tip).any():
            found.add(other)
    return found
