"""Which sheets a set has: the whole site, tiles with an index, one for each building or trench.

Tiles are counted from the site's origin, so a tile keeps its number as long as paper, scale and
overlap stay, however the plan grows.
"""

from __future__ import annotations

import difflib
import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely

from wrackline.errors import Fault, InputError
from wrackline.publish.sheet_content import Content
from wrackline.publish.sheet_paper import Bounds, Layout, around, lay_out, map_frame

TILE_SCALE = 200
"""Scale of tiles where none is asked for."""
OVERLAP_M = 5.0
"""Ground that tiles share where no other overlap is asked for."""
AIR_MM = 12.0
"""Ground around a building or trench on its sheet, as paper."""


@dataclass(frozen=True)
class Sheet:
    """One sheet of a set.

    Attributes
    ----------
    number : str
        Its name in the set, also that of its file.
    shows : str
        ``site``, ``index``, ``tile``, ``building`` or ``trench``.
    layout : Layout
    subject : str
        Number of the building, name of the trench.
    beside : dict
        Numbers of the tiles to the ``north``, ``east``, ``south``, ``west``.
    tiles : tuple of (number, Bounds)
        For an index: the tiles that it shows.
    """

    number: str
    shows: str
    layout: Layout
    subject: str = ""
    beside: dict[str, str] = field(default_factory=dict)
    tiles: tuple[tuple[str, Bounds], ...] = ()


def sheets_of(content: Content, name: str, columns: int = 1) -> list[Sheet]:
    """Return the sheets of a set, an index first; the whole site where there is nothing to show.

    Parameters
    ----------
    content : Content
    name : str
        Of the set.
    columns : int
        Columns of text beside the map.

    Raises
    ------
    InputError
        Where the config names buildings or trenches that aren't there, or tiles share too much.
    """
    settings = content.settings
    if settings.shows == "tiles":
        return _tiles(content, name, columns)
    each: list[Sheet] = []
    if settings.shows == "buildings":
        each = list(_each(content, content.plan["buildings"], "building", name, columns))
    if settings.shows == "trenches":
        each = list(_each(content, content.trenches, "trench", name, columns))
    if each:
        return each
    layout = lay_out(content.bounds, settings.paper, settings.scale, columns)
    return [Sheet(name, "site", layout)]


def _each(
    content: Content, table: gpd.GeoDataFrame | None, what: str, name: str, columns: int
) -> Iterator[Sheet]:
    """Yield one sheet for each building or trench."""
    settings = content.settings
    there = [] if table is None else table[what].tolist()
    unknown = [one for one in settings.only if one not in there]
    if unknown:
        raise InputError([_unknown(one, there, what, name) for one in unknown])
    if table is None:
        return
    air = AIR_MM * (settings.scale or 100) / 1000.0
    for number, shape, file in zip(there, table.geometry, _file_names(there), strict=True):
        if not settings.only or number in settings.only:
            bounds = np.array(shape.bounds) + air * np.array([-1, -1, 1, 1])
            layout = lay_out(bounds.tolist(), settings.paper, settings.scale, columns)
            yield Sheet(file, what, layout, subject=number)


def _unknown(one: str, there: Sequence[str], what: str, name: str) -> Fault:
    near = difflib.get_close_matches(one, there, 1, 0.0)
    return Fault(
        kind="no_such_sheet",
        found=f"sheets.{name}.only names the {what} '{one}', which the plan doesn't have",
        allowed=f"one of its {len(there)} numbers" + (f", e.g. '{near[0]}'" if near else ""),
        consequence="that sheet can't be drawn",
        remedy="write the number as it stands in the tables, or leave it out",
        file="config/site.yaml",
    )


def _wide_overlap(name: str, overlap_m: float, size_m: np.ndarray) -> Fault:
    return Fault(
        kind="wide_overlap",
        found=f"sheets.{name}.overlap_m: {overlap_m:g}",
        allowed=f"up to {np.floor(size_m.min() * 5) / 10:g} m, half of a tile of "
        f"{size_m[0]:.1f} m by {size_m[1]:.1f} m",
        consequence="a place would lie on three tiles and more",
        remedy="ask for less overlap, larger paper or a smaller scale",
        file="config/site.yaml",
    )


