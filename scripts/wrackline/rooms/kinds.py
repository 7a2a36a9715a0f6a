"""Telling faces apart: wall body, room, court, lane, or too small to say.

Plain rules, all suggestions: a strip between wall faces no wider than a wall may be is a wall's
body; a very large enclosed space is a court; a long narrow one a lane; the rest are rooms.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt
import shapely

from wrackline.model import RoomSettings, WallSettings
from wrackline.rooms.faces import Faces, elongations, widths

BODY, ROOM, COURT, LANE, UNKNOWN, SLIVER = "body", "room", "court", "lane", "unknown", "sliver"
OPEN = "open"
"""Kind of a space that the team calls open ground."""

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
    walls: WallSettings,
    rooms: RoomSettings,
) -> npt.NDArray[np.str_]:
    """Return the kind of each face.

    Parameters
    ----------
    faces : Faces
    on_face : array of bool, shape (k,)
        Whether each edge follows a wall's face (or edge) rather than its centre.
    walls, rooms : WallSettings, RoomSettings
        Greatest thickness of a wall; sizes of rooms, courts and lanes.

    Returns
    -------
    array of str, shape (f,)
        ``body``, ``room``, ``court``, ``lane``, ``unknown`` (enclosed, too small for a room) or
        ``sliver`` (between two tracings of one line).
    """
    area = shapely.area(faces.polygons)
    width = widths(faces.polygons)
    long = elongations(faces.polygons) if len(faces.polygons) else np.zeros(0)
    bounded = np.asarray(abs(faces.sides) @ np.ones(len(on_face))).ravel()
    by_faces = np.asarray(abs(faces.sides) @ on_face.astype(float)).ravel() >= 0.5 * bounded
    narrow = width <= rooms.lane_max_width_m
    alone = np.asarray(faces.neighbours().sum(axis=1)).ravel() == 0
    return np.select(
        [
            (width < SLIVER_M) | (area < SLIVER_M2),
            by_faces & _is_body(faces.polygons, width, walls.wall_max_thickness_m),
            (area < rooms.room_min_area_m2) | (alone & (area < ALONE_M2)),
            narrow & (long >= rooms.lane_min_elongation),
            area > rooms.room_max_area_m2,
        ],
        [SLIVER, BODY, UNKNOWN, LANE, COURT],
        default=ROOM,
    ).astype("<U7")
