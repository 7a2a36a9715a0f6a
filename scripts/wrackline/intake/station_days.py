"""Raw days of a total station: setups fitted to control, shots reduced to points and lines."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline import crs
from wrackline.fit.stations import (
    ANGLE_SD_RAD,
    EARTH_RADIUS_M,
    LEAST_SD_M,
    Occupied,
    Sights,
    fit_setup,
    mean_of_faces,
    named_errors,
    reduce_slope,
    shot_variances,
)
from wrackline.intake import station_checks as checks
from wrackline.intake.drawings import picked
from wrackline.intake.item_checks import SHAPES
from wrackline.intake.marks import Marks, heights_meant
from wrackline.intake.readings import Found
from wrackline.intake.rows import Rows, numbers_of, read_rows, texts_of
from wrackline.intake.slips import plain_name
from wrackline.intake.station_rows import Day, Fitted
from wrackline.model import ControlValue
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

KINDS = {
    "station": "station stn st setup occupied instrument",
    "back_sight": "backsight bs back reference orientation bksight",
    "shot": "shot ss sideshot detail point foresight fs intermediate check obs",
}
NUMBERS: dict[str, tuple[str, ...]] = {
    "instrument_height_m": ("instrument_height", "height_of_instrument", "hi", "ih"),
    "target_height_m": ("target_height", "prism_height", "pole_height", "reflector_height", "ht"),
    "circle_deg": ("circle", "horizontal_circle", "horizontal_angle", "direction", "hz", "hcr"),
    "zenith_deg": ("zenith", "zenith_angle", "vertical_circle", "vz", "za"),
    "slope_m": ("slope", "slope_distance", "slope_dist", "slope_distance_m"),
    "prism_constant_mm": ("prism_constant", "additive_constant_mm"),
    "circle_2_deg": ("circle_2", "circle_face_2", "hz_2"),
    "zenith_2_deg": ("zenith_2", "zenith_face_2", "vz_2"),
    "sequence": (),
}
NEEDED = ("target_height_m", "circle_deg", "zenith_deg", "slope_m")
OWN = {*NUMBERS, "kind", "point", "line", "code", "time"}


def read_station_day(source: Source, problems: Problems) -> Found | None:
    """Return the points and lines of a total station's raw day, in the site's CRS.

    Parameters
    ----------
    source : Source
        Its survey's `crs` is the site's; marks are looked up in its control.
    problems : Problems
        Receives every blunder, with its row.

    Returns
    -------
    Found or None
        Heights above the site's datum; ``adjustment`` has ``setups`` and ``errors``. None with
        a fault.
    """
    heights_meant(source, problems)
    rows = read_rows(source, problems)
    if rows is None:
        return None
    day = _day(source, rows, problems)
    checks.check_structure(source, day, problems)
    checks.check_readings(source, day, problems)
    if problems.fatal:
        return None
    marks = Marks(source, problems)
    setups = [_fit(source, day, n, marks) for n in range(1, int(day.setup.max(initial=0)) + 1)]
    fitted = [setup for setup in setups if setup is not None]
    if problems.fatal or not fitted:
        return None
    xyz, sd = _reduced(source, day, fitted)
    checks.check_setups(source, day, fitted, problems)
    checked = checks.check_marks(source, day, marks, (xyz, sd), problems)
    checks.check_unchecked(source, day, fitted, checked, problems)
    checks.check_names(source, day, xyz, checked, problems)
    errors = named_errors(source.name, [setup.fit for setup in fitted])
    account = {"setups": [_account(day, setup) for setup in fitted], "errors": errors}
    return replace(_items(source, day, (xyz, checked), problems), adjustment=account)


def _day(source: Source, rows: Rows, problems: Problems) -> Day:
    """Return a table's rows as observations, angles and distances ready to use."""
    columns = source.survey.columns
    names: dict[str, str | int] = {"sequence": columns.sequence or "sequence"}
    number = {
        name: numbers_of(
            source, rows, names.get(name, name), problems, needed=name in NEEDED, aliases=aliases
        )
        for name, aliases in NUMBERS.items()
    }
    kind = texts_of(source, rows, "kind", problems, aliases=("type", "record", "observation"))
    kinds = checks.kinds_of(source, kind, rows.row, KINDS, problems)
    point = texts_of(source, rows, columns.point or "point", problems)
    time = texts_of(source, rows, columns.time or "time", problems, needed=False)
    text = {
        name: texts_of(source, rows, getattr(columns, name) or name, problems, needed=False)
        for name in ("line", "code")
    }
    known = {plain_name(alias) for name in OWN for alias in (name, *NUMBERS.get(name, ()))}
    for at, name in enumerate(rows.names):
        if name and plain_name(name) not in known:
            text.setdefault(name.lower(), [cells[at] for cells in rows.cells])
    circle, zenith, apart = mean_of_faces(
        (number["circle_deg"], number["zenith_deg"]),
        (number["circle_2_deg"], number["zenith_2_deg"]),
    )
    slope = number["slope_m"] + np.nan_to_num(number["prism_constant_mm"]) / 1000
    number["apart"] = apart
    return Day(
        kind=kinds,
        point=point,
        day=[as_day(text) for text in time],
        number=number,
        row=rows.row,
        circle=circle,
        zenith=zenith,
        slope=slope,
        setup=np.cumsum(kinds == "station").astype(np.int64),
        text=pd.DataFrame(text, index=range(len(point)), dtype=object),
    )


