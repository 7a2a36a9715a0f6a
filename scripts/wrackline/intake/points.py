"""Bed points: any file of soundings, cloud or grid into one table of plain numbers.

The table (Parquet) has columns `x`, `y`, `v` (float64, easting-like and northing-like in the unit
of the survey's CRS, and vertical in metres, in the file's own sense), `row` (int64), `time`
(float64, UTC seconds since 1970) where a time column is configured, and `sd` (float64, m) where a
grid states its uncertainty. With a fault in the verdict it is empty.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path

import laspy
import lazrs  # type: ignore[import-untyped]
import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.parquet as pq
from rasterio.errors import RasterioError

from wrackline.errors import Fault
from wrackline.intake.bed_checks import DEEPEST_M, SENTINELS, BedChecks
from wrackline.intake.clouds import cloud_crs, read_cloud
from wrackline.intake.grids import grid_crs, grid_units, read_grid_file
from wrackline.intake.ground_files import check_ground_files
from wrackline.intake.places import (
    check_declared_crs,
    check_place,
    locator,
    metres_of,
    unit_factor,
)
from wrackline.intake.readings import Reading
from wrackline.intake.tables import read_table
from wrackline.intake.water import WaterRecord, known, read_water
from wrackline.model import UNITS_M
from wrackline.verdict import TABLES, Problems, Source, Verdict, file_there, make_verdict

Array = npt.NDArray[np.float64]
Reader = Callable[[Source, Problems], Iterator[Reading]]

CLOUDS = (".las", ".laz")
UNIT_WORDS = {
    "m": "metre",
    "meter": "metre",
    "meters": "metre",
    "metres": "metre",
    "ft": "foot",
    "feet": "foot",
    "us survey foot": "us_survey_foot",
    "us-ft": "us_survey_foot",
    "mm": "millimetre",
    "cm": "centimetre",
}
UNREADABLE = (OSError, RasterioError, laspy.LaspyException, lazrs.LazrsError, ValueError)


def read_bed(source: Source, out: Path | str, *, crs: str, origin: tuple[float, float]) -> Verdict:
    """Read one survey of bed points into a table, and say what was found.

    Parameters
    ----------
    source : Source
    out : Path or str
        The table to write; see the module's own description.
    crs : str
        The site's CRS.
    origin : tuple of float
        The site's origin [m].

    Returns
    -------
    Verdict
    """
    problems, pass_by = Problems(), PassBy(source)
    if source.survey.vertical.water_level is not None:
        pass_by.water = read_water(source, problems)
    check_ground_files(source, problems)
    if file_there(source, problems):
        try:
            _check_crs(source, problems)
            _copy(source, out, problems, pass_by)
        except UNREADABLE as slip:
            problems.add(_unreadable(source, slip))
        else:
            _check_whole(pass_by, problems, crs=crs, origin=origin)
    problems.locate(locator(source, crs))
    if problems.fatal:
        _write([], out, _schema(source))
    extent = pass_by.extent
    return make_verdict(
        source,
        problems,
        rows=extent.rows,
        used=extent.used,
        bounds=extent.bounds,
        vertical=extent.vertical,
    )


@dataclass
class Extent:
    """Counts and least and greatest numbers of what was read so far."""

    rows: int = 0
    used: int = 0
    low: Array = field(default_factory=lambda: np.full(4, np.inf))
    high: Array = field(default_factory=lambda: np.full(4, -np.inf))

    def take(self, part: Reading) -> None:
        """Take a chunk into account."""
        self.rows += part.seen
        self.used += len(part.x)
        if len(part.x):
            time = np.zeros(1) if part.time is None else part.time
            every = (part.x, part.y, part.v, time)
            self.low = np.minimum(self.low, [a.min() for a in every])
            self.high = np.maximum(self.high, [a.max() for a in every])

    @property
    def bounds(self) -> list[float] | None:
        """Least x, least y, greatest x, greatest y."""
        return [*self.low[:2].tolist(), *self.high[:2].tolist()] if self.used else None

    @property
    def vertical(self) -> list[float] | None:
        """Least and greatest vertical number."""
        return [float(self.low[2]), float(self.high[2])] if self.used else None


def _reader(source: Source) -> Reader:
    suffix = source.path.suffix.lower()
    if suffix in TABLES:
        return read_table
    return read_cloud if suffix in CLOUDS else read_grid_file


class PassBy:
    """What is made and kept of a file's chunks as they pass by: units, extent, checks.

    Parameters
    ----------
    source : Source
    """

    def __init__(self, source: Source) -> None:
        reader = _reader(source)
        self.source, self.extent = source, Extent()
        self.water: WaterRecord | None = None
        self.checks = BedChecks(
            source,
            metre=metres_of(source),
            in_order=reader is read_table,
            single=reader is not read_grid_file,
        )
        self._factor = unit_factor(source)
        self._metres = UNITS_M[source.survey.vertical.unit]
        self._silent: list[tuple[int, int]] = []

    def take(self, part: Reading, problems: Problems) -> Reading:
        """Return a chunk in the units of its CRS, heights in metres, and take note of it."""
        placed = replace(part, x=part.x * self._factor, y=part.y * self._factor)
        self.checks.take(placed)
        sd = None if part.sd is None else part.sd * self._metres
        made = replace(placed, v=part.v * self._metres, sd=sd)
        self.extent.take(made)
        beyond = np.flatnonzero((np.abs(made.v) > DEEPEST_M) & ~np.isin(part.v, SENTINELS))
        for at in beyond[:1]:
            place = (float(made.x[at]), float(made.y[at]))
            fault = _impossible(self.source, float(part.v[at]), int(part.row[at]), place)
            problems.add(fault, len(beyond) - 1)
        if self.water is not None and part.time is not None:
            gap_min = self.source.survey.vertical.water_level_max_gap_min
            silent = np.flatnonzero(~known(part.time, self.water, max_gap_min=gap_min))
            self._silent += [(len(silent), int(part.row[silent[0]]))] if len(silent) else []
        return made

    def check_water(self, problems: Problems) -> None:
        """Check that the water-level record covers the time of the soundings."""
        if self.water is None or self.extent.used == 0:
            return
        first, last = float(self.extent.low[3]), float(self.extent.high[3])
        if first > self.water.time[-1] or last < self.water.time[0]:
            problems.add(_no_overlap(self.source, self.water.time, (first, last)))
        elif self._silent:
            count = sum(count for count, _ in self._silent)
            problems.add(_water_gap(self.source, count, self._silent[0][1]))


def _copy(source: Source, out: Path | str, problems: Problems, pass_by: PassBy) -> None:
    """Read the file through and write its table, with all that is noted on the way."""
    parts = (pass_by.take(part, problems) for part in _reader(source)(source, problems))
    first = next(parts, None)
    schema = _schema(source, first)
    _write([] if first is None else _chain(first, parts), out, schema)


def _chain(first: Reading, rest: Iterator[Reading]) -> Iterator[Reading]:
    yield first
    yield from rest


def _check_whole(
    pass_by: PassBy, problems: Problems, *, crs: str, origin: tuple[float, float]
) -> None:
    """Say what can only be said of the whole file."""
    _check_extent(pass_by.source, pass_by.extent, problems)
    bounds = pass_by.checks.close(problems) or pass_by.extent.bounds
    if bounds is not None:
        check_place(pass_by.source, np.array(bounds), problems, crs=crs, origin=origin)
    pass_by.check_water(problems)


def _schema(source: Source, part: Reading | None = None) -> pa.Schema:
    fields = [("x", pa.float64()), ("y", pa.float64()), ("v", pa.float64()), ("row", pa.int64())]
    if source.survey.columns.time is not None and _reader(source) is read_table:
        fields.append(("time", pa.float64()))
    if part is not None and part.sd is not None:
        fields.append(("sd", pa.float64()))
    return pa.schema(fields)


def _write(parts: Iterator[Reading] | list[Reading], out: Path | str, schema: pa.Schema) -> None:
    Path(out).parent.mkdir(parents=True, exist_ok=True)
    with pq.ParquetWriter(out, schema, compression="zstd") as writer:
        for part in parts:
            columns = [pa.array(getattr(part, name)) for name in schema.names]
            writer.write_table(pa.Table.from_arrays(columns, schema=schema))


def _unreadable(source: Source, slip: Exception) -> Fault:
    return source.fault(
        "unreadable",
        f"{type(slip).__name__}: {str(slip).splitlines()[0] if str(slip) else 'no message'}",
        f"text tables ({', '.join(TABLES)}), point clouds ({', '.join(CLOUDS)}), or a raster "
        "that GDAL reads",
        "the survey would be missing from the record",
        "open the file in another program; copy or export it anew if that fails too",
    )


def _impossible(source: Source, value: float, row: int, at: tuple[float, float]) -> Fault:
    return source.fault(
        "impossible_vertical",
        f"a vertical number of {value:g}",
        f"numbers within ±{DEEPEST_M:g} m",
        "a mark of a missing value would be taken for seabed",
        f"list '{value:g}' in columns.no_value, or set the raster's nodata value",
        row=row,
        at=at,
    )


def _check_crs(source: Source, problems: Problems) -> None:
    """Compare the CRS that the file declares, if any, with the configured one."""
    reader = _reader(source)
    if reader is read_table:
        return
    declared = cloud_crs(source) if reader is read_cloud else grid_crs(source)
    units = set() if reader is read_cloud else grid_units(source)
    if declared is not None:
        units |= {a.unit_name for a in declared.axis_info if a.direction in ("up", "down")}
        check_declared_crs(source, declared, problems)
    known_units = {UNIT_WORDS.get(unit.lower(), unit) for unit in units}
    if known_units - {source.survey.vertical.unit}:
        problems.add(_foreign_unit(source, sorted(known_units)))


def _foreign_unit(source: Source, units: list[str]) -> Fault:
    return source.fault(
        "vertical_unit",
        f"heights in {', '.join(units)}, by the file's own word",
        f"heights in {source.survey.vertical.unit}, as vertical.unit says",
        "every depth would be wrong by that factor",
        f"set vertical.unit: {units[0]}"
        if units[0] in UNITS_M
        else "export the file with heights in metres",
    )


def _check_extent(source: Source, extent: Extent, problems: Problems) -> None:
    """Check what can only be said of the whole: whether there are points at all."""
    if source.survey.vertical.meaning == "depth_below_water" and _reader(source) is not read_table:
        problems.add(
            source.fault(
                "no_times",
                f"a '{source.path.suffix}' file of depths below the water's surface",
                "a table with a time column",
                "the water's level at each sounding is unknown",
                "export the soundings as a table with times, or reduce them to a datum first",
            )
        )
    if extent.used == 0 and not problems.fatal:
        problems.add(
            source.fault(
                "no_rows",
                f"{extent.rows} rows, none with a place and a height",
                "at least one",
                "the survey would be missing from the record",
                "check the file, columns.no_value and the raster's nodata value",
            )
        )


def _water_gap(source: Source, count: int, row: int) -> Fault:
    gap_min = source.survey.vertical.water_level_max_gap_min
    return source.suspicion(
        "water_gap",
        f"{count} soundings outside the water-level record, or in a gap of it longer than "
        f"{gap_min:g} minutes",
        "a record that covers the soundings",
        "those soundings have no height and are left out",
        "get the missing levels from the gauge's keeper; if the water was steady, raise "
        "vertical.water_level_max_gap_min",
        row=row,
    )


def _no_overlap(source: Source, time: Array, span: tuple[float, float]) -> Fault:
    record = f"{_day(float(time[0]))} to {_day(float(time[-1]))}"
    return source.fault(
        "water_not_covering",
        f"a record from {record}; soundings from {_day(span[0])} to {_day(span[1])}",
        "a record that covers the soundings",
        "no sounding could be brought to a datum",
        "check both clocks (time_utc_offset_h, water_level_utc_offset_h) and the record's year",
        file=str(source.survey.vertical.water_level),
    )


def _day(seconds: float) -> str:
    return str(np.datetime64(round(seconds), "s")) + "Z"
