"""Items of every kind: a drawing, a table of points, observations or a picture, into one table.

The table (GeoParquet) has the columns of `ITEM_COLUMNS`; geometries are in the file's own numbers,
multi-part ones taken apart, polygons of wall lines turned into their rings. With a fault in the
verdict it is empty.
"""

from __future__ import annotations

import difflib
import warnings
from collections.abc import Callable, Mapping
from typing import Any

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from pyogrio.errors import DataLayerError, DataSourceError, GeometryError
from pyproj.exceptions import ProjError
from shapely.errors import ShapelyError

from wrackline import vectors
from wrackline.errors import Fault
from wrackline.intake.coded import read_coded
from wrackline.intake.drawings import picked, read_drawing
from wrackline.intake.ground_files import check_ground_files
from wrackline.intake.item_checks import MET, MISSING, check_items
from wrackline.intake.item_tables import read_point_table
from wrackline.intake.levels import read_levels
from wrackline.intake.pictures import read_picture
from wrackline.intake.places import check_items_place, locator
from wrackline.intake.readings import Found
from wrackline.intake.rows import texts_of
from wrackline.intake.slips import as_number
from wrackline.intake.station_days import read_station_day
from wrackline.intake.tapes import read_tape
from wrackline.intake.units import in_metres
from wrackline.survey_names import season_of
from wrackline.verdict import Problems, Source, Verdict, file_there, make_verdict
from wrackline.walls.linework import ITEM_COLUMNS

TABLES = (".csv", ".txt", ".tsv", ".xyz", ".dat", ".pts", ".xlsx")
TEXTS = ("line", "kind", "origin", "evidence", "note")
NUMBERS = ("thickness_m", "thickness_sd_m")
THICKNESS_COLUMNS = ("to_depth_m", "thickness_m", "deposit_m")
"""Columns that may hold the thickness of the deposit that a probe went through."""

THICKEST_M = 20.0
"""Thicknesses beyond this are slips or marks of a missing value."""

READERS: Mapping[str, Callable[[Source, Problems], Found | None]] = {
    "coded_points": read_coded,
    "station_day": read_station_day,
    "tape": read_tape,
    "levelling": read_levels,
}
"""Readers by the form in which a file records things."""

UNREADABLE = (DataSourceError, DataLayerError, ValueError, OSError, ShapelyError, ProjError)
"""What OGR, GEOS and PROJ raise on files that they can't make sense of."""


def read_items(
    source: Source, *, crs: str, origin: tuple[float, float]
) -> tuple[gpd.GeoDataFrame, Verdict]:
    """Read one survey of lines, outlines, points or a picture, and say what was found.

    Parameters
    ----------
    source : Source
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].

    Returns
    -------
    items : GeoDataFrame
        `ITEM_COLUMNS`; empty when there is a fault.
    verdict : Verdict
    """
    problems = Problems()
    check_ground_files(source, problems)
    read = _read(source, problems) if file_there(source, problems) else None
    items = vectors.empty(ITEM_COLUMNS, None)
    if read is not None:
        read = in_metres(source, read, problems)
        drawn = _as_items(source, read, problems)
        checked = check_items(source, drawn, read.seen, problems)
        if len(checked):
            check_items_place(source, checked, problems, crs=crs, origin=origin)
        items = items if problems.fatal else checked
    problems.locate(locator(source, crs))
    xyz = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)
    z = xyz[np.isfinite(xyz[:, 2]), 2]
    verdict = make_verdict(
        source,
        problems,
        rows=read.seen if read else 0,
        used=len(items),
        bounds=[float(v) for v in items.total_bounds] if len(items) else None,
        vertical=[float(z.min()), float(z.max())] if len(z) else None,
        adjustment=read.adjustment if read else None,
    )
    return items, verdict


