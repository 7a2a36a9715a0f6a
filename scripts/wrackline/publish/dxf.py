"""The plan as DXF for draughtsmen: layers in plain words, metres declared, heights where known.

Written as DXF R2000, which nearly all programs read. Only lines with a height at every vertex are
drawn in space; the layers of all others say ``without heights`` where that could be mistaken, and
lie at 0. The file opens with comments (group 999) that say what the notes beside the plan say.
"""

from __future__ import annotations

import io
import re
import textwrap
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import ezdxf
import geopandas as gpd
import numpy as np
import shapely
from ezdxf import units
from ezdxf.document import Drawing
from ezdxf.enums import TextEntityAlignment

from wrackline.publish.phases import as_last_stood
from wrackline.quantities import fixed

ENCODING = "cp1252"
DECIMALS = 4
"""Coordinates are written to a tenth of a millimetre."""

LINETYPES = {
    "dashed": ("closings that nobody recorded", [0.5, 0.3, -0.2]),
    "dotted": ("from old plans, possible, or natural", [0.2, 0.05, -0.15]),
}
"""Lines and gaps in metres: the whole, then each in turn."""

WHITE, GREY, PALE, RED, BLUE = 7, 8, 9, 1, 140
"""Numbers of colours in the index that all programs share; 7 is black on white paper."""


@dataclass(frozen=True)
class Pen:
    """How a layer is drawn: colour by its index, line, width [0.01 mm]."""

    colour: int = WHITE
    linetype: str = "CONTINUOUS"
    width: int = 13


WALLS = {
    "recorded": Pen(width=25),
    "inferred": Pen(RED, "dashed", 18),
    "old plan": Pen(BLUE, "dotted", 18),
}
ROOMS = {
    "room": "rooms",
    "court": "courts",
    "lane": "lanes",
    "unknown": "small enclosed spaces",
}
OPENINGS = {"seen": Pen(width=18), "possible": Pen(linetype="dotted", width=18)}
ROOM_TEXT_M, BUILDING_TEXT_M, CONTOUR_TEXT_M, SPOT_TEXT_M = 0.35, 0.8, 0.4, 0.25
"""Heights of letters in metres on the ground: 0.35 m are 1.75 mm at 1:200."""
NOTE_M, NOTE_LETTERS = 1.0, 90

HEIGHTS = (
    "Metres in the grid. Heights are metres above the datum and stand only in walls recorded, "
    "contours, waterlines, spot heights, and features with heights. All else lies at 0, which says "
    "nothing of its height."
)


@dataclass
class Draft:
    """A drawing under way.

    Attributes
    ----------
    document : Drawing
    names : dict
        Layers so far, by their names without regard to case, as the format has it.
    """

    document: Drawing
    names: dict[str, str] = field(default_factory=dict)

    def layer(self, name: str, pen: Pen) -> dict[str, str]:
        """Return what puts an entity on a layer, which is made when it is new."""
        shown = layer_name(name)
        if shown.casefold() not in self.names:
            self.names[shown.casefold()] = shown
            self.document.layers.add(
                shown, color=pen.colour, linetype=pen.linetype, lineweight=pen.width
            )
        return {"layer": self.names[shown.casefold()]}

    def shapes(self, name: str, shapes: Iterable[shapely.Geometry], pen: Pen) -> None:
        """Draw points, lines and outlines: in space where each vertex has a height."""
        for part in shapely.get_parts(np.asarray(list(shapes), dtype=object)):
            rings = [part.exterior, *part.interiors] if part.geom_type == "Polygon" else [part]
            for ring in rings:
                self._path(name, ring, pen, part.geom_type)

    def _path(self, name: str, path: shapely.Geometry, pen: Pen, kind: str) -> None:
        places = shapely.get_coordinates(path, include_z=True).round(DECIMALS)
        known = bool(np.isfinite(places[:, 2]).all())
        at = self.layer(name if known else flat(name), pen)
        closed = kind == "Polygon"
        places = places[: len(places) - closed]
        space = self.document.modelspace()
        if kind == "Point":
            space.add_point(places[0] if known else places[0, :2], dxfattribs=at)
        elif known:
            space.add_polyline3d(places, close=closed, dxfattribs=at)
        else:
            space.add_lwpolyline(places[:, :2], format="xy", close=closed, dxfattribs=at)

    def level(self, name: str, lines: gpd.GeoDataFrame, pen: Pen) -> None:
        """Draw lines of one height each, at it."""
        for line, height in zip(lines.geometry, lines["height_m"], strict=True):
            at = {**self.layer(name, pen), "elevation": round(float(height), DECIMALS)}
            places = shapely.get_coordinates(line).round(DECIMALS)
            self.document.modelspace().add_lwpolyline(places, format="xy", dxfattribs=at)

    def fill(self, name: str, areas: Iterable[shapely.Geometry], pen: Pen) -> None:
        """Fill areas, their holes left out."""
        for part in shapely.get_parts(np.asarray(list(areas), dtype=object)):
            hatch = self.document.modelspace().add_hatch(pen.colour, self.layer(name, pen))
            for k, ring in enumerate([part.exterior, *part.interiors]):
                places = shapely.get_coordinates(ring)[:-1].round(DECIMALS)
                hatch.paths.add_polyline_path(places, is_closed=True, flags=1 if k == 0 else 16)

    def text(self, name: str, text: str, place: Sequence[float], size_m: float, **how: Any) -> None:
        """Write one line of text, its middle at the place unless told otherwise."""
        align = how.pop("align", TextEntityAlignment.MIDDLE_CENTER)
        written = self.document.modelspace().add_text(
            plain(text), height=size_m, dxfattribs=self.layer(name, Pen()) | how
        )
        written.set_placement([round(float(x), DECIMALS) for x in place], align=align)


