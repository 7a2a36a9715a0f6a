"""Which sheets a set has: the whole site, tiles with an index, one for each building or trench.

Tiles are counted from the site's origin, so a tile keeps its number as long as paper, scale and
overlap stay, however the plan grows.
"""

from __future__ import annotations

import difflib
import unicodedata
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import geopandas as gpd
import numpy as np
import shapely

from wrackline.errors import Fault, InputError
from wrackline.publish.sheets.content import Content
from wrackline.publish.sheets.paper import Bounds, Layout, around, lay_out, map_frame

TILE_SCALE = 200
"""Scale of tiles where none is asked for."""
LONGEST_NAME = 100
"""Bytes of a file's name, at most: with folder and ending it fits every file system."""
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
    for file, number, shape in zip(file_names(there), there, table.geometry, strict=True):
        wanted = not settings.only or number in settings.only
        if wanted and shape is not None and not shape.is_empty:
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


def file_names(numbers: Sequence[str]) -> list[str]:
    """Return names as they can stand in files' names, no two alike, not even in another case.

    >>> file_names(["T 1/2", "T_1_2", "t 1/2", "B051-038"])
    ['T_1_2', 'T_1_2_2', 't_1_2_3', 'B051-038']
    """
    names: dict[str, str] = {}
    for number in numbers:
        whole = unicodedata.normalize("NFC", number)
        plain = "".join(one if one.isalnum() or one in "-_" else "_" for one in whole)
        short = plain.encode()[:LONGEST_NAME].decode(errors="ignore")
        name, count = short, 1
        while name.casefold() in names:
            count += 1
            name = f"{short}_{count}"
        names[name.casefold()] = name
    return list(names.values())


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
    tiles: dict[tuple[int, int], Layout] = {}
    for i, j in tiles_with_something(content, origin, step, size):
        middle = (origin + step * (i, j) + size / 2).tolist()
        tiles[i, j] = around((middle[0], middle[1]), settings.paper, scale, columns)
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


def tiles_with_something(
    content: Content, origin: np.ndarray, step: np.ndarray, size: np.ndarray
) -> list[tuple[int, int]]:
    """Return the tiles on which something lies, by column and row, rows from the south.

    Only tiles near something are looked at, so that a wide plan of small tiles costs no more than
    what is on it.

    Parameters
    ----------
    content : Content
    origin, step, size : array, shape (2,)
        Corner of the first tile, from tile to tile, and of a tile, to the east and north [m].
    """
    tables = [content.plan[name] for name in ("wall_lines", "rooms", "buildings", "features")]
    tables += [content.trenches] if content.trenches is not None else []
    shapes = np.concatenate([table.geometry.to_numpy() for table in tables])
    edges = shapely.bounds(shapes)
    edges = edges[np.isfinite(edges).all(axis=1)]
    if not len(edges):
        return []
    # those of the first column begin less than a step west of everything
    lowest = np.floor((edges[:, :2].min(axis=0) - 1.0 - origin) / step)
    first = np.maximum(np.floor((edges[:, :2] - size - origin) / step), lowest).astype(int)
    last = np.floor((edges[:, 2:] - origin) / step).astype(int)
    near = {
        (i, j)
        for (west, south), (east, north) in zip(first.tolist(), last.tolist(), strict=True)
        for i in range(west, east + 1)
        for j in range(south, north + 1)
    }
    places = sorted(near, key=lambda place: place[::-1])
    low = origin + step * np.array(places)
    frames = shapely.box(*low.T, *(low + size).T)
    shown = np.unique(shapely.STRtree(shapes).query(frames, predicate="intersects")[0])
    return [places[k] for k in shown.tolist()]


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