def _read(source: Source, problems: Problems) -> Found | None:
    """Return what the file holds, or None with a fault."""
    try:
        with warnings.catch_warnings():  # of measures (M) and the like, which are not taken over
            warnings.simplefilter("ignore")
            return _reader(source)(source, problems)
    except UNREADABLE as slip:
        problems.add(_unreadable(source, slip))
        return None


def _reader(source: Source) -> Callable[[Source, Problems], Found | None]:
    """Return the reader for what a survey holds and the form in which its file records it."""
    if source.survey.holds == "picture":
        return read_picture
    if source.survey.form == "drawn":
        table = source.path.suffix.lower() in TABLES
        return _from_table if table else read_drawing
    return READERS[source.survey.form]


def _from_table(source: Source, problems: Problems) -> Found | None:
    """Return the points of a table, or None with a fault."""
    table = read_point_table(source, problems)
    if table is None:
        return None
    if not source.survey.pick:
        return Found(table.cells, shapely.points(table.xyz), table.row, table.seen)
    code = texts_of(source, table.rows, source.survey.columns.code or "code", problems)
    there = np.isin(table.rows.row, table.row)
    codes = [text for text, used in zip(code, there, strict=True) if used]
    kept = picked(source, codes, problems, "code")
    cells = table.cells[kept].reset_index(drop=True)
    return Found(cells, shapely.points(table.xyz[kept]), table.row[kept], table.seen)


def _as_items(source: Source, found: Found, problems: Problems) -> gpd.GeoDataFrame:
    """Return a file's rows with the columns of `ITEM_COLUMNS`."""
    survey, cells, rows = source.survey, found.cells, found.rows
    data: dict[str, Any] = {"survey": source.name, "season": season_of(source.name), "row": rows}
    own = str(survey.columns.line).lower() if survey.columns.line is not None else "line"
    for name in TEXTS:
        column = own if name == "line" and own in cells else name
        data[name] = _texts(_column(source, cells, column, problems))
    for name in NUMBERS:
        texts = _texts(_column(source, cells, name, problems))
        data[name] = _measures(source, name, texts, rows, problems)
    frame = gpd.GeoDataFrame(data, geometry=list(found.geometry), index=range(len(cells)))
    if survey.wall_thickness_m is not None:
        frame["thickness_m"] = frame["thickness_m"].fillna(survey.wall_thickness_m)
    if survey.holds == "probes":
        frame = _probed(source, frame, cells, problems)
    known = frame["thickness_m"].notna() & frame["thickness_sd_m"].isna()
    frame.loc[known, "thickness_sd_m"] = survey.wall_thickness_sd_m
    return frame


def _probed(
    source: Source, frame: gpd.GeoDataFrame, cells: pd.DataFrame, problems: Problems
) -> gpd.GeoDataFrame:
    """Return probes at what they met: the bed's height less the deposit's thickness.

    Of a probe that met nothing, that is where it ended. Without any thickness in the file, its
    heights are those of what was met.
    """
    met = [(text or "").lower() for text in _texts(_column(source, cells, "met", problems))]
    for text, row in zip(met, frame["row"], strict=True):
        if text not in MET:
            problems.add(_unknown_met(source, text, int(row)))
    frame["kind"], frame["evidence"] = met, "probe"
    named = [name for name in THICKNESS_COLUMNS if name in cells]
    if not named:
        return frame
    texts = _texts(_column(source, cells, named[0], problems))
    frame["thickness_m"] = _measures(source, named[0], texts, frame["row"].to_numpy(), problems)
    for bare, row in zip(texts, frame["row"], strict=True):
        if bare is None:
            problems.add(_no_thickness(source, named[0], int(row)))
    down = -1.0 if source.survey.vertical.meaning == "height" else 1.0
    xyz = shapely.get_coordinates(frame.geometry.to_numpy(), include_z=True)
    single = frame.geom_type.eq("Point").to_numpy(bool)
    thick = frame["thickness_m"].to_numpy(float)
    if single.all():
        xyz[:, 2] += down * thick
        frame = frame.set_geometry(gpd.GeoSeries(shapely.points(xyz), index=frame.index))
    return frame[frame["thickness_m"].notna().to_numpy(bool)].reset_index(drop=True)


