"""Real outlines broken as a bad survey would, joined again, and held against what they were.

The layer `buildings` of the data set `bubenec` that the package momepy carries (BSD-3, as the
package; version 0.11.0 does not say what the outlines were taken from): 144 footprints of town
blocks, with bays, light wells and walls shared by neighbours. Every side is a wall, damaged by
`towns.survey`; nothing in the joining was set on them.
"""

from __future__ import annotations

from dataclasses import dataclass

import geopandas as gpd
import momepy
import numpy as np
import numpy.typing as npt
import shapely
from broken_walls import FIRST_SEED, GRIDS_M, REGIMES, joined, spaces
from room_score import Score, common_way, score
from town_model import Damage, Surveyed, Town
from towns import straight_parts, survey

from wrackline.walls.network import Network

Polygons = npt.NDArray[np.object_]
Bools = npt.NDArray[np.bool_]

GRID_CRS = "EPSG:32633"
ROUNDED_M = 0.01
THICKNESS_M = 0.5
LEAST_M2 = 1.0
SEEDS = 3
LONGEST_M = (8.0, 20.0)
"""Lost stretches closed up to this: by default, and as sides of 10 to 100 m ask for."""

DAMAGES = {name: damage for name, damage in REGIMES.items() if not damage.gone}
"""Nothing is told of outlines that are gone whole."""


@dataclass(frozen=True)
class Broken:
    """Real outlines, what a bad survey drew of them, and what was made of that.

    Attributes
    ----------
    town : Town
    drawn : Surveyed
    network : Network
    found : array of Polygon
    score, common : Score
        Of the joining, and of the common way with the better of two grids.
    """

    town: Town
    drawn: Surveyed
    network: Network
    found: Polygons
    score: Score
    common: Score

    @property
    def back(self) -> Bools:
        """Whether each footprint was found, in the order of the town's rooms."""
        return np.asarray(self.score.match >= 0)[self.town.kind == "room"]

    @property
    def back_commonly(self) -> Bools:
        """Whether the common way found it."""
        return np.asarray(self.common.match >= 0)[self.town.kind == "room"]


def footprints() -> Polygons:
    """Return the outlines in a grid of true metres."""
    drawn = gpd.read_file(momepy.datasets.get_path("bubenec"), layer="buildings")
    return np.asarray(drawn.to_crs(GRID_CRS).geometry.to_numpy())


def outline_town() -> Town:
    """Return the outlines as a town: sides as walls, footprints as rooms, courts between them."""
    outlines = footprints()
    noded = shapely.union_all(shapely.boundary(outlines), grid_size=ROUNDED_M)
    runs = shapely.get_parts(shapely.line_merge(noded))
    walls = np.array([part for run in runs for part in straight_parts(run)], dtype=object)
    enclosed = shapely.get_parts(shapely.polygonize(walls))
    enclosed = enclosed[shapely.area(enclosed) >= LEAST_M2]
    house = np.full(len(enclosed), -1, dtype=np.int64)
    inside, of = shapely.STRtree(outlines).query(shapely.point_on_surface(enclosed), "within")
    house[inside] = of
    kind = np.where(house >= 0, "room", "court")
    thickness = np.full(len(walls), THICKNESS_M)
    return Town(walls, thickness, enclosed, enclosed, kind, house)


def broken(town: Town, damage: Damage, seed: int, **walls: float) -> Broken:
    """Return the outlines damaged and joined again, with settings of walls other than usual."""
    drawn = survey(town, damage, seed)
    network = joined(drawn, **walls)
    found = spaces(network)
    ways = [score(town.spaces, common_way(drawn.lines, grid), 0.1) for grid in GRIDS_M]
    common = max(ways, key=lambda way: way.f1)
    return Broken(town, drawn, network, found, score(town.spaces, found, 0.1), common)


HEAD = (
    "| damage | closed up to [m] | footprints found | F1 | precision | area bias % | "
    "found commonly | common F1 |"
)


def row(name: str, longest_m: float, made: list[Broken]) -> str:
    """Return the means over seeds as a row of the table."""
    back = np.mean([b.back for b in made])
    commonly = np.mean([b.back_commonly for b in made])
    f1, precision, bias = (
        np.mean([getattr(b.score, k) for b in made]) for k in ("f1", "precision", "bias")
    )
    common = np.mean([b.common.f1 for b in made])
    return (
        f"| {name} | {longest_m:.0f} | {back:.3f} | {f1:.3f} | {precision:.3f} | "
        f"{100 * bias:+.2f} | {commonly:.3f} | {common:.3f} |"
    )


def main(seeds: int = SEEDS) -> None:
    """Print a row a damage and setting, means over seeds."""
    town = outline_town()
    print(HEAD + "\n|" + "---|" * (HEAD.count("|") - 1))
    for longest_m in LONGEST_M:
        for name, damage in DAMAGES.items():
            made = [
                broken(town, damage, FIRST_SEED + k, lost_stretch_max_m=longest_m)
                for k in range(seeds)
            ]
            print(row(name, longest_m, made), flush=True)


if __name__ == "__main__":
    main()
