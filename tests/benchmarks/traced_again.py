"""Houses whose walls were traced in several seasons: where the merged walls lie, and who disagrees.

Each site has a house of one room, traced by two or three surveys along its inner faces or along
its walls' centres: whole walls, with ends a little short, in either direction. Errors are drawn
from the stated models. What the library says of walls and of the room's area is held against the
truth, in units of the sd that it states itself, and against the better tracing alone.

    python tests/benchmarks/traced_again.py [sites]
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import shapely
from scipy import sparse

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

CRS = "EPSG:32633"
ORIGIN = np.array([431000.0, 4300000.0])
KINDS = ("random", "patchy", "named", "all")
SETTINGS = WallSettings()
THICK_M, THICK_SD_M = 0.6, 0.03

APART_M = 40.0
"""Houses stand this far from each other, each with surveys of its own."""

PARTS = tuple(enumerate(KINDS[:3]))


@dataclass(frozen=True)
class Houses:
    """Houses as surveyed, each by surveys of its own, so that all are independent.

    Attributes
    ----------
    corners : array, shape (houses, 4, 2)
        Of the room: the walls' inner faces, or the walls' centres [m].
    lines : GeoDataFrame
    models : dict of str to ErrorModel
    area_m2 : array, shape (houses,)
        True floor area in the grid.
    """

    corners: np.ndarray
    lines: gpd.GeoDataFrame
    models: dict[str, ErrorModel]
    area_m2: np.ndarray


def model_of(name: str, kind: str, place: np.ndarray, rng: np.random.Generator) -> ErrorModel:
    """Return a survey's errors of one kind, or of all; a house's benchmark is common to them."""
    size = rng.uniform(0.01, 0.03, 3)
    random, patchy, named = (size[k] if kind in (part, "all") else 0.0 for k, part in PARTS)
    own = [NamedError(f"{name}:setup_{axis}", axis, named) for axis in ("easting", "northing")]
    turn = NamedError(f"{name}:turn", "rotation", named / 20, tuple(place))
    mark = [NamedError(f"mark{name[4:]}:{axis}", axis, 0.02) for axis in ("easting", "northing")]
    return ErrorModel(
        survey=name,
        random_horizontal=random if kind != "named" else 0.002,
        random_vertical=0.03,
        patchy_horizontal=patchy,
        patchy_distance=float(rng.uniform(3, 12)),
        named=(*own, turn, *mark) if named else (),
    )


def houses(
    rng: np.random.Generator, kind: str, count: int, seasons: int, follows: str = "face"
) -> Houses:
    """Return houses traced in some seasons, errors drawn from the models."""
    corners, areas, parts, models = [], [], {}, {}
    for k in range(count):
        size, turn = rng.uniform(3, 8, 2) / 2, rng.uniform(0, np.pi)
        axes = np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
        place = ORIGIN + APART_M * np.array([k % 10, k // 10])
        corners.append(SQUARE * size @ axes + place)
        names = [f"{2031 + season}-h{k}" for season in range(seasons)]
        mine = {name: model_of(name, kind, place, rng) for name in names}
        draws = draw_named(mine.values(), rng)
        thick = THICK_M + rng.normal(0, THICK_SD_M)
        parts |= {name: traced(corners[-1], mine[name], rng, draws) for name in names}
        models |= mine
        areas.append(4 * size.prod() if follows == "face" else np.prod(2 * size - thick))
    table = table_of(list(parts.values()), list(parts), follows)
    return Houses(np.array(corners), table, models, np.array(areas))


SQUARE = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])


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


def offsets(case: Houses, work: Linework) -> tuple[np.ndarray, np.ndarray]:
    """Return how far the first wall of each house lies off the true one midway, and its sd [m]."""
    still = sparse.identity(3 * len(work.xyz), format="csr")
    ground = Ground.under(work, still, list(case.models.values()))
    ends = work.xyz.reshape(-1, 2, 3)[:, :, :2]
    tree = shapely.STRtree(shapely.points(ends.mean(axis=1)))
    error, sd = [], []
    for a, b in case.corners[:, :2]:
        k = int(tree.nearest(shapely.Point((a + b) / 2)))
        left = np.array([a[1] - b[1], b[0] - a[0]]) / np.hypot(*(b - a))
        gradient = np.zeros((1, 2, 3))
        gradient[0, :, :2] = left / 2
        error.append(float((ends[k].mean(axis=0) - a) @ left))
        sd.append(ground.budget(Figure(0.0, np.array([k]), gradient)).sd)
    return np.array(error), np.array(sd)


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


BATCH = 100
"""Houses that are worked on at once."""


def places(kind: str, count: int, seed: int, seasons: int = 2) -> Places:
    """Return where one wall of each of many houses lies, so that all are independent."""
    children = np.random.SeedSequence(seed).spawn(-(-count // BATCH))
    parts = [_places(np.random.default_rng(child), kind, seasons) for child in children]
    return Places(*np.hstack(parts)[:, :count])


def _places(rng: np.random.Generator, kind: str, seasons: int) -> np.ndarray:
    case = houses(rng, kind, BATCH, seasons)
    settled = settle_walls(case.lines, case.models, SETTINGS)[0]
    first = case.lines["survey"].isin(settled.work.lines["survey"])
    better = case.lines[first].reset_index(drop=True)
    alone, _ = offsets(case, settle_walls(better, case.models, SETTINGS)[0].work)
    return np.array([*offsets(case, settled.work), alone])


def areas(count: int, seed: int, follows: str, kind: str = "all", seasons: int = 3) -> np.ndarray:
    """Return error over stated sd of the floor area of many houses traced in some seasons."""
    children = np.random.SeedSequence(seed).spawn(-(-count // BATCH))
    cases = [
        houses(np.random.default_rng(child), kind, BATCH, seasons, follows) for child in children
    ]
    return np.concatenate([_areas(case) for case in cases])[:count]


def _areas(case: Houses) -> np.ndarray:
    network = build_network(case.lines, case.models, SETTINGS)
    empty = vectors.empty(ITEM_COLUMNS, CRS)
    view = prepare(network, list(case.models.values()), site_of())
    rooms = make_plan(view, Items(empty, empty, []), Bed())["rooms"]
    if len(rooms) != BATCH:
        raise ValueError(f"{len(rooms)} rooms found where there are {BATCH}")
    middle = case.corners.mean(axis=1)
    _, scale = grid_factors(CRS, *middle.T)
    place = shapely.STRtree(shapely.points(middle)).nearest(rooms.geometry.to_numpy())
    true = (case.area_m2 / scale**2)[place]
    return np.asarray((rooms["floor_area_m2"] - true) / rooms["floor_area_sd_m2"], dtype=float)


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
    rng: np.random.Generator, kind: str, count: int
) -> tuple[gpd.GeoDataFrame, dict[str, ErrorModel]]:
    """Return some houses apart from each other, traced by the same two surveys."""
    models = {name: model_of(name, kind, ORIGIN, rng) for name in ("2031-walls", "2032-walls")}
    draws = draw_named(models.values(), rng)
    parts: list[list[np.ndarray]] = [[], []]
    for k in range(count):
        corners = SQUARE * rng.uniform(3, 8, 2) / 2 + ORIGIN + np.array([15.0 * k, 0.0])
        for part, model in zip(parts, models.values(), strict=True):
            part.extend(traced(corners, model, rng, draws))
    return table_of(parts, list(models), "face"), models


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
    for follows in ("face", "centre"):
        z = areas(count, 2, follows)
        within, rms = (np.abs(z) <= 1.96).mean(), np.sqrt((z**2).mean())
        print(f"areas by {follows}: {100 * within:.1f} % held, rms {rms:.2f}", flush=True)
    share = accused(count // 4, 3)
    print(f"sites of 24 walls that name one where none disagrees: {100 * share:.1f} %")
    for walls in (1, 6):
        for sds in (4.0, 5.0):
            hit, wrong = found_displaced(count // 8, 4, sds, houses=walls)
            print(f"1 of {4 * walls} walls {sds:g} sd off: {100 * hit:.1f} % named, {wrong:.2f}")


if __name__ == "__main__":
    main()