def as_day(text: str) -> dt.date | None:
    """Return the day at the start of a text as ISO 8601 has it, or None."""
    try:
        return dt.date.fromisoformat(text[:10])
    except ValueError:
        return None


def _fit(source: Source, day: Day, number: int, marks: Marks) -> Fitted | None:
    """Return a fitted setup, or None with a fault."""
    station = int(day.rows_of(number, "station")[0])
    backs = day.rows_of(number, "back_sight")
    row, name = int(day.row[station]), day.point[station]
    held = marks.find(name, day.day[station], row, needed=False) if name else None
    found = [marks.find(day.point[k], day.day[k], int(day.row[k])) for k in backs]
    values = [value for value in found if value is not None]
    if len(values) < len(found) or marks.failed(name):
        return None
    least = 2 if held is None else 1
    sighted = {value.point for value in values} - {"" if held is None else held.point}
    if len(sighted) < least:
        marks.problems.add(checks.back_sight_missing(source, row, name, len(sighted), least))
        return None
    occupied = None if held is None else _occupied(held, day.number["instrument_height_m"][station])
    scale = _scale(source, values)
    sights = _sights(source, day, backs, values, (occupied, scale))
    fit = fit_setup(sights, occupied, source.survey.random_horizontal_sd_m)
    if not fit.determined:
        marks.problems.add(checks.undetermined(source, row, name, len(backs)))
        return None
    if not np.isfinite(fit.axis):
        marks.problems.add(checks.height_unknown(source, row, name))
        return None
    axis = float("nan") if occupied is None else occupied.axis
    points = [value.point for value in values]
    return Fitted(station, backs, points, sights.place, fit, scale, sights.axis_sd, axis)


def _occupied(held: ControlValue, instrument_height_m: float) -> Occupied:
    axis = np.nan if held.height is None else held.height + instrument_height_m
    place = np.array([held.easting, held.northing])
    return Occupied(place, held.sd_m, float(axis), held.height_sd_m or held.sd_m)


def _sights(
    source: Source,
    day: Day,
    backs: Ints,
    values: Sequence[ControlValue],
    setup: tuple[Occupied | None, float],
) -> Sights:
    """Return back-sights reduced to the grid; a mark's error counts once, however often seen."""
    occupied, scale = setup
    place = np.array([(v.easting, v.northing) for v in values], dtype=float)
    height = np.array([np.nan if v.height is None else v.height for v in values], dtype=float)
    own = None if occupied is None else occupied.place
    level, rise = _level(day, backs, place, own, scale)
    often = np.sqrt([sum(w.point == v.point for w in values) for v in values])
    height_sd = np.array([v.height_sd_m or v.sd_m for v in values], dtype=float) * often
    random = max(source.survey.random_vertical_sd_m, LEAST_SD_M)
    return Sights(
        place=place,
        sd=np.array([v.sd_m for v in values], dtype=float) * often,
        circle=day.circle[backs],
        distance=level * scale,
        axis=height - rise,
        axis_sd=np.sqrt(height_sd**2 + random**2 + (ANGLE_SD_RAD * np.nan_to_num(level)) ** 2),
    )


def _scale(source: Source, values: Sequence[ControlValue]) -> float:
    """Return grid length over level length at a setup: the grid's scale, and down to sea level."""
    east, north = (
        np.array([np.mean(part)])
        for part in zip(*[(v.easting, v.northing) for v in values], strict=True)
    )
    heights = [value.height for value in values if value.height is not None]
    up = float(np.mean(heights)) if heights else 0.0
    factor = crs.grid_factors(str(source.survey.crs), east, north)[1][0]
    return float(factor * EARTH_RADIUS_M / (EARTH_RADIUS_M + up))


def _level(
    day: Day, rows: Ints, place: Array, own: Array | None, scale: float
) -> tuple[Array, Array]:
    """Return level distances, NaN where not measured, and rises from axis to mark.

    From an occupied mark, a sight without distance still gives the height, by the marks' places.
    """
    level, rise = reduce_slope(day.slope[rows], day.zenith[rows])
    if own is not None:
        flat = np.hypot(*(place - own).T) / scale
        _, other = reduce_slope(flat / np.sin(day.zenith[rows]), day.zenith[rows])
        rise = np.where(np.isfinite(rise), rise, other)
    return level, rise - day.number["target_height_m"][rows]


