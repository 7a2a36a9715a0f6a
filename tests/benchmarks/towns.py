"""Towns with known truth and bad surveys of them: what the joining of walls is tuned on.

Blocks of houses in rows with lanes between, two orientation families, courts, apses, round
buildings, enclosure walls, pillars and benches; then noise, doorways, losses, rubble. Seeded.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

import numpy as np
import numpy.typing as npt
import shapely
from shapely import affinity, ops
from town_model import Damage, Surveyed, Town

Array = npt.NDArray[np.float64]
Rng = np.random.Generator

LEAST_SIDE_M = 2.2
LANE_M = (2.5, 5.0)
PLOTS = (2, 4)
"""Rows and most columns of plots in a block."""

DOOR_M = (0.6, 1.4)
LOST = (0.2, 0.6)
COURT_M2 = 30.0


def make_town(houses: int, seed: int, thickness_m: tuple[float, float] = (0.4, 0.8)) -> Town:
    """Return a town of about so many houses, twelve rooms each.

    Parameters
    ----------
    houses : int
    seed : int
    thickness_m : tuple of float
        Range of the walls' thickness [m].
    """
    rng = np.random.default_rng(seed)
    parts = []
    count = 0
    side = int(np.ceil(np.sqrt(houses / 6)))
    pitch = 75.0
    turn = float(rng.uniform(0, 90))
    while count < houses:
        block = len(parts)
        place = np.array([block % side, block // side]) * pitch
        lay = turn + (35.0 if rng.random() < 0.4 else 0.0)
        made = _block(rng, min(houses - count, 6), thickness_m)
        parts.append([_moved(house, lay, place) for house in made])
        count += len(made)
    return _town(parts)


House = tuple[list[shapely.LineString], list[float]]


def _moved(house: House, degrees: float, place: Array) -> House:
    turned = [affinity.rotate(w, degrees, origin=(0, 0)) for w in house[0]]
    return [affinity.translate(w, *place) for w in turned], house[1]


def _block(rng: Rng, most: int, thickness_m: tuple[float, float]) -> list[House]:
    """Return the houses of one block: two rows of plots back to back, or a lane between."""
    if rng.random() < 0.12:
        return [_round(rng, thickness_m)]
    lane = float(rng.uniform(*LANE_M)) if rng.random() < 0.4 else 0.0
    houses: list[House] = []
    for row in range(2):
        x = 0.0
        for _ in range(int(rng.integers(1, PLOTS[1]))):
            if len(houses) == most:
                return houses
            w, d = float(rng.uniform(9, 17)), float(rng.uniform(9, 15))
            low = -d if row == 0 else lane
            x += 0.0 if rng.random() < 0.6 else float(rng.uniform(*LANE_M))
            houses.append(_house(rng, (x, low, x + w, low + d), row, thickness_m))
            x += w
    return houses


def _round(rng: Rng, thickness_m: tuple[float, float]) -> House:
    ring = np.asarray(shapely.Point(0, 0).buffer(float(rng.uniform(2, 4.5)), 16).exterior.coords)
    return [shapely.LineString(ring)], [float(rng.uniform(*thickness_m))]


def _house(
    rng: Rng, box: tuple[float, float, float, float], row: int, thickness_m: tuple[float, float]
) -> House:
    """Return a house's wall runs: its outside, its partitions, perhaps an apse."""
    low, high = thickness_m
    outer = float(rng.uniform((low + high) / 2, high))
    inner = float(rng.uniform(low, (low + high) / 2))
    w, s, e, n = (round(x, 3) for x in box)
    runs = [((w, s), (e, s)), ((e, s), (e, n)), ((w, n), (e, n)), ((w, s), (w, n))]
    walls = [shapely.LineString(run) for run in runs]
    thick = [outer] * 4
    for run in _partitions(rng, (w, s, e, n)):
        walls.append(shapely.LineString(run))
        thick.append(inner)
    if rng.random() < 0.1:
        walls.append(_apse(rng, (w, s, e, n), row))
        thick.append(outer)
    return walls, thick


def _apse(rng: Rng, box: tuple[float, float, float, float], row: int) -> shapely.LineString:
    """Return a half circle out from the side of a house that looks on a street."""
    w, s, e, n = box
    radius = float(rng.uniform(1.5, min(3.0, (e - w) / 2 - 0.5)))
    x = float(rng.uniform(w + radius + 0.2, e - radius - 0.2))
    y, sign = (s, -1) if row == 0 else (n, 1)
    angle = np.linspace(0, np.pi, 25)
    curve = np.column_stack([x + radius * np.cos(angle), y + sign * radius * np.sin(angle)])
    curve[[0, -1], 1] = y
    return shapely.LineString(curve.round(6))


