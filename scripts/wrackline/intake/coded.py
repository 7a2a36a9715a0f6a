"""Coded point tables strung into lines: points in the order of their numbers, or of the file."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely

from wrackline.errors import Fault
from wrackline.intake.drawings import picked
from wrackline.intake.item_checks import SHAPES
from wrackline.intake.item_tables import PointTable, read_point_table
from wrackline.intake.readings import Found
from wrackline.intake.rows import column_of, numbers_in, texts_of
from wrackline.intake.units import metres_in_numbers, plane_factor
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

LONG_STEP, LONG_STEP_M = 10.0, 10.0
"""A step is long beyond this many times the median of its line's other steps, and this length."""

RUNNING = 0.8
"""Share of a line's steps of number that makes its numbers an unbroken run."""


@dataclass(frozen=True)
class Coded:
    """Points that were picked: line, number along it, code and place, in the file's order.

    `number` is NaN where there is none, or all NaN where the file has no such column; `taken` are
    the numbers of all rows of the file where they run on from line to line, none where each line
    begins anew.
    """

    line: npt.NDArray[np.object_]
    number: Array
    code: npt.NDArray[np.object_]
    xyz: Array
    row: Ints
    taken: Array


def read_coded(source: Source, problems: Problems) -> Found | None:
    """Return a coded table's lines (points, where the survey holds points), or None with a fault.

    Parameters
    ----------
    source : Source
    problems : Problems

    Returns
    -------
    Found or None
        Attributes of a line are those of its first point, with `line`, and its code as `kind`.
        Outlines of trenches are closed: their corners are measured once each.
    """
    table = read_point_table(source, problems)
    if table is None:
        return None
    coded = _coded(source, table, problems)
    kept = picked(source, [str(code) for code in coded.code], problems, "code")
    cells = table.cells.assign(line=coded.line)
    if "kind" not in cells:
        cells = cells.assign(kind=coded.code)
    shapes, firsts = [], []
    named = bool(np.any(coded.line != ""))
    for at in _strings(source, coded, kept):
        ordered = _in_order(source, coded, at, problems)
        if len(at) > 1:
            _check_steps(source, coded, ordered, problems)
        elif named and "Point" not in SHAPES[source.survey.holds]:
            problems.add(_lone_point(source, coded, int(at[0])))
            continue
        shapes.append(_shape(source, coded.xyz[ordered]))
        firsts.append(int(ordered[0]))
    first = np.array(firsts, dtype=np.int64)
    geometry = np.array(shapes, dtype=object)
    return Found(cells.iloc[first].reset_index(drop=True), geometry, coded.row[first], table.seen)


def _coded(source: Source, table: PointTable, problems: Problems) -> Coded:
    """Return a table's points with their lines, numbers and codes, by the columns of the config."""
    columns, rows = source.survey.columns, table.rows
    lines_needed = columns.line is not None or "Point" not in SHAPES[source.survey.holds]
    codes_needed = columns.code is not None or bool(source.survey.pick)
    line = texts_of(source, rows, columns.line or "line", problems, needed=lines_needed)
    code = texts_of(source, rows, columns.code or "code", problems, needed=codes_needed)
    wanted, needed = columns.sequence or "sequence", columns.sequence is not None
    place = column_of(source, rows, wanted, problems, needed=needed)
    texts = ["" if place is None else cells[place] for cells in rows.cells]
    number = numbers_in(source, texts, rows.row, str(wanted), problems)
    there = np.isin(rows.row, table.row)
    return Coded(
        np.array(line, dtype=object)[there],
        number[there],
        np.array(code, dtype=object)[there],
        table.xyz,
        table.row,
        _running(number),
    )


def _running(number: Array) -> Array:
    """Return the numbers of a file in which none stands twice, else none."""
    there = number[np.isfinite(number)]
    return there if len(np.unique(there)) == len(there) else there[:0]


def _strings(source: Source, coded: Coded, kept: npt.NDArray[np.bool_]) -> Iterator[Ints]:
    """Yield the places of each line's points, in the file's order."""
    at = np.flatnonzero(kept)
    alone = SHAPES[source.survey.holds] == ("Point",)
    keys = [f"row {k}" if alone or coded.line[k] == "" else f"line {coded.line[k]}" for k in at]
    for _, part in pd.Series(at).groupby(keys, sort=False):
        yield part.to_numpy(np.int64)


def _shape(source: Source, xyz: Array) -> shapely.Geometry:
    if len(xyz) == 1:
        return shapely.Point(xyz[0])
    closed = source.survey.holds == "trench_outlines" and len(xyz) > 2
    ring = closed and not np.array_equal(xyz[0, :2], xyz[-1, :2])
    return shapely.LineString(np.vstack([xyz, xyz[:1]]) if ring else xyz)


