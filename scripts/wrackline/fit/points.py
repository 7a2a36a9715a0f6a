"""Bed points in the site's CRS and height datum, with the errors that they carry."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pyarrow.parquet as pq

from wrackline.errors import ConfigError, Fault, InputError
from wrackline.fit.depth_gauges import density_error, density_ratio, reading_sd, true_depths
from wrackline.fit.similarity import local_grid_errors
from wrackline.fit.water import level_at, level_errors
from wrackline.frames import placing
from wrackline.heights import link_errors, zero_height
from wrackline.intake.water import WaterRecord, record_of
from wrackline.model import ErrorSource, HeightLink, SeaLevel, Site, Survey
from wrackline.points import REACH_M, Points, PointWriter, points_info
from wrackline.rasters import ticks
from wrackline.uncertainty import ErrorModel, error_model
from wrackline.verdict import Source

Array = npt.NDArray[np.float64]
Table = dict[str, npt.NDArray[Any]]

CHUNK = 1_000_000


@dataclass(frozen=True)
class Frame:
    """What of the site a survey is fitted to.

    Attributes
    ----------
    crs : str
        The site's CRS.
    vertical_datum : str
        In words.
    origin : tuple of float
        The site's origin [m].
    error_sources : mapping of str to ErrorSource
        At least those that the survey and its height links rest on.
    height_links : sequence of HeightLink
        From the zero of the survey's heights to the site's datum.
    """

    crs: str
    vertical_datum: str
    origin: tuple[float, float]
    error_sources: Mapping[str, ErrorSource]
    height_links: Sequence[HeightLink] = ()

    def errors_of(
        self,
        name: str,
        survey: Survey,
        *,
        water: WaterRecord | None = None,
        depth_m: float = 0.0,
    ) -> ErrorModel:
        """Return the errors of a survey, with those of its grid, height links, water and gauge.

        `depth_m` is the root mean square of the depths that a diver's gauge showed.
        """
        site = Site(
            schema_version=1,
            name="frame",
            crs=self.crs,
            vertical_datum=self.vertical_datum,
            origin=self.origin,
            sea_levels=[SeaLevel(name="datum", height_m=0.0, sd_m=0.0)],
            depths_below="datum",
            error_sources=dict(self.error_sources),
        )
        grid = survey.local_grid
        extra = [] if grid is None else local_grid_errors(name, grid)
        offset = survey.applied_offset
        extra += link_errors(
            self.height_links,
            site.error_sources,
            self.origin,
            named={*survey.resting_on, *(offset.replaces if offset else ())},
        )
        model = error_model(name, survey, site, extra)
        return with_water_errors(model, survey, water=water, depth_m=depth_m)


def with_water_errors(
    model: ErrorModel, survey: Survey, *, water: WaterRecord | None, depth_m: float
) -> ErrorModel:
    """Return errors with those of the water's level, and of a diver's gauge in it.

    Parameters
    ----------
    model : ErrorModel
        What the config states.
    survey : Survey
    water : WaterRecord or None
    depth_m : float
        Root mean square of the depths shown [m].
    """
    found = [] if water is None else level_errors(model.survey, survey.vertical, water)
    gauge, random = survey.vertical.depth_gauge, model.random_vertical
    if gauge is not None:
        random = reading_sd(random, gauge)
        found.append(density_error(model.survey, depth_m, gauge))
    replaced = survey.applied_offset.replaces if survey.applied_offset else ()
    kept = [p for p in found if p.sd > 0 and p.name.rpartition(":")[2] not in replaced]
    return replace(model, random_vertical=random, named=(*model.named, *kept))


def fit_points(
    table: Path | str, out: Path | str, *, source: Source, frame: Frame, chunk: int = CHUNK
) -> dict[str, Any]:
    """Write a survey's bed points in the site's CRS and height datum.

    Parameters
    ----------
    table : Path or str
        Table that intake wrote.
    out : Path or str
        LAZ file to write.
    source : Source
        The survey.
    frame : Frame
        What it is fitted to.
    chunk : int
        Points a chunk.

    Returns
    -------
    dict
        ``model`` (`ErrorModel.as_dict`), ``rows`` (points taken from intake), ``dropped`` (of
        them, without water level), ``from_date``, ``to_date``, ``notes``, and ``own_sd``: whether
        the file states an uncertainty of its own.

    Raises
    ------
    InputError
        When no point is left, a point lies too far off, or the water-level record is bad.
    """
    water = record_of(source)
    rows, squares = 0, 0.0
    with pq.ParquetFile(table) as stored:
        names = stored.schema_arrow.names
        extra = {"with_sd": "sd" in names, "with_row": source.tabular}
        with PointWriter(out, crs=frame.crs, origin=frame.origin, **extra) as writer:
            for part in _parts(stored, chunk):
                rows += len(part["x"])
                squares += float(np.square(part["v"]).sum())
                writer.write(_fitted(part, source, frame, water))
            written = writer.count
    if written == 0:
        raise InputError(_none_left(source, rows))
    model = frame.errors_of(
        source.name, source.survey, water=water, depth_m=round(np.sqrt(squares / rows), 3)
    )
    account = _account(source, frame, model, rows=rows, written=written)
    return {**account, "own_sd": points_info(out).with_sd}


def _fitted(part: Table, source: Source, frame: Frame, water: WaterRecord | None) -> Points:
    """Return the points of a part whose height is known, in ticks."""
    easting, northing = placing(source.name, source.survey, frame.crs)(part["x"], part["y"])
    _check_reach(source, easting, northing, frame.origin)
    zero = zero_height(frame.height_links, easting, northing, crs=frame.crs, folder=source.folder)
    height = heights(
        part["v"],
        source.survey,
        time=part.get("time"),
        water=water,
        zero=zero,
        place=(easting, northing),
    )
    known = np.isfinite(height)
    east, north, up = (ticks(axis[known]) for axis in (easting, northing, height))
    sd, row = part.get("sd"), part["row"] if source.tabular else None
    return Points(
        east,
        north,
        up,
        None if sd is None else sd[known],
        None if row is None else np.asarray(row[known], dtype=np.int64),
    )


def _parts(stored: pq.ParquetFile, chunk: int) -> Iterator[Table]:
    for batch in stored.iter_batches(batch_size=chunk):
        names = batch.schema.names
        yield {name: batch.column(name).to_numpy(zero_copy_only=False) for name in names}


def heights(
    vertical: Array,
    survey: Survey,
    *,
    time: Array | None = None,
    water: WaterRecord | None = None,
    zero: Array | float = 0.0,
    place: tuple[Array, Array] | None = None,
) -> Array:
    """Return heights above the site's datum from a file's vertical numbers.

    Parameters
    ----------
    vertical : array, shape (n,)
        As intake has them [m].
    survey : Survey
        Says how they are meant.
    time : array, shape (n,), optional
        UTC, in seconds since 1970, for depths below the water's surface.
    water : WaterRecord, optional
        For the same.
    zero : array, shape (n,), or float
        Height above the site's datum of the zero that `vertical.zero` names [m].
    place : tuple of two arrays, shape (n,), optional
        Eastings and northings in the site's CRS [m], for an applied offset that tilts.

    Returns
    -------
    array, shape (n,)
        Heights [m]; NaN where the water's level isn't known.

    Raises
    ------
    ConfigError
        When the file's vertical numbers are said to mean nothing.
    """
    meant = survey.vertical
    correction = survey.applied_offset
    if correction is None:
        offset = 0.0
    elif place is None:
        offset = correction.height_m
    else:
        offset = correction.at(*place)
    if meant.meaning == "height":
        return np.asarray(vertical + meant.datum_height_m + zero + offset, dtype=float)
    if meant.meaning == "depth_below_datum":
        return np.asarray(meant.datum_height_m + zero - vertical + offset, dtype=float)
    if meant.meaning == "depth_below_water" and time is not None and water is not None:
        level = level_at(time, water, max_gap_min=meant.water_level_max_gap_min)
        depth = vertical if meant.depth_gauge is None else true_depths(vertical, meant.depth_gauge)
        return np.asarray(level + meant.water_level_zero_m + zero - depth + offset, dtype=float)
    raise ConfigError(_no_meaning(survey))


def _no_meaning(survey: Survey) -> Fault:
    return Fault(
        "no_vertical_meaning",
        f"vertical.meaning '{survey.vertical.meaning}'",
        "height, depth_below_datum, or depth_below_water with its record and times",
        "the points would have no height",
        "say in the season's config how the file's vertical numbers are meant",
        survey.file,
    )


def _check_reach(
    source: Source, easting: Array, northing: Array, origin: tuple[float, float]
) -> None:
    """Refuse points that a point file can't hold, or that have no place in the site's CRS."""
    away = np.maximum(np.abs(easting - origin[0]), np.abs(northing - origin[1]))
    if len(away) and not away.max() <= REACH_M:
        raise InputError(
            source.fault(
                "point_too_far",
                f"a point {float(away.max()) / 1000:.0f} km from the site's origin",
                f"points within {REACH_M / 1000:.0f} km of it",
                "the surface would reach from there to the site",
                "take the stray points out of the file, or check `crs`",
            )
        )


def _none_left(source: Source, rows: int) -> Fault:
    return source.fault(
        "no_point_left",
        f"{rows} points, none of them with a known water level"
        if source.survey.vertical.water_level
        else f"{rows} points",
        "at least one point with a height",
        "the survey would be missing from the seabed",
        "check the record's span, its gaps against vertical.water_level_max_gap_min, and the "
        "clocks' offsets from UTC",
    )


def _account(
    source: Source, frame: Frame, model: ErrorModel, *, rows: int, written: int
) -> dict[str, Any]:
    """Return what `errors.json` holds."""
    survey, notes = source.survey, []
    if rows > written:
        notes.append(
            f"{rows - written} of {rows} points dropped: outside the water-level record or in a "
            f"gap of more than {survey.vertical.water_level_max_gap_min:g} minutes"
        )
    if survey.applied_offset:
        offset = survey.applied_offset
        tilt = (
            f" at the pivot, {offset.tilt_east_mm_per_m:+.3f} mm a metre towards east and "
            f"{offset.tilt_north_mm_per_m:+.3f} towards north,"
            if offset.tilts
            else ""
        )
        notes.append(f"{offset.height_m:+.3f} m{tilt} added to every height: {offset.why}")
    if survey.vertical.depth_gauge:
        ratio = density_ratio(survey.vertical.depth_gauge)
        notes.append(f"depths shown by the gauge times {ratio:.5f}, for the water's density")
    notes += _water_notes(model)
    notes += [_link_note(link) for link in frame.height_links]
    return {
        "model": model.as_dict(),
        "rows": rows,
        "dropped": rows - written,
        "from_date": survey.from_date.isoformat(),
        "to_date": survey.to_date.isoformat(),
        "notes": notes,
    }


def _water_notes(model: ErrorModel) -> list[str]:
    """Return what was taken for the sd of the water's level and of its density."""
    words = {
        "water_level": "the water's level between its readings",
        "water_clock": "the clocks of soundings and gauge",
        "gauge_density": "the density of the water over a diver's gauge",
    }
    return [
        f"{words[cause]}: sd {part.sd:.4f} m, alike for the whole survey"
        for part in model.named
        for owner, _, cause in [part.name.rpartition(":")]
        if owner == model.survey and cause in words
    ]


def _link_note(link: HeightLink) -> str:
    above = "the site's datum" if link.above == "site" else f"'{link.above}'"
    if link.height_m is None:
        return f"heights from '{link.zero}' to {above} by the geoid grid {link.geoid_grid}"
    return f"heights from '{link.zero}', {link.height_m:+.3f} m above {above}"
