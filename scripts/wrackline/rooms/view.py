"""A view of the site, ready to be measured: its network, faces, kinds and the errors of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely

from wrackline.crs import grid_factors
from wrackline.model import Decision, Site
from wrackline.numbers import joined
from wrackline.rooms.buildings import buildings_of
from wrackline.rooms.decided import merged, opened
from wrackline.rooms.faces import Faces, faces_of
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.kinds import BODY, SLIVER, kinds_of
from wrackline.uncertainty import Budget, ErrorModel, level_budget
from wrackline.walls.decided import Outcome
from wrackline.walls.linework import DOORWAY, LOST, line_name
from wrackline.walls.network import Network
from wrackline.walls.plausible import Plausible

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
    outlines : list of Plausible
        Plausible outlines of every phase; empty where none were drawn.
    outcomes : list of Outcome or None
        What became of each of the team's decisions.
    """

    site: Site
    models: Sequence[ErrorModel]
    network: Network
    faces: Faces
    kind: npt.NDArray[np.str_]
    building: Ints
    ground: Ground
    outlines: list[Plausible]
    outcomes: list[Outcome | None]

    @property
    def lines(self) -> gpd.GeoDataFrame:
        """Wall lines, one row each."""
        return self.network.work.lines

    @property
    def edge_line(self) -> Ints:
        """Row of the line that each edge belongs to or, for a closing, sets out from."""
        first = self.network.pieces.vertices[self.network.piece, 0, 1]
        return np.asarray(self.network.work.line[first], dtype=np.int64)

    def support(self, faces: Ints) -> Array:
        """Return the support of spaces, in the last phase in which each stands, shape (n,).

        NaN where no outlines were drawn.
        """
        phase = self.last_phase(faces)
        found = np.full(len(faces), np.nan)
        for k, outlines in enumerate(self.outlines):
            found[phase == k] = outlines.support(self.faces.polygons[faces[phase == k]])
        return found

    def support_together(self, groups: Sequence[Ints]) -> Array:
        """Return the support of groups of faces as wholes, however divided, shape (n,)."""
        found = np.full(len(groups), np.nan)
        ground = [shapely.union_all(self.faces.polygons[group]) for group in groups]
        phase = np.array([self.last_phase(group).max(initial=0) for group in groups])
        for k, outlines in enumerate(self.outlines):
            mine = np.flatnonzero(phase == k)
            found[mine] = outlines.support_together(np.array(ground, dtype=object)[mine])
        return found

    def last_phase(self, faces: Ints) -> Ints:
        """Return the last phase in which each face stands, shape (n,)."""
        standing = self.faces.standing[faces]
        return np.asarray(standing.shape[1] - 1 - np.argmax(standing[:, ::-1], axis=1))

    def phases_of(self, face: int, edges: Ints) -> tuple[str | None, str | None]:
        """Return the first and last phase of a space, None where no wall around it is dated."""
        rows = self.edge_line[edges[self.network.recorded[edges]]]
        if not self.lines["stands_from"].iloc[rows].notna().any():
            return None, None
        stands = np.flatnonzero(self.faces.standing[face])
        names = self.network.phases
        return names[stands[0]] or None, names[stands[-1]] or None

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


def prepare(
    network: Network,
    models: Sequence[ErrorModel],
    site: Site,
    outlines: Sequence[Plausible] = (),
    decisions: Sequence[Decision] = (),
    outcomes: Sequence[Outcome | None] = (),
) -> View:
    """Return a view ready to be measured, without the closings that only part a wall's body.

    Parameters
    ----------
    network : Network
    models : sequence of ErrorModel
        Errors of every survey in it.
    site : Site
    outlines : sequence of Plausible
        Plausible outlines of every phase; none, and nothing has a support.
    decisions : sequence of Decision
        What the team decided.
    outcomes : sequence of Outcome or None
        What became of each where walls were joined; None of those about spaces.
    """
    names = [model.survey for model in models]
    work = network.work
    faces, kind = _told_apart(network, site)
    needless = _parts_a_wall(network, faces, kind)
    between, mergers = merged(decisions, network, faces, kind)
    if needless.any() or between.any():
        network = network.without(needless | between)
        faces, kind = _told_apart(network, site)
    kind, openings = opened(decisions, faces, kind)
    became = dict(enumerate(outcomes)) | mergers | openings
    ground = Ground(network.motion(), work.xyz, work.survey_index(names), models)
    building = buildings_of(faces, kind, network.length)
    return View(
        site,
        models,
        network,
        faces,
        kind,
        building,
        ground,
        outlines=list(outlines),
        outcomes=[became.get(k) for k in range(len(decisions))],
    )


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
