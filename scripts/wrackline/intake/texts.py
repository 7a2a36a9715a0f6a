"""Text files as instruments write them: their encoding, and times with their clock."""

from __future__ import annotations

import codecs
import datetime as dt
import re
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]
Flags = npt.NDArray[np.bool_]

BLOCK = 1 << 20
ZONE = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"
SLASHED = r"^\s*(\d{1,2})[./-](\d{1,2})[./-](\d{4}|\d{2})(?!\d)"
DAY_S = 86_400.0
MISSING = ("", "nan", "na", "n/a", "#n/a", "null", "none")
"""Texts, in lower case, of a cell that holds no value (common practice, no source)."""


def encoding_of(source: Source, problems: Problems) -> str | None:
    """Return the encoding of a survey's text file, or None, with a fault, when it is no text.

    UTF-8 with or without byte order mark; failing that Latin-1, which is then a suspicion.
    """
    decoder = codecs.getincrementaldecoder("utf-8")()
    utf8 = True
    with source.path.open("rb") as stream:
        while block := stream.read(BLOCK):
            if b"\x00" in block:
                problems.add(_no_text(source))
                return None
            utf8 = utf8 and _decodes(decoder, block)
    if utf8 and _decodes(decoder, b"", final=True):
        return "utf-8-sig"
    problems.add(_latin(source))
    return "latin-1"


