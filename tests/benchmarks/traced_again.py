"""Houses whose walls were traced in several seasons: where the merged walls lie, and who disagrees.

Each site has a house of one room, traced by two or three surveys along its inner faces or along
its walls' centres: whole walls, with ends a little short, in either direction. Errors are drawn
from the stated models. What the library says of walls and of the room's area is held against the
truth, in units of the sd that it states itself, and against the better tracing alone.

    python tests/benchmarks/traced_again.py [sites]
"""

from __future__ import annotations

import sys
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import shapely

from wrackline import vectors
from wrackline.crs import grid_factors
from wrackline.demo.survey import displace, draw_named
from wrackline.model import Site, WallSettings
from wrackline.rooms.bed import Bed
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.joining import build_network, settle_walls
from wrackline.walls.linework import ITEM_COLUMNS, LINE_COLUMNS, Linework
from wrackline.walls.moved import Moved
from wrackline.walls.settling import Settled

CRS = "EPSG:32633"
ORIGIN = np.array([431000.0, 4300000.0])
KINDS = ("random", "patchy", "named", "all")
SETTINGS = WallSettings()
THICK_M, THICK_SD_M = 0.6, 0.03

from scipy import sparse  # noqa: E402


@dataclass(frozen=True)
class House:
    """One house as surveyed.

    Attributes
    ----------
    corners : array, shape (4, 2)
        Of the room, the walls' inner faces, or of the walls' centres [m].
    lines : GeoDataFrame
    models : dict of str to ErrorModel
    area_m2 : float
        True floor area in the grid.
    """

    corners: np.ndarray
    lines: gpd.GeoDataFrame
    models: dict[str, ErrorModel]
    area_m2: float


def model_of(name: str, kind: str, rng: np.random.Generator) -> ErrorModel:
    """Return a survey's errors of one kind, or of all; a benchmark is common to the surveys."""
    size = rng.uniform(0.015, 0.04, 3)
    random, patchy, named = (size[k] if kind in (part, "all") else 0.0 for k, part in PARTS)
    own = [NamedError(f"{name}:setup_{axis}", axis, named) for axis in ("easting", "northing")]
    turn = NamedError(f"{name}:turn", "rotation", named / 50, tuple(ORIGIN))
    mark = [NamedError(f"mark:{axis}", axis, 0.02) for axis in ("easting", "northing")]
    return ErrorModel(
        survey=name,
        random_horizontal=random if kind != "named" else 0.002,
        random_vertical=0.03,
        patchy_horizontal=patchy,
        patchy_distance=rng.uniform(3, 12),
        named=(*own, turn, *mark) if named else (),
    )


PARTS = tuple(enumerate(KINDS[:3]))


def house(rng: np.random.Generator, kind: str, seasons: int, follows: str = "face") -> House:
    """Return a house traced in some seasons, errors drawn from the models."""
    names = [f"{2031 + k}-walls" for k in range(seasons)]
    models = {name: model_of(name, kind, rng) for name in names}
    size = rng.uniform(3, 8, 2) / 2
    turn = rng.uniform(0, np.pi)
    axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size
    corners = square @ axes + ORIGIN + rng.uniform(0, 40, 2)
    draws = draw_named(models.values(), rng)
    thick = THICK_M + rng.normal(0, THICK_SD_M)
    lines = [traced(corners, models[name], rng, draws) for name in names]
    table = table_of(lines, names, follows)
    inside = 4 * size.prod() if follows == "face" else np.prod(2 * size - thick)
    return House(corners, table, models, float(inside))


def traced(
    corners: np.ndarray, model: ErrorModel, rng: np.random.Generator, draws: dict[str, float]
) -> list[np.ndarray]:
    """Return one survey's tracing of the four walls, each a line of two or three vertices."""
    lines = []
    for k in range(4):
        a, b = corners[k], corners[(k + 1) % 4]
        step = (b - a) / np.hypot(*(b - a))
        ends = [a + step * rng.uniform(0, 0.2), b - step * rng.uniform(0, 0.2)]
        lines.append(np.array(ends if rng.uniform() < 0.5 else ends[::-1]))
    flat = np.column_stack([np.vstack(lines), np.full(8, -2.0)])
    moved = displace(flat, model, rng, draws)
    return list(moved.reshape(4, 2, 3))


