"""Spot heights and contour heights on a sheet: which have room, and how their figures read."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import shapely

from wrackline.publish.cutting import less
from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.labels import Place, Placing
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.style import LEVELS
from wrackline.publish.sheets.things import INDEX_STEP_M, levels_of, multiples
from wrackline.quantities import places as supported

RANK_SPACING_M = {1: 20.0, 2: 10.0, 3: 5.0, 4: 2.5}
"""Spot heights of one kind and rank lie at least this far apart."""
APART_MM, OPEN_MM = 14.0, 30.0
"""Ranks are drawn as far as their points lie this far apart on paper; on open seabed, further."""
LABELLED_MM = 40.0
"""Index contours as long on the sheet have their height written on them."""
LEADER_MM = 2.2
"""Figures further from their mark than this, and those across a wall, have a leader to it, never a
level one: before a figure it would read as a minus."""

BESIDE_WALLS = ("floor", "seabed")
"""Of these a figure across a wall would be read as that of the other side."""


@dataclass(frozen=True)
class Levels:
    """How levels are printed on a sheet.

    Attributes
    ----------
    words : Language
    sea_level_m : float or None
        Depths count from this height; none: heights above the datum are printed.
    sea_level_sd_m : float
    """

    words: Language
    sea_level_m: float | None = None
    sea_level_sd_m: float = 0.0

    @staticmethod
    def of(content: Content) -> Levels:
        """Return the levels that a sheet prints."""
        if not content.shows_depths:
            return Levels(content.words)
        return Levels(content.words, content.sea_level_m, content.level.sd_m)

    def digits(self, height_sd_m: float | None) -> int:
        """Return the decimals, two at most, that a spot's sd supports as it is printed."""
        sd = float(np.hypot(height_sd_m or 0.0, self.sea_level_sd_m))
        return min(max(supported(sd) if 0 < sd < np.inf else 2, 0), 2)

    def text(self, height_m: float, digits: int) -> str:
        """Return a height as it stands on the sheet."""
        value = height_m if self.sea_level_m is None else self.sea_level_m - height_m
        return self.words.number(value, digits)


@dataclass(frozen=True)
class Spot:
    """A spot height that is drawn: what it is of, and where."""

    of: str
    x: float
    y: float


def place_spots(placing: Placing, content: Content, size_pt: float) -> list[Spot]:
    """Place spot heights, those of the first rank first, while there is room.

    Parameters
    ----------
    placing : Placing
    content : Content
        What touches the sheet.
    size_pt : float

    Returns
    -------
    list of Spot
        Marks to draw; their figures are among the labels.
    """
    if content.spots is None or not len(content.spots):
        return []
    metre, levels = placing.layout.metre_mm, Levels.of(content)
    apart_mm = content.spots["rank"].map(RANK_SPACING_M) * metre
    bare = (content.spots["of"] == "seabed") & (content.spots["thing"].fillna("") == "")
    known = np.isfinite(content.spots["height_m"].to_numpy(float))
    table = content.spots[known & (apart_mm >= np.where(bare, OPEN_MM, APART_MM))]
    spots = []
    for row in table.to_dict("records"):
        spot = Spot(row["of"], row["geometry"].x, row["geometry"].y)
        digits = levels.digits(row["height_sd_m"])
        if _place(placing, spot, levels.text(row["height_m"], digits), size_pt):
            spots.append(spot)
    return spots


def _place(placing: Placing, spot: Spot, text: str, size_pt: float) -> bool:
    """Place one figure beside its mark; neither may touch another text, nor the figure a line."""
    mark = _mark_ground(placing, spot)
    if not placing.is_whole(mark) or not placing.is_untaken(mark):
        return False
    boxes = {
        place: placing.box(text, place, size_pt, "spot")
        for place in _beside_mark(placing, spot, text, size_pt)
    }
    beside = [place for place, box in boxes.items() if not mark.intersects(box)]
    parted = {place for place in beside if _is_parted(placing, spot, boxes[place])}
    label = placing.put(text, sorted(beside, key=parted.__contains__), size_pt, "spot")
    if label is None:
        return False
    placing.take(mark)
    far = label.box.distance(mark) > placing.layout.ground_m(LEADER_MM)
    if far or (label.x, label.y, label.angle_deg) in parted:
        placing.labels[-1] = replace(label, of=(spot.x, spot.y))
    return True


