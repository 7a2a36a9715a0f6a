"""What plan sheets are drawn from: the layers of the record, and the part of them on one sheet."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.crs import grid_factors
from wrackline.model import SeaLevel, SheetSet, Site
from wrackline.publish.sheets.backdrop import Backdrop
from wrackline.publish.sheets.fonts import family
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.norths import Norths, norths_at
from wrackline.publish.sheets.paper import Bounds
from wrackline.publish.sheets.place import words_without_place
from wrackline.publish.shrinking import Small
from wrackline.seabed.contours import contours

FIRST_DAY = dt.date(2000, 1, 1)
"""Stands for the day where no survey tells one."""


@dataclass(frozen=True)
class Content:
    """What sheets are drawn from.

    Attributes
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan, as it last stood.
    surveys : DataFrame
        Each survey's name (``survey``) and `wrackline.model.SHEET_TRAITS`.
    site : Site
        Names, levels, phases and title block.
    season : str
        The last season.
    contours, waterlines, spots, trenches, marks : GeoDataFrame or None
        Layers `contours`, `waterlines`, `spot_heights` and `trenches`; control marks with the
        field `mark`.
    relief : Small or None
        The seabed's ``local_relief``, drawn lightly under all else.
    picture : function or None
        Returns the part of a survey's picture that lies in some bounds, to so many pixels a side
        at most; drawn under all else.
    phases : sequence of str
        Names of the phases in which walls were joined.
    settings : SheetSet
    words : Language
    norths : Norths or None
        At the middle of the plan, magnetic north for divers alone; none where the place is left
        out.
    """

    plan: Mapping[str, gpd.GeoDataFrame]
    surveys: pd.DataFrame
    site: Site
    season: str
    contours: gpd.GeoDataFrame | None = None
    waterlines: gpd.GeoDataFrame | None = None
    spots: gpd.GeoDataFrame | None = None
    trenches: gpd.GeoDataFrame | None = None
    marks: gpd.GeoDataFrame | None = None
    relief: Small | None = None
    picture: Callable[[Bounds, int], Backdrop | None] | None = None
    phases: Sequence[str] = ()
    settings: SheetSet = field(default_factory=SheetSet)
    words: Language = field(default_factory=Language.english)
    norths: Norths | None = None

    @property
    def bounds(self) -> Bounds:
        """Edges of plan and trenches, with a metre of air [m]."""
        tables = [*self.plan.values(), *([] if self.trenches is None else [self.trenches])]
        shapes = [table.geometry.to_numpy() for table in tables if len(table)]
        edges = shapely.total_bounds(np.concatenate(shapes)) if shapes else np.full(4, np.nan)
        if np.isnan(edges).any():
            return (0.0, 0.0, 10.0, 10.0)
        west, south, east, north = edges.tolist()
        return (west - 1.0, south - 1.0, east + 1.0, north + 1.0)

    @property
    def font(self) -> str:
        """Family of the letters."""
        return family(self.words)

    @property
    def last_day(self) -> dt.date:
        """The last day of any survey: the day that compass bearings are given for."""
        days = self.surveys["to_date"].dropna().astype(str)
        return dt.date.fromisoformat(days.max()) if len(days) else FIRST_DAY

    @property
    def hides_place(self) -> bool:
        """Whether nothing on the sheet may tell where the site lies."""
        return self.settings.place == "left_out"

    @property
    def for_diver(self) -> bool:
        """Whether the sheet is read under water."""
        return self.settings.reader == "diver"

    @property
    def shows_depths(self) -> bool:
        """Whether levels are printed as depths below a sea level."""
        return (self.settings.vertical or ("depths" if self.for_diver else "heights")) == "depths"

    @property
    def level(self) -> SeaLevel:
        """The sea level that the sheet's depths count from."""
        wanted = self.settings.depths_below or self.site.depths_below
        return next(level for level in self.site.sea_levels if level.name == wanted)

    @property
    def sea_level_m(self) -> float:
        """Height of that level above the datum [m]."""
        return self.level.height_m

    def near(self, ground: Bounds) -> Content:
        """Return what touches a frame; contours and waterlines are cut at it."""
        frame = shapely.box(*ground)
        return replace(
            self,
            plan={name: _near(table, frame) for name, table in self.plan.items()},
            contours=_cut(self.contours, ground),
            waterlines=_cut(self.waterlines, ground),
            spots=_touching(self.spots, frame),
            trenches=_touching(self.trenches, frame),
            marks=_touching(self.marks, frame),
        )


def _near(table: gpd.GeoDataFrame, frame: shapely.Polygon) -> gpd.GeoDataFrame:
    if not len(table):
        return table
    return table.iloc[np.sort(table.sindex.query(frame, predicate="intersects"))]


def _touching(table: gpd.GeoDataFrame | None, frame: shapely.Polygon) -> gpd.GeoDataFrame | None:
    return None if table is None else _near(table, frame)


def _cut(table: gpd.GeoDataFrame | None, ground: Bounds) -> gpd.GeoDataFrame | None:
    """Return the lines within a frame; what lies outside is gone."""
    if table is None or not len(table):
        return table
    table = _near(table, shapely.box(*ground))
    inside = shapely.clip_by_rect(table.geometry.to_numpy(), *ground)
    kept = ~shapely.is_empty(inside)
    return table[kept].set_geometry(gpd.GeoSeries(inside[kept], index=table.index[kept]))


def prepared(content: Content) -> Content:
    """Return the same with its norths, or with words that don't tell a place that is left out."""
    if content.hides_place:
        return replace(content, words=words_without_place(content.words, content.site))
    west, south, east, north = content.bounds
    middle = (west + east) / 2, (south + north) / 2
    if content.for_diver:
        return replace(content, norths=norths_at(content.site.crs, *middle, content.last_day))
    turn = grid_factors(content.site.crs, *(np.array([one]) for one in middle))[0]
    return replace(content, norths=Norths(content.last_day, -float(turn[0])))


def marks_layer(marks: Sequence[tuple[str, float, float]], crs: str) -> gpd.GeoDataFrame:
    """Return control marks as a layer.

    Parameters
    ----------
    marks : sequence of (name, easting, northing)
    crs : str
    """
    names = [name for name, _, _ in marks]
    places = gpd.points_from_xy([x for _, x, _ in marks], [y for _, _, y in marks])
    return gpd.GeoDataFrame({"mark": names}, geometry=places, crs=crs)


def with_round_depths(content: Content, surface: Path | str, step_m: float) -> Content:
    """Return the same with contours at round depths below the sheet's sea level.

    Parameters
    ----------
    content : Content
    surface : Path or str
        Raster with the bands ``height`` and ``sd`` [m].
    step_m : float
        Step between contours [m].
    """
    level = content.level
    drawn = contours(
        surface, step_m=step_m, level=level, crs=content.site.crs, zero_m=level.height_m
    )
    return replace(content, contours=drawn)