def table_of(lines: list[list[np.ndarray]], names: list[str], follows: str) -> gpd.GeoDataFrame:
    """Return tracings as the stage walls takes them."""
    count = [len(part) for part in lines]
    survey = np.repeat(names, count)
    data = {name: [None] * len(survey) for name in LINE_COLUMNS}
    data |= {
        "survey": survey,
        "season": [name[:4] for name in survey],
        "row": np.concatenate([np.arange(1, n + 1) for n in count]),
        "evidence": "recorded",
        "line_follows": follows,
        "traced_at": "top",
        "repeats": "",
        "thickness_m": THICK_M if follows == "centre" else np.nan,
        "thickness_sd_m": THICK_SD_M if follows == "centre" else np.nan,
        "pole_width_m": np.nan,
        "pole_width_sd_m": np.nan,
    }
    shapes = [shapely.linestrings(line) for part in lines for line in part]
    table = gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)
    return vectors.conform(table, LINE_COLUMNS)


def settled(case: House) -> Settled:
    """Return a house's walls as placed by all tracings."""
    return settle_walls(case.lines, case.models, SETTINGS)[0]


def offsets(case: House, work: Linework) -> tuple[np.ndarray, np.ndarray]:
    """Return how far walls of two vertices lie off the true ones at their middles, and its sd."""
    ground = Ground.under(
        work, sparse.identity(3 * len(work.xyz), format="csr"), list(case.models.values())
    )
    ends = work.xyz.reshape(-1, 2, 3)[:, :, :2]
    error, sd = [], []
    for k, (a, b) in enumerate(ends):
        wall = nearest(case.corners, (a + b) / 2)
        along = (wall[1] - wall[0]) / np.hypot(*(wall[1] - wall[0]))
        left = np.array([-along[1], along[0]])
        gradient = np.zeros((1, 2, 3))
        gradient[0, :, :2] = left / 2
        error.append(float(((a + b) / 2 - wall[0]) @ left))
        sd.append(ground.budget(Figure(0.0, np.array([k]), gradient)).sd)
    return np.array(error), np.array(sd)


def nearest(corners: np.ndarray, place: np.ndarray) -> np.ndarray:
    """Return the ends of the true wall nearest to a place."""
    walls = np.stack([corners, np.roll(corners, -1, axis=0)], axis=1)
    away = shapely.distance(shapely.linestrings(walls), shapely.Point(place))
    return walls[int(np.argmin(away))]


def better(case: House) -> House:
    """Return the same house with the one survey that stands where nothing is averaged."""
    first = settled(case).work.lines["survey"].iloc[0]
    lines = case.lines[case.lines["survey"] == first].reset_index(drop=True)
    return replace(case, lines=lines, models={first: case.models[first]})


@dataclass(frozen=True)
class Places:
    """Errors of walls' places over many houses: error and sd [m], and that of the better alone."""

    error: np.ndarray
    sd: np.ndarray
    alone: np.ndarray

    @property
    def within(self) -> float:
        """Share of walls whose 95 % interval holds the truth."""
        return float((np.abs(self.error) <= 1.96 * self.sd).mean())

    @property
    def rmse_m(self) -> float:
        """Root mean square error of the merged walls [m]."""
        return float(np.sqrt((self.error**2).mean()))

    @property
    def alone_m(self) -> float:
        """That of the better tracing alone [m]."""
        return float(np.sqrt((self.alone**2).mean()))


def places(kind: str, count: int, seed: int, seasons: int = 2) -> Places:
    """Return where one wall of each of many houses lies, so that all are independent."""
    found = []
    for child in np.random.SeedSequence(seed).spawn(count):
        rng = np.random.default_rng(child)
        case = house(rng, kind, seasons)
        error, sd = offsets(case, settled(case).work)
        one = better(case)
        alone, _ = offsets(one, settled(one).work)
        found.append((error[0], sd[0], alone[0]))
    return Places(*np.array(found).T)


def areas(count: int, seed: int, kind: str = "all") -> np.ndarray:
    """Return error over stated sd of the floor area of many houses traced in 2 or 3 seasons."""
    site = site_of()
    found = []
    for child in np.random.SeedSequence(seed).spawn(count):
        rng = np.random.default_rng(child)
        follows = ("face", "centre")[int(rng.integers(2))]
        case = house(rng, kind, int(rng.integers(2, 4)), follows)
        network = build_network(case.lines, case.models, SETTINGS)
        empty = vectors.empty(ITEM_COLUMNS, CRS)
        view = prepare(network, list(case.models.values()), site)
        rooms = make_plan(view, Items(empty, empty, []), Bed())["rooms"]
        if len(rooms) != 1:
            raise ValueError(f"{len(rooms)} rooms found where there is one")
        _, scale = grid_factors(CRS, *(np.array([v]) for v in case.corners.mean(axis=0)))
        room = rooms.iloc[0]
        found.append(
            (room["floor_area_m2"] - case.area_m2 / float(scale[0]) ** 2) / room["floor_area_sd_m2"]
        )
    return np.array(found)


