"""Towns of another hand: quarters, lanes and crooked houses with known truth, badly surveyed.

All plans begin as convex polygons that are cut by lines; other shapes are joined from them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from town_model import Damage, Surveyed, Town

Floats = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]
Words = npt.NDArray[np.str_]
Lines = npt.NDArray[np.object_]
Convex = list[tuple[float, float]]
Rooms = list[tuple[Convex, str]]
Rng = np.random.Generator

RIGHT = np.pi / 2
GRID_M = 1e-3  # plans are drawn to the millimetre before the town is turned
SHORTEST_M = 0.15  # from junction to junction
SLIMMEST_M, LEAST_M2 = 1.6, 2.6  # of a space, to the centres of its walls
ROOM_M2, COURT_M2 = 60.0, 150.0
SHARP = np.radians(25)  # a wall ends where it turns by more


# ------------------------------------------------------------------ cutting convex polygons


def _area(poly: Convex) -> float:
    """Return the area [m2].

    >>> _area([(0, 0), (2, 0), (2, 3), (0, 3)])
    6.0
    """
    ends = [*poly[1:], poly[0]]
    return 0.5 * abs(sum(a[0] * b[1] - b[0] * a[1] for a, b in zip(poly, ends, strict=True)))


def _extent(poly: Convex, angle: float) -> tuple[float, float]:
    """Return the least and greatest reach along a direction [m]."""
    c, s = np.cos(angle), np.sin(angle)
    reach = [x * c + y * s for x, y in poly]
    return min(reach), max(reach)


def _length(poly: Convex, angle: float) -> float:
    low, high = _extent(poly, angle)
    return high - low


def _width(poly: Convex) -> float:
    """Return the least width between parallels [m]."""
    ends = [*poly[1:], poly[0]]
    angles = [np.arctan2(b[1] - a[1], b[0] - a[0]) for a, b in zip(poly, ends, strict=True)]
    return min(_length(poly, angle + RIGHT) for angle in angles)


def _middle(poly: Convex) -> tuple[float, float]:
    return sum(x for x, _ in poly) / len(poly), sum(y for _, y in poly) / len(poly)


def _slice(poly: Convex, angle: float, at: float, skew: float = 0.0) -> tuple[Convex, Convex]:
    """Cut across a direction at a reach; return the nearer and the farther part (maybe empty).

    The cut is turned by `skew` about the point in line with the polygon's middle.

    >>> _slice([(0, 0), (2, 0), (2, 1), (0, 1)], 0.0, 0.5)[0]
    [(0, 0), (0.5, 0.0), (0.5, 1.0), (0, 1)]
    """
    x0, y0 = _middle(poly)
    step = at - (x0 * np.cos(angle) + y0 * np.sin(angle))
    x0, y0 = x0 + step * np.cos(angle), y0 + step * np.sin(angle)
    c, s = float(np.cos(angle + skew)), float(np.sin(angle + skew))
    side = [(x - x0) * c + (y - y0) * s for x, y in poly]
    near: Convex = []
    far: Convex = []
    for i, (point, here) in enumerate(zip(poly, side, strict=True)):
        nxt, there = poly[(i + 1) % len(poly)], side[(i + 1) % len(poly)]
        if here <= 1e-9:
            near.append(point)
        if here >= -1e-9:
            far.append(point)
        if (here < -1e-9 and there > 1e-9) or (here > 1e-9 and there < -1e-9):
            t = here / (here - there)
            on = (
                float(point[0] + t * (nxt[0] - point[0])),
                float(point[1] + t * (nxt[1] - point[1])),
            )
            near.append(on)
            far.append(on)
    return near, far


def _fits(poly: Convex) -> bool:
    return len(poly) > 2 and _area(poly) >= LEAST_M2 and _width(poly) >= SLIMMEST_M


def _longer(poly: Convex, angle: float) -> float:
    """Return the one of a direction and its normal along which the polygon is longer."""
    return angle if _length(poly, angle) > _length(poly, angle + RIGHT) else angle + RIGHT


# ------------------------------------------------------------------ ways of dividing a house


def _agglutinated(poly: Convex, angle: float, room_m2: float, rng: Rng) -> Rooms:
    """Cut at odd places and not quite square, until the parts are about as small as asked."""
    heap, rooms = [poly], []
    while heap:
        part = heap.pop()
        size = _area(part)
        if size > min(ROOM_M2, room_m2 * rng.uniform(0.8, 2.2)):
            along = _longer(part, angle) + (RIGHT if rng.random() < 0.15 else 0)
            low, high = _extent(part, along)
            at = low + (high - low) * rng.uniform(0.32, 0.68)
            parts = _slice(part, along, at, rng.laplace(0, 0.045))
            if all(_fits(p) for p in parts):
                heap += parts
                continue
        rooms.append(part)
    return [(r, "court" if _area(r) > ROOM_M2 else "room") for r in rooms]


def _row(poly: Convex, along: float, width_m: float, rng: Rng) -> Rooms:
    """Cut cells in a row, of uneven widths."""
    cells, rest = [], poly
    while _length(rest, along) > 1.7 * width_m:
        at = _extent(rest, along)[0] + width_m * rng.uniform(0.75, 1.35)
        cell, left = _slice(rest, along, at, rng.normal(0, 0.012))
        if not (_fits(cell) and _fits(left)):
            break
        cells.append(cell)
        rest = left
    rooms: Rooms = []
    for cell in [*cells, rest]:
        rooms += _agglutinated(cell, along, ROOM_M2 * 0.7, rng)
    return rooms


def _court(poly: Convex, angle: float, room_m2: float, rng: Rng) -> Rooms:
    """Put ranges of rooms on one to four sides of a court, in any order."""
    rooms: Rooms = []
    rest, depth = poly, np.sqrt(room_m2) * rng.uniform(0.85, 1.2)
    turns = rng.permutation(4)[: rng.integers(1, 5)]
    for turn in turns:
        out = angle + turn * RIGHT
        at = _extent(rest, out)[1] - max(2.2, depth * rng.uniform(0.8, 1.2))
        left, strip = _slice(rest, out, at, rng.normal(0, 0.01))
        if _fits(strip) and len(left) > 2 and _width(left) > 3.2 and _area(left) > 9:
            rooms += _row(strip, out + RIGHT, depth, rng)
            rest = left
    if _area(rest) > COURT_M2 or rng.random() < 0.25:  # a portico along one side of the court
        out = angle + rng.integers(4) * RIGHT
        left, strip = _slice(rest, out, _extent(rest, out)[1] - rng.uniform(2, 3))
        if _fits(left) and _fits(strip) and _area(strip) < ROOM_M2:
            rooms.append((strip, "room"))
            rest = left
    if _area(rest) > COURT_M2:
        return rooms + _agglutinated(rest, angle, room_m2, rng)
    return [*rooms, (rest, "court")]


def _corridor(poly: Convex, angle: float, room_m2: float, rng: Rng) -> Rooms:
    """Put rows of rooms on both sides of a corridor."""
    along = _longer(poly, angle)
    low, high = _extent(poly, along + RIGHT)
    wide, middle = rng.uniform(1.7, 2.4), low + (high - low) * rng.uniform(0.38, 0.62)
    one, rest = _slice(poly, along + RIGHT, middle - wide / 2)
    hall, two = _slice(rest, along + RIGHT, middle + wide / 2) if len(rest) > 2 else ([], [])
    if not all(_fits(p) for p in (one, hall, two)) or _area(hall) > ROOM_M2:
        return _agglutinated(poly, angle, room_m2, rng)
    side = max(2.2, room_m2 / (0.5 * (high - low - wide)))
    return [*_row(one, along, side, rng), (hall, "room"), *_row(two, along, side, rng)]


def _cells(poly: Convex, angle: float, room_m2: float, rng: Rng) -> Rooms:
    """Put cells in one or two rows, perhaps behind a long porch."""
    along = _longer(poly, angle)
    rooms: Rooms = []
    if rng.random() < 0.6:
        at = _extent(poly, along + RIGHT)[0] + rng.uniform(1.9, 3.0)
        porch, body = _slice(poly, along + RIGHT, at)
        if _fits(porch) and _fits(body) and _area(porch) < ROOM_M2:
            rooms.append((porch, "room"))
            poly = body
    low, high = _extent(poly, along + RIGHT)
    rows = [poly]
    if high - low > 6:
        parts = _slice(poly, along + RIGHT, low + (high - low) * rng.uniform(0.4, 0.6))
        rows = list(parts) if all(_fits(p) for p in parts) else rows
    for part in rows:
        deep = _length(part, along + RIGHT)
        rooms += _row(part, along, max(2.2, room_m2 / deep), rng)
    return rooms


def _hall(poly: Convex, angle: float, room_m2: float, rng: Rng) -> Rooms:
    """Put a porch, a hall and a back room in line, the hall first divided if it is large."""
    along = _longer(poly, angle)
    low, high = _extent(poly, along)
    one, rest = _slice(poly, along, low + (high - low) * rng.uniform(0.15, 0.3))
    two, three = _slice(rest, along, low + (high - low) * rng.uniform(0.6, 0.8))
    if not all(_fits(p) for p in (one, two, three)):
        return _agglutinated(poly, angle, room_m2, rng)
    rooms: Rooms = []
    for part in (one, two, three):
        rooms += _agglutinated(part, angle, max(room_m2 * 2, 0.7 * _area(part)), rng)
    return rooms


WAYS = (_agglutinated, _court, _corridor, _cells, _hall)


def _divided(plot: Convex, angle: float, rng: Rng) -> Rooms:
    """Divide a plot into 3 to 25 spaces in a way that suits its size."""
    size = _area(plot)
    chances = (0.55, 0.0, 0.05, 0.2, 0.2) if size < 70 else (0.25, 0.4, 0.15, 0.15, 0.05)
    room_m2 = float(np.clip(rng.lognormal(np.log(11), 0.35), 5, 26))
    room_m2 = float(np.clip(room_m2, size / 20, max(4.0, size / 4)))
    for _ in range(4):
        rooms = WAYS[int(rng.choice(len(WAYS), p=chances))](plot, angle, room_m2, rng)
        if 3 <= len(rooms) <= 25:
            return rooms
        room_m2 *= 0.7 if len(rooms) < 3 else 1.5
    return rooms


# ------------------------------------------------------------------ streets, blocks and plots


@dataclass(frozen=True)
class _Block:
    """Ground of one block, the axis of its quarter, and how far it may lean into the street."""

    ground: Convex
    angle: float
    cell: Convex


def _parted(poly: Convex, along: float, at: float, gap_m: float) -> list[Convex]:
    """Cut across a direction and leave a street between the parts."""
    near, _ = _slice(poly, along, at - gap_m / 2)
    _, far = _slice(poly, along, at + gap_m / 2)
    return [p for p in (near, far) if len(p) > 2 and _width(p) > 6 and _area(p) > 50]


def _streets(side_m: float, families: Floats, rng: Rng) -> list[_Block]:
    """Cut the ground into quarters by crooked streets and these into blocks by lanes."""
    heap: list[Convex] = [[(0, 0), (side_m, 0), (side_m, side_m), (0, side_m)]]
    quarter_m2 = float(min(side_m**2 / 4, 9000))
    blocks: list[_Block] = []
    while heap:
        part = heap.pop()
        along = _longer(part, families[0]) + rng.normal(0, 0.2)
        if _area(part) > quarter_m2 * rng.uniform(0.8, 2.0):
            low, high = _extent(part, along)
            at = low + (high - low) * rng.uniform(0.35, 0.65)
            heap += _parted(part, along, at, rng.uniform(4.0, 7.5))
        else:
            axis = float(rng.choice(families) + rng.normal(0, 0.04))
            blocks += _lanes(part, axis, rng)
    return blocks


def _lanes(quarter: Convex, axis: float, rng: Rng) -> list[_Block]:
    """Cut a quarter into blocks along its axis."""
    heap, blocks = [quarter], []
    block_m2 = rng.uniform(350, 1400)
    while heap:
        part = heap.pop()
        if _area(part) > block_m2 * rng.uniform(0.7, 1.6):
            along = _longer(part, axis) + rng.normal(0, 0.03)
            low, high = _extent(part, along)
            gap = rng.uniform(2.3, 4.0)
            heap += _parted(part, along, low + (high - low) * rng.uniform(0.35, 0.65), gap)
        else:
            blocks.append(_Block(_blunted(part, rng), axis, part))
    return blocks


def _plots(block: _Block, rng: Rng) -> list[Convex]:
    """Cut a block into plots that share party walls."""
    heap, plots = [block.ground], []
    while heap:
        part = heap.pop()
        wanted = np.clip(rng.lognormal(np.log(115), 0.55), 35, 380)
        if _area(part) > 1.5 * wanted:
            along = _longer(part, block.angle)
            low, high = _extent(part, along)
            at = low + (high - low) * rng.uniform(0.3, 0.7)
            parts = _slice(part, along, at, rng.normal(0, 0.025))
            if all(len(p) > 2 and _width(p) > 4 and _area(p) > 30 for p in parts):
                heap += parts
                continue
        plots.append(part)
    return plots


def _blunted(poly: Convex, rng: Rng) -> Convex:
    """Cut off corners that are too sharp to build in."""
    for before, here, after in zip([poly[-1], *poly[:-1]], poly, [*poly[1:], poly[0]], strict=True):
        one = np.array(before) - here
        two = np.array(after) - here
        middle = one / np.hypot(*one) + two / np.hypot(*two)
        if np.hypot(*middle) < 2 * np.cos(np.radians(29)):  # half of a corner of 58 degrees
            continue
        out = float(np.arctan2(-middle[1], -middle[0])) + rng.normal(0, 0.25)
        blunt, _ = _slice(poly, out, _extent(poly, out)[1] - rng.uniform(2.5, 4.5))
        if len(blunt) > 2 and _width(blunt) > 4 and _area(blunt) > 28:
            poly = blunt
    return poly


def _set_back(plot: Convex, block: _Block, rng: Rng) -> Convex:
    """Draw a plot back a little from some streets, and now and then from a neighbour."""
    edge = shapely.linearrings([*block.ground, block.ground[0]])
    for i, (a, b) in enumerate(zip(plot, [*plot[1:], plot[0]], strict=True)):
        middle = shapely.Point((a[0] + b[0]) / 2, (a[1] + b[1]) / 2)
        street = bool(shapely.distance(edge, middle) < 1e-6)
        if i > 5 or rng.random() > (0.6 if street else 0.08):
            continue
        gap = rng.uniform(0.2, 1.6) if street else rng.uniform(1.7, 2.4)
        out = float(np.arctan2(b[1] - a[1], b[0] - a[0])) - RIGHT
        smaller, _ = _slice(plot, out, _extent(plot, out)[1] - gap, rng.normal(0, 0.02))
        if len(smaller) > 2 and _width(smaller) > 4 and _area(smaller) > 28:
            plot = smaller
    return plot


# ------------------------------------------------------------------ houses as shapes


@dataclass
class _Plan:
    """Spaces of one house, each with its kind and slimmest width; and walls that close none."""

    shapes: list[shapely.Polygon]
    kinds: list[str]
    widths: list[float]
    fittings: list[tuple[shapely.LineString, float]]


def _plan(rooms: Rooms) -> _Plan:
    shapes = [shapely.Polygon(room) for room, _ in rooms]
    return _Plan(shapes, [kind for _, kind in rooms], [_width(r) for r, _ in rooms], [])


def _arc(centre: Floats, radius_m: float, start: float, sweep: float) -> Floats:
    """Return points about 0.45 m apart on an arc, shape (n, 2)."""
    n = max(int(abs(sweep) * radius_m / 0.45), int(np.ceil(abs(sweep) / 0.35)), 4)
    turn = start + np.linspace(0, sweep, n + 1)
    return centre + radius_m * np.column_stack([np.cos(turn), np.sin(turn)])


def _joined(plan: _Plan, rng: Rng) -> None:
    """Join two rooms of a house into an L, a T or a longer room."""
    first = int(rng.integers(len(plan.shapes)))
    for second in rng.permutation(len(plan.shapes)):
        if first == second or "court" in (plan.kinds[first], plan.kinds[second]):
            continue
        both = shapely.union(plan.shapes[first], plan.shapes[second], grid_size=GRID_M)
        border = plan.shapes[first].length + plan.shapes[second].length - both.length
        if both.geom_type != "Polygon" or both.interiors or both.area > 50 or border < 3.2:
            continue
        plan.shapes[first] = both
        plan.widths[first] = min(plan.widths[first], plan.widths[second])
        for part in (plan.shapes, plan.kinds, plan.widths):
            part.pop(int(second))
        return


def _apse(plan: _Plan, block: _Block, rng: Rng) -> None:
    """Round one wall of a room out, into the next room or the street, where there is ground."""
    index = int(rng.integers(len(plan.shapes)))
    corners = shapely.get_coordinates(plan.shapes[index])
    i = int(rng.integers(len(corners) - 1))
    a, b = corners[i], corners[i + 1]
    chord = float(np.hypot(*(b - a)))
    if not 2.0 <= chord <= 7.5:
        return
    rise = chord * rng.uniform(0.2, 0.5)
    radius = (chord**2 / 4 + rise**2) / (2 * rise)
    inward = 1 if plan.shapes[index].exterior.is_ccw else -1
    normal = inward * np.array([-(b - a)[1], (b - a)[0]]) / chord
    centre = (a + b) / 2 + normal * (radius - rise)
    start, end = np.arctan2(*(a - centre)[::-1]), np.arctan2(*(b - centre)[::-1])
    sweep = (end - start) * inward % (2 * np.pi) * inward
    bow = _arc(centre, radius, start, sweep)
    bow[0], bow[-1] = a, b
    _bulge(plan, index, shapely.Polygon(bow), block)


def _bulge(plan: _Plan, index: int, bulge: shapely.Polygon, block: _Block) -> None:
    """Give a bulge to one room and take it from the rest, unless that would spoil another."""
    house = shapely.union_all(plan.shapes, grid_size=GRID_M)
    inside = shapely.intersection(bulge, house).area / bulge.area
    if inside < 0.999:
        ground = shapely.Polygon(block.ground)
        free = shapely.Polygon(block.cell).contains(bulge)
        if inside > 0.001 or not free or shapely.intersection(bulge, ground).area > 1e-3:
            return
    rest = [shapely.difference(shape, bulge, grid_size=GRID_M) for shape in plan.shapes]
    for k, part in enumerate(rest):
        if k != index and shapely.area(shapely.intersection(plan.shapes[k], bulge)) > 1e-3:
            slim = shapely.buffer(part, -SLIMMEST_M / 2 + 0.1)
            if part.geom_type != "Polygon" or part.area < 5 or slim.geom_type != "Polygon":
                return
            if slim.is_empty:
                return
            plan.widths[k] = min(plan.widths[k], SLIMMEST_M)
    rest[index] = shapely.union(plan.shapes[index], bulge, grid_size=GRID_M)
    if rest[index].geom_type == "Polygon" and rest[index].area <= COURT_M2:
        plan.shapes[:] = [
            r if k == index or r.geom_type == "Polygon" else plan.shapes[k]
            for k, r in enumerate(rest)
        ]
        plan.kinds[index] = "round"


def _apsidal(plot: Convex, angle: float, rng: Rng) -> _Plan | None:
    """Return a long house standing free with a half-round end, cut by one or two cross walls."""
    along = _longer(plot, angle)
    low, high = _extent(plot, along)
    span = shapely.Polygon(plot).buffer(-0.3)
    wide = min(rng.uniform(4, 6.5), _length(plot, along + RIGHT) - 1.5)
    middle, flip = np.array(_middle(plot)), float(rng.choice([-1, 1]))
    u = flip * np.array([np.cos(along), np.sin(along)])
    v = np.array([-u[1], u[0]])
    long = (high - low) * rng.uniform(0.55, 0.8)
    if long < wide or wide < 3.6:
        return None
    back, front = middle - u * long / 2, middle + u * (long - wide) / 2
    cuts = [back, *[back + u * t * (long - wide / 2) for t in sorted(rng.uniform(0.3, 0.6, 1))]]
    rooms: Rooms = []
    for near, far in zip(cuts, [*cuts[1:], front], strict=True):
        corners = [near + v * wide / 2, near - v * wide / 2, far - v * wide / 2, far + v * wide / 2]
        rooms.append(([(float(x), float(y)) for x, y in corners], "room"))
    bow = _arc(front, wide / 2, float(np.arctan2(*(-v)[::-1])), np.pi)
    bow[0], bow[-1] = corners[2], corners[3]
    plan = _plan(rooms)
    plan.shapes.append(shapely.Polygon(bow))
    plan.kinds.append("round")
    plan.widths.append(min(wide / 2, wide))
    ok = all(_fits(r) and _area(r) < ROOM_M2 for r, _ in rooms)
    return plan if ok and all(span.contains(s) for s in plan.shapes) else None


def _round(plot: Convex, angle: float, rng: Rng) -> _Plan | None:
    """Return a round building, perhaps halved by a wall, perhaps in a walled yard."""
    radius = min(rng.uniform(1.6, 3.9), _width(plot) / 2 - 2.2)
    if radius < 1.5:
        return None
    ring = shapely.Polygon(_arc(np.array(_middle(plot)), radius, angle, 2 * np.pi)[:-1])
    yard = shapely.Polygon(plot)
    if not shapely.buffer(yard, -1.9).contains(ring):
        return None
    if radius > 2.8 and rng.random() < 0.5:
        points = shapely.get_coordinates(ring)[:-1]
        half = len(points) // 2 + int(rng.integers(-1, 2))
        shapes = [
            shapely.Polygon(points[: half + 1]),
            shapely.Polygon(np.vstack([points[half:], points[:1]])),
        ]
        plan = _Plan(shapes, ["round"] * 2, [radius * 0.7] * 2, [])
    else:
        plan = _Plan([ring], ["round"], [2 * radius], [])
    if rng.random() < 0.5 and 20 < yard.area - ring.area < COURT_M2:
        plan.shapes.append(shapely.Polygon(yard.exterior, [ring.exterior]))
        plan.kinds.append("court")
        plan.widths.append(1.9)
    return plan


def _enclosure(plot: Convex, angle: float, rng: Rng) -> _Plan | None:
    """Return a walled yard standing free, some with rounded corners."""
    shape = shapely.buffer(shapely.Polygon(plot), -rng.uniform(0.8, 1.5), join_style="mitre")
    if shape.geom_type != "Polygon" or not 20 < shape.area < COURT_M2:
        return None
    kind = "court"
    if rng.random() < 0.3:
        radius = rng.uniform(1.6, 2.4)
        shape = shapely.buffer(shapely.buffer(shape, -radius), radius, quad_segs=6)
        kind = "round"
    if shape.geom_type != "Polygon" or shape.area < 20:
        return None
    return _Plan([shape], [kind], [4.0], [])


def _furnish(plan: _Plan, rng: Rng) -> None:
    """Put benches along walls of some rooms, pillars and short piers into others."""
    for shape, kind, width in zip(plan.shapes, plan.kinds, plan.widths, strict=True):
        chance = rng.random()
        if kind == "round" or width < 2.6 or chance > 0.16:
            continue
        corners = shapely.get_coordinates(shape.exterior)
        i = int(rng.integers(len(corners) - 1))
        a, b = corners[i], corners[i + 1]
        chord = float(np.hypot(*(b - a)))
        if chord < 2.8:
            continue
        along = (b - a) / chord
        inward = (1 if shape.exterior.is_ccw else -1) * np.array([-along[1], along[0]])
        if chance < 0.09:  # a bench
            wide = rng.uniform(0.4, 0.5)
            start, end = rng.uniform(0.9, 1.2), chord - rng.uniform(0.9, 1.2)
            base = a + inward * (0.42 + wide / 2)
            stones = [([base + along * start, base + along * end], wide)]
        else:  # a row of pillars
            deep, n = min(width / 2, rng.uniform(1.4, 2.2)), int(chord // 2.2)
            at = [a + inward * deep + along * chord * (k + 1) / (n + 1) for k in range(n)]
            half, wide = rng.uniform(0.25, 0.4), rng.uniform(0.4, 0.7)
            stones = [([p - along * half, p + along * half], wide) for p in at]
        for line, wide in stones:
            bar = shapely.LineString(line)
            if shapely.buffer(shape, -0.3).contains(bar):
                plan.fittings.append((bar, float(wide)))


def _built(plot: Convex, block: _Block, rng: Rng) -> _Plan | None:
    """Return what stands on a plot, or None for open ground."""
    angle = block.angle + rng.normal(0, 0.025)
    chance = rng.random()
    plan = None
    if chance < 0.05:
        return None
    if chance < 0.19:
        free = (_round, _apsidal, _enclosure)[int(chance * 1000) % 3]
        plan = free(plot, angle, rng)
    if plan is None:
        plan = _plan(_divided(_blunted(_set_back(plot, block, rng), rng), angle, rng))
        if len(plan.shapes) > 4 and rng.random() < 0.45:
            _joined(plan, rng)
        if len(plan.shapes) > 3 and rng.random() < 0.3:
            _apse(plan, block, rng)
    _furnish(plan, rng)
    return plan


# ------------------------------------------------------------------ the town


@dataclass
class _Drawn:
    """What is gathered block by block: walls as noded, and the spaces as meant."""

    walls: list[Lines]
    bars: list[tuple[shapely.LineString, float]]
    shapes: list[shapely.Polygon]
    kinds: list[str]
    widths: list[float]
    house: list[int]


def make_town(houses: int, seed: int, thickest_m: float = 1.5) -> Town:
    """Make a town of crooked quarters.

    Benches, pillars and terrace walls are walls that close no space; a floor is not less for them.

    Parameters
    ----------
    houses : int
        How many buildings and enclosures, 1 or more.
    seed : int
        Same seed, same town.
    thickest_m : float
        Greatest thickness of a wall, 0.4 to 1.5 [m]; 0.8 for a town of which faces are drawn.

    Returns
    -------
    Town

    Raises
    ------
    ValueError
        If fewer than one house is asked for, or walls thinner than 0.4 m.
    """
    if houses < 1 or not 0.4 <= thickest_m <= 1.5:
        raise ValueError(
            f"found {houses} houses and walls up to {thickest_m} m; allowed are 1 or more and "
            "0.4 to 1.5 m; no such town can be made; ask for more houses or other walls"
        )
    rng = np.random.default_rng([seed, 77_003])
    drawn = _settled(houses, rng)
    angle = rng.uniform(0, 2 * np.pi)
    bars = np.array([bar for bar, _ in drawn.bars] + [None], dtype=object)[:-1]
    walls = _without_jogs(_met(_cut_at_corners(np.concatenate(drawn.walls))))
    walls, bars = _turned(walls, angle), _turned(bars, angle)
    meant = _turned(shapely.point_on_surface(np.array(drawn.shapes, dtype=object)), angle)
    faces = np.array(shapely.get_parts(shapely.polygonize(walls)))
    point, face = shapely.STRtree(faces).query(meant, predicate="within")
    spaces = faces[face]
    house = np.array(drawn.house, dtype=np.int64)[point]
    beside = _beside(walls, spaces)
    thickness = _thickness(walls, beside, np.array(drawn.widths)[point], house, rng)
    thickness = np.minimum(thickness, thickest_m)
    floors = _floors(walls, thickness, spaces, beside)
    bar_m = np.minimum([wide for _, wide in drawn.bars], thickest_m)
    return Town(
        walls=np.concatenate([walls, bars]),
        thickness=np.concatenate([thickness, bar_m]).astype(float),
        spaces=spaces,
        floors=floors,
        kind=np.array(drawn.kinds)[point],
        house=house,
    )


def _settled(houses: int, rng: Rng) -> _Drawn:
    """Build on blocks from the middle of the ground outwards, until there are enough houses."""
    families = rng.uniform(0, RIGHT) + np.array([0.0, *rng.uniform(0.3, 1.2, rng.integers(1, 3))])
    side_m = 40 + np.sqrt(houses * 260.0)
    drawn = _Drawn([], [], [], [], [], [])
    count = 0
    while count < houses:
        drawn, count = _Drawn([], [], [], [], [], []), 0
        blocks = _streets(side_m, families, rng)
        middles = np.array([_middle(block.ground) for block in blocks])
        far = np.hypot(*(middles - side_m / 2).T) + rng.normal(0, 8, len(blocks))
        for index in np.argsort(far, kind="stable"):
            count = _build(blocks[index], drawn, count, houses, rng)
        side_m *= 1.15
    return drawn


def _build(block: _Block, drawn: _Drawn, count: int, houses: int, rng: Rng) -> int:
    """Build on one block; return the count of houses after it."""
    first = len(drawn.shapes)
    for plot in _plots(block, rng) if count < houses else []:
        plan = _built(plot, block, rng) if count < houses else None
        if plan is None:
            drawn.bars += _terrace(plot, block.angle, rng)
            continue
        drawn.shapes += plan.shapes
        drawn.kinds += plan.kinds
        drawn.widths += plan.widths
        drawn.bars += plan.fittings
        drawn.house += [count] * len(plan.shapes)
        count += 1
    if len(drawn.shapes) > first:
        edges = shapely.boundary(np.array(drawn.shapes[first:], dtype=object))
        noded = shapely.union_all(edges, grid_size=GRID_M)
        drawn.walls.append(shapely.get_parts(shapely.line_merge(noded)))
    return count


def _terrace(plot: Convex, angle: float, rng: Rng) -> list[tuple[shapely.LineString, float]]:
    """Return, for half of the open plots, a wall that stands alone there, and its thickness."""
    middle = np.array(_middle(plot))
    turn = angle + rng.normal(0, 0.3)
    half = np.array([np.cos(turn), np.sin(turn)]) * _width(plot) * rng.uniform(0.2, 0.38)
    wall, wide = shapely.LineString([middle - half, middle + half]), float(rng.uniform(0.5, 1.1))
    stands = rng.random() < 0.5 and shapely.buffer(shapely.Polygon(plot), -1.5).contains(wall)
    return [(wall, wide)] if stands else []


def _met(lines: Lines) -> Lines:
    """Cut lines at ends of others that lie within some millimetres of them.

    A meeting point can be rounded off the line that it lay on.
    """
    points = np.unique(np.round(_ends(lines)[0], 5), axis=0)
    ends = shapely.points(points)
    line, point = shapely.STRtree(ends).query(lines, predicate="dwithin", distance=4 * GRID_M)
    edge = shapely.boundary(lines[line])
    apart = shapely.distance(edge, ends[point]) > 10 * GRID_M
    cut: dict[int, list[int]] = {}
    for i, k in zip(line[apart].tolist(), point[apart].tolist(), strict=True):
        cut.setdefault(i, []).append(k)
    parts: list[shapely.Geometry] = []
    for i, met in cut.items():
        xy = shapely.get_coordinates(lines[i])
        at = shapely.line_locate_point(lines[i], shapely.points(xy))
        at[-1] = lines[i].length
        on = shapely.line_locate_point(lines[i], ends[met])
        every = np.vstack([xy, points[met]])
        order = np.argsort(np.concatenate([at, on]), kind="stable")
        breaks = np.flatnonzero(order >= len(xy))
        for a, b in zip([0, *breaks], [*breaks, len(order) - 1], strict=True):
            parts.append(shapely.LineString(every[order[a : b + 1]]))
    rest = np.setdiff1d(np.arange(len(lines)), list(cut))
    return np.concatenate([lines[rest], _objects(parts)])


def _without_jogs(lines: Lines) -> Lines:
    """Draw junctions less than 0.15 m apart together, and each line once."""
    points, _ = _ends(lines)
    node = _nodes(points)
    short = (shapely.length(lines) < SHORTEST_M) & ~shapely.is_closed(lines)
    group = _groups(node.reshape(-1, 2)[short], int(node.max()) + 1)[node]
    _, first = np.unique(group, return_index=True)
    ends = points[first[np.searchsorted(group[first], group)]]
    lines = lines[~short]
    xy, index = shapely.get_coordinates(lines, return_index=True)
    start, last = _tips(lines)
    xy[start], xy[last] = ends[0::2][~short], ends[1::2][~short]
    drawn = shapely.normalize(shapely.linestrings(xy, indices=index))
    _, once = np.unique(shapely.to_wkb(drawn), return_index=True)
    return np.asarray(drawn[np.sort(once)], dtype=object)


def _tips(lines: Lines) -> tuple[Ints, Ints]:
    """Return where in the coordinates of all lines each line begins and ends."""
    last = np.cumsum(shapely.get_num_coordinates(lines)) - 1
    return np.concatenate([[0], last[:-1] + 1]).astype(np.int64)[: len(lines)], last


def _turned(shapes: Lines, angle: float) -> Lines:
    c, s = np.cos(angle), np.sin(angle)
    turn = np.array([[c, s], [-s, c]])
    return np.asarray(shapely.transform(shapes, lambda xy: xy @ turn), dtype=object)


def _bends(xy: Floats, index: Ints) -> Floats:
    """Return how much a row of lines turns at each vertex [rad]; 0 at ends."""
    turn = np.zeros(len(xy))
    way = np.diff(xy, axis=0)
    heading = np.arctan2(way[:, 1], way[:, 0])
    change = np.abs((np.diff(heading) + np.pi) % (2 * np.pi) - np.pi)
    inner = (index[:-2] == index[1:-1]) & (index[1:-1] == index[2:])
    turn[1:-1][inner] = change[inner]
    return turn


def _cut_at_corners(lines: Lines) -> Lines:
    """Cut lines where they turn sharply, rings also half way; drop vertices in straight walls."""
    lines = shapely.simplify(lines, 2 * GRID_M)
    xy, index = shapely.get_coordinates(lines, return_index=True)
    cut = _bends(xy, index) > SHARP
    first, _ = _tips(lines)
    half = first + shapely.get_num_coordinates(lines) // 2
    cut[half[shapely.is_closed(lines)]] = True
    twice = np.repeat(np.arange(len(xy)), 1 + cut)
    second = np.concatenate([[False], np.diff(twice) == 0])
    new_line = np.concatenate([[0], np.diff(index[twice])]).astype(bool) | second
    return np.asarray(shapely.linestrings(xy[twice], indices=np.cumsum(new_line)), dtype=object)


def _beside(walls: Lines, spaces: Lines) -> Ints:
    """Return pairs (space, wall), shape (n, 2): the walls that bound each space."""
    half = shapely.line_interpolate_point(walls, 0.5, normalized=True)
    edges = shapely.boundary(spaces)
    wall, space = shapely.STRtree(edges).query(half, predicate="dwithin", distance=1e-6)
    order = np.lexsort([wall, space])
    return np.column_stack([space[order], wall[order]])


def _thickness(walls: Lines, beside: Ints, widths: Floats, house: Ints, rng: Rng) -> Floats:
    """Return thicknesses [m] by house and by straight run, thinner beside narrow rooms."""
    builder = np.clip(rng.lognormal(np.log(0.66), 0.25, house.max() + 1), 0.42, 1.3)
    of_wall = np.full(len(walls), -1)
    np.maximum.at(of_wall, beside[:, 1], house[beside[:, 0]])
    outside = np.bincount(beside[:, 1], minlength=len(walls)) < 2
    links = _links(walls, lambda turn: turn < 0.1)
    run = _groups(links // 2, len(walls))
    of_run = np.full(run.max() + 1, -1)
    np.maximum.at(of_run, run, of_wall)
    stout = np.zeros(run.max() + 1, dtype=bool)
    np.logical_or.at(stout, run, outside)
    by_run = builder[of_run] * np.where(stout, 1.15, 0.9) * rng.lognormal(0, 0.1, len(of_run))
    slim = np.full(len(walls), np.inf)
    np.minimum.at(slim, beside[:, 1], widths[beside[:, 0]])
    thickest = np.clip(0.32 * slim, 0.4, 1.5)
    return np.asarray(np.round(np.clip(by_run[run], 0.4, thickest), 2))


def _floors(walls: Lines, thickness: Floats, spaces: Lines, beside: Ints) -> Lines:
    """Return the spaces less the bodies of their walls."""
    bodies = _bodies(walls, thickness)
    floors = np.array(spaces)
    start = np.searchsorted(beside[:, 0], np.arange(len(spaces)))
    rank = np.arange(len(beside)) - start[beside[:, 0]]
    for k in range(rank.max() + 1):
        space, wall = beside[rank == k].T
        floors[space] = shapely.difference(floors[space], bodies[wall])
    broken = np.flatnonzero(shapely.get_type_id(floors) != shapely.GeometryType.POLYGON)
    for index in broken:
        parts = shapely.get_parts(floors[index])
        floors[index] = parts[np.argmax(shapely.area(parts))]
    return floors


# ------------------------------------------------------------------ ends of lines and what meets


def _ends(lines: Lines) -> tuple[Floats, Floats]:
    """Return the ends of lines and the headings that lead out of them.

    Returns
    -------
    points : array, shape (2n, 2)
        Start and end of line i at 2i and 2i + 1.
    heading : array, shape (2n,)
        Direction of leaving the line there [rad].
    """
    xy = shapely.get_coordinates(lines)
    first, last = _tips(lines)
    at = np.column_stack([first, last]).ravel()
    inner = np.column_stack([first + 1, last - 1]).ravel()
    way = xy[at] - xy[inner]
    return xy[at], np.arctan2(way[:, 1], way[:, 0])


def _nodes(points: Floats) -> Ints:
    """Return a number for each point, the same for points that coincide."""
    _, node = np.unique(np.round(points, 5), axis=0, return_inverse=True)
    return np.asarray(node, dtype=np.int64).ravel()


def _links(lines: Lines, wanted: Callable[[Floats], Flags]) -> Ints:
    """Pair ends that meet, the straightest first, each end at most once.

    Parameters
    ----------
    lines : array of LineString, shape (n,)
    wanted : callable
        From the turns of candidate pairs [rad] to whether each may be joined.

    Returns
    -------
    array, shape (m, 2)
        Numbers of ends, as in `_ends`.
    """
    points, heading = _ends(lines)
    node = _nodes(points)
    order = np.argsort(node, kind="stable")
    pairs = [np.empty((0, 2), dtype=np.int64)]
    for k in range(1, 6):
        same = node[order[:-k]] == node[order[k:]]
        pairs.append(np.column_stack([order[:-k][same], order[k:][same]]))
    pair = np.concatenate(pairs)
    off = heading[pair[:, 0]] - heading[pair[:, 1]] + np.pi
    turn = np.abs((off + np.pi) % (2 * np.pi) - np.pi)
    may = wanted(turn)
    pair, turn = pair[may], turn[may]
    used, kept = np.zeros(len(points), dtype=bool), []
    for a, b in pair[np.argsort(turn, kind="stable")]:
        if not used[a] and not used[b]:
            used[a] = used[b] = True
            kept.append((a, b))
    return np.array(kept, dtype=np.int64).reshape(-1, 2)


def _groups(pairs: Ints, n: int) -> Ints:
    """Return the number of the connected group of each of n things."""
    ones = np.ones(len(pairs), dtype=np.int8)
    graph = coo_array((ones, (pairs[:, 0], pairs[:, 1])), shape=(n, n))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def _chained(lines: Lines, links: Ints) -> Lines:
    """Join lines at linked ends into longer ones."""
    mate = np.full(2 * len(lines), -1)
    mate[links[:, 0]], mate[links[:, 1]] = links[:, 1], links[:, 0]
    partner, seen = mate.tolist(), [False] * len(lines)
    xy, index = shapely.get_coordinates(lines, return_index=True)
    parts = np.split(xy, np.flatnonzero(np.diff(index)) + 1)
    single = (mate.reshape(-1, 2) == -1).all(axis=1)
    chains = [] if not len(lines) else list(lines[single])
    starts = [e for e in range(len(partner)) if partner[e] < 0 and partner[e ^ 1] >= 0]
    for end in [*starts, *range(0, len(partner), 2)]:  # those left after the starts are rings
        if single[end // 2] or seen[end // 2]:
            continue
        points: list[Floats] = []
        here = end
        while here >= 0 and not seen[here // 2]:
            seen[here // 2] = True
            part = parts[here // 2] if here % 2 == 0 else parts[here // 2][::-1]
            points.append(part if not points else part[1:])
            here = partner[here ^ 1]
        chains.append(shapely.LineString(np.vstack(points)))
    return _objects(chains)


def _objects(things: list[shapely.Geometry]) -> Lines:
    out = np.empty(len(things), dtype=object)
    out[:] = things
    return out


def _stretched(lines: Lines, out_m: Floats) -> Lines:
    """Lengthen lines at both ends (negative: shorten, by at most 0.45 of the last segment).

    `out_m` has shape (n, 2), for starts and ends [m].
    """
    xy, index = shapely.get_coordinates(lines, return_index=True)
    first, last = _tips(lines)
    moved = xy.copy()
    for at, inner, out in ((first, first + 1, out_m[:, 0]), (last, last - 1, out_m[:, 1])):
        way = xy[at] - xy[inner]
        long = np.hypot(*way.T)
        step = np.maximum(out, -0.45 * long) / np.where(long > 0, long, 1)
        moved[at] += way * step[:, None]
    return np.asarray(shapely.linestrings(moved, indices=index), dtype=object)


def _bodies(walls: Lines, thickness: Floats) -> Lines:
    """Return what each wall covers, led through its junctions to the far faces there."""
    if not len(walls):
        return walls
    points, _ = _ends(walls)
    node, half = _nodes(points), np.repeat(thickness / 2, 2)
    order = np.lexsort([half, node])
    top = np.zeros(node.max() + 1)
    second = np.zeros(node.max() + 1)
    last = np.flatnonzero(np.diff(np.append(node[order], -1)))
    top[node[order[last]]] = half[order[last]]
    before = last[(last > 0) & (node[order[last]] == node[order[np.maximum(last - 1, 0)]])]
    second[node[order[before]]] = half[order[before - 1]]
    best = np.zeros(node.max() + 1, dtype=np.int64)
    best[node[order[last]]] = order[last]
    reach = np.where(best[node] == np.arange(len(node)), second[node], top[node])
    reach[np.bincount(node)[node] == 2] = 0  # such ends are mitred
    longer = _stretched(walls, reach.reshape(-1, 2))
    return _mitred(longer, thickness / 2)


def _corners(walls: Lines, thickness: Floats) -> tuple[Lines, Ints]:
    """Return what fills the corners where just two walls meet, and the numbers of the two."""
    points, heading = _ends(walls)
    node = _nodes(points)
    two = np.flatnonzero(np.bincount(node)[node] == 2)
    pair = two[np.argsort(node[two], kind="stable")].reshape(-1, 2)
    way = np.stack([np.cos(heading[pair]), np.sin(heading[pair])], axis=-1)
    arm = points[pair] - way * np.minimum(0.5, shapely.length(walls)[pair // 2] / 2)[..., None]
    bends = shapely.linestrings(np.stack([arm[:, 0], points[pair[:, 0]], arm[:, 1]], axis=1))
    return _mitred(bends, thickness[pair // 2].min(axis=1) / 2), pair // 2


# ------------------------------------------------------------------ what is missing


@dataclass(frozen=True)
class _Gaps:
    """Stretches that are not drawn: of which wall, from where to where [m], and whether a door."""

    wall: Ints
    start: Floats
    end: Floats
    door: Flags


def free_standing(walls: Lines) -> Flags:
    """Return which walls end in the open on both sides: benches, pillars and terrace walls."""
    points, _ = _ends(walls)
    node = _nodes(points)
    alone = np.bincount(node)[node] == 1
    return np.asarray(alone.reshape(-1, 2).all(axis=1))


def takes_door(town: Town) -> Flags:
    """Return which walls can have a doorway: 1.8 m and longer, and not in the open."""
    return np.asarray((shapely.length(town.walls) >= 1.8) & ~free_standing(town.walls))


def _gaps(town: Town, damage: Damage, rng: Rng) -> _Gaps:
    """Choose doorways, lost stretches and lost walls; a lost wall has no others."""
    length, n = shapely.length(town.walls), len(town.walls)
    gone = rng.random(n) < damage.gone
    door = (rng.random(n) < damage.doors) & takes_door(town) & ~gone
    lost = (rng.random(n) < damage.lost) & ~gone
    wide = np.minimum(rng.uniform(0.6, 1.4, n), np.maximum(0.6, length - 1.0))
    jamb = rng.uniform(0.4, 0.6, n)  # many doorways lie beside a corner
    beside = rng.choice([0.0, 1.0, 0.5], size=n, p=[0.25, 0.25, 0.5])
    share = np.where(beside == 0.5, rng.random(n), beside)
    door_m = jamb + share * np.maximum(length - 2 * jamb - wide, 0)
    cut = length * rng.uniform(0.2, 0.6, n)
    lost_m = (length - cut) * rng.random(n)
    starts = [(door, door_m, wide), (lost, lost_m, cut), (gone, np.zeros(n), length)]
    return _Gaps(
        wall=np.concatenate([np.flatnonzero(which) for which, _, _ in starts]),
        start=np.concatenate([at[which] for which, at, _ in starts]),
        end=np.concatenate([(at + long)[which] for which, at, long in starts]),
        door=np.repeat([True, False, False], [which.sum() for which, _, _ in starts]),
    )


def _parts(lines: Lines, start: Floats, end: Floats) -> Lines:
    """Return the stretches of lines from start to end [m], with the vertices between."""
    out = np.empty(len(lines), dtype=object)
    if not len(lines):
        return out
    straight = shapely.get_num_coordinates(lines) == 2
    ends = np.column_stack([start, end])[straight]
    points = shapely.line_interpolate_point(lines[straight, None], ends)
    out[straight] = shapely.linestrings(shapely.get_coordinates(points).reshape(-1, 2, 2))
    for i in np.flatnonzero(~straight):
        xy = shapely.get_coordinates(lines[i])
        at = np.concatenate([[0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        inner = (at > start[i] + 1e-6) & (at < end[i] - 1e-6)
        tips = shapely.line_interpolate_point(lines[i], [start[i], end[i]])
        tip = shapely.get_coordinates(tips)
        out[i] = shapely.LineString(np.vstack([tip[:1], xy[inner], tip[1:]]))
    return out


def _left(walls: Lines, gaps: _Gaps, which: Flags) -> Lines:
    """Return what is left of some walls between their gaps, whole walls as they are."""
    if not len(gaps.wall):
        return np.asarray(walls[which], dtype=object)
    length = shapely.length(walls)
    order = np.lexsort([gaps.start, gaps.wall])
    wall, start, end = gaps.wall[order], gaps.start[order], gaps.end[order]
    again = np.concatenate([[False], np.diff(wall) == 0])
    reach = end.copy()
    reach[again] = np.maximum(end[again], end[np.flatnonzero(again) - 1])
    final = np.append(~again[1:], True)
    before = np.where(again, reach[np.arange(len(again)) - 1], 0.0)
    every = np.concatenate([wall, wall[final]])
    low = np.concatenate([before, reach[final]])
    high = np.concatenate([start, length[wall[final]]])
    keep = (high - low > 0.15) & which[every]
    whole = np.ones(len(walls), dtype=bool)
    whole[wall] = False
    return np.concatenate([walls[whole & which], _parts(walls[every[keep]], low[keep], high[keep])])


# ------------------------------------------------------------------ what is drawn


def _as_drawn(pieces: Lines, rng: Rng) -> Lines:
    """Join pieces as draughtsmen do, who differ from place to place.

    Straight on through junctions, from junction to junction, or round the corners of a room.
    """
    if not len(pieces):
        return pieces
    through, corner = rng.uniform(0.3, 0.9, 64), rng.choice([0.0, 0.1, 0.5], 64)

    def wanted(turn: Floats) -> Flags:
        hand = rng.integers(64, size=len(turn))
        chance = np.where(turn < 0.12, through[hand], corner[hand])
        chance = np.where(turn > np.radians(150), 0, chance)
        return np.asarray(rng.random(len(turn)) < chance)

    chains = _chained(pieces, _links(pieces, wanted))
    return np.asarray(shapely.simplify(chains, 0.015), dtype=object)


def _with_doubles(lines: Lines, damage: Damage, rng: Rng) -> tuple[Lines, Ints]:
    """Add lines that were drawn a second time, half to all of their length.

    Returns the lines, and of which line each is a drawing.
    """
    twice = np.flatnonzero(rng.random(len(lines)) < damage.doubled)
    length = shapely.length(lines[twice])
    part = length * np.minimum(rng.uniform(0.5, 1.3, len(twice)), 1)
    start = (length - part) * rng.random(len(twice))
    more = _parts(lines[twice], start, start + part)
    return np.concatenate([lines, more]), np.concatenate([np.arange(len(lines)), twice])


def _measured(lines: Lines, damage: Damage, rng: Rng) -> Lines:
    """Move the ends along the lines, set points along them, move every point by the noise."""
    if not len(lines):
        return lines
    out = _stretched(lines, rng.uniform(-1, 1, (len(lines), 2)) * damage.ends_m)
    if damage.step_m > 0:
        out = np.asarray(shapely.segmentize(out, damage.step_m), dtype=object)
    xy, index = shapely.get_coordinates(out, return_index=True)
    xy = xy + rng.normal(0, damage.noise_m, xy.shape)
    back = rng.random(len(lines)) < 0.5
    first, last = _tips(lines)
    at = np.arange(len(xy))
    at = np.where(back[index], first[index] + last[index] - at, at)
    return np.asarray(shapely.linestrings(xy[at], indices=index), dtype=object)


def survey(town: Town, damage: Damage, seed: int) -> Surveyed:
    """Survey a town badly.

    Doorways are drawn for their share of the walls that `takes_door` names. Where faces are drawn,
    walls count as 0.8 m thick at most; in a mix, whole blocks have faces or centres.

    Parameters
    ----------
    town : Town
    damage : Damage
    seed : int
        Same town, damage and seed, same lines.

    Returns
    -------
    Surveyed
    """
    rng = np.random.default_rng([seed, 41_017])
    gaps = _gaps(town, damage, rng)
    faced, block = _faced(town, damage, rng)
    thickness = np.minimum(town.thickness, 0.8)
    centre = _as_drawn(_left(town.walls, gaps, ~faced), rng)
    face = _faces(replace(town, thickness=thickness), gaps, np.where(faced, block, -1), rng)
    other, other_is = _others(town, damage, rng)
    lines = np.concatenate([centre, _as_drawn(face, rng), other])
    walls = len(lines) - len(other)
    truth = np.concatenate([np.full(walls, "wall"), other_is])
    follows = np.full(len(lines), "centre")
    follows[len(centre) : walls] = "face"
    lines, drawing_of = _with_doubles(lines, damage, rng)
    order = rng.permutation(len(lines))
    lines, truth, follows = (
        _measured(lines, damage, rng)[order],
        truth[drawing_of[order]],
        follows[drawing_of[order]],
    )
    missing, doors = _undrawn(town.walls, gaps, np.where(faced, thickness, 0))
    code = truth if damage.coded else np.full(len(truth), "wall")
    return Surveyed(lines, follows, code, truth, missing, doors, damage.noise_m)


def _undrawn(walls: Lines, gaps: _Gaps, thickness: Floats) -> tuple[Lines, Lines]:
    """Return all stretches not drawn, and the doorways of them; both faces of walls with faces."""
    parts = _parts(walls[gaps.wall], gaps.start, gaps.end)
    half = thickness[gaps.wall] / 2
    flat = half == 0
    sides = [shapely.offset_curve(parts[~flat], k * half[~flat]) for k in (1, -1)]
    missing, of = shapely.get_parts(np.concatenate([parts[flat], *sides]), return_index=True)
    door = np.concatenate([gaps.door[flat], gaps.door[~flat], gaps.door[~flat]])[of]
    return missing, missing[door]


def _faced(town: Town, damage: Damage, rng: Rng) -> tuple[Flags, Ints]:
    """Return which walls are drawn by their faces, and the block of each wall."""
    node = _nodes(_ends(town.walls)[0]).reshape(-1, 2)
    block = _groups(node, int(node.max()) + 1)[node[:, 0]]
    some = rng.random(block.max() + 1) < {"centre": 0.0, "face": 1.0, "mix": 0.5}[damage.faces]
    return some[block], block


def _faces(town: Town, gaps: _Gaps, block: Ints, rng: Rng) -> Lines:
    """Return the faces of the walls of blocks, in pieces from corner to corner.

    They are broken at gaps (at half of the doorways the jambs are drawn) and at some joints.
    A wall of block -1 is left out.
    """
    bodies = _bodies(town.walls, town.thickness)
    parts = _parts(town.walls[gaps.wall], gaps.start, gaps.end)
    wide = town.thickness[gaps.wall] / 2 + 0.03
    holes = _mitred(parts, wide)
    jambs = gaps.door & (rng.random(len(gaps.wall)) < 0.5)
    whole = ~gaps.door & (gaps.end - gaps.start > shapely.length(town.walls[gaps.wall]) - 1e-9)
    stands = np.ones(len(bodies), dtype=bool)
    stands[gaps.wall[whole]] = False
    corners, pair = _corners(town.walls, town.thickness)
    bodies, stands = np.append(bodies, corners), np.append(stands, stands[pair].any(axis=1))
    seams = np.append(_seams(town, rng), np.full(len(corners), None))
    pieces = [np.empty(0, dtype=object)]
    gaps_in = _by_block(block[gaps.wall])
    for name, which in _by_block(np.append(block, block[pair[:, 0]])).items():
        here = gaps_in.get(name, np.empty(0, dtype=np.int64))
        stones = _dressed(shapely.union_all(bodies[which], grid_size=GRID_M))
        stones = shapely.difference(stones, shapely.union_all(holes[here[jambs[here]]]))
        open_at = [shapely.union_all(holes[here[~jambs[here]]])]
        open_at.append(_fallen(bodies[which], stands[which]))
        edge = shapely.boundary(stones)
        for hole in open_at:
            edge = shapely.difference(edge, hole)
        edge = shapely.difference(edge, shapely.union_all(seams[which]))
        pieces.append(shapely.get_parts(edge))
    faces = np.concatenate(pieces)
    faces = faces[~shapely.is_empty(faces)]
    faces = _cut_at_corners(faces) if len(faces) else faces
    return np.asarray(faces[shapely.length(faces) > 0.12], dtype=object)


def _mitred(shapes: Lines, out_m: Floats | float) -> Lines:
    return np.asarray(
        shapely.buffer(shapes, out_m, cap_style="flat", join_style="mitre"), dtype=object
    )


def _fallen(bodies: Lines, stands: Flags) -> shapely.Geometry:
    """Return where walls lost whole stood, corners included that no other wall holds."""
    if stands.all():
        return shapely.Polygon()
    left = shapely.union_all(_mitred(bodies[stands], 0.05))
    return shapely.difference(shapely.union_all(_mitred(bodies[~stands], 0.05)), left)


def _dressed(stones: shapely.Geometry) -> shapely.Geometry:
    """Fill notches and take off burrs where bodies of walls meet: a corner has one point."""
    for out_m in (0.12, -0.24, 0.12):
        stones = shapely.buffer(stones, out_m, join_style="mitre", mitre_limit=3)
    return shapely.simplify(stones, 0.02)


def _by_block(block: Ints) -> dict[int, Ints]:
    """Return the indices of each block but -1, blocks in order."""
    if not len(block):
        return {}
    order = np.argsort(block, kind="stable")
    names, first = np.unique(block[order], return_index=True)
    groups = np.split(order, first[1:])
    return {int(k): g for k, g in zip(names, groups, strict=True) if k >= 0}


def _seams(town: Town, rng: Rng) -> Lines:
    """Return lines through walls where another abuts, one a wall, at one end of a third of them."""
    points, heading = _ends(town.walls)
    at = 2 * np.arange(len(town.walls)) + rng.integers(2, size=len(town.walls))
    reach = np.where(rng.random(len(at)) < 0.33, 0.95, 1e-6)
    tip = np.column_stack([np.cos(heading[at]), np.sin(heading[at])]) * reach[:, None]
    return np.asarray(shapely.linestrings(np.stack([points[at], points[at] + tip], 1)), object)


# ------------------------------------------------------------------ lines that are no walls


def _others(town: Town, damage: Damage, rng: Rng) -> tuple[Lines, Words]:
    """Return graves, kerbs, cisterns, rock, rubble and modern lines, and what each is."""
    n = len(town.walls)
    other, loose = round(damage.others * n), round(damage.rubble * n)
    shares = rng.multinomial(other, [0.2, 0.15, 0.15, 0.5])
    modern = int(rng.binomial(loose, 0.08))
    ground = _Ground(shapely.total_bounds(town.walls), shapely.STRtree(town.spaces))
    made = [
        (_graves(ground, int(shares[0]), rng), "grave"),
        (_kerbs(town, ground, int(shares[1]), rng), "kerb"),
        (_cisterns(town, ground, int(shares[2]), rng), "cistern"),
        (_rock(ground, int(shares[3]), rng), "rock"),
        (_tumble(town, loose - modern, rng), "rubble"),
        (_modern(ground, modern, rng), "modern"),
    ]
    lines = _objects([line for group, _ in made for line in group])
    return lines, np.repeat([name for _, name in made], [len(group) for group, _ in made])


@dataclass(frozen=True)
class _Ground:
    """The ground about a town: its bounds (west, south, east, north) [m] and its spaces."""

    bounds: Floats
    spaces: shapely.STRtree

    def anywhere(self, rng: Rng) -> Floats:
        """Return a point in or about the town."""
        return rng.uniform(self.bounds[:2] - 8, self.bounds[2:] + 8)

    def is_open(self, shape: shapely.Geometry) -> bool:
        """Return whether a shape meets no space."""
        return len(self.spaces.query(shape, predicate="intersects")) == 0

    def in_open(self, rng: Rng) -> Floats:
        """Return a point that is, if one is found in ten tries, in no space."""
        point = self.anywhere(rng)
        for _ in range(10):
            if self.is_open(shapely.Point(point)):
                break
            point = self.anywhere(rng)
        return point


def _box(middle: Floats, angle: float, long_m: float, wide_m: float) -> shapely.LineString:
    c, s = np.cos(angle), np.sin(angle)
    corners = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1], [-1, -1]]) * [long_m / 2, wide_m / 2]
    return shapely.LineString(middle + corners @ np.array([[c, s], [-s, c]]))


def _graves(ground: _Ground, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return cists in uneven rows, mostly in the open."""
    graves: list[shapely.LineString] = []
    while len(graves) < n:
        start, angle = ground.in_open(rng), rng.uniform(0, np.pi)
        rows, columns = int(rng.integers(1, 4)), int(rng.integers(1, 7))
        for i, j in np.ndindex(rows, columns):
            if rng.random() < 0.2:
                continue
            off = np.array([i * 2.9, j * 1.5]) + rng.normal(0, 0.2, 2)
            c, s = np.cos(angle), np.sin(angle)
            middle = start + off @ np.array([[c, s], [-s, c]])
            turn = angle + rng.normal(0, 0.1)
            graves.append(_box(middle, turn, rng.uniform(1.1, 2.2), rng.uniform(0.5, 0.9)))
    return graves[:n]