def flat(name: str) -> str:
    """Return the name of a layer for what has no heights, where others on it may have some."""
    told = name.startswith(("walls", "features", "spot heights"))
    return f"{name} without heights" if told else name


def plain(text: object) -> str:
    r"""Return a text in one line without signs that don't show or that the format can't hold.

    >>> plain("a\n b\x07%%c")
    'a b % %c'
    """
    shown = "".join(c if c.isprintable() and ord(c) < 0x10000 else " " for c in str(text))
    return " ".join(shown.replace("%%", "% %").replace("^", " ").split())


def layer_name(name: str) -> str:
    """Return a name that a layer may have.

    >>> layer_name('features 4" pipe; a=b')
    'features 4 pipe a b'
    """
    kept = re.sub(r"[<>/\\\\\":;?*|,=`]", " ", plain(name))
    return " ".join(kept.split())[:80].strip() or "of no name"


def draw_dxf(
    plan: Mapping[str, gpd.GeoDataFrame], phases: Sequence[str], about: Mapping[str, str]
) -> Drawing:
    """Return the plan as a drawing.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        Layers of the contract; those that are missing or empty are left out.
    phases : sequence of str
        Names of the phases, the earliest first.
    about : mapping of str to str
        Statement that goes with the plan.
    """
    draft = Draft(_blank())
    _draw_ground(draft, plan)
    last = as_last_stood(plan, phases)
    _draw_plan(draft, last)
    for layer, prefix in (("wall_lines", "walls inferred"), ("rooms", "rooms")):
        earlier = plan[layer].drop(last[layer].index)
        draft.shapes(f"{prefix} of earlier phases", earlier.geometry, Pen(GREY, "dotted"))
    _draw_features(draft, plan["features"])
    bounds = _bounds(plan)
    _write_notes(draft, about, bounds)
    _frame(draft.document, bounds)
    return draft.document


def write_dxf(document: Drawing, about: Mapping[str, str], path: Path | str) -> None:
    """Write a drawing, what goes with it as comments on top.

    Parameters
    ----------
    document : Drawing
    about : mapping of str to str
        Statement that goes with the plan.
    path : Path or str
    """
    text = io.StringIO()
    document.write(text)
    comments = "".join(f"999\n{line}\n" for line in _notes(about))
    content = re.sub(r"[^\x00-\x7f]", _coded, comments + text.getvalue())
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    Path(path).write_bytes(content.encode(ENCODING))


def _coded(found: re.Match[str]) -> str:
    """Return a sign as the format has it: by its code where the file's alphabet lacks it."""
    sign = found.group()
    known = sign.encode(ENCODING, errors="ignore")
    return sign if known else f"\\U+{ord(sign):04X}"


def _blank() -> Drawing:
    """Return a drawing in metres, with dates and identifiers that are always the same."""
    ezdxf.options.write_fixed_meta_data_for_testing = True
    document = ezdxf.new("R2000", units=units.M)
    for name, (words, pattern) in LINETYPES.items():
        document.linetypes.add(name, pattern, description=words)
    document.header["$PDMODE"] = 34  # points are drawn as a circle with a cross
    document.header["$PDSIZE"] = 0.3
    return document


