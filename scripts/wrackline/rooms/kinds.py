"""Telling faces apart: wall body, room, court, lane, or too small to say.

Plain rules, all suggestions: what lies on the wall's side of traced faces is a wall's body and,
where no face has a side, a strip between faces no wider than a wall may be; a very large enclosed
space is a court; a long narrow one a lane; the rest are rooms.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import RoomSettings, WallSettings
from wrackline.rooms.faces import Faces, elongations
from wrackline.walls import solid
from wrackline.walls.network import Network
from wrackline.walls.planar import widths

BODY, ROOM, COURT, LANE, UNKNOWN, SLIVER = "body", "room", "court", "lane", "unknown", "sliver"
OPEN = "open"
"""Kind of a space that the team calls open ground."""

WIDTH_TOLERANCE_M = 0.01

SLIVER_M = 0.08
"""Narrower strips lie between two tracings of one line, not between two faces (no source)."""

ALONE_M2 = 4.0
"""A smaller space that shares no wall with another is a cist, a basin or a hearth (no source)."""

SLIVER_M2 = 0.25
"""Smaller spaces are the corners that lines cut off where they cross, no spaces (no source)."""

JUNCTION = 2.0
"""A junction is no wider than this many walls; at right angles the root of two (no source)."""

HARDLY = 0.5
"""Share of a wall's body that lies in its junctions, where it is wider than a wall (no source)."""

NARROWEST_M = 0.75
"""Nobody lives in a space that is narrower: between two houses, or a channel (no source)."""


def told(network: Network, faces: Faces) -> npt.NDArray[np.int64]:
    """Return what traced faces tell of each space: `solid.OPEN`, `solid.WALL` or `solid.UNKNOWN`.

    Parameters
    ----------
    network : Network
    faces : Faces
        Its faces; of what lies beside the edges around each, the most by length counts.
    """
    sides = faces.sides.tocoo()
    phase = np.argmax(faces.standing, axis=1) if len(faces.polygons) else np.zeros(0, dtype=int)
    side = np.where(sides.data > 0, 0, 1)
    lies = network.lies[sides.col, phase[sides.row], side]
    length = np.zeros((3, len(faces.polygons)))
    np.add.at(length, (lies, sides.row), network.length[sides.col])
    known = length[solid.OPEN] + length[solid.WALL] > 0
    likelier = np.where(length[solid.WALL] > length[solid.OPEN], solid.WALL, solid.OPEN)
    return np.where(known, likelier, solid.UNKNOWN)


def _is_body(
    polygons: npt.NDArray[np.object_], width: npt.NDArray[np.float64], thickest_m: float
) -> npt.NDArray[np.bool_]:
    """Tell which spaces are no wider than a wall, for the most part where walls meet.

    The largest circle in a junction of two walls at right angles is the wall's thickness times the
    root of two. So a space counts that a disc as wide as the thickest wall can't enter, or that it
    can enter in less than half of its area (the opening of mathematical morphology).
    """
    body = width <= thickest_m
    unsure = np.flatnonzero(~body & (width <= JUNCTION * thickest_m))
    if len(unsure):
        core = shapely.buffer(polygons[unsure], -thickest_m / 2)
        wide = shapely.area(shapely.buffer(core, thickest_m / 2))
        body[unsure] = wide < HARDLY * shapely.area(polygons[unsure])
    return np.asarray(body)


def kinds_of(
    faces: Faces,
    on_face: npt.NDArray[np.bool_],
    told_of: npt.NDArray[np.int64],
    walls: WallSettings,
    rooms: RoomSettings,
) -> npt.NDArray[np.str_]:
    """Return the kind of each face.

    Parameters
    ----------
    faces : Faces
    on_face : array of bool, shape (k,)
        Whether each edge follows a wall's face (or edge) rather than its centre.
    told_of : array of int, shape (f,)
        What traced faces tell of each face, see `told`; where they tell nothing, its width does.
    walls, rooms : WallSettings, RoomSettings
        Greatest thickness of a wall; sizes of rooms, courts and lanes.

    Returns
    -------
    array of str, shape (f,)
        ``body``, ``room``, ``court``, ``lane``, ``unknown`` (enclosed, too small for a room) or
        ``sliver`` (between two tracings of one line).
    """
    area = shapely.area(faces.polygons)
    width = widths(faces.polygons, WIDTH_TOLERANCE_M)
    long = elongations(faces.polygons) if len(faces.polygons) else np.zeros(0)
    bounded = np.asarray(abs(faces.sides) @ np.ones(len(on_face))).ravel()
    by_faces = np.asarray(abs(faces.sides) @ on_face.astype(float)).ravel() >= 0.5 * bounded
    by_width = (told_of == solid.UNKNOWN) & by_faces
    by_width[by_width] = _is_body(
        faces.polygons[by_width], width[by_width], walls.wall_max_thickness_m
    )
    slit = (told_of == solid.OPEN) & (width < NARROWEST_M)
    narrow = width <= rooms.lane_max_width_m
    alone = np.asarray(faces.neighbours().sum(axis=1)).ravel() == 0
    return np.select(
        [
            (width < SLIVER_M) | (area < SLIVER_M2),
            (told_of == solid.WALL) | by_width,
            slit | (area < rooms.room_min_area_m2) | (alone & (area < ALONE_M2)),
            narrow & (long >= rooms.lane_min_elongation),
            area > rooms.room_max_area_m2,
        ],
        [SLIVER, BODY, UNKNOWN, LANE, COURT],
        default=ROOM,
    ).astype("<U7")