def _partitions(
    rng: Rng, box: tuple[float, float, float, float]
) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    """Yield walls that divide a box again and again until its parts are rooms."""
    w, s, e, n = box
    wide, deep = e - w, n - s
    if max(wide, deep) < 2 * LEAST_SIDE_M or wide * deep < rng.uniform(8, 34):
        return
    across = wide > deep
    size = wide if across else deep
    cut = round(float(rng.uniform(LEAST_SIDE_M, size - LEAST_SIDE_M)), 3)
    if across:
        yield (w + cut, s), (w + cut, n)
        parts = [(w, s, w + cut, n), (w + cut, s, e, n)]
    else:
        yield (w, s + cut), (e, s + cut)
        parts = [(w, s, e, s + cut), (w, s + cut, e, n)]
    for part in parts:
        yield from _partitions(rng, part)


def _town(blocks: list[list[House]]) -> Town:
    """Return blocks of houses as a town: walls from junction to junction, spaces, floors."""
    walls, thick, spaces, floors, owner = [], [], [], [], []
    first = 0
    for block in blocks:
        runs = [run for house in block for run in house[0]]
        thicknesses = np.array([t for house in block for t in house[1]])
        pieces, of = _noded(runs)
        wide = thicknesses[of] / 2
        bodies = shapely.buffer(pieces, wide, cap_style="square", join_style="mitre")
        body = shapely.union_all(bodies)
        grounds = [shapely.MultiLineString(house[0]).convex_hull for house in block]
        for space in shapely.get_parts(shapely.polygonize(pieces)):
            inside = shapely.distance(grounds, space.representative_point())
            if inside.min() > 0:
                continue
            spaces.append(space)
            floors.append(max(shapely.get_parts(space.difference(body)), key=shapely.area))
            owner.append(first + int(np.argmin(inside)))
        walls += pieces
        thick.append(thicknesses[of])
        first += len(block)
    return Town(
        np.array(walls, dtype=object),
        np.concatenate(thick),
        np.array(spaces, dtype=object),
        np.array(floors, dtype=object),
        np.array([_kind(space) for space in spaces]),
        np.array(owner),
    )


def _kind(space: shapely.Polygon) -> str:
    if len(space.exterior.coords) > 12:
        return "round"
    return "court" if space.area > COURT_M2 else "room"


def _noded(runs: list[shapely.LineString]) -> tuple[list[shapely.LineString], list[int]]:
    """Return runs cut at every junction, and the run that each piece is of."""
    noded = shapely.get_parts(shapely.line_merge(shapely.union_all(runs, grid_size=1e-6)))
    corners = []
    for piece in noded:
        corners += straight_parts(piece)
    middle = [p.interpolate(0.5, normalized=True) for p in corners]
    of = [int(np.argmin(shapely.distance(runs, m))) for m in middle]
    return corners, of


def straight_parts(line: shapely.LineString) -> list[shapely.LineString]:
    """Return a line cut at its sharp corners; a curve stays whole."""
    xy = np.asarray(line.coords)
    step = np.diff(xy, axis=0)
    angle = np.unwrap(np.arctan2(step[:, 1], step[:, 0]))
    sharp = np.flatnonzero(np.abs(np.diff(angle)) > np.radians(30)) + 1
    cuts = [0, *sharp.tolist(), len(xy) - 1]
    return [shapely.LineString(xy[a : b + 1]) for a, b in pairwise(cuts)]


def survey(town: Town, damage: Damage, seed: int) -> Surveyed:
    """Return what a survey drew of a town, as badly as `damage` says."""
    rng = np.random.default_rng(seed)
    gaps, doors = _gaps(rng, town, damage)
    lines, follows = _drawn(rng, town, damage)
    drawn, of = _cut(lines, gaps)
    again = rng.random(len(drawn)) < damage.doubled
    drawn, of = np.concatenate([drawn, drawn[again]]), np.concatenate([of, of[again]])
    whole = [_noisy(rng, line, damage) for line in drawn]
    kept = np.array([line is not None for line in whole])
    walls = np.array([line for line in whole if line is not None], dtype=object)
    extra, what = _no_walls(rng, town, damage)
    truth = np.r_[np.full(len(walls), "wall", "<U8"), what]
    cut, ground = _met_ground(lines, gaps)
    missing = shapely.intersection(lines[cut], ground)
    return Surveyed(
        lines=np.concatenate([walls, extra]),
        follows=np.r_[
            follows[of[kept]], np.full(len(extra), "centre" if damage.faces == "centre" else "face")
        ],
        code=truth if damage.coded else np.full(len(truth), "wall"),
        truth=truth,
        missing=shapely.get_parts(missing[~shapely.is_empty(missing)]),
        doors=doors,
        sd_m=damage.noise_m,
    )


