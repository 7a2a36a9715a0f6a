"""A view of the site, ready to be measured: its network, faces, kinds and the errors of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import shapely
from scipy import sparse

from wrackline.crs import grid_factors
from wrackline.model import Decision, Site
from wrackline.numbers import joined
from wrackline.rooms.buildings import buildings_of
from wrackline.rooms.decided import merged, opened
from wrackline.rooms.faces import Faces, faces_of
from wrackline.rooms.figures import Figure, Ground
from wrackline.rooms.floors import Outline, outline_of
from wrackline.rooms.kinds import BODY, OPEN, SLIVER, kinds_of, told
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

    @cached_property
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
        if not self._dated[rows].any():
            return None, None
        stands = np.flatnonzero(self.faces.standing[face])
        names = self.network.phases
        return names[stands[0]] or None, names[stands[-1]] or None

    def bounds_of(self, face: int) -> tuple[Ints, Array]:
        """Return the edges around a face, and on which side of each it lies."""
        row = self.faces.sides[[face]].tocoo()
        order = np.argsort(row.col)
        return row.col[order].astype(np.int64), row.data[order].astype(float)

    @cached_property
    def wall_side(self) -> Ints:
        """On which side of each edge the wall lies whose face it is, shape (k,).

        +1 left, -1 right, 0 not known. A wall's body tells it; where one face alone was traced, it
        is a space's inner face, so a line between two spaces could be either's.
        """
        rank = np.select([self.kind == BODY, self.kind == SLIVER], [3, 2], default=0)
        best = np.full((2, len(self.network.edges)), -1)
        sides = self.faces.sides.tocoo()
        space = self.kind[sides.row] != OPEN
        at = (sides.data[space] < 0).astype(int), sides.col[space]
        np.maximum.at(best, at, rank[sides.row[space]])
        left, right = np.where(best < 0, 1, best)
        return np.asarray(np.sign(left - right), dtype=np.int64)

    def inward_of(self, edges: Ints, side: Array, *, outer: bool = False) -> tuple[Array, Array]:
        """Return how far an outline lies inside the lines around it, shape (m,) [m].

        Half a thickness inside wall centres (outside them for ground covered with its walls);
        half a pole's width from faces that it was held against, towards their wall. NaN where a
        thickness is unknown.

        Parameters
        ----------
        edges : array of int, shape (m,)
        side : array, shape (m,)
            +1 where the space lies to the left of the edge, -1 to its right.
        outer : bool
            Whether the walls around belong to it.

        Returns
        -------
        inward : array, shape (m,)
        change : array, shape (m,)
            Its change for one standard uncertainty of the thickness or the pole's width; of a face
            whose wall could lie on either side, half the width: it's that far off, either way.
        """
        line = self.edge_line[edges]
        thick, thick_sd, width, width_sd = self._halves[:, line]
        centre = self.centre[line]
        way = -1.0 if outer else 1.0
        within = side * self.wall_side[edges]
        width, off = np.nan_to_num(width), np.where(within == 0, width, within * width_sd)
        inward = np.where(centre, way * thick, within * width)
        change = np.where(centre, way * thick_sd, off)
        return inward, np.nan_to_num(change)

    @cached_property
    def centre(self) -> npt.NDArray[np.bool_]:
        """Whether each line follows its wall's centre, shape (lines,)."""
        return np.asarray((self.lines["line_follows"] == "centre").to_numpy(bool))

    @cached_property
    def at_top(self) -> npt.NDArray[np.bool_]:
        """Whether each line was traced along its wall's top, shape (lines,)."""
        return np.asarray((self.lines["traced_at"] == "top").to_numpy(bool))

    @cached_property
    def _halves(self) -> Array:
        """Half of each line's thickness and pole's width, each with its sd, shape (4, lines)."""
        names = ["thickness_m", "thickness_sd_m", "pole_width_m", "pole_width_sd_m"]
        return np.stack([self.lines[name].to_numpy(float) / 2 for name in names])

    @cached_property
    def _inward_causes(self) -> npt.NDArray[np.str_]:
        """What puts the outline beside each line in doubt, shape (lines,)."""
        cause = np.where(self.centre, ":thickness", ":pole width")
        return np.char.add(self.lines["survey"].to_numpy(str), cause)

    @cached_property
    def _dated(self) -> npt.NDArray[np.bool_]:
        return np.asarray(self.lines["stands_from"].notna().to_numpy(bool))

    @cached_property
    def neighbours(self) -> sparse.csr_matrix:
        """How many edges each pair of faces shares, see `Faces.neighbours`."""
        return self.faces.neighbours()

    @cached_property
    def heights(self) -> Array:
        """Heights at both ends of every edge, see `Network.heights`."""
        return self.network.heights()

    def outline(self, face: int) -> Outline | None:
        """Return a space between its walls' faces, or a wall's body; None where unknown."""
        return self._outlines[face]

    @cached_property
    def _outlines(self) -> list[Outline | None]:
        found = []
        for face, polygon in enumerate(self.faces.polygons):
            edges, side = self.bounds_of(face)
            inward, _ = self.inward_of(edges, side)
            found.append(outline_of(polygon, self.network.edges[edges], side, inward))
        return found

    def inward_budget(self, edges: Ints, effect: Array) -> Budget:
        """Return what errors of thickness, and of poles' widths, do to a figure.

        Either is one figure for a survey's walls, so its error is common to them.

        Parameters
        ----------
        edges : array of int, shape (m,)
        effect : array, shape (m,)
            Effect of each edge's `change` (see `inward_of`), in the figure's unit.
        """
        names = self._inward_causes[self.edge_line[edges]]
        used = np.unique(names[effect != 0])
        return Budget(named={str(name): float(effect[names == name].sum()) for name in used})

    @cached_property
    def line_names(self) -> npt.NDArray[np.object_]:
        """How each line is cited, shape (lines,)."""
        return np.array([line_name(row) for _, row in self.lines.iterrows()], dtype=object)

    @cached_property
    def line_surveys(self) -> npt.NDArray[np.object_]:
        """The survey of each line, shape (lines,)."""
        return np.array(self.lines["survey"].tolist(), dtype=object)

    @cached_property
    def _repeats(self) -> npt.NDArray[np.object_]:
        return np.array(self.lines["repeats"].tolist(), dtype=object)

    def surveys_of(self, edges: Ints) -> str:
        """Return the surveys whose lines bound something, repeats included."""
        rows = np.unique(self.edge_line[edges])
        again = [part for text in self._repeats[rows] for part in text.split(";")]
        return joined([*self.line_surveys[rows], *filter(None, again)])

    def lines_of(self, edges: Ints) -> str:
        """Return the recorded lines that bound something, as survey/line or survey/#row."""
        recorded = edges[self.network.recorded[edges]]
        return joined(self.line_names[np.unique(self.edge_line[recorded])])

    def depth(self, figure: Figure) -> tuple[float, Budget]:
        """Return depth below the site's sea level, and its uncertainty, from a height."""
        return self.depth_of(figure.value, self.ground.budget(figure))

    def depth_of(self, height: float, budget: Budget) -> tuple[float, Budget]:
        """Return depth below the site's sea level, with what both rest on cancelled."""
        level = self.site.depth_level
        return level.height_m - height, level_budget(level, self.site).minus(budget)

    def factors(self, geometry: shapely.Geometry) -> tuple[float, float]:
        """Return convergence [degrees] and scale of the grid at a geometry's middle."""
        (factors,) = self.factors_of([geometry])
        return factors

    def factors_of(self, geometries: Sequence[shapely.Geometry]) -> list[tuple[float, float]]:
        """Return convergence [degrees] and scale of the grid at the middle of each geometry."""
        middle = shapely.get_coordinates(shapely.centroid(geometries))
        convergence, scale = grid_factors(self.site.crs, middle[:, 0], middle[:, 1])
        return list(zip(convergence.tolist(), scale.tolist(), strict=True))


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
    work = network.work
    faces, kind = _told_apart(network, site)
    needless = _parts_a_wall(network, faces, kind)
    if needless.any():
        network = network.without(needless)
        faces, kind = _told_apart(network, site)
    whole, most_m = network, site.walls.wall_max_thickness_m
    network, mergers = merged(decisions, network, faces, kind, most_m)
    if network is not whole:
        faces, kind = _told_apart(network, site)
    kind, openings = opened(decisions, faces, kind)
    became = dict(enumerate(outcomes)) | mergers | openings
    ground = Ground.under(work, network.motion(), models)
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
    return faces, kinds_of(faces, on_face, told(network, faces), site.walls, site.rooms)


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