def _decodes(decoder: codecs.IncrementalDecoder, block: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(block, final)
    except UnicodeDecodeError:
        return False
    return True


def _no_text(source: Source) -> Fault:
    return source.fault(
        "not_text",
        "zero bytes, as in a spreadsheet, an archive or UTF-16",
        "a plain text table in UTF-8, or LAS, LAZ or a raster with its usual ending",
        "its numbers can't be read",
        "export it as CSV in UTF-8, or give the file its right ending",
    )


def _latin(source: Source) -> Fault:
    return source.suspicion(
        "not_utf8",
        "bytes that are not UTF-8",
        "UTF-8; the file was read as Latin-1",
        "names with accents may come out wrong; numbers are not touched",
        "save the file as UTF-8",
    )


def utc_seconds(texts: pd.Series, offset_h: float) -> Array:
    """Return times as UTC seconds since 1970; NaN where a text is no ISO 8601 time.

    Parameters
    ----------
    texts : Series of str, shape (n,)
        A time that names its own zone ('Z', '+02:00') is taken at its word.
    offset_h : float
        Hours that the clock is ahead of UTC, for times without a zone [h].

    Examples
    --------
    >>> utc_seconds(pd.Series(["1970-01-01T02:00", "1970-01-01T02:00Z", "noon"]), 2.0)
    array([   0., 7200.,   nan])
    """
    moments = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    seconds = (moments - pd.Timestamp(0, tz="UTC")).dt.total_seconds().to_numpy(dtype=float)
    own_zone = texts.str.contains(ZONE, regex=True).to_numpy(dtype=bool)
    # a date such as 2031-05-02 ends like a zone; a zone needs a clock time before it
    clock = texts.str.contains(":", regex=False).to_numpy(dtype=bool)
    return np.where(own_zone & clock, seconds, seconds - 3600.0 * offset_h)


def seconds_of_parts(parts: Sequence[Array]) -> Array:
    """Return seconds since 1970 of years, months, days, and hours, minutes, seconds if given.

    Parameters
    ----------
    parts : sequence of array, shape (n,) each
        Three to six, in that order; NaN where a cell is no number.

    Returns
    -------
    array, shape (n,)
        By the parts' own clock [s]; NaN where there is no such day or time of day.

    Examples
    --------
    The 29th of February was a day of 1972 and none of 1973:

    >>> seconds_of_parts([np.array([1972.0, 1973.0]), np.full(2, 2.0), np.full(2, 29.0)]) / 86400
    array([789.,  nan])
    """
    upper = (9999, 12, 31, 23, 59, 60)
    lower = (1000, 1, 1, 0, 0, 0)
    given = [np.asarray(part, dtype=float) for part in parts]
    given += [np.zeros_like(given[0])] * (6 - len(given))
    good = np.ones(len(given[0]), dtype=bool)
    for k, part in enumerate(given):
        with np.errstate(invalid="ignore"):
            good &= (part >= lower[k]) & (part <= upper[k]) & ((k == 5) | (part == np.floor(part)))
    year, month, day, hour, minute, second = (np.where(good, p, 1970.0) for p in given)
    first = (year - 1970).astype("datetime64[Y]").astype("datetime64[M]") + (
        np.where(good, month, 1.0) - 1
    ).astype("timedelta64[M]")
    date = first.astype("datetime64[D]") + (np.where(good, day, 1.0) - 1).astype("timedelta64[D]")
    good &= date.astype("datetime64[M]") == first
    whole = date.astype("datetime64[s]").astype(np.int64).astype(float)
    return np.where(good, whole + 3600.0 * hour + 60.0 * minute + second, np.nan)


class Clock:
    """Times of a table, read block by block, and what is wrong with them as a whole.

    Parameters
    ----------
    source : Source
        Its `vertical.time_utc_offset_h` is taken off times without a zone.
    """

    def __init__(self, source: Source) -> None:
        self._source = source
        self._odd: list[tuple[int, str]] = []
        self._count = {"odd": 0, "slashed": 0, "back": 0, "outside": 0, "all": 0}
        self._slashed: list[tuple[int, str]] = []
        self._most = [0, 0]
        self._first: dict[str, tuple[int, float]] = {}
        self._last = -np.inf

    def read(self, cells: Sequence[pd.Series], rows: Ints, good: Flags) -> Array:
        """Return UTC seconds of one block; NaN where a cell of a good row is no time.

        Parameters
        ----------
        cells : sequence of Series of str, shape (n,) each
            One column, two (date and time of day), or three to six from year to second.
        rows : array of int, shape (n,)
        good : array of bool, shape (n,)
            Rows that count.
        """
        offset_h = self._source.survey.vertical.time_utc_offset_h
        if len(cells) > 2:
            numbers = [pd.to_numeric(c, errors="coerce").to_numpy(dtype=float) for c in cells]
            seconds = seconds_of_parts(numbers) - 3600.0 * offset_h
        else:
            seconds = utc_seconds(_joined(cells, " "), offset_h)
        bad = good & ~np.isfinite(seconds)
        if bad.any():
            self._sort(_joined([c[bad] for c in cells], " "), rows[bad])
        there = good & np.isfinite(seconds)
        self._follow(seconds[there], rows[there])
        return seconds

    def _sort(self, texts: pd.Series, rows: Ints) -> None:
        """Tell dates in another order than ISO 8601's from what is no time at all."""
        found = texts.str.extract(SLASHED)
        dated = found[0].notna().to_numpy(dtype=bool)
        for k in (0, 1):
            self._most[k] = max(self._most[k], int(found.loc[dated, k].astype(float).max() or 0)
                                if dated.any() else 0)  # fmt: skip
        for name, chosen, kept in (
            ("slashed", dated, self._slashed),
            ("odd", ~dated, self._odd),
        ):
            self._count[name] += int(chosen.sum())
            if chosen.any() and not kept:
                first = int(np.flatnonzero(chosen)[0])
                kept.append((int(rows[first]), str(texts.iloc[first])))

    def _follow(self, seconds: Array, rows: Ints) -> None:
        """Take note of times that go back, and of those outside the survey's days."""
        if not len(seconds):
            return
        before = np.concatenate([[self._last], seconds[:-1]])
        survey = self._source.survey
        low, high = _day(survey.from_date) - DAY_S, _day(survey.to_date) + 2 * DAY_S
        for name, chosen in (
            ("back", seconds < before - 1.0),
            ("outside", (seconds < low) | (seconds >= high)),
        ):
            self._count[name] += int(chosen.sum())
            if chosen.any() and name not in self._first:
                first = int(np.flatnonzero(chosen)[0])
                self._first[name] = (int(rows[first]), float(seconds[first]))
        self._count["all"] += len(seconds)
        self._last = float(seconds[-1])

    def close(self, problems: Problems) -> None:
        """Say what was found wrong, once the table is read through."""
        count = self._count
        for row, text in self._odd:
            problems.add(_no_time(self._source, row, text), count["odd"] - 1)
        for row, text in self._slashed:
            problems.add(self._date_order(row, text))
        if 0 < count["back"] <= max(3, count["all"] // 1000):
            problems.add(self._backwards(*self._first["back"]))
        if count["outside"]:
            problems.add(self._outside(*self._first["outside"]))

    def _date_order(self, row: int, text: str) -> Fault:
        words = {
            (True, False): "day first, since a number above 12 stands first in some row",
            (False, True): "month first, since a number above 12 stands second in some row",
            (False, False): "either day first or month first: no number above 12 decides it"
            + _by_days(self._source, text),
            (True, True): "in no one order: numbers above 12 stand first and second",
        }
        meant = words[(self._most[0] > 12, self._most[1] > 12)]
        return self._source.fault(
            "date_order",
            f"'{text}' as time, in {self._count['slashed']} rows; to be read {meant}",
            "dates as ISO 8601, year first: 2031-06-02T10:15:30",
            "day and month could be exchanged, and the water's level taken from another month",
            "export the times year first, or as columns of year, month, day, hour, minute, second "
            "named in columns.time",
            row=row,
        )

    def _backwards(self, row: int, seconds: float) -> Fault:
        return self._source.suspicion(
            "time_backwards",
            f"times that go back in {self._count['back']} places, first to {_shown(seconds)}",
            "times that increase from row to row",
            "after a clock was set, soundings take the water's level of another hour",
            "look at the clock's settings on that day; accept it if parts were put together",
            row=row,
        )

    def _outside(self, row: int, seconds: float) -> Fault:
        survey = self._source.survey
        return self._source.suspicion(
            "date_outside",
            f"{self._count['outside']} times outside the survey's days, first {_shown(seconds)}",
            f"times from {survey.from_date} to {survey.to_date}, give or take a day",
            "soundings would take the water's level of another day",
            "mend from_date and to_date, or find out how the clock was set",
            row=row,
        )


def _joined(cells: Sequence[pd.Series], mark: str) -> pd.Series:
    joined = cells[0].str.strip()
    for more in cells[1:]:
        joined = joined.str.cat(more.str.strip(), sep=mark)
    return joined


def _day(date: dt.date) -> float:
    return (date - dt.date(1970, 1, 1)).days * DAY_S


def _shown(seconds: float) -> str:
    return str(np.datetime64(round(seconds), "s")) + "Z"


def _by_days(source: Source, text: str) -> str:
    """Tell which order puts a date into the survey's days, where one alone does."""
    match = re.match(SLASHED, text)
    if match is None:
        return ""
    first, second, year = (int(group) for group in match.groups())
    year += 2000 if year < 100 else 0
    low, high = _day(source.survey.from_date) - DAY_S, _day(source.survey.to_date) + DAY_S
    fits = []
    for name, month, day in (("day", second, first), ("month", first, second)):
        at = seconds_of_parts([np.array([float(n)]) for n in (year, month, day)])[0]
        fits += [name] if low <= at <= high else []
    return f"; {fits[0]} first puts it into the survey's days" if len(fits) == 1 else ""


def _no_time(source: Source, row: int, text: str) -> Fault:
    return source.fault(
        "no_time",
        f"'{text}' as time",
        "date and time of day as ISO 8601, e.g. 2031-06-02T10:15:30",
        "the water's level at the time of the sounding is unknown",
        "mend the cell, or export the times as ISO 8601",
        row=row,
    )
