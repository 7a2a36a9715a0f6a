"""A view of the site, ready to be measured: its network, faces, kinds and the errors of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.crs import grid_factors
from wrackline.model import Site
from wrackline.numbers import joined
from wrackline.rooms.buildings import buildings_of
from wrackline.rooms.faces import Faces, faces_of
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.kinds import BODY, SLIVER, kinds_of
from wrackline.uncertainty import Budget, ErrorModel, level_budget
from wrackline.walls.linework import DOORWAY, LOST
from wrackline.walls.network import Network

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]


@dataclass(frozen=True)
class View:
    """Everything that the tables of a view are made from.

    Attributes
    ----------
    site : Site
    models : list of ErrorModel
        Errors of the surveys whose wall lines the view holds.
    network : Network
    faces : Faces
    kind : array of str, shape (f,)
    building : array of int, shape (f,)
    ground : Ground
        Carries gradients on the network's edges to uncertainties.
    """

    site: Site
    models: Sequence[ErrorModel]
    network: Network
    faces: Faces
    kind: npt.NDArray[np.str_]
    building: Ints
    ground: Ground

    @property
    def lines(self) -> gpd.GeoDataFrame:
        """Wall lines, one row each."""
        return self.network.work.lines

    @property
    def edge_line(self) -> Ints:
        """Row of the line that each edge belongs to or, for a closing, sets out from."""
        first = self.network.pieces.vertices[self.network.piece, 0, 1]
        return np.asarray(self.network.work.line[first], dtype=np.int64)

    def bounds_of(self, face: int) -> tuple[Ints, Array]:
        """Return the edges around a face, and on which side of each it lies."""
        row = self.faces.sides[[face]].tocoo()
        order = np.argsort(row.col)
        return row.col[order].astype(np.int64), row.data[order].astype(float)

    def thickness_of(self, edges: Ints) -> tuple[Array, Array]:
        """Return thickness of the walls whose centres edges are, and its sd, shape (m,) [m].

        0 along faces; NaN where the thickness is unknown.
        """
        lines = self.lines.iloc[self.edge_line[edges]]
        centre = (lines["line_follows"] == "centre").to_numpy(bool)
        thickness = np.where(centre, lines["thickness_m"].to_numpy(float), 0.0)
        sd = np.where(centre, np.nan_to_num(lines["thickness_sd_m"].to_numpy(float)), 0.0)
        return thickness, sd

    def thickness_budget(self, edges: Ints, effect: Array) -> Budget:
        """Return what errors of thickness do to a figure.

        A thickness is one figure for a survey's walls, so its error is common to them.

        Parameters
        ----------
        edges : array of int, shape (m,)
        effect : array, shape (m,)
            Effect of one standard uncertainty of each edge's thickness, in the figure's unit.
        """
        surveys = self.lines["survey"].to_numpy(str)[self.edge_line[edges]]
        used = np.unique(surveys[effect != 0])
        return Budget(named={f"{s}:thickness": float(effect[surveys == s].sum()) for s in used})

    def surveys_of(self, edges: Ints) -> str:
        """Return the surveys whose lines bound something, repeats included."""
        rows = np.unique(self.edge_line[edges])
        names = self.lines["survey"].iloc[rows].tolist()
        again = [part for text in self.lines["repeats"].iloc[rows] for part in text.split(";")]
        return joined([*names, *filter(None, again)])

    def lines_of(self, edges: Ints) -> str:
        """Return the recorded lines that bound something, as survey/line or survey/#row."""
        recorded = edges[self.network.recorded[edges]]
        return joined(
            line_name(self.lines.iloc[row]) for row in np.unique(self.edge_line[recorded])
        )

    def depth(self, figure: Figure) -> tuple[float, Budget]:
        """Return depth below the site's sea level, and its uncertainty, from a height."""
        return self.depth_of(figure.value, self.ground.budget(figure))

    def depth_of(self, height: float, budget: Budget) -> tuple[float, Budget]:
        """Return depth below the site's sea level, with what both rest on cancelled."""
        level = self.site.depth_level
        return level.height_m - height, level_budget(level, self.site).minus(budget)

    def factors(self, geometry: shapely.Geometry) -> tuple[float, float]:
        """Return convergence [degrees] and scale of the grid at a geometry's middle."""
        middle = geometry.centroid
        convergence, scale = grid_factors(self.site.crs, np.array([middle.x]), np.array([middle.y]))
        return float(convergence[0]), float(scale[0])


def line_name(row: pd.Series) -> str:
    """Return how a surveyed line is cited: its survey and own number, or its row in the file."""
    own = row["line"]
    return f"{row['survey']}/{own if isinstance(own, str) and own else '#' + str(row['row'])}"


def prepare(network: Network, models: Sequence[ErrorModel], site: Site) -> View:
    """Return a view ready to be measured, without the closings that only part a wall's body.

    Parameters
    ----------
    network : Network
    models : sequence of ErrorModel
        Errors of every survey in it.
    site : Site
    """
    names = [model.survey for model in models]
    work = network.work
    faces, kind = _told_apart(network, site)
    needless = _parts_a_wall(network, faces, kind)
    if needless.any():
        network = network.without(needless)
        faces, kind = _told_apart(network, site)
    ground = Ground(network.motion(), work.xyz, work.survey_index(names), models)
    building = buildings_of(faces, kind, network.length)
    return View(site, models, network, faces, kind, building, ground)


def _told_apart(network: Network, site: Site) -> tuple[Faces, npt.NDArray[np.str_]]:
    """Return the faces of a network and their kinds."""
    faces = faces_of(network)
    first = network.pieces.vertices[network.piece, 0, 1]
    line = network.work.line[first]
    on_face = (network.work.lines["line_follows"] != "centre").to_numpy(bool)[line]
    return faces, kinds_of(faces, on_face, site.walls, site.rooms)


def _parts_a_wall(
    network: Network, faces: Faces, kind: npt.NDArray[np.str_]
) -> npt.NDArray[np.bool_]:
    """Tell which edges of wide gaps' closings have walls alone on both sides, shape (k, p).

    Where a wall abuts another, the near face of the other stops at both its faces, and looks
    across its thickness as across a doorway.
    """
    wide = np.isin(network.pieces.kind[network.piece], (DOORWAY, LOST))
    middle = shapely.points(network.edges.mean(axis=1))
    walled = np.zeros_like(network.standing)
    for phase in range(len(network.phases)):
        there = faces.standing[:, phase]
        wall = there & np.isin(kind, (BODY, SLIVER))
        sides = abs(faces.sides)
        beside = np.asarray(sides.T @ there.astype(float)).ravel()
        inside = np.zeros(len(middle), dtype=bool)
        inside[shapely.STRtree(faces.polygons[wall]).query(middle, predicate="within")[0]] = True
        both = np.asarray(sides.T @ wall.astype(float)).ravel() == 2
        walled[:, phase] = np.where(beside == 0, inside, both)
    return walled & wide[:, None]


def azimuth(angle_rad: float, convergence_deg: float, period_deg: float) -> float:
    """Return an axis clockwise from true north from an angle anticlockwise from grid east.

    Examples
    --------
    A wall that runs north-east in a grid whose north lies 1.5 degrees east of true north:

    >>> round(azimuth(np.pi / 4, 1.5, 180.0), 6)
    46.5
    """
    return float((90.0 - np.degrees(angle_rad) + convergence_deg) % period_deg)