def _reduced(source: Source, day: Day, fitted: Sequence[Fitted]) -> tuple[Array, Array]:
    """Return places of all shots and their sds, shape (rows, 3), NaN in other rows."""
    xyz = np.full((len(day.row), 3), np.nan)
    sd = np.full((len(day.row), 3), np.nan)
    survey = source.survey
    for setup in fitted:
        rows = day.rows_of(int(day.setup[setup.station]), "shot")
        level, rise = reduce_slope(day.slope[rows], day.zenith[rows])
        bearing, grid = day.circle[rows] + setup.fit.x[2], level * setup.scale
        offset = np.column_stack([grid * np.sin(bearing), grid * np.cos(bearing)])
        xyz[rows, :2] = setup.fit.x[:2] + offset
        xyz[rows, 2] = setup.fit.axis + rise - day.number["target_height_m"][rows]
        own = [survey.random_horizontal_sd_m] * 2 + [survey.random_vertical_sd_m]
        angle = (ANGLE_SD_RAD * level[:, None]) ** 2
        shared = shot_variances(setup.fit, offset)
        sd[rows] = np.sqrt(shared + np.maximum(own, LEAST_SD_M) ** 2 + angle)
    return xyz, sd


def _account(day: Day, setup: Fitted) -> dict[str, Any]:
    """Return a setup for the record, JSON-ready."""
    fit = setup.fit
    sds = np.sqrt(np.diag(fit.covariance))
    return {
        "row": int(day.row[setup.station]),
        "station": day.point[setup.station],
        "orientation_deg": float(np.degrees(fit.x[2]) % 360),
        "easting": float(fit.x[0]),
        "northing": float(fit.x[1]),
        "axis_height": float(fit.axis),
        "easting_sd_m": float(sds[0]),
        "northing_sd_m": float(sds[1]),
        "orientation_sd_deg": float(np.degrees(sds[2])),
        "axis_height_sd_m": float(fit.axis_sd),
        "grid_scale": setup.scale,
        "redundancy": fit.redundancy + max(fit.height_redundancy, 0),
        "back_sights": [
            {
                "row": int(day.row[row]),
                "mark": setup.marks[k],
                "along_m": _number(fit.along[k]),
                "across_m": _number(fit.across[k]),
                "height_m": _number(fit.height[k]),
                "set_aside": k in fit.off or k in fit.off_height,
            }
            for k, row in enumerate(setup.backs)
        ],
    }


def _number(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _items(source: Source, day: Day, reduced: tuple[Array, Ints], problems: Problems) -> Found:
    """Return shots as points, or strung into lines where the survey holds lines."""
    xyz, checked = reduced
    line = day.text["line"].to_numpy()
    taken = (day.kind == "shot") & picked(source, list(day.text["code"]), problems, "code")
    taken[checked] &= line[checked] != ""
    cells = day.text.assign(point=day.point, kind=day.text["code"])
    shapes, first, loose = [], [], []
    for places in _strings(source, line, np.flatnonzero(taken), day.number["sequence"]):
        if len(places) > 1:
            shapes.append(shapely.LineString(xyz[_closed(source, places)]))
        elif "Point" in SHAPES.get(source.survey.holds, ("Point",)):
            shapes.append(shapely.Point(xyz[places[0]]))
        else:
            loose.append(int(places[0]))
            continue
        first.append(int(places[0]))
    if loose:
        alone = np.array(loose, dtype=np.int64)
        problems.add(checks.without_line(source, day, alone, int(taken.sum())))
    geometry = np.array(shapes, dtype=object)
    return Found(cells.iloc[first].reset_index(drop=True), geometry, day.row[first], len(day.row))


def _strings(
    source: Source, line: npt.NDArray[np.object_], places: Ints, sequence: Array
) -> Iterator[Ints]:
    """Yield the places of each line's shots, in the order of their sequence, else of the file."""
    points = SHAPES.get(source.survey.holds, ("Point",)) == ("Point",)
    keys = [f"row {k}" if points or not line[k] else f"line {line[k]}" for k in places]
    for _, part in pd.Series(places).groupby(keys, sort=False):
        at = part.to_numpy(np.int64)
        yield at[np.argsort(sequence[at], kind="stable")]


def _closed(source: Source, places: Ints) -> Ints:
    """Return a trench outline's places with the first again at the end, others as they are."""
    ring = source.survey.holds == "trench_outlines" and len(places) > 2
    return np.append(places, places[0]) if ring else places