def _column(source: Source, cells: pd.DataFrame, name: str, problems: Problems) -> pd.Series:
    """Return a column, all missing where there is none; one that stands twice is a fault."""
    found = [k for k, column in enumerate(cells.columns) if column == name]
    if len(found) > 1:
        problems.add(_twice(source, name))
    if not found:
        return pd.Series([None] * len(cells), dtype=object)
    return cells.iloc[:, found[0]]


def _texts(column: pd.Series) -> list[str | None]:
    """Return a column as texts, whole numbers without a decimal point, blanks as missing."""
    texts = []
    for value in column:
        whole = isinstance(value, float) and value.is_integer()
        missing = pd.api.types.is_scalar(value) and pd.isna(value)
        text = "" if missing else str(int(value) if whole else value).strip()
        texts.append(text or None)
    return texts


def _measures(
    source: Source,
    name: str,
    texts: list[str | None],
    rows: npt.NDArray[np.int64],
    problems: Problems,
) -> list[float]:
    """Return texts as lengths, NaN where missing; of wall lines, what can't be one is named."""
    decimal = source.survey.columns.decimal if source.path.suffix.lower() in TABLES else "."
    holds = source.survey.holds
    bare = name.endswith("sd_m") or holds == "probes"
    least = 0.0 if bare else np.nextafter(0.0, 1.0)
    values = []
    for text, row in zip(texts, rows, strict=True):
        value = float("nan") if text is None else as_number(text, decimal)
        right = least <= value <= THICKEST_M
        if text is not None and not right and holds in ("wall_lines", "probes"):
            problems.add(_no_length(source, name, text, int(row)))
        values.append(value if right else float("nan"))
    return values


def _unreadable(source: Source, slip: Exception) -> Fault:
    mixed = isinstance(slip, GeometryError)
    return source.fault(
        "unreadable",
        f"{type(slip).__name__}: {str(slip).splitlines()[0] if str(slip) else 'no message'}",
        "a vector file that OGR reads (GeoPackage, GeoJSON, Shapefile, DXF), or a text table",
        MISSING,
        "save the layer anew as one of lines (LineStringZ), points or polygons"
        if mixed
        else "open the file in another program; copy or export it anew if that fails too",
    )


def _twice(source: Source, name: str) -> Fault:
    return source.fault(
        "column_twice",
        f"two columns '{name}' (capitals don't count)",
        "each column once",
        "it would be left to chance which of the two is read",
        "rename or remove one of the two in a copy of the file",
        row=1,
    )


def _no_length(source: Source, name: str, text: str, row: int) -> Fault:
    return source.fault(
        "bad_thickness",
        f"'{text[:40]}' as {name}",
        f"metres, none below 0 and at most {THICKEST_M:g}, or nothing where it isn't known",
        "floors here would be too large, too small or too deep",
        "mend the value; take the unit out; leave it empty where it isn't known",
        row=row,
    )


def _unknown_met(source: Source, text: str, row: int) -> Fault:
    near = difflib.get_close_matches(text, MET, n=1, cutoff=0.5)
    return source.fault(
        "unknown_met",
        f"'{text[:40]}' as what a probe met" if text else "nothing said of what a probe met",
        f"one of {', '.join(MET)}, in a column `met`",
        "rock, or nothing at all, could be taken for a floor",
        f"did you mean '{near[0]}'?" if near else "fill the cell in from the field book",
        row=row,
    )


def _no_thickness(source: Source, name: str, row: int) -> Fault:
    return source.suspicion(
        "no_thickness",
        f"a probe without {name}, where the file has such a column",
        "the thickness of the deposit that it went through; 0 where it was bare",
        "it is left out: the bed's height would be taken for the floor's",
        "fill the cell in from the field book",
        row=row,
    )
