"""House types of the town: rooms on a small raster of columns and rows, with their doorways.

All sizes are invented; walls are equally thick within a house. A house is drawn in its own frame:
its first room's near left corner, inside, is the origin.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np

from wrackline.demo.truth import Doorway, Room

Cell = tuple[int, int]
Side = Literal["near", "far", "left", "right"]

STEP: dict[Side, Cell] = {"near": (0, -1), "far": (0, 1), "left": (-1, 0), "right": (1, 0)}
BACK: dict[Side, Side] = {"near": "far", "far": "near", "left": "right", "right": "left"}


@dataclass
class Sketch:
    """A house on its way: which cells of its raster are rooms, and how one walks through it.

    Attributes
    ----------
    widths, depths : sequence of float
        Inside widths of the columns, depths of the rows [m].
    wall : float
        Thickness of its walls [m].
    cells : dict of (column, row) to dict
        Rooms, and keys of `Room` that differ from a plain one.
    doors : list of (cell, side)
        Doorways; a side without a room beyond it leads outside.
    walled_up : list of (cell, side)
        Doorways that were blocked later.
    """

    widths: Sequence[float]
    depths: Sequence[float]
    wall: float
    cells: dict[Cell, dict[str, Any]]
    doors: list[tuple[Cell, Side]] = field(default_factory=list)
    walled_up: list[tuple[Cell, Side]] = field(default_factory=list)

    def name(self, cell: Cell) -> str:
        """Return a room's name: its place in the order of rows."""
        order = sorted(self.cells, key=lambda c: (c[1], c[0]))
        return f"r{order.index(cell) + 1}"

    def inside(self, cell: Cell) -> tuple[float, float, float, float]:
        """Return a room's near left corner, width and depth [m]."""
        column, row = cell
        across = sum(self.widths[:column]) + column * self.wall
        along = sum(self.depths[:row]) + row * self.wall
        size = (self.widths[column], self.depths[row])
        return round(across, 2), round(along, 2), size[0], size[1]

    @property
    def size(self) -> tuple[float, float]:
        """Width and depth over its outer walls, an apse or none [m]."""
        more = max((self.widths[0] / 2 for c in self.cells.values() if c.get("apse")), default=0.0)
        wide = sum(self.widths) + (len(self.widths) + 1) * self.wall
        return wide, sum(self.depths) + (len(self.depths) + 1) * self.wall + more

    def rooms(self) -> dict[str, Room]:
        """Return its rooms by name."""
        return {
            self.name(cell): Room(inside=self.inside(cell), **keys)
            for cell, keys in sorted(self.cells.items(), key=lambda item: self.name(item[0]))
        }

    def doorways(self, rng: np.random.Generator) -> list[Doorway]:
        """Return its doorways, each somewhere along its wall, clear of the corners."""
        places = [(door, False) for door in self.doors] + [(d, True) for d in self.walled_up]
        return [self._doorway(cell, side, rng, blocked=shut) for (cell, side), shut in places]

    def _doorway(
        self, cell: Cell, side: Side, rng: np.random.Generator, *, blocked: bool
    ) -> Doorway:
        _, _, wide, deep = self.inside(cell)
        long = wide if side in ("near", "far") else deep
        width = round(float(rng.uniform(0.8, min(1.3, long - 1.2))), 2)
        clear = width / 2 + 0.35
        at = long / 2 if self.cells[cell].get("round") else float(rng.uniform(clear, long - clear))
        return Doorway(
            room=self.name(cell), side=side, at_m=round(at, 2), width_m=width, blocked=blocked
        )


def _uniform(rng: np.random.Generator, low: float, high: float) -> float:
    return round(float(rng.uniform(low, high)), 2)


def one_room(rng: np.random.Generator, wall: float) -> Sketch:
    """Return a house of one room."""
    cells: dict[Cell, dict[str, Any]] = {(0, 0): {}}
    size = ([_uniform(rng, 3.6, 5.6)], [_uniform(rng, 3.8, 6.4)])
    return Sketch(*size, wall, cells, [((0, 0), "near")])


def in_a_row(rng: np.random.Generator, wall: float) -> Sketch:
    """Return two or three rooms one behind the other."""
    count = int(rng.integers(2, 4))
    cells: dict[Cell, dict[str, Any]] = {(0, row): {} for row in range(count)}
    doors: list[tuple[Cell, Side]] = [
        ((0, 0), "near"),
        *(((0, r), "near") for r in range(1, count)),
    ]
    depths = [_uniform(rng, 2.8, 5.2) for _ in range(count)]
    sketch = Sketch([_uniform(rng, 4.0, 5.8)], depths, wall, cells, doors)
    if rng.random() < 0.4:
        sketch.walled_up.append(((0, count - 1), "left"))
    return sketch