def _gaps(
    rng: Rng, town: Town, damage: Damage
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.object_]]:
    """Return the ground of doorways and losses, and the centre lines of doorways."""
    length = shapely.length(town.walls)
    count = len(town.walls)
    door = (rng.random(count) < damage.doors) & (length > DOOR_M[1] + 0.6 + town.thickness)
    lost = rng.random(count) < damage.lost
    gone = rng.random(count) < damage.gone
    gaps, doors = [], []
    for k in range(count):
        reach = town.thickness[k] / 2 + 0.15
        if door[k] and not gone[k]:
            wide = rng.uniform(*DOOR_M)
            edge = town.thickness[k] / 2 + 0.15
            start = rng.uniform(edge, length[k] - wide - edge)
            stretch = _stretch(town.walls[k], start, start + wide)
            doors.append(stretch)
            gaps.append(stretch.buffer(reach, cap_style="flat"))
        if lost[k] and not gone[k]:
            wide = rng.uniform(*LOST) * length[k]
            start = rng.uniform(0, length[k] - wide)
            stretch = _stretch(town.walls[k], start, start + wide)
            gaps.append(stretch.buffer(reach, cap_style="flat"))
        if gone[k]:
            inner = min(reach, 0.3 * length[k])
            stretch = _stretch(town.walls[k], inner, length[k] - inner)
            gaps.append(stretch.buffer(reach, cap_style="flat"))
    return np.array(gaps, object), np.array(doors, object)


def _stretch(line: shapely.LineString, start: float, stop: float) -> shapely.LineString:
    return ops.substring(line, start, stop)


def _drawn(
    rng: Rng, town: Town, damage: Damage
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.str_]]:
    """Return the lines that a faultless survey draws, and what they follow."""
    as_face = np.isin(town.house, town.house[rng.random(len(town.house)) < 0.5])
    if damage.faces == "centre":
        return town.walls, np.full(len(town.walls), "centre")
    bodies = shapely.buffer(town.walls, town.thickness / 2, cap_style="square", join_style="mitre")
    whole = shapely.union_all(bodies, grid_size=1e-6)
    rings = shapely.get_rings(shapely.get_parts(whole))
    sides = [s for ring in rings for s in straight_parts(_opened(ring))]
    faces = np.array(sides, dtype=object)
    if damage.faces == "face":
        return faces, np.full(len(faces), "face")
    floors = town.floors[as_face]
    near = shapely.STRtree(floors).query(faces, predicate="dwithin", distance=0.01)[0]
    faces = faces[np.unique(near)]
    rest = ~np.isin(np.arange(len(town.walls)), _around(town, faces))
    centres = town.walls[rest]
    follows = np.r_[np.full(len(faces), "face"), np.full(len(centres), "centre")]
    return np.concatenate([faces, centres]), follows


def _around(town: Town, faces: npt.NDArray[np.object_]) -> npt.NDArray[np.int64]:
    reach = shapely.STRtree(faces).query(
        shapely.line_interpolate_point(town.walls, 0.5, normalized=True),
        predicate="dwithin",
        distance=town.thickness / 2 + 0.02,
    )
    return np.unique(reach[0])


def _opened(ring: shapely.LinearRing) -> shapely.LineString:
    """Return a ring as a line that begins at its sharpest corner."""
    xy = np.asarray(ring.coords)[:-1]
    before, after = xy - np.roll(xy, 1, axis=0), np.roll(xy, -1, axis=0) - xy
    turn = np.abs(before[:, 0] * after[:, 1] - before[:, 1] * after[:, 0]) / (
        np.hypot(*before.T) * np.hypot(*after.T) + 1e-12
    )
    first = int(np.argmax(turn))
    return shapely.LineString(np.roll(xy, -first, axis=0)[np.r_[0 : len(xy), 0]])


def _cut(
    lines: npt.NDArray[np.object_], gaps: npt.NDArray[np.object_]
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.int64]]:
    """Return what gaps leave of lines, 5 cm or more, and the line that each part is of."""
    left = lines.copy()
    if len(gaps):
        cut, ground = _met_ground(lines, gaps)
        left[cut] = shapely.difference(lines[cut], ground)
    parts, of = shapely.get_parts(left, return_index=True)
    whole = shapely.length(parts) > 0.05
    return parts[whole], of[whole]


