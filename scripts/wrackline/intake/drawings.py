"""Drawings: any vector file that OGR reads, DXF with its drawing layers and its unit included."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import pyogrio
import shapely

from wrackline.errors import Fault
from wrackline.intake import corrections
from wrackline.intake.item_checks import MISSING, SHAPES
from wrackline.intake.places import check_declared_crs
from wrackline.intake.readings import Found
from wrackline.intake.slips import as_number
from wrackline.model import UNITS_M
from wrackline.verdict import Problems, Source

Flags = npt.NDArray[np.bool_]

HEADER_BYTES = 1_000_000
"""The header of a DXF stands in its first bytes."""

INSUNITS = re.compile(r"\$INSUNITS\s+70\s+(\d+)\s")
INSUNITS_M = {1: 0.0254, 2: 0.3048, 4: 0.001, 5: 0.01, 6: 1.0, 21: 1200 / 3937}
"""Metres of the units that a DXF's header may declare ($INSUNITS; from memory); 0 declares none."""

SAME_UNIT = 1e-5
"""Relative difference below which two units are one: the two kinds of foot differ by 2e-6."""


def read_drawing(source: Source, problems: Problems) -> Found | None:
    """Return the features of a vector file's layer, or None with a fault.

    Parameters
    ----------
    source : Source
    problems : Problems
    """
    dxf = source.path.suffix.lower() == ".dxf"
    if not _parts_there(source, problems):
        return None
    with _blocks_kept_whole():
        layer = "entities" if dxf else _layer(source, problems)
        if layer is None:
            return None
        table = pyogrio.read_dataframe(source.path, layer=layer)
    if not isinstance(table, gpd.GeoDataFrame):
        problems.add(_no_geometry(source))
        return None
    check_declared_crs(source, table.crs, problems)
    cells = pd.DataFrame(table.drop(columns=table.geometry.name))
    cells = corrections.apply_to_features(source, cells, problems)
    cells.columns = [str(name).lower() for name in cells.columns]
    geometry, rows = _without_marks(source, table), np.arange(1, len(table) + 1)
    if dxf:
        _check_unit(source, problems)
        kept = _entities(source, cells, problems)
        cells, geometry, rows = cells[kept].reset_index(drop=True), geometry[kept], rows[kept]
    return Found(cells, geometry, rows, len(table))


@contextmanager
def _blocks_kept_whole() -> Iterator[None]:
    """Make OGR give a DXF's block inserts as points with the block's name, not taken apart."""
    before = pyogrio.get_gdal_config_option("DXF_INLINE_BLOCKS")
    pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": "FALSE"})
    try:
        yield
    finally:
        pyogrio.set_gdal_config_options({"DXF_INLINE_BLOCKS": before})


def _layer(source: Source, problems: Problems) -> str | None:
    """Return the layer to read, or None with a fault; tables without geometry don't count."""
    listed = [(str(name), kind) for name, kind in pyogrio.list_layers(source.path).tolist()]
    drawn = [name for name, kind in listed if kind is not None]
    layer = source.survey.layer
    if layer is not None and layer not in [name for name, _ in listed]:
        problems.add(_no_layer(source, layer, [name for name, _ in listed]))
        return None
    if layer is None and len(drawn) != 1:
        problems.add(_which_layer(source, drawn) if drawn else _no_geometry(source))
        return None
    return layer or drawn[0]


def _parts_there(source: Source, problems: Problems) -> bool:
    """Tell whether a Shapefile has the files that belong to it; name those that are missing."""
    if source.path.suffix.lower() != ".shp":
        return True
    there = {path.suffix.lower() for path in source.path.parent.glob(source.path.stem + ".*")}
    lost = [ending for ending in (".shx", ".dbf") if ending not in there]
    for ending in lost:
        problems.add(_no_part(source, ending))
    return not lost


def _without_marks(source: Source, table: gpd.GeoDataFrame) -> npt.NDArray[np.object_]:
    """Return geometries, heights that are a mark of no value taken out."""
    geometry = table.geometry.to_numpy()
    marks = [as_number(text, ".") for text in source.survey.columns.no_value]
    if not marks:
        return np.asarray(geometry, dtype=object)
    raised = np.flatnonzero(shapely.has_z(geometry))
    cleared = shapely.transform(
        geometry[raised],
        lambda xyz: np.column_stack(
            [xyz[:, :2], np.where(np.isin(xyz[:, 2], marks), np.nan, xyz[:, 2])]
        ),
        include_z=True,
    )
    out = np.asarray(geometry, dtype=object).copy()
    out[raised] = cleared
    return out


