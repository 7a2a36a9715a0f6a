"""Water-level records: the gauge's CSV, checked for what would bend every depth."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import islice
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault, InputError
from wrackline.intake.clock_slips import ClockSlip, clock_slip
from wrackline.intake.slips import better_separator, header_match, split_line
from wrackline.intake.texts import MISSING, utc_seconds
from wrackline.model import WaterHolds
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

SPIKE_M, SPIKE_MADS = 0.15, 6.0
"""A reading is off by more than both: a distance, and so many scaled median deviations."""
MARK_M = 50.0
"""A few levels this far from the middle of all are marks of a missing one (no source)."""
STUCK_H = 12.0
"""No tide stands still for so long [h]."""
LARGEST_RANGE_M = 18.0
"""The largest tides known range over about 16 m (from memory); beyond it a unit is wrong."""
LONGEST_HALF_TIDE_H, SHORTEST_HALF_TIDE_H = 16.0, 2.5
"""From high to low water: about 6 h, or 12 where there is one tide a day, and more or less where
two unequal ones mix (common practice, no source); over a longer time a water is missing."""
SURGE_MULTIPLE = 2 * np.sqrt(2)
"""At a range of so many sds of the surge a cosine tide varies as much as the surge does; with less,
most of the level's changes aren't in a table of high and low waters."""


@dataclass(frozen=True)
class WaterRecord:
    """Level of the water above the gauge's zero.

    Attributes
    ----------
    time : array, shape (n,)
        UTC, in seconds since 1970, increasing.
    level : array, shape (n,)
        Level [m].
    holds : {"levels", "high_and_low", "mean_level"}
        What the level is between readings, as the config's `water_level_holds` has it.
    """

    time: Array
    level: Array
    holds: WaterHolds = "levels"


def known(time: Array, record: WaterRecord, *, max_gap_min: float) -> Flags:
    """Tell at which instants a record knows the level.

    Parameters
    ----------
    time : array, shape (n,)
        UTC, in seconds since 1970.
    record : WaterRecord
    max_gap_min : float
        Longest gap of the record that is interpolated across [minutes]; of high and low waters,
        half a tide, if that is longer.

    Examples
    --------
    >>> record = WaterRecord(np.array([0.0, 3600, 14400]), np.array([1.0, 1.6, 1.0]))
    >>> known(np.array([-1.0, 1200, 3600, 7200]), record, max_gap_min=60)
    array([False,  True,  True, False])
    """
    after = np.clip(np.searchsorted(record.time, time, side="left"), 1, len(record.time) - 1)
    gap = record.time[after] - record.time[after - 1]
    on_record = (time == record.time[after]) | (time == record.time[after - 1])
    inside = (time >= record.time[0]) & (time <= record.time[-1])
    if record.holds == "mean_level":
        return np.asarray(inside, dtype=bool)
    least_s = 3600.0 * LONGEST_HALF_TIDE_H if record.holds == "high_and_low" else 0.0
    return np.asarray(inside & (on_record | (gap <= max(60.0 * max_gap_min, least_s))), dtype=bool)


def record_of(source: Source) -> WaterRecord | None:
    """Return a survey's water-level record, None where it needs none.

    Raises
    ------
    InputError
        When it is bad: with all that is wrong with it.
    """
    if source.survey.vertical.water_level is None:
        return None
    problems = Problems()
    record = read_water(source, problems, doubts=False)
    if record is None:
        raise InputError(problems.listed())
    return record


def read_water(source: Source, problems: Problems, *, doubts: bool = True) -> WaterRecord | None:
    """Read the water-level record of a survey; None, with faults in `problems`, when it is bad.

    Parameters
    ----------
    source : Source
    problems : Problems
    doubts : bool
        Whether to look for what is suspicious, too.
    """
    file = str(source.survey.vertical.water_level)
    path = source.folder / Path(file)
    try:
        laid_out = _layout(source, file, path)
        if laid_out is not None:
            problems.add(laid_out)
            return None
        table = pd.read_csv(
            path, dtype=str, keep_default_na=False, encoding="utf-8-sig", index_col=False
        )
    except (OSError, UnicodeDecodeError, pd.errors.ParserError, pd.errors.EmptyDataError) as slip:
        problems.add(_unreadable(source, file, type(slip).__name__))
        return None
    names = [str(name) for name in table.columns]
    at_time, at_level = (_column(name, names) for name in ("time", "level_m"))
    if at_time is None or at_level is None:
        problems.add(_no_columns(source, file, names))
        return None
    table = pd.DataFrame({"time": table.iloc[:, at_time], "level_m": table.iloc[:, at_level]})
    table = table[~table["level_m"].str.strip().str.lower().isin(MISSING)]
    rows = table.index.to_numpy(dtype=np.int64) + 2
    meant = source.survey.vertical
    time = utc_seconds(table["time"].str.strip(), meant.water_level_utc_offset_h)
    record = WaterRecord(time, _levels(table["level_m"]), meant.water_level_holds)
    faults = _row_faults(source, file, table, record) or _whole_faults(source, file, record, rows)
    problems.extend(faults)
    if faults:
        return None
    if doubts and record.holds == "levels":
        problems.extend(_doubts(source, file, record, rows))
    return record


def _whole_faults(source: Source, file: str, record: WaterRecord, rows: Ints) -> list[Fault]:
    """Return what only the whole record shows: its unit, and what high and low waters must be."""
    if _daily_range(record.time, record.level) > LARGEST_RANGE_M:
        return [_unit(source, file, record.level)]
    if record.holds == "levels":
        return []
    change = np.diff(record.level)
    same_way = np.flatnonzero(np.concatenate([change[:-1] * change[1:] >= 0, [False]])) + 1
    hours = float(np.median(np.diff(record.time))) / 3600.0
    if hours < SHORTEST_HALF_TIDE_H:
        return [_no_turns(source, file, f"rows every {60 * hours:.0f} minutes", None)]
    if len(same_way):
        row = int(rows[same_way[0]])
        return [_no_turns(source, file, f"a level in row {row} between a lower and a higher", row)]
    surge = source.survey.vertical.water_level_surge_sd_m or 0.0
    tide = float(np.median(np.abs(change)))
    if record.holds == "high_and_low" and tide < SURGE_MULTIPLE * surge:
        return [_small_tide(source, file, tide, surge)]
    return []


def _levels(texts: pd.Series) -> Array:
    """Return levels as numbers; NaN where a text is none, or a mark of one, far off all others."""
    level = pd.to_numeric(texts.str.strip(), errors="coerce").to_numpy(dtype=float, copy=True)
    there = np.isfinite(level)
    if there.any():
        marks = there & (np.abs(level - np.median(level[there])) > MARK_M)
        level[marks & (marks.sum() < 0.1 * there.sum())] = np.nan
    return level


def _column(wanted: str, names: list[str]) -> int | None:
    match = header_match(wanted, names)
    return match.place if match is not None and match.how in ("exact", "alike") else None


def _layout(source: Source, file: str, path: Path) -> Fault | None:
    """Return the fault of a record that is not separated by commas, or has them for decimals."""
    with path.open(encoding="utf-8-sig") as stream:
        lines = [line.rstrip("\r\n") for line in islice(stream, 20) if line.strip()][:5]
    right = better_separator(lines, "comma")
    if right is not None:
        return _wrong_separator(source, file, right)
    widths = [len(split_line(line, "comma")) for line in lines]
    if len(widths) > 1 and min(widths[1:]) > widths[0]:
        return _commas(source, file, lines[1])
    return None


def _daily_range(time: Array, level: Array) -> float:
    """Return the median over days of the range of levels, in the record's own unit."""
    day = np.floor(time / 86_400.0)
    starts = np.concatenate([[0], np.flatnonzero(np.diff(day)) + 1])
    ranges = np.maximum.reduceat(level, starts) - np.minimum.reduceat(level, starts)
    return float(np.median(ranges))