def _met_ground(
    lines: npt.NDArray[np.object_], gaps: npt.NDArray[np.object_]
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.object_]]:
    """Return the lines that meet gaps, and the ground of the gaps that each meets."""
    line, gap = shapely.STRtree(gaps).query(lines, predicate="intersects")
    order = np.argsort(line, kind="stable")
    cut, first = np.unique(line[order], return_index=True)
    near = np.split(gap[order], first[1:]) if len(cut) else []
    return cut, np.array([shapely.union_all(gaps[k]) for k in near], dtype=object)


def _noisy(rng: Rng, line: shapely.LineString, damage: Damage) -> shapely.LineString | None:
    """Return a line as drawn: ends moved along it, points at a distance, noise on each."""
    if damage.step_m > 0:
        line = line.segmentize(damage.step_m)
    xy = np.asarray(line.coords)
    for end, inner in ((0, 1), (-1, -2)):
        step = xy[end] - xy[inner]
        move = rng.uniform(-damage.ends_m, damage.ends_m)
        size = float(np.hypot(*step))
        xy[end] += step / size * max(move, 0.05 - size)
    xy = xy + rng.normal(0, damage.noise_m, xy.shape)
    return shapely.LineString(xy) if rng.random() < 0.5 else shapely.LineString(xy[::-1])


def _no_walls(
    rng: Rng, town: Town, damage: Damage
) -> tuple[npt.NDArray[np.object_], npt.NDArray[np.str_]]:
    """Return lines that are no walls: tumble and modern lines, graves, kerbs, cisterns, rock."""
    if not damage.rubble and not damage.others:
        return np.array([], object), np.array([], "<U8")
    w, s, e, n = shapely.total_bounds(town.walls)
    made: list[shapely.LineString] = []
    what: list[str] = []
    for _ in range(round(damage.rubble * len(town.walls))):
        a = rng.uniform((w, s), (e, n))
        length = rng.uniform(0.5, 3.0) if rng.random() < 0.9 else rng.uniform(5, 20)
        turn = rng.uniform(0, 2 * np.pi)
        made.append(shapely.LineString([a, a + length * np.array([np.cos(turn), np.sin(turn)])]))
        what.append("rubble")
    while sum(k != "rubble" for k in what) < damage.others * len(town.walls):
        kind = str(rng.choice(["grave", "kerb", "cistern", "rock"]))
        lines = _rock(rng, (w, s, e, n)) if kind == "rock" else _set_down(rng, kind, (w, s, e, n))
        made += lines
        what += [kind] * len(lines)
    noisy = [_noisy(rng, line, damage) for line in made]
    return np.array(noisy, object), np.array(what, dtype="<U8")


def _set_down(rng: Rng, kind: str, bounds: tuple[float, ...]) -> list[shapely.LineString]:
    """Return a grave's or cistern's outline, or a kerb, somewhere in the town."""
    w, s, e, n = bounds
    place, turn = rng.uniform((w, s), (e, n)), rng.uniform(0, 180)
    if kind == "kerb":
        run = shapely.LineString([(0, 0), (rng.uniform(2, 12), 0)])
        return [affinity.translate(affinity.rotate(run, turn, origin=(0, 0)), *place)]
    size = (2.0, 0.8) if kind == "grave" else tuple(rng.uniform(1.2, 3.5, 2))
    ring = affinity.rotate(shapely.box(0, 0, *size), turn, origin=(0, 0)).exterior
    xy = np.asarray(affinity.translate(ring, *place).coords)
    if rng.random() < 0.5:
        return [shapely.LineString(xy)]
    return [shapely.LineString(xy[k : k + 2]) for k in range(4)]


def _rock(rng: Rng, bounds: tuple[float, ...]) -> list[shapely.LineString]:
    """Return joints of bedrock: two sets of straight parallel lines that cross."""
    w, s, e, n = bounds
    place, turn = rng.uniform((w, s), (e, n)), rng.uniform(0, 180)
    wide, deep = rng.uniform(5, 14, 2)
    across = np.cumsum(rng.uniform(0.8, 3.0, 5))
    lines = [shapely.LineString([(0, y), (wide, y)]) for y in across[across < deep]]
    lines += [
        shapely.LineString([(x, 0), (x, deep)]) for x in across[across < wide] if rng.random() < 0.6
    ]
    turned = [affinity.rotate(line, turn, origin=(0, 0)) for line in lines]
    return [affinity.translate(line, *place) for line in turned]