def _kerbs(town: Town, ground: _Ground, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return kerbs in the open along walls, 0.9 to 2 m off."""
    long = np.flatnonzero(shapely.length(town.walls) > 2.5)
    kerbs: list[shapely.LineString] = []
    tries = 0
    while len(kerbs) < n and len(long):
        wall, tries = rng.choice(long), tries + 1
        xy = shapely.get_coordinates(town.walls[wall])
        a, b = xy[0], xy[-1]
        along = (b - a) / np.hypot(*(b - a))
        off = np.array([-along[1], along[0]]) * rng.choice([-1, 1]) * rng.uniform(0.9, 2.0)
        turn = along + rng.normal(0, 0.03, 2)
        start = a + off + along * rng.uniform(-1, 1)
        kerb = shapely.LineString([start, start + turn * rng.uniform(1.5, 8)])
        if tries > 20 * n or ground.is_open(kerb):
            kerbs.append(kerb)
    return kerbs


def _cisterns(town: Town, ground: _Ground, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return basins and oval mouths of cisterns, most of them in rooms and courts."""
    room = np.flatnonzero(shapely.area(town.floors) > 6)
    found = []
    for _ in range(n):
        long, angle = rng.uniform(0.9, 2.6), rng.uniform(0, np.pi)
        if len(room) and rng.random() < 0.7:
            floor = town.floors[rng.choice(room)]
            long = min(long, 0.55 * floor.area**0.5)
            middle = shapely.get_coordinates(shapely.point_on_surface(floor))[0]
        else:
            middle = ground.in_open(rng)
        wide = long * rng.uniform(0.5, 1)
        if rng.random() < 0.5:
            found.append(_box(middle, angle, long, wide))
            continue
        turn = np.linspace(0, 2 * np.pi, int(rng.integers(9, 17)))
        c, s = np.cos(angle), np.sin(angle)
        oval = np.column_stack([np.cos(turn) * long / 2, np.sin(turn) * wide / 2])
        found.append(shapely.LineString(middle + oval @ np.array([[c, s], [-s, c]])))
    return found


def _rock(ground: _Ground, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return joints in patches of rock: parallel lines crossed by a second set, in places."""
    joints: list[shapely.LineString] = []
    while len(joints) < n:
        middle = ground.in_open(rng) if rng.random() < 0.75 else ground.anywhere(rng)
        long, wide = np.sort(rng.uniform(4, 14, 2))[::-1]
        first, apart = rng.uniform(0, np.pi), rng.uniform(1, 4, 2)
        for angle, gap in zip((first, first + rng.normal(1.4, 0.15)), apart, strict=True):
            u = np.array([np.cos(angle), np.sin(angle)])
            v = np.array([-u[1], u[0]])
            for at in np.arange(-wide, wide, gap):
                half = long * np.sqrt(max(0, 1 - (at / wide) ** 2))
                low, high = np.sort(rng.uniform(-half, half, 2) * [1, 1.4])
                base = middle + v * (at + rng.normal(0, 0.15))
                if high - low > 1.0:
                    tilt = v * rng.normal(0, 0.04) * (high - low)
                    joints.append(shapely.LineString([base + u * low, base + u * high + tilt]))
    return joints[:n]


def _tumble(town: Town, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return short lines that lie about walls."""
    wall = rng.choice(len(town.walls), n)
    at = shapely.line_interpolate_point(town.walls[wall], rng.random(n), normalized=True)
    middle = shapely.get_coordinates(at).reshape(-1, 2) + rng.normal(0, 1.2, (n, 2))
    turn, half = rng.uniform(0, np.pi, n), rng.gamma(2.0, 0.25, n)[:, None] + 0.12
    way = np.column_stack([np.cos(turn), np.sin(turn)]) * half
    return list(shapely.linestrings(np.stack([middle - way, middle + way], axis=1)))


def _modern(ground: _Ground, n: int, rng: Rng) -> list[shapely.LineString]:
    """Return a few long lines: cables, pipes, mooring chains, most with a bend or two."""
    lines = []
    for _ in range(n):
        points, turn = [ground.anywhere(rng)], rng.uniform(0, 2 * np.pi)
        for _ in range(int(rng.integers(1, 4))):
            turn += rng.normal(0, 0.3)
            step = np.array([np.cos(turn), np.sin(turn)]) * rng.uniform(5, 22)
            points.append(points[-1] + step)
        lines.append(shapely.LineString(points))
    return lines
