"""Simulated sets of surveys, merged: how often stated 95 % intervals hold the true seabed.

Every set is an island of its own, a few cells wide, with errors drawn anew: random and patchy ones
cell by cell, named ones once an island. One cell an island counts, since what moves all cells of a
survey together makes cells of one simulation agree. Islands lie further apart than merging looks,
so that one merged raster holds thousands of independent sets. Run it: a table of all cases.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.stats import norm
from shapely.geometry import box

from wrackline.rasters import Grid
from wrackline.seabed.merge import Merging, Source, ground, merge_piece
from wrackline.seabed.sample import Surface, cells_in, median_budget
from wrackline.seabed.weights import Entry
from wrackline.uncertainty import ErrorModel, NamedError, spherical

Array = npt.NDArray[np.float64]

SIDE, GAP = 12, 6
"""Cells of an island, and of the water around it, whole multiples of 2 and 3."""
SLOPE = np.array([0.2, -0.1])
ORIGIN = (0.0, 0.0)
CENTRE = (5, 7)
"""Row and column, within an island, of the cell that counts."""
KINDS = ("random", "patchy", "named", "mixed")
YEAR = 365.25
COVERAGE_95 = float(norm.ppf(0.975))


@dataclass(frozen=True)
class Technique:
    """A technique of a simulated set: its errors, its cell, season, and the columns it covers."""

    name: str
    model: ErrorModel
    random: float
    k: int = 1
    day: float = 0.0
    columns: tuple[int, int] = (0, SIDE)


class Memory:
    """Reads like a `RasterReader`, from arrays."""

    def __init__(self, grid: Grid, bands: dict[str, Array]) -> None:
        self.grid, self.bands, self.names = grid, bands, tuple(bands)

    def read(self, part: Grid, names: Any = None) -> dict[str, Array]:
        """Return bands of a piece, NaN outside."""
        out, inside = {}, part.intersection(self.grid)
        for name in names or self.names:
            out[name] = np.full(part.shape, np.nan)
            if inside is not None:
                out[name][part.window(inside)] = self.bands[name][self.grid.window(inside)]
        return out


def technique(name: str, kind: str, size: float, *, shared: bool = False, **more: Any) -> Technique:
    """Return a technique whose errors are of one kind and about one size [m]."""
    many, few = kind in ("random", "mixed"), kind in ("named", "mixed")
    own = NamedError(f"{name}:height", "height", size)
    parts = [
        NamedError("mark:height", "height", size) if shared else own,
        NamedError(f"{name}:easting", "easting", 2 * size),
        NamedError(f"{name}:tilt", "tilt", size / 500, ORIGIN, 40.0),
    ]
    patchy = size if kind in ("patchy", "mixed") else 0.0
    model = ErrorModel(name, 0.0, size, patchy, patchy, 9.0, tuple(parts) if few else ())
    return Technique(name, model, size if many else 0.1 * size, **more)


def cases(kind: str) -> dict[str, tuple[list[Technique], Merging]]:
    """Return sets of techniques, by what they try out, with errors of one kind."""
    plain, feather = Merging(2.0, cell_m=1.0), Merging(2.0, 4.0, cell_m=1.0)
    one, other = technique("2031-a", kind, 0.05), technique("2031-b", kind, 0.1)
    third = technique("2031-c", kind, 0.07)
    share = [
        technique(name, kind, size, shared=True)
        for name, size in (("2031-a", 0.05), ("2031-b", 0.1), ("2031-c", 0.07))
    ]
    ends = technique("2031-b", kind, 0.05, columns=(6, SIDE))
    coarse = technique("2031-e", kind, 0.05, k=3)
    later = technique("2033-b", kind, 0.1, day=2 * YEAR)
    ends_later = replace(later, columns=(6, SIDE))
    return {
        "two": ([one, other], plain),
        "three": ([one, other, third], plain),
        "two, one source shared": (share[:2], plain),
        "three, one source shared": (share, plain),
        "at a feathered seam": ([technique("2031-a", kind, 0.06), ends], feather),
        "three at a feathered seam": ([third, technique("2031-d", kind, 0.1), ends], feather),
        "coarse and fine": ([other, coarse], plain),
        "coarse at a feathered seam": ([replace(other, columns=(6, SIDE)), coarse], feather),
        "seasons, no change": ([one, later], replace(plain, change_sd_m_per_year=0.0)),
        "seasons, change stated": ([one, later], replace(plain, change_sd_m_per_year=0.03)),
        "seasons, change unknown": ([one, later], plain),
        "seasons at a feathered seam": (
            [one, ends_later],
            replace(feather, change_sd_m_per_year=0.03),
        ),
    }


@dataclass(frozen=True)
class Sets:
    """Islands in rows and columns: `across` of them along each axis."""

    across: int

    @property
    def starts(self) -> npt.NDArray[np.int64]:
        """First row and column, within the raster, of every island, shape (n, 2)."""
        at = np.arange(self.across) * (SIDE + GAP)
        return np.stack(np.meshgrid(at, at, indexing="ij"), axis=-1).reshape(-1, 2)

    @property
    def size(self) -> int:
        """Rows and columns of the raster."""
        return self.across * (SIDE + GAP)

    def places(self, k: int) -> Array:
        """Return easting and northing of the islands' cells of k, shape (n, m, m, 2)."""
        at = (np.arange(SIDE // k) + 0.5) * k
        row, column = np.meshgrid(at, at, indexing="ij")
        north = self.size - self.starts[:, 0, None, None] - row
        east = self.starts[:, 1, None, None] + column
        return np.stack([east, north], axis=-1)


def truth(places: Array) -> Array:
    """Return the seabed: a plane."""
    return np.asarray(places @ SLOPE - 4.0)


def draw(technique: Technique, shared: dict[str, Array], sets: Sets, rng: Any) -> Memory:
    """Return a technique's surface of all islands, with one draw of its errors an island.

    `shared` holds the draws of named components so far, by name, one an island.
    """
    k, model = technique.k, technique.model
    places = sets.places(k)
    height = truth(places) + rng.normal(0, technique.random, places.shape[:3])
    if model.patchy_distance:
        flat = places[0].reshape(-1, 2)
        apart = np.linalg.norm(flat[:, None] - flat, axis=2)
        root = np.linalg.cholesky(
            spherical(apart, model.patchy_distance) + 1e-9 * np.eye(len(flat))
        )
        for size in (
            model.patchy_vertical,
            *(model.patchy_horizontal * -SLOPE),
        ):
            field = rng.normal(size=(len(places), len(flat))) @ root.T
            height += size * field.reshape(height.shape)
    variance = np.full(height.shape, technique.random**2)
    variance += model.patchy_vertical**2 + (SLOPE**2).sum() * model.patchy_horizontal**2
    xyz = np.concatenate([places, truth(places)[..., None]], axis=-1)
    for part in model.named:
        if part.name not in shared:
            shared[part.name] = rng.normal(size=len(places))
        moved = part.displacement(xyz.reshape(-1, 3)).reshape(xyz.shape)
        effect = moved[..., 2] - moved[..., :2] @ SLOPE
        height += shared[part.name][:, None, None] * effect
        variance += effect**2
    return laid_out(technique, height, np.sqrt(variance), sets)


def laid_out(technique: Technique, height: Array, sd: Array, sets: Sets) -> Memory:
    """Return islands laid out in one raster, with the bands that merging asks for."""
    k, size = technique.k, sets.size // technique.k
    first, last = (column // k for column in technique.columns)
    bands = {name: np.full((size, size), np.nan) for name in ("height", "sd")}
    for (row, column), z, s in zip(sets.starts // k, height, sd, strict=True):
        rows = slice(row, row + SIDE // k)
        bands["height"][rows, column + first : column + last] = z[:, first:last]
        bands["sd"][rows, column + first : column + last] = s[:, first:last]
    known = np.isfinite(bands["height"])
    bands["sd_random"] = np.where(known, technique.random, np.nan)
    bands["count"], bands["filled"] = np.where(known, 1.0, np.nan), np.where(known, 0.0, np.nan)
    return Memory(Grid(ORIGIN, float(k), 0, 0, size, size), bands)


def merged(
    techniques: list[Technique], how: Merging, sets: Sets, rng: Any
) -> tuple[dict[str, Array], Array, Surface]:
    """Return the merged bands of all islands, how far the bed had risen since, and the surface.

    The bed of a set rises by the stated change, one draw an island: surveys of an older day saw it
    before that.
    """
    shared: dict[str, Array] = {}
    newest = max(one.day for one in techniques)
    yearly = rng.normal(size=sets.across**2) * (how.change_sd_m_per_year or 0.0)
    sources = []
    for number, one in enumerate(techniques):
        memory = draw(one, shared, sets, rng)
        for (row, column), rise in zip(sets.starts // one.k, yearly, strict=True):
            part = slice(row, row + SIDE // one.k), slice(column, column + SIDE // one.k)
            memory.bands["height"][part] -= rise * (newest - one.day) / YEAR
        entry = Entry(one.name, number, one.name.split("-")[0], one.day)
        sources.append(Source(entry, memory, one.model))
    grid = ground([source.reader for source in sources], 1.0)
    bands = merge_piece(sources, grid, how, {})
    assert bands is not None
    dates = [["2031-05-01", "2031-05-02"]] * len(techniques)
    names, models = [one.name for one in techniques], [one.model for one in techniques]
    return bands, yearly, Surface(grid, Memory(grid, bands).read, names, models, dates)


def cell_scores(techniques: list[Technique], how: Merging, sets: Sets, seed: int) -> Array:
    """Return errors over stated sds of one cell an island, shape (n,)."""
    bands, _, _ = merged(techniques, how, sets, np.random.default_rng(seed))
    row, column = (sets.starts + CENTRE).T
    true = truth(sets.places(1))[:, CENTRE[0], CENTRE[1]]
    return np.asarray((bands["height"][row, column] - true) / bands["sd"][row, column])


def median_scores(techniques: list[Technique], how: Merging, sets: Sets, seed: int) -> Array:
    """Return errors over stated sds of the median in one room an island, shape (n,)."""
    _, _, surface = merged(techniques, how, sets, np.random.default_rng(seed))
    scores = []
    true = truth(sets.places(1))
    for (row, column), z in zip(sets.starts, true, strict=True):
        room = box(column + 3, sets.size - row - 9, column + 11, sets.size - row - 2)
        cells = cells_in(room, surface)
        error = np.median(cells.told["height"]) - np.median(z[2:9, 3:11])
        scores.append(error / median_budget(surface, cells).sd)
    return np.asarray(scores)


def held(scores: Array) -> float:
    """Return the share of 95 % intervals that held the truth."""
    return float((np.abs(scores) <= COVERAGE_95).mean())


def main(across: int) -> None:
    """Print the share held, case by case and kind by kind, for cells and for medians."""
    sets = Sets(across)
    print(f"{across**2} sets a case; share of 95 % intervals that hold the truth")
    print(f"{'':32}" + "".join(f"{kind:>16}" for kind in KINDS))
    for name in cases("random"):
        shares = []
        for kind in KINDS:
            techniques, how = cases(kind)[name]
            cell = held(cell_scores(techniques, how, sets, 1))
            room = held(median_scores(techniques, how, Sets(max(across // 2, 2)), 2))
            shares.append(f"{cell:9.3f}{room:7.3f}")
        print(f"{name:32}" + "".join(shares))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 70)