def _entities(source: Source, cells: pd.DataFrame, problems: Problems) -> Flags:
    """Return which entities of a DXF are read: those of the picked layers, no texts.

    A block's insert stands for a point where points are asked for, and is left out elsewhere.
    """
    layers = [str(name) for name in cells["layer"].fillna("0")]
    kept = picked(source, layers, problems, "drawing layer")
    texts = cells["text"].fillna("").astype(str).ne("").to_numpy(bool)
    words = cells["subclasses"].fillna("").astype(str)
    texts = texts | words.str.contains("AcDbM?Text|AcDbAttribute", regex=True).to_numpy(bool)
    blocks = np.zeros(len(cells), dtype=bool)
    if "blockname" in cells:
        blocks = cells["blockname"].fillna("").astype(str).ne("").to_numpy(bool)
    if "Point" in SHAPES[source.survey.holds]:
        cells["kind"] = cells["layer"]
        return kept & ~(texts & ~blocks)
    lost = kept & blocks
    if lost.any():
        problems.add(_blocks(source, int(lost.sum()), int(np.flatnonzero(lost)[0]) + 1))
    return kept & ~texts & ~blocks


def picked(source: Source, names: Sequence[str], problems: Problems, what: str) -> Flags:
    """Return which of the file's layers or codes the survey picks, those it lacks named.

    Parameters
    ----------
    source : Source
    names : sequence of str, length n
        Layer or code of each row; capitals don't count.
    problems : Problems
    what : str
        What a name is, for the message.

    Returns
    -------
    array of bool, shape (n,)
    """
    pick = source.survey.pick
    if not pick:
        return np.ones(len(names), dtype=bool)
    there = sorted(set(names))
    folded = {name.casefold() for name in there}
    for one in pick:
        if one.casefold() not in folded:
            problems.add(_pick_unknown(source, one, there, what))
    wanted = {one.casefold() for one in pick}
    return np.array([name.casefold() in wanted for name in names], dtype=bool)


def drawing_unit_m(path: Path) -> float | None:
    """Return the metres of the unit that a DXF's header declares, None where it declares none."""
    with path.open("rb") as stream:
        head = stream.read(HEADER_BYTES).decode("latin-1")
    match = INSUNITS.search(head)
    return INSUNITS_M.get(int(match[1])) if match else None


def _check_unit(source: Source, problems: Problems) -> None:
    """Compare the unit that a drawing declares with the configured one."""
    declared = drawing_unit_m(source.path)
    unit = source.survey.unit or ("metre" if source.survey.local_grid is None else None)
    if declared is None or unit is None:
        return
    if abs(declared / UNITS_M[unit] - 1) > SAME_UNIT:
        problems.add(_drawing_unit(source, declared, unit))


def _drawing_unit(source: Source, declared: float, unit: str) -> Fault:
    near = [name for name, size in UNITS_M.items() if abs(size / declared - 1) < SAME_UNIT]
    parts = (
        "drawing_unit",
        f"a drawing that declares its unit as {near[0] if near else f'{declared:g} m'} ($INSUNITS)",
        f"the survey's unit, {unit}",
        f"every length would be wrong by a factor of {UNITS_M[unit] / declared:g} if it is right",
    )
    if source.survey.unit is not None:  # a person has said so: drawings are often declared wrongly
        return source.suspicion(*parts, "measure a known wall in the drawing: is `unit` right?")
    meant = f"unit: {near[0]}" if near else "the unit"
    return source.fault(
        *parts, f"measure a known wall, then write `{meant}` or `unit: metre` into the config"
    )


def _pick_unknown(source: Source, one: str, there: list[str], what: str) -> Fault:
    near = difflib.get_close_matches(one, there, n=1, cutoff=0.5)
    return source.fault(
        "pick_unknown",
        f"no {what} '{one}'",
        f"those of the file: {', '.join(there[:12]) or 'none'}",
        "what is meant by it would be missing from the record",
        f"did you mean '{near[0]}'? mend `pick`" if near else "mend `pick` in the config",
    )


def _blocks(source: Source, count: int, row: int) -> Fault:
    return source.suspicion(
        "blocks_skipped",
        f"{count} inserted blocks, which are symbols and no lines",
        "lines and outlines drawn themselves",
        "they are left out, and walls in them too",
        "take the blocks apart in a copy of the drawing, if there are walls in them",
        row=row,
    )


def _no_part(source: Source, ending: str) -> Fault:
    return source.fault(
        "shapefile_part_missing",
        f"no file with the ending {ending} beside the Shapefile",
        "its .shx and .dbf in the same folder, under the same name",
        "shapes could not be found in it" if ending == ".shx" else "attributes would be lost",
        "copy the missing file over too, or export the layer as GeoPackage, which is one file",
    )


def _no_layer(source: Source, layer: str, layers: list[str]) -> Fault:
    return source.fault(
        "layer_missing",
        f"no layer '{layer}'",
        f"the file's layers: {', '.join(layers)}",
        MISSING,
        "mend `layer` in the season's config",
    )


def _which_layer(source: Source, layers: list[str]) -> Fault:
    return source.fault(
        "layer_unnamed",
        f"a file of {len(layers)} layers: {', '.join(layers)}",
        "one layer a survey, named where the file has several",
        "lines of one kind could be taken for another",
        "write `layer` in the season's config; several layers are several surveys",
    )


def _no_geometry(source: Source) -> Fault:
    return source.fault(
        "no_geometry",
        "a layer without geometry",
        "lines, points or polygons",
        MISSING,
        "name the layer that holds the drawing",
    )