def _file_names(numbers: Sequence[str]) -> list[str]:
    """Return numbers as they can stand in files' names, no two alike, be it but for capitals."""
    taken: set[str] = set()
    names = []
    for number in numbers:
        plain = "".join(sign if sign.isalnum() or sign in "-_" else "_" for sign in number)
        tries = (plain if k == 1 else f"{plain}-{k}" for k in itertools.count(1))
        name = next(name for name in tries if name.casefold() not in taken)
        taken.add(name.casefold())
        names.append(name)
    return names


def _tiles(content: Content, name: str, columns: int) -> list[Sheet]:
    """Return an index, and the tiles on which something of the plan lies."""
    settings = content.settings
    scale = settings.scale or TILE_SCALE
    frame = map_frame(settings.paper, columns)
    size = np.array(frame[2:]) * scale / 1000.0
    if settings.overlap_m is not None and settings.overlap_m > size.min() / 2:
        raise InputError([_wide_overlap(name, settings.overlap_m, size)])
    shared = OVERLAP_M if settings.overlap_m is None else settings.overlap_m
    step = size - np.minimum(shared, size / 2)
    origin = np.array(content.site.origin)
    first = np.floor((np.array(content.bounds[:2]) - origin) / step).astype(int)
    last = np.floor((np.array(content.bounds[2:]) - origin) / step).astype(int)
    tiles: dict[tuple[int, int], Layout] = {}
    for j in range(first[1], last[1] + 1):
        for i in range(first[0], last[0] + 1):
            corner = origin + step * (i, j)
            middle = (corner + size / 2).tolist()
            layout = around((middle[0], middle[1]), settings.paper, scale, columns)
            if _shows_something(content, layout.ground):
                tiles[i, j] = layout
    index = lay_out(_whole(list(tiles.values()), content), settings.paper, None, columns)
    numbered = tuple((tile_number(*place), tiles[place].ground) for place in tiles)
    sheets = [Sheet("index", "index", index, tiles=numbered)]
    for place, layout in tiles.items():
        beside = _beside(place, tiles)
        sheets.append(Sheet(tile_number(*place), "tile", layout, beside=beside))
    return sheets


def tile_number(east: int, north: int) -> str:
    """Return a tile's number: letters to the east, figures to the north, from the origin.

    >>> tile_number(0, 0), tile_number(2, 3), tile_number(27, 0), tile_number(-1, -2)
    ('A1', 'C4', 'AB1', 'wA-1')
    """
    letters, rest = "", east if east >= 0 else -east - 1
    while True:
        letters = chr(ord("A") + rest % 26) + letters
        rest = rest // 26 - 1
        if rest < 0:
            break
    return f"{'' if east >= 0 else 'w'}{letters}{north + 1}"


def _shows_something(content: Content, ground: Bounds) -> bool:
    """Tell whether walls, buildings, features or trenches lie on some ground."""
    frame = shapely.box(*ground)
    tables = [content.plan[name] for name in ("wall_lines", "buildings", "features")]
    tables += [content.trenches] if content.trenches is not None else []
    return any(len(t) and len(t.sindex.query(frame, predicate="intersects")) for t in tables)


def _whole(tiles: Sequence[Layout], content: Content) -> Bounds:
    """Return the bounds of all tiles, or of the plan where there are none."""
    if not tiles:
        return content.bounds
    grounds = np.array([tile.ground for tile in tiles])
    west, south = grounds[:, :2].min(axis=0).tolist()
    east, north = grounds[:, 2:].max(axis=0).tolist()
    return west, south, east, north


def _beside(place: tuple[int, int], tiles: dict[tuple[int, int], Layout]) -> dict[str, str]:
    """Return the numbers of the tiles beside one."""
    sides = {"north": (0, 1), "east": (1, 0), "south": (0, -1), "west": (-1, 0)}
    found = {side: (place[0] + i, place[1] + j) for side, (i, j) in sides.items()}
    return {side: tile_number(*other) for side, other in found.items() if other in tiles}