def long_row(rng: np.random.Generator, wall: float) -> Sketch:
    """Return four or five rooms side by side along the lane, each with its own door or a shared."""
    count = int(rng.integers(4, 6))
    cells: dict[Cell, dict[str, Any]] = {(column, 0): {} for column in range(count)}
    widths = [_uniform(rng, 2.6, 3.4) for _ in range(count)]
    sketch = Sketch(widths, [_uniform(rng, 4.2, 5.4)], wall, cells, [((0, 0), "near")])
    for column in range(1, count):
        sketch.doors.append(((column, 0), "near" if rng.random() < 0.6 else "left"))
    if rng.random() < 0.3:
        sketch.walled_up.append(((count - 1, 0), "far"))
    return sketch


def ell(rng: np.random.Generator, wall: float) -> Sketch:
    """Return three rooms around a corner."""
    cells: dict[Cell, dict[str, Any]] = {(0, 0): {}, (1, 0): {}, (0, 1): {}}
    doors: list[tuple[Cell, Side]] = [((0, 0), "near"), ((1, 0), "left"), ((0, 1), "near")]
    widths = [_uniform(rng, 3.4, 4.8), _uniform(rng, 3.2, 4.6)]
    depths = [_uniform(rng, 3.6, 5.0), _uniform(rng, 3.4, 4.6)]
    return Sketch(widths, depths, wall, cells, doors)


def around_a_court(rng: np.random.Generator, wall: float) -> Sketch:
    """Return rooms on all sides of a court, which is entered through one of them."""
    cells: dict[Cell, dict[str, Any]] = {(c, r): {} for c in range(3) for r in range(3)}
    cells[(1, 1)] = {"kind": "court"}
    doors: list[tuple[Cell, Side]] = [((1, 0), "near"), ((1, 0), "far"), ((1, 2), "near")]
    doors += [((0, 1), "right"), ((2, 1), "left"), ((0, 0), "right"), ((2, 0), "left")]
    doors += [((0, 2), "right" if rng.random() < 0.5 else "near")]
    doors += [((2, 2), "left" if rng.random() < 0.5 else "near")]
    widths = [_uniform(rng, 3.0, 4.0), _uniform(rng, 6.6, 7.4), _uniform(rng, 3.0, 4.0)]
    depths = [_uniform(rng, 3.2, 4.2), _uniform(rng, 6.6, 7.8), _uniform(rng, 3.2, 4.2)]
    sketch = Sketch(widths, depths, wall, cells, doors)
    if rng.random() < 0.5:
        sketch.walled_up.append(((0, 1), "left"))
    return sketch


def two_households(rng: np.random.Generator, wall: float) -> Sketch:
    """Return two houses that share a party wall, each with its own door."""
    rows = int(rng.integers(2, 4))
    cells: dict[Cell, dict[str, Any]] = {
        (column, row): {"household": "ab"[column]} for column in range(2) for row in range(rows)
    }
    doors: list[tuple[Cell, Side]] = [((c, r), "near") for c in range(2) for r in range(rows)]
    widths = [_uniform(rng, 3.6, 4.8) for _ in range(2)]
    return Sketch(widths, [_uniform(rng, 3.2, 4.6) for _ in range(rows)], wall, cells, doors)


def with_apse(rng: np.random.Generator, wall: float) -> Sketch:
    """Return a hall that ends in an apse, entered through a porch."""
    cells: dict[Cell, dict[str, Any]] = {(0, 0): {}, (0, 1): {"apse": "far"}}
    doors: list[tuple[Cell, Side]] = [((0, 0), "near"), ((0, 1), "near")]
    depths = [_uniform(rng, 2.6, 3.4), _uniform(rng, 4.5, 6.5)]
    return Sketch([_uniform(rng, 4.4, 5.4)], depths, wall, cells, doors)


def round_house(rng: np.random.Generator, wall: float) -> Sketch:
    """Return a round building of one room."""
    across = _uniform(rng, 4.2, 5.8)
    cells: dict[Cell, dict[str, Any]] = {(0, 0): {"round": True}}
    return Sketch([across], [across], wall, cells, [((0, 0), "near")])


Kind = Callable[[np.random.Generator, float], Sketch]
KINDS: tuple[tuple[Kind, float], ...] = (
    (one_room, 0.10),
    (in_a_row, 0.17),
    (long_row, 0.15),
    (ell, 0.16),
    (around_a_court, 0.16),
    (two_households, 0.14),
    (with_apse, 0.07),
    (round_house, 0.05),
)
SMALL: tuple[tuple[Kind, float], ...] = ((one_room, 0.8), (round_house, 0.2))


def drawn(kinds: Sequence[tuple[Kind, float]], rng: np.random.Generator, wall: float) -> Sketch:
    """Return a house of a kind drawn by its share."""
    shares = np.array([share for _, share in kinds])
    kind = int(rng.choice(len(kinds), p=shares / shares.sum()))
    return kinds[kind][0](rng, wall)