def site_of() -> Site:
    """Return the config of a plain site."""
    return Site.model_validate(
        {
            "schema_version": 1,
            "name": "Traced again (invented)",
            "crs": CRS,
            "vertical_datum": "invented",
            "origin": ORIGIN.tolist(),
            "sea_levels": [{"name": "msl", "height_m": 0.0}],
            "depths_below": "msl",
        }
    )


def accused(count: int, seed: int, kind: str = "all", houses: int = 6) -> float:
    """Return the share of sites of some houses, where nothing disagrees, that name a wall."""
    named = 0
    for child in np.random.SeedSequence(seed).spawn(count):
        lines, models = town(np.random.default_rng(child), kind, houses)
        named += bool(settle_walls(lines, models, SETTINGS)[0].tracings["disagrees"].any())
    return named / count


def found_displaced(
    count: int, seed: int, sds: float, kind: str = "all", houses: int = 1
) -> tuple[float, float]:
    """Return how often a wall displaced by some sds of its offset is named, and how many others.

    Parameters
    ----------
    sds : float
        Displacement in standard uncertainties of the offset between both tracings.
    """
    hit = wrong = 0
    for child in np.random.SeedSequence(seed).spawn(count):
        lines, models = town(np.random.default_rng(child), kind, houses)
        before = settle_walls(lines, models, SETTINGS)[0].tracings
        row = before[~before["standing"] & before["off_sd_m"].notna()].iloc[0]
        lines = displaced_line(lines, row, sds * difference_sd(row))
        after = settle_walls(lines, models, SETTINGS)[0].tracings
        named = after[after["disagrees"].fillna(False)]
        mine = (named["survey"] == row["survey"]) & (named["row"] == row["row"])
        hit += bool(mine.any())
        wrong += int((~mine).sum())
    return hit / count, wrong / count


def difference_sd(row) -> float:
    """Return the sd of the offset between both tracings from that to the wall as placed."""
    return float(row["off_sd_m"] / (1 - row["weight"]))


def displaced_line(lines: gpd.GeoDataFrame, row, by_m: float) -> gpd.GeoDataFrame:
    """Return lines with one moved across itself, away from where it lies off its wall."""
    mine = ((lines["survey"] == row["survey"]) & (lines["row"] == row["row"])).to_numpy()
    shapes = lines.geometry.to_numpy().copy()
    xyz = shapely.get_coordinates(shapes[mine], include_z=True)
    step = xyz[-1, :2] - xyz[0, :2]
    left = np.array([-step[1], step[0], 0.0]) / np.hypot(*step)
    shapes[mine] = shapely.linestrings(xyz + left * by_m)
    return lines.set_geometry(gpd.GeoSeries(shapes, lines.index, lines.crs))


def town(
    rng: np.random.Generator, kind: str, houses: int
) -> tuple[gpd.GeoDataFrame, dict[str, ErrorModel]]:
    """Return some houses apart from each other, traced by the same two surveys."""
    names = ["2031-walls", "2032-walls"]
    models = {name: model_of(name, kind, rng) for name in names}
    draws = draw_named(models.values(), rng)
    parts: list[list[np.ndarray]] = [[], []]
    for k in range(houses):
        size = rng.uniform(3, 8, 2) / 2
        square = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * size
        corners = square + ORIGIN + np.array([15.0 * k, 0.0])
        for part, name in zip(parts, names, strict=True):
            part.extend(traced(corners, models[name], rng, draws))
    return table_of(parts, names, "face"), models


def main() -> None:
    """Print what is measured, for so many houses."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    for seasons in (2, 3):
        for kind in KINDS:
            got = places(kind, count, 1, seasons)
            print(
                f"{seasons} tracings, {kind}: interval holds {100 * got.within:.1f} %, RMSE "
                f"{1000 * got.rmse_m:.1f} mm, better alone {1000 * got.alone_m:.1f} mm"
            )
    z = areas(count, 2)
    print(f"areas: {100 * (np.abs(z) <= 1.96).mean():.1f} % held, rms {np.sqrt((z**2).mean()):.2f}")
    print(f"sites that name a wall where none disagrees: {100 * accused(count // 2, 3):.1f} %")
    for houses in (1, 6):
        for sds in (4.0, 5.0, 6.0):
            hit, wrong = found_displaced(count // 4, 4, sds, houses=houses)
            walls = 4 * houses
            print(
                f"1 of {walls} walls displaced by {sds:g} sd: {100 * hit:.1f} % named, {wrong:.2f}"
            )


if __name__ == "__main__":
    main()
