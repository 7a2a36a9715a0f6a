"""Tomorrow's list: places to measure again, in an order that makes a short way for a boat."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import numpy.typing as npt
from scipy.spatial import cKDTree

from wrackline.accuracy.cross_words import POLE_UNSTATED
from wrackline.accuracy.markup import Markup, table
from wrackline.accuracy.sketches import Sketch
from wrackline.errors import Fault
from wrackline.model import ControlValue, Site, Survey

Array = npt.NDArray[np.float64]

MERGE_M = 1.0
"""Places closer than this are one stop."""
REACH_M = 5.0
FAR_M = 2000.0
"""Places further than this from the middle of the surveys are blunders themselves: no stops."""
NEIGHBOURS = 5
"""Soundings whose median is the depth of a stop: the one that is doubted may be among them."""

BY_KIND: Mapping[str, str] = {
    "mark_misfit": "occupy the mark again and measure it from two others",
    "control_misfit": "occupy the mark again and measure it from two others",
    "mark_not_valid": "look whether the mark stands where it did",
    "mark_ambiguous": "look which of the marks this is",
    "survey_offset": "a check line or three check points across here, from a mark",
    "survey_tilt": "check points here and at the survey's far end, from a mark",
    "survey_shift": "measure a sharp corner or edge here again, from a mark",
    "survey_turn": "measure a sharp corner here and one far off again, from a mark",
    "block_off": "sound a line across these soundings again",
    "day_level_off": "sound a line across that day's soundings; read the gauge's staff",
    "clock_slip": "sound a line across earlier lines; set the clock by the satellite receiver",
    "pole_section": "shoot the point again, pole length read aloud",
    "check_shot_off": "shoot the check point again from both sides",
}
BY_HOLDS: Mapping[str, str] = {
    "wall_lines": "trace this stretch of wall again",
    "features": "measure this feature again",
    "floor_points": "measure the floor's height again",
    "probes": "probe again beside it",
    "trench_outlines": "measure the trench's corners again",
    "finds": "measure the find's place again",
    "picture": "measure two points that the picture shows",
    "bed_points": "sound again here",
    "bed_grid": "sound a few check points here",
}
WHOLE = ("survey_offset", "survey_tilt", "survey_shift", "survey_turn", "level_absurd")
"""Kinds about a whole survey: without a place of their own, its middle stands for it."""
AT_A_DESK = (
    *("same_survey_twice", "survey_inside_another", "line_twice", "line_inside_another"),
    *("axes_swapped", "wrong_zone", "far_from_site", "local_for_crs", "column_shifted"),
    *("feet_for_metres", "us_feet_for_metres", "millimetres_for_metres", "wrong_sign"),
    *("centimetres_for_metres", "degrees_for_metres", "metres_for_degrees", "scale_of_grid"),
    *("repeated_rows", "date_outside", POLE_UNSTATED),
)
"""Kinds that are slips of files and config: nothing on the site mends them."""


def standing_marks(control: Sequence[ControlValue]) -> list[ControlValue]:
    """Return the last known value of each mark that is neither moved nor lost, in given order.

    Parameters
    ----------
    control : sequence of ControlValue
    """
    last: dict[str, ControlValue] = {}
    for value in control:
        known = last.get(value.point)
        if known is None or str(value.from_date or "") >= str(known.from_date or ""):
            last[value.point] = value
    return [value for value in last.values() if value.fate not in ("moved", "lost")]


def remeasure(
    faults: Sequence[Fault],
    sketches: Sequence[Sketch],
    *,
    surveys: Mapping[str, Survey],
    site: Site,
    control: Sequence[ControlValue] = (),
) -> list[dict[str, Any]]:
    """Return the stops of tomorrow's list, in the order of the way.

    The way goes from the first mark, or from the westernmost place, to the nearest place that is
    left, and so on. Places within `MERGE_M` are one stop; what lies beyond `FAR_M` is none.

    Parameters
    ----------
    faults : sequence of Fault
        All faults and suspicions; their numbers are their order, from 1.
    sketches : sequence of Sketch
    surveys : mapping of str to Survey
        By identifier.
    site : Site
    control : sequence of ControlValue

    Returns
    -------
    list of dict
        ``stop`` (from 1), ``easting``, ``northing`` [m], ``depth_m`` below the site's sea level or
        None, ``depth_from`` (``"stated"``, ``"soundings"`` or None), ``what`` (list of str),
        ``why`` (list of ``number``, ``kind``, ``survey``, ``file``, ``row``), and ``mark``,
        ``mark_m``, ``mark_bearing_deg``: the nearest mark, with distance [m] and grid bearing from
        it [degrees]; None without marks.
    """
    places = [_place(fault, sketches) for fault in faults]
    near = [(k, at) for k, at in enumerate(places) if at is not None and _is_near(at, sketches)]
    stops = _merged(near)
    marks = standing_marks(control)
    start = (marks[0].easting, marks[0].northing) if marks else None
    below = _depths([place for place, _ in stops], sketches, site)
    rows: list[dict[str, Any]] = []
    for at in short_way([place for place, _ in stops], start):
        place, members = stops[at]
        some = [(k + 1, faults[k]) for k in members]
        row = {"stop": len(rows) + 1, **_coordinates(place), **_depth(some, below[at])}
        rows.append({**row, **_work(some, surveys), **_mark(place, marks)})
    return rows


def _place(fault: Fault, sketches: Sequence[Sketch]) -> tuple[float, float] | None:
    """Return where a fault is to be looked at; of a whole survey, the place in its middle."""
    if fault.kind in AT_A_DESK:
        return None
    if fault.place is not None:
        return fault.place if np.isfinite(fault.place).all() else None
    mine = [sketch for sketch in sketches if sketch.name == fault.survey and len(sketch.places)]
    if fault.kind not in WHOLE or not mine:
        return None
    xy = mine[0].places
    away = np.hypot(*(xy - np.median(xy, axis=0)).T)
    nearest = xy[int(np.argmin(away))]
    return float(nearest[0]), float(nearest[1])


def _is_near(place: tuple[float, float], sketches: Sequence[Sketch]) -> bool:
    """Tell whether a place lies at the site, as most surveys show it."""
    middles = [np.median(sketch.places, axis=0) for sketch in sketches if len(sketch.places)]
    return not middles or bool(np.hypot(*(np.median(middles, axis=0) - place)) <= FAR_M)


Stop = tuple[tuple[float, float], list[int]]


def _merged(places: Sequence[tuple[int, tuple[float, float]]]) -> list[Stop]:
    """Return stops: the place of the first fault of each, and the faults within `MERGE_M`."""
    stops: list[Stop] = []
    for k, place in places:
        for other, members in stops:
            if np.hypot(place[0] - other[0], place[1] - other[1]) <= MERGE_M:
                members.append(k)
                break
        else:
            stops.append((place, [k]))
    return stops


def short_way(
    places: Sequence[tuple[float, float]], start: tuple[float, float] | None
) -> list[int]:
    """Return the order in which to visit places: always to the nearest that is left.

    Ties go to the more westerly, then the more southerly place.

    Parameters
    ----------
    places : sequence of tuple of float
        Easting and northing [m].
    start : tuple of float or None
        Where the way begins; at the westernmost place when None.

    Examples
    --------
    >>> short_way([(9.0, 0.0), (2.0, 0.0), (5.0, 0.0)], (0.0, 0.0))
    [1, 2, 0]
    """
    left = sorted(range(len(places)), key=lambda k: (places[k], k))
    here = start if start is not None else (places[left[0]] if left else (0.0, 0.0))
    order = []
    while left:
        away = [np.hypot(places[k][0] - here[0], places[k][1] - here[1]) for k in left]
        nearest = left.pop(int(np.argmin(away)))
        order.append(nearest)
        here = places[nearest]
    return order


def _coordinates(place: tuple[float, float]) -> dict[str, float]:
    return {"easting": round(place[0], 2), "northing": round(place[1], 2)}


def _depths(
    places: Sequence[tuple[float, float]], sketches: Sequence[Sketch], site: Site
) -> list[float | None]:
    """Return depths of the bed at places from soundings nearby, None without any [m]."""
    soundings = np.vstack([sketch.soundings for sketch in sketches] or [np.empty((0, 3))])
    if not len(soundings) or not places:
        return [None] * len(places)
    tree = cKDTree(soundings[:, :2])
    found = tree.query(np.array(places), k=NEIGHBOURS, distance_upper_bound=REACH_M)
    away, near = (np.asarray(part) for part in found)
    level = site.depth_level.height_m
    return [
        round(level - float(np.median(soundings[k[np.isfinite(d)], 2])), 1)
        if np.isfinite(d[0])
        else None
        for d, k in zip(away, near, strict=True)
    ]


def _depth(some: Sequence[tuple[int, Fault]], bed: float | None) -> dict[str, Any]:
    stated = [fault.depth_m for _, fault in some if fault.depth_m is not None]
    if stated:
        return {"depth_m": round(max(stated), 2), "depth_from": "stated"}
    return {"depth_m": bed, "depth_from": None if bed is None else "soundings"}


def _work(some: Sequence[tuple[int, Fault]], surveys: Mapping[str, Survey]) -> dict[str, Any]:
    what = [_what(fault, surveys.get(fault.survey)) for _, fault in some]
    why = [
        {"number": k, "kind": f.kind, "survey": f.survey, "file": f.file, "row": f.row}
        for k, f in some
    ]
    return {"what": list(dict.fromkeys(what)), "why": why}


def _what(fault: Fault, survey: Survey | None) -> str:
    other = "look at this place again" if survey is None else BY_HOLDS[survey.holds]
    return BY_KIND.get(fault.kind, other)


def _mark(place: tuple[float, float], marks: Sequence[ControlValue]) -> dict[str, Any]:
    """Return the nearest mark, with distance and grid bearing from it to the place."""
    if not marks:
        return {"mark": None, "mark_m": None, "mark_bearing_deg": None}
    steps = [(place[0] - mark.easting, place[1] - mark.northing) for mark in marks]
    nearest = int(np.argmin([np.hypot(*step) for step in steps]))
    east, north = steps[nearest]
    return {
        "mark": marks[nearest].point,
        "mark_m": round(float(np.hypot(east, north)), 1),
        "mark_bearing_deg": round(float(np.degrees(np.arctan2(east, north))), 1) % 360.0,
    }


def as_html(rows: Sequence[Mapping[str, Any]], depths_below: str) -> Markup:
    """Return the list as a table of a page.

    Parameters
    ----------
    rows : sequence of mapping
        What `remeasure` returned.
    depths_below : str
        Name of the sea level that depths count from.
    """
    marked = any(row["mark"] is not None for row in rows)
    head = ["stop", "easting [m]", "northing [m]", "depth [m]", "what to measure", "why"]
    head += ["from the nearest mark"] if marked else []
    body = [
        [
            f"S{row['stop']}",
            f"{row['easting']:.2f}",
            f"{row['northing']:.2f}",
            _depth_words(row),
            "; ".join(row["what"]),
            _why_words(row),
            *([_mark_words(row)] if marked else []),
        ]
        for row in rows
    ]
    return table(head, body, caption=f"Depths below {depths_below}; ~ from soundings nearby.")


def as_text(rows: Sequence[Mapping[str, Any]]) -> str:
    """Return the list for a terminal, two or three lines a stop.

    Parameters
    ----------
    rows : sequence of mapping
        What `remeasure` returned.
    """
    lines = []
    for row in rows:
        depth = _depth_words(row)
        where = f"S{row['stop']}  E {row['easting']:.2f}  N {row['northing']:.2f}"
        lines.append(where + (f"  depth {depth} m" if depth else "  depth not known"))
        lines += [f"    {what}" for what in row["what"]]
        lines.append(f"    why: {_why_words(row)}")
        if row["mark"] is not None:
            lines.append(f"    from mark {_mark_words(row)}")
    return "\n".join(lines)


def _depth_words(row: Mapping[str, Any]) -> str:
    """Return a stop's depth, one that was taken from soundings nearby with a ~ before it.

    >>> _depth_words({"depth_m": 3.2, "depth_from": "soundings"})
    '~3.2'
    """
    if row["depth_m"] is None:
        return ""
    return f"~{row['depth_m']:.1f}" if row["depth_from"] == "soundings" else f"{row['depth_m']:.2f}"


def _why_words(row: Mapping[str, Any]) -> str:
    return "; ".join(
        f"[{why['number']}] {why['kind']}, {why['survey'] or why['file'] or 'the site'}"
        + (f" row {why['row']}" if why["row"] is not None else "")
        for why in row["why"]
    )


def _mark_words(row: Mapping[str, Any]) -> str:
    return f"{row['mark']}: {row['mark_m']:.1f} m, grid bearing {row['mark_bearing_deg']:.1f}°"
