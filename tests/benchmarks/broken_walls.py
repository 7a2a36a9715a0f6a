"""Rooms from broken walls, measured on simulated towns: how many come back, how true, how fast.

The figures of `wrackline.walls.candidates` were set on the towns of `towns` (seeds below 100); what
is printed is measured on seeds from 1,000 on, and on the towns of `towns_other`, another hand's: no
figure was set on those, though two of its towns (seeds 5 and 6) were looked at for missing rules.
The common way beside it snaps to a grid, nodes and polygonises; the oracle
is given every stretch that was not drawn.
Sizes of towns as arguments (`broken_walls.py 100 1000 10000`) measure the pace alone.
"""

from __future__ import annotations

import multiprocessing
import resource
import sys
import time
from collections.abc import Iterator, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
import towns
import towns_other
from one_room_sites import SURVEY, line_table
from room_score import Score, common_way, score
from town_model import Damage, Surveyed, Town

from wrackline.model import RoomSettings, WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.rooms.kinds import BODY, SLIVER, UNKNOWN, kinds_of
from wrackline.rooms.kinds import told as told_of
from wrackline.uncertainty import ErrorModel
from wrackline.walls.gather import told_apart
from wrackline.walls.joining import build_network
from wrackline.walls.network import Network

Polygons = npt.NDArray[np.object_]

FIRST_SEED = 1000
HOUSES, SEEDS = 100, 3
THICKEST_M = 0.8
LEAST_SD_M = 0.001
GRIDS_M = (0.1, 0.3)

REGIMES = {
    "clean lines": Damage(noise_m=0, ends_m=0, doors=0, doubled=0),
    "doorways, noise, ends, doubles": Damage(),
    "and 10 % with a lost stretch": Damage(lost=0.1),
    "and 25 % with a lost stretch": Damage(lost=0.25),
    "and 5 % lost whole, 5 % rubble": Damage(lost=0.25, gone=0.05, rubble=0.05),
}
MAKERS = {"own towns": (towns.make_town, towns.survey), "another hand": (None, towns_other.survey)}


@dataclass(frozen=True)
class Trial:
    """One regime on one kind of town, scores summed up over seeds.

    Attributes
    ----------
    maker, regime, drawn : str
        Whose towns, how damaged, ``centre`` or ``face``.
    found, oracle : Score
        Of what was recovered, and of what the true closings would give: means over towns.
    common : float
        F1 of the common way, best of two grids.
    """

    maker: str
    regime: str
    drawn: str
    found: Score
    oracle: Score
    common: float


def make(maker: str, houses: int, seed: int) -> Town:
    """Return a town of a maker; its walls are 0.4 to 0.8 m thick."""
    if maker == "another hand":
        return towns_other.make_town(houses, seed, THICKEST_M)
    return towns.make_town(houses, seed)


def joined(drawn: Surveyed, **walls: float) -> Network:
    """Return the network of what a survey drew."""
    return _joined(table_of(drawn), drawn.sd_m, **walls)


def table_of(drawn: Surveyed) -> gpd.GeoDataFrame:
    lines = line_table(drawn.lines, drawn.follows, None, np.nan)
    lines["kind"] = drawn.code
    return told_apart(lines, WallSettings().no_walls)[0]


def _joined(lines: gpd.GeoDataFrame, sd_m: float, **walls: float) -> Network:
    model = ErrorModel(SURVEY, max(sd_m, LEAST_SD_M), 0.05)
    return build_network(lines, {SURVEY: model}, WallSettings(**walls))


def spaces(network: Network) -> Polygons:
    """Return the rooms and courts of a network; the thickest wall is known to be 0.9 m."""
    faces = faces_of(network)
    work = network.work
    first = network.pieces.vertices[network.piece, 0, 1]
    on_face = (work.lines["line_follows"] != "centre").to_numpy(bool)[work.line[first]]
    walls = WallSettings(wall_max_thickness_m=THICKEST_M + 0.1)
    kind = kinds_of(faces, on_face, told_of(network, faces), walls, RoomSettings())
    large = shapely.area(faces.polygons) >= RoomSettings().room_min_area_m2
    return np.asarray(faces.polygons[~np.isin(kind, [BODY, SLIVER, UNKNOWN]) & large])


def told(drawn: Surveyed) -> Surveyed:
    """Return a survey to which every stretch that it left out is given."""
    lines = np.concatenate([drawn.lines, drawn.missing])
    like = np.full(len(drawn.missing), drawn.follows[0] if len(drawn.follows) else "centre")
    follows = np.r_[drawn.follows, like]
    code = np.r_[drawn.code, np.full(len(drawn.missing), "wall")]
    return replace(drawn, lines=lines, follows=follows, code=code)


def one_town(maker: str, damage: Damage, houses: int, seed: int) -> tuple[Score, Score, float]:
    """Return the scores of one town: recovered, oracle, and F1 of the common way."""
    town = make(maker, houses, seed)
    drawn = MAKERS[maker][1](town, damage, seed)
    by_face = damage.faces == "face"
    truth, reach = (town.floors, 1.0) if by_face else (town.spaces, 0.1)
    found = score(truth, spaces(joined(drawn)), reach)
    oracle = score(truth, spaces(joined(told(drawn), doorway_max_m=0, lost_stretch_max_m=0)), reach)
    common = max(score(truth, common_way(drawn.lines, g), reach).f1 for g in GRIDS_M)
    return found, oracle, common