def _in_order(source: Source, coded: Coded, at: Ints, problems: Problems) -> Ints:
    """Return a line's points in the order of their numbers; numbers that can't be right named."""
    number = coded.number[at]
    if len(at) < 2 or np.isnan(number).all():
        return at
    for k in at[np.isnan(number)]:
        problems.add(_no_sequence(source, coded, int(k)))
    ordered = at[np.argsort(number, kind="stable")]
    number = coded.number[ordered]
    for k in np.flatnonzero(np.diff(number) == 0):
        problems.add(_sequence_twice(source, coded, ordered[k : k + 2]))
    _check_gaps(source, coded, ordered, problems)
    return ordered


def _check_gaps(source: Source, coded: Coded, ordered: Ints, problems: Problems) -> None:
    """Name numbers that are skipped in a run that is otherwise unbroken, and stand nowhere else."""
    number = coded.number[ordered]
    steps = np.diff(number)
    if len(steps) < 3 or not (number % 1 == 0).all():
        return
    usual = float(np.median(steps))
    if usual <= 0 or np.mean(steps == usual) < RUNNING:
        return
    for k in np.flatnonzero((steps > usual) & (steps % usual == 0)):
        lost = np.arange(number[k] + usual, number[k + 1], usual)
        lost = lost[~np.isin(lost, coded.taken)]
        if len(lost):
            problems.add(_sequence_gap(source, coded, int(ordered[k]), lost))


def _check_steps(source: Source, coded: Coded, ordered: Ints, problems: Problems) -> None:
    """Name steps of a line that are far longer than its others."""
    factor = plane_factor(source) * metres_in_numbers(source)
    steps = np.hypot(*np.diff(coded.xyz[ordered, :2], axis=0).T) * factor
    for k in np.flatnonzero(steps > LONG_STEP_M):
        others = np.delete(steps, k)
        if len(others) > 1 and steps[k] > LONG_STEP * np.median(others):
            pair = ordered[k : k + 2]
            between = coded.line[min(pair) + 1 : max(pair)]
            parted = bool(np.any(between != coded.line[pair[0]]))
            problems.add(_long_step(source, coded, pair, float(steps[k]), reused=parted))


def _at(source: Source, coded: Coded, k: int) -> tuple[float, float]:
    x, y = coded.xyz[k, :2] * plane_factor(source)
    return float(x), float(y)


def _lone_point(source: Source, coded: Coded, k: int) -> Fault:
    name = coded.line[k]
    return source.suspicion(
        "lone_point",
        f"line '{name}' of one point" if name else "a point without the name of a line",
        "two points or more a line",
        "it is left out: one point is no line",
        "look for a misspelt line name, or a code that was not picked",
        row=int(coded.row[k]),
        at=_at(source, coded, k),
    )


def _no_sequence(source: Source, coded: Coded, k: int) -> Fault:
    return source.fault(
        "no_sequence",
        f"a point of line '{coded.line[k]}' without a number, where others of it have one",
        "a number for every point of a line, or for none",
        "it would be strung to the line's end",
        "fill the number in, or take the column out of the config for the file's order",
        row=int(coded.row[k]),
        at=_at(source, coded, k),
    )


def _sequence_twice(source: Source, coded: Coded, pair: Ints) -> Fault:
    one, other = (int(coded.row[k]) for k in pair)
    return source.fault(
        "sequence_twice",
        f"number {coded.number[pair[0]]:g} twice in line '{coded.line[pair[0]]}', "
        f"in rows {min(one, other)} and {max(one, other)}",
        "each number once in a line",
        "it would be left to chance which of the points comes first",
        "mend the number; or is one of them a point of another line?",
        row=max(one, other),
        at=_at(source, coded, int(pair[1])),
    )


def _sequence_gap(source: Source, coded: Coded, k: int, lost: Array) -> Fault:
    shown = ", ".join(f"{number:g}" for number in lost[:5])
    return source.suspicion(
        "sequence_gap",
        f"no number {shown} in line '{coded.line[k]}', whose numbers run on otherwise",
        "numbers without a gap, or points that were left out on purpose",
        "the line runs straight past the place of what is missing",
        "look for the point in the field book",
        row=int(coded.row[k]),
        at=_at(source, coded, k),
    )


def _long_step(source: Source, coded: Coded, pair: Ints, length_m: float, *, reused: bool) -> Fault:
    name = coded.line[pair[0]]
    return source.suspicion(
        "line_reused" if reused else "long_step",
        f"{length_m:.1f} m in one step of line '{name}', far longer than its others"
        + (", with rows of other lines between" if reused else ""),
        "one name a line, points in the order of the wall",
        "a wall would be drawn where none was seen",
        "give the second line its own name" if reused else "look for a wrong line name or number",
        row=int(coded.row[pair[1]]),
        at=_at(source, coded, int(pair[1])),
    )