def _doubts(source: Source, file: str, record: WaterRecord, rows: Ints) -> list[Fault]:
    """Return suspicions about a readable record: lone readings, a float that hung, its clock."""
    lone = np.flatnonzero(_spikes(record))
    doubts = [
        _spike(source, file, int(rows[at]), float(record.level[at]))
        for at in lone
        if len(lone) <= max(4, len(record.level) // 50)
    ]
    stuck = _hung(record)
    if stuck is not None:
        first, last = stuck
        hours = float(record.time[last] - record.time[first]) / 3600.0
        words = f"{record.level[first]:g} m for {hours:.0f} hours, in rows {rows[first]} to "
        doubts.append(_stuck(source, file, f"{words}{rows[last]}", int(rows[first])))
    if _turns_alone(record):
        doubts.append(_turns_for_levels(source, file, record))
    slip = clock_slip(record.time, record.level) if stuck is None else None
    if slip is not None:
        doubts.append(_slipped(source, file, slip, int(rows[slip.reading])))
    return doubts


def _turns_alone(record: WaterRecord) -> bool:
    """Tell whether a record of levels holds nothing but high and low waters."""
    hours = np.diff(record.time) / 3600.0
    change = np.diff(record.level)
    in_turn = len(change) > 1 and bool((change[1:] * change[:-1] < 0).all())
    return in_turn and SHORTEST_HALF_TIDE_H <= float(np.median(hours)) <= LONGEST_HALF_TIDE_H


def _spikes(record: WaterRecord) -> Flags:
    """Tell readings that differ from those around them beyond the record's own bends.

    Two measures: off the median of five (finds pairs too), and off what the neighbours on both
    sides, and those on either side alone, lead to (sees through the bends of a tide read hourly).
    Their scales are medians of the record's own (Hampel's identifier with these scales is our
    choice, no source); readings beside a gap are left alone.
    """
    level, count = record.level, len(record.level)
    if count < 7:
        return np.zeros(count, dtype=bool)
    around = np.lib.stride_tricks.sliding_window_view(np.pad(level, 2, mode="edge"), 5)
    off = np.abs(level - np.median(around, axis=1))
    spikes = off > _spike_limit(np.abs(np.diff(level, n=2)))
    led = np.abs(np.lib.stride_tricks.sliding_window_view(level, 7) @ LED_FROM.T)
    beside = np.lib.stride_tricks.sliding_window_view(np.pad(led[:, 0], 2), 5).max(axis=1)
    highest = led[:, 0] >= beside  # a spike draws what its neighbours lead to, by less
    spikes[3:-3] |= highest & (led.min(axis=1) > _spike_limit(led[:, 0]))
    step = np.diff(record.time)
    wide = np.concatenate([[False], step > 3 * np.median(step), [False]])
    return np.asarray(spikes & ~wide[:-1] & ~wide[1:], dtype=bool)


LED_FROM = np.array(
    [
        [0, 1 / 6, -4 / 6, 1, -4 / 6, 1 / 6, 0],
        [-1, 3, -3, 1, 0, 0, 0],
        [0, 0, 0, 1, -3, 3, -1],
    ]
)
"""A reading less the cubic through two on either side, and less the parabola of three before it or
after it."""


def _spike_limit(off: Array) -> float:
    return max(SPIKE_M, SPIKE_MADS * 1.4826 * float(np.median(off)))


def _hung(record: WaterRecord) -> tuple[int, int] | None:
    """Return first and last reading of the longest run of equal levels, where it is no calm."""
    starts = np.concatenate([[0], np.flatnonzero(np.diff(record.level) != 0) + 1])
    ends = np.concatenate([starts[1:], [len(record.level)]]) - 1
    hours = (record.time[ends] - record.time[starts]) / 3600.0
    longest = int(hours.argmax())
    first, last = int(starts[longest]), int(ends[longest])
    usual = float(np.median(np.delete(hours, longest))) if len(hours) > 1 else np.inf
    if hours[longest] > STUCK_H and last - first >= 6 and usual < 2.0 and len(hours) >= 10:
        return first, last
    return None


def _row_faults(source: Source, file: str, table: pd.DataFrame, record: WaterRecord) -> list[Fault]:
    """Return a fault for each row that is no time, no number or out of order, at most one each."""
    time, level = record.time, record.level
    again = _hours_again(time)
    checks = {
        "water_no_time": (~np.isfinite(time), "time", "date and time of day as ISO 8601"),
        "water_no_level": (~np.isfinite(level), "level_m", "a finite number of metres"),
        "water_order": (
            np.concatenate([[False], ~(np.diff(time) > 0)]) & np.isfinite(time),
            "time",
            "times that increase from row to row",
        ),
    }
    faults = [
        source.fault(
            kind,
            f"'{table[column].iloc[int(np.flatnonzero(bad)[0])]}' as {column}"
            + (f", and {int(bad.sum()) - 1} rows more" if bad.sum() > 1 else ""),
            allowed,
            "depths taken at that time would be reduced by a wrong level",
            f"the clock was put back by {again:g} h there, as at the end of summer time: write the "
            "times in one time for the whole record"
            if again and kind == "water_order"
            else "mend the record, or leave the row out: gaps are known as gaps",
            file=file,
            row=int(table.index[np.flatnonzero(bad)[0]]) + 2,
        )
        for kind, (bad, column, allowed) in checks.items()
        if bad.any()
    ]
    if len(table) < 2:
        faults.append(_too_short(source, file, len(table)))
    return faults


def _hours_again(time: Array) -> float:
    """Return by how many hours, whole or half, times step back, 0 where they don't once."""
    step = np.diff(time)
    back = step[step <= 0]
    if len(back) != 1 or len(step) < 4:
        return 0.0
    hours = (float(np.median(step)) - float(back[0])) / 3600.0
    whole = round(2 * hours) / 2
    return whole if 0 < whole <= 2 and abs(hours - whole) < 1 / 30 else 0.0


def _unreadable(source: Source, file: str, slip: str) -> Fault:
    missing = slip == "FileNotFoundError"
    return source.fault(
        "water_missing" if missing else "water_unreadable",
        "no such file" if missing else f"no readable CSV ({slip})",
        "a CSV in UTF-8 with columns time, level_m",
        "depths below the water's surface can't be brought to a datum",
        "put the record where vertical.water_level says",
        file=file,
    )


def _no_columns(source: Source, file: str, names: list[str]) -> Fault:
    return source.fault(
        "water_columns",
        f"columns {', '.join(names[:8])}",
        "columns time (ISO 8601) and level_m (metres above the gauge's zero), by comma",
        "depths below the water's surface can't be brought to a datum",
        "rename the columns",
        file=file,
        row=1,
    )


def _too_short(source: Source, file: str, rows: int) -> Fault:
    return source.fault(
        "water_too_short",
        f"{rows} rows",
        "at least two levels, before and after the soundings",
        "the level at the soundings' time can't be had",
        "get the whole record from the gauge's keeper",
        file=file,
    )


def _wrong_separator(source: Source, file: str, right: str) -> Fault:
    return source.fault(
        "wrong_separator",
        f"a record separated by {right}",
        "commas between columns, a point as decimal mark",
        "depths below the water's surface can't be brought to a datum",
        "export the record as CSV with commas",
        file=file,
        row=1,
    )


def _commas(source: Source, file: str, line: str) -> Fault:
    return source.fault(
        "decimal_comma",
        f"more cells in the rows than in the header: '{line[:60]}'",
        "commas between columns, a point as decimal mark",
        "levels would lose their decimals",
        "export the record with a decimal point",
        file=file,
        row=2,
    )


def _unit(source: Source, file: str, level: Array) -> Fault:
    return source.fault(
        "water_unit",
        f"levels from {level.min():g} to {level.max():g}, over {LARGEST_RANGE_M:g} apart on most "
        "days",
        "level_m in metres",
        "every depth would be wrong by tens of metres",
        "divide the levels by 100 (centimetres) or 1000 (millimetres)",
        file=file,
    )


def _spike(source: Source, file: str, row: int, level: float) -> Fault:
    return source.suspicion(
        "water_spike",
        f"a level of {level:g} m, alone against its neighbours",
        f"levels that follow the water; a single one is off by no more than {SPIKE_M:g} m",
        "soundings around that time take it as it is: the reading was not removed",
        "ask the gauge's keeper; leave the row out if it is a slip",
        file=file,
        row=row,
    )


def _stuck(source: Source, file: str, found: str, row: int) -> Fault:
    return source.suspicion(
        "water_stuck",
        found,
        f"levels that move, as in the rest of the record, at least every {STUCK_H:g} hours",
        "a float that hung would bend the depths of that time",
        "ask the gauge's keeper; leave those rows out if it hung",
        file=file,
        row=row,
    )


def _slipped(source: Source, file: str, slip: ClockSlip, row: int) -> Fault:
    way = "ahead of" if slip.hours > 0 else "behind"
    return source.suspicion(
        "water_clock_slip",
        f"tides that come {abs(slip.hours):g} h {'later' if slip.hours > 0 else 'earlier'} by the "
        f"record's clock from row {row} on",
        "one clock for the whole record, with one water_level_utc_offset_h",
        "soundings on one side of that row would be reduced by the level of another hour",
        f"find out whether the clock was set then (summer time, another logger): it seems to run "
        f"{abs(slip.hours):g} h {way} what it was; write all times in one time",
        file=file,
        row=row,
    )


def _no_turns(source: Source, file: str, found: str, row: int | None) -> Fault:
    holds = source.survey.vertical.water_level_holds
    return source.fault(
        "water_no_turn",
        f"{found}, where vertical.water_level_holds is '{holds}'",
        f"high and low waters in turn, hours apart (at least {SHORTEST_HALF_TIDE_H:g} in the "
        "middle of all)",
        "the curve between two waters would pass over one that is missing, or follow none",
        "write every high and low water with its time; for readings of the level in between, "
        "water_level_holds: levels",
        file=file,
        row=row,
    )


def _turns_for_levels(source: Source, file: str, record: WaterRecord) -> Fault:
    hours = float(np.median(np.diff(record.time))) / 3600.0
    return source.suspicion(
        "water_turns_alone",
        f"levels that rise and fall in turn, a row every {hours:.1f} h, taken for readings",
        "readings close enough to follow the tide",
        "between high and low water a straight line misses the tide by a tenth of its range",
        "if these are high and low waters: water_level_holds: high_and_low, with "
        "water_level_surge_sd_m",
        file=file,
    )


def _small_tide(source: Source, file: str, tide: float, surge: float) -> Fault:
    return source.fault(
        "water_small_tide",
        f"a tide of {tide:.2f} m from high to low water, beside a surge of sd {surge:g} m",
        f"a range of at least {SURGE_MULTIPLE:.1f} times the surge's sd, that is "
        f"{SURGE_MULTIPLE * surge:.2f} m: from there on the tide moves the water as much as "
        "weather does",
        "the curve would tell changes of level that weather hides",
        "get a gauge's record; or take the mean level, with the surge in its sd: "
        "water_level_holds: mean_level",
        file=file,
    )