def _draw_ground(draft: Draft, plan: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Draw contours, waterlines, trenches and spot heights."""
    contours = plan["contours"]
    for index, name in ((False, "contours"), (True, "contours index")):
        mine = contours[contours["index"].to_numpy(bool) == index]
        draft.level(name, mine, Pen(GREY, width=18 if index else 9))
    placed = contours[contours["label_easting_m"].notna()]
    for row in placed.to_dict("records"):
        place = (row["label_easting_m"], row["label_northing_m"])
        turn = {"rotation": -float(row["label_turn_deg"]) % 360}
        draft.text("contour heights", fixed(row["height_m"], 1), place, CONTOUR_TEXT_M, **turn)
    for name, mine in plan["waterlines"].groupby("sea_level", sort=True):
        draft.level(f"waterline {name}", mine, Pen(BLUE, width=25))
    if "trenches" in plan:
        draft.shapes("trenches", plan["trenches"].geometry, Pen(RED, width=25))
    if "spot_heights" in plan:
        _draw_spots(draft, plan["spot_heights"])


def _draw_spots(draft: Draft, spots: gpd.GeoDataFrame) -> None:
    for of, mine in spots.groupby("of", sort=True):
        draft.shapes(f"spot heights {of}", mine.geometry, Pen())
        for point, height in zip(mine.geometry, mine["height_m"], strict=True):
            place = (point.x + 0.2, point.y)
            left = TextEntityAlignment.MIDDLE_LEFT
            words = fixed(float(height), 2)
            draft.text(f"spot heights {of} figures", words, place, SPOT_TEXT_M, align=left)


def _draw_plan(draft: Draft, plan: Mapping[str, gpd.GeoDataFrame]) -> None:
    """Draw bodies, rooms, buildings, walls, doorways, and the numbers of rooms and buildings."""
    draft.fill("wall bodies fill", plan["wall_bodies"].geometry, Pen(PALE))
    draft.shapes("wall bodies", plan["wall_bodies"].geometry, Pen(GREY, width=9))
    draft.shapes("buildings", plan["buildings"].geometry, Pen(GREY, width=9))
    for kind, name in ROOMS.items():
        mine = plan["rooms"][plan["rooms"]["kind"] == kind]
        draft.shapes(name, mine.geometry, Pen(GREY, width=9))
    for evidence, pen in WALLS.items():
        mine = plan["wall_lines"][plan["wall_lines"]["evidence"] == evidence]
        draft.shapes(f"walls {evidence}", mine.geometry, pen)
    for evidence, pen in OPENINGS.items():
        mine = plan["openings"][plan["openings"]["evidence"] == evidence]
        draft.shapes(f"doorways {evidence}", mine.geometry, pen)
    for number, shape in zip(plan["rooms"]["room"], plan["rooms"].geometry, strict=True):
        spot = shape.representative_point()
        draft.text("room numbers", number, (spot.x, spot.y), ROOM_TEXT_M)
    buildings = plan["buildings"]
    for number, shape in zip(buildings["building"], buildings.geometry, strict=True):
        west, _, east, north = shape.bounds
        place = ((west + east) / 2, north + BUILDING_TEXT_M)
        draft.text("building numbers", number, place, BUILDING_TEXT_M)


def _draw_features(draft: Draft, features: gpd.GeoDataFrame) -> None:
    """Draw features, each kind on a layer of its own; what is a point has its kind beside it."""
    kinds = features["kind"].fillna("").replace("", "of no kind")
    for kind, mine in features.groupby(kinds, sort=True):
        draft.shapes(f"features {kind}", mine.geometry, Pen())
        points = mine[mine.geom_type == "Point"]
        for point in points.geometry:
            place, left = (point.x + 0.25, point.y), TextEntityAlignment.MIDDLE_LEFT
            draft.text("feature names", str(kind), place, SPOT_TEXT_M, align=left)


def _bounds(plan: Mapping[str, gpd.GeoDataFrame]) -> tuple[float, float, float, float]:
    """Return the edges of all that is drawn; of nothing, a metre of nowhere."""
    shapes = [table.geometry.to_numpy() for table in plan.values() if len(table)]
    if not shapes:
        return (0.0, 0.0, 1.0, 1.0)
    west, south, east, north = shapely.total_bounds(np.concatenate(shapes)).tolist()
    return west, south, east, north


def _notes(about: Mapping[str, str]) -> list[str]:
    """Return what must be known with the plan, in lines."""
    said = [f"{topic.replace('_', ' ')}: {text}" for topic, text in about.items()]
    return [line for text in (*said, HEIGHTS) for line in textwrap.wrap(plain(text), NOTE_LETTERS)]


def _write_notes(
    draft: Draft, about: Mapping[str, str], bounds: tuple[float, float, float, float]
) -> None:
    """Write the notes below the plan's south-western corner."""
    for k, line in enumerate(_notes(about)):
        place = (bounds[0], bounds[1] - NOTE_M * (3 + 1.6 * k))
        draft.text("notes", line, place, NOTE_M, align=TextEntityAlignment.LEFT)


def _frame(document: Drawing, bounds: tuple[float, float, float, float]) -> None:
    """Say how far the plan reaches, and have it shown whole when the file is opened."""
    west, south, east, north = bounds
    document.modelspace().reset_extents((west, south, 0.0), (east, north, 0.0))
    height = max(north - south, (east - west) / 1.6) * 1.1
    document.set_modelspace_vport(height, ((west + east) / 2, (south + north) / 2))