def _is_parted(placing: Placing, spot: Spot, box: shapely.Polygon) -> bool:
    """Tell whether a wall lies between a figure and its mark, which is beside walls, not on one."""
    if spot.of not in BESIDE_WALLS:
        return False
    way = shapely.shortest_line(box, shapely.Point(spot.x, spot.y))
    return placing.is_crossed(way)


def _mark_ground(placing: Placing, spot: Spot) -> shapely.Polygon:
    size = placing.layout.ground_m(LEVELS[spot.of].size_mm)
    return shapely.box(spot.x - 0.62 * size, spot.y, spot.x + 0.62 * size, spot.y + size)


def _beside_mark(placing: Placing, spot: Spot, text: str, size_pt: float) -> Iterator[Place]:
    """Yield places around a mark, beside it first."""
    wide, tall = (placing.layout.ground_m(v) for v in placing.size_mm(text, size_pt, "spot"))
    size = placing.layout.ground_m(LEVELS[spot.of].size_mm)
    for away_mm in (0.5, 1.5, 3.0, 4.5):
        away = placing.layout.ground_m(away_mm)
        for side, lift in (
            (1, 0.5),
            (-1, 0.5),
            (1, 1.5),
            (-1, 1.5),
            (0, 2),
            (1, -1),
            (-1, -1),
            (0, -1),
        ):
            if lift == 0.5 and away_mm > LEADER_MM:
                continue
            up = size + away if lift > 1 else -away if lift < 0 else size / 2
            up += np.sign(up - size / 2) * tall / 2
            yield spot.x + side * (0.62 * size + away + wide / 2), spot.y + float(up), 0.0


def place_contours(placing: Placing, content: Content, size_pt: float) -> None:
    """Place an index contour's height on it, where the contour is long enough and lies free.

    Parameters
    ----------
    placing : Placing
    content : Content
        What touches the sheet.
    size_pt : float
    """
    if content.contours is None or not len(content.contours):
        return
    levels = Levels.of(content)
    fills = [content.plan[name].geometry.to_numpy() for name in ("buildings", "rooms")]
    built = np.concatenate(fills)
    frame = shapely.box(*placing.layout.ground)
    open_ground = shapely.difference(frame, shapely.union_all(built))
    shapely.prepare(open_ground)
    least = placing.layout.ground_m(LABELLED_MM)
    for row in _index_contours(content, least):
        inside = shapely.get_parts(less(np.array([row["geometry"]], dtype=object), built))
        lines = [one for one in inside if one.geom_type == "LineString" and one.length > least]
        if lines:
            text = levels.text(float(row["height_m"]), 0)
            places = [*_straightest(row), *_along(max(lines, key=lambda one: one.length))]
            placing.put(text, places, size_pt, "contour", open_ground)


def _index_contours(content: Content, least: float) -> Sequence[Mapping[str, Any]]:
    contours = content.contours
    if contours is None:
        return []
    index = contours[multiples(levels_of(content, contours), INDEX_STEP_M)]
    index = index.assign(long_m=index.length)
    index = index[index["long_m"] > least].sort_values("long_m", ascending=False, kind="stable")
    rows: Sequence[Mapping[str, Any]] = index.to_dict("records")
    return rows


def _straightest(row: Mapping[str, Any]) -> list[Place]:
    """Return where the layer says that a contour's height can stand, if anywhere."""
    place = row["label_easting_m"], row["label_northing_m"], -row["label_turn_deg"]
    return [place] if np.isfinite(np.array(place, dtype=float)).all() else []


def _along(line: shapely.LineString) -> list[Place]:
    """Return places along a line, each turned as the line runs there."""
    places = []
    for share in (0.12, 0.3, 0.5, 0.7, 0.88):
        ends = shapely.line_interpolate_point(line, [share - 0.01, share + 0.01], normalized=True)
        (x0, y0), (x1, y1) = shapely.get_coordinates(ends)
        turn = (float(np.degrees(np.arctan2(y1 - y0, x1 - x0))) + 90) % 180 - 90
        places.append(((x0 + x1) / 2, (y0 + y1) / 2, turn))
    return places