def _mean(scores: list[Score]) -> Score:
    fields = [name for name in vars(scores[0]) if name != "match"]
    values = {name: float(np.mean([vars(s)[name] for s in scores])) for name in fields}
    return Score(**values, match=np.zeros(0, dtype=np.int64))


def trials(houses: int, seeds: int) -> Iterator[Trial]:
    """Yield every regime on towns of both makers, by centre lines and by faces."""
    for maker in MAKERS:
        for drawn in ("centre", "face"):
            for name, damage in REGIMES.items():
                got = [
                    one_town(maker, replace(damage, faces=drawn), houses, FIRST_SEED + k)
                    for k in range(seeds)
                ]
                found, oracle, common = zip(*got, strict=True)
                means = _mean(list(found)), _mean(list(oracle))
                yield Trial(maker, name, drawn, *means, float(np.mean(common)))


@dataclass(frozen=True)
class Pace:
    """How fast a town was joined.

    Attributes
    ----------
    houses, lines : int
    common_s, own_s : float
        Processor time of GEOS noding and polygonising, and of the joining with its faces [s].
    memory_gb : float
        Most memory that the process held, making of the town included; NaN if not asked [GB].
    """

    houses: int
    lines: int
    common_s: float
    own_s: float
    memory_gb: float = np.nan

    @property
    def ratio(self) -> float:
        """Times GEOS's time."""
        return self.own_s / self.common_s


def pace(houses: int, seed: int = FIRST_SEED) -> tuple[int, float, float]:
    """Return lines, seconds of GEOS noding and polygonising, and of the joining with its faces."""
    town = make("own towns", houses, seed)
    return _paced(towns.survey(town, Damage(lost=0.1), seed))


def _paced(drawn: Surveyed) -> tuple[int, float, float]:
    """Return lines, and the processor time [s] of the common way and of the joining."""
    lines = table_of(drawn)
    start = time.process_time()
    common_way(drawn.lines, 0.0)
    middle = time.process_time()
    network = _joined(lines, drawn.sd_m)
    shapely.polygonize(shapely.linestrings(network.edges))
    return len(drawn.lines), middle - start, time.process_time() - middle


def pace_alone(houses: int) -> Pace:
    """Return the pace of a town measured in a process of its own, with the memory that it took.

    The least of two runs for towns of up to a thousand houses, which are soon done.
    """
    spawned = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(1, mp_context=spawned) as pool:
        return pool.submit(_pace_and_memory, houses).result()


def _pace_and_memory(houses: int) -> Pace:
    town = make("own towns", houses, FIRST_SEED)
    drawn = towns.survey(town, Damage(lost=0.1), FIRST_SEED)
    del town
    runs = [_paced(drawn) for _ in range(2 if houses <= 1000 else 1)]
    common, own = (min(run[k] for run in runs) for k in (1, 2))
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024 / 1e9
    return Pace(houses, runs[0][0], common, own, most)


def paces(houses: Sequence[int]) -> list[Pace]:
    """Print the pace of towns of several sizes, and the exponent of time from least to largest."""
    made = []
    for count in houses:
        made.append(one := pace_alone(count))
        print(
            f"{one.houses} houses, {one.lines} lines: GEOS {one.common_s:.2f} s, joined "
            f"{one.own_s:.2f} s, {one.ratio:.1f} times; {one.memory_gb:.2f} GB",
            flush=True,
        )
    if len(made) > 1:
        size, own = (np.log([getattr(p, k) for p in made]) for k in ("lines", "own_s"))
        print(f"time grows as lines to the power {(own[-1] - own[0]) / (size[-1] - size[0]):.2f}")
    return made


HEAD = (
    "| towns | drawn as | damage | F1 | precision | split, merged % | who joins whom | "
    "outline 95 % [m] | area bias % | oracle F1 | common way F1 |"
)


def row(trial: Trial) -> str:
    """Return a trial as a row of the table."""
    s = trial.found
    return (
        f"| {trial.maker} | {trial.drawn} | {trial.regime} | {s.f1:.3f} | {s.precision:.3f} | "
        f"{100 * s.split:.1f}, {100 * s.merged:.1f} | {s.joins_f1:.3f} | {s.edge_m:.3f} | "
        f"{100 * s.bias:+.2f} | {trial.oracle.f1:.3f} | {trial.common:.3f} |"
    )


def table(houses: int = HOUSES, seeds: int = SEEDS) -> list[Trial]:
    """Print the table of all trials, a row when it is measured, and return them."""
    print(HEAD)
    print("|" + "---|" * (HEAD.count("|") - 1))
    measured = []
    for trial in trials(houses, seeds):
        print(row(trial), flush=True)
        measured.append(trial)
    return measured


def main(houses: Sequence[int]) -> None:
    """Print the pace at towns of these sizes; without any, the table of all trials before it."""
    if not houses:
        table()
    paces(houses or (100, 1000))


if __name__ == "__main__":
    main([int(word) for word in sys.argv[1:]])
