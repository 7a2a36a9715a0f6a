"""How large rooms and buildings are: histograms with what errors alone could move, and medians.

The number in a class is a sum of chances: each area lies in the class with the probability that a
normal distribution of its sd gives. The 95 % range of that sum is exact, by the distribution of a
sum of independent yes-or-no trials. A median's interval takes order statistics whose ranks hold it
with 95 % or more, whatever the distribution (David and Nagaraja 2003, Order Statistics, section
7.1, from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import matplotlib as mpl
import numpy as np
import numpy.typing as npt
import pandas as pd
from matplotlib.axes import Axes
from matplotlib.ticker import MaxNLocator
from scipy.special import ndtr
from scipy.stats import binom

from wrackline import contract
from wrackline.publish.drawing_standards import points
from wrackline.publish.text_pictures.style import (
    BOLD_MM,
    FILLS,
    FINE_MM,
    HAIR_MM,
    INK,
    LINE_MM,
    PAGE_MM,
    SETTINGS,
    SMALL_PT,
    Page,
    page,
    statement_note,
    wrapped,
)
from wrackline.publish.text_pictures.words import say
from wrackline.quantities import fixed

Array = npt.NDArray[np.float64]

KINDS = ("room", "court", "lane", "unknown")
SPACES, BUILDINGS = "spaces", "buildings"
ROUND = (1.0, 2.0, 2.5, 5.0)
MOST_CLASSES = 40
QUARTILES = {"lower quartile": 0.25, "median": 0.5, "upper quartile": 0.75}
LOW, HIGH = 0.025, 0.975
BODY_MM, PANEL_MM, SUMMARY_MM = 62.0, 74.0, 10.0
NO_COUNT = "low_count, high_count: the sd of some area in reach isn't known"
FEW = "low_m2, high_m2: too few for ranks that hold it with 95 %"


def area_table(rooms: gpd.GeoDataFrame, buildings: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return what the picture of areas shows.

    Parameters
    ----------
    rooms, buildings : GeoDataFrame
        Layers of the plan.

    Returns
    -------
    DataFrame
        The fields of `contract.PICTURES["areas"]`: classes of spaces by kind, quartiles of each
        kind, then the same of buildings; at last those without an area.
    """
    names = {"floor_area_m2": "area_m2", "floor_area_sd_m2": "area_sd_m2"}
    covered = {"footprint_m2": "area_m2", "footprint_sd_m2": "area_sd_m2"}
    spaces = pd.DataFrame(rooms.drop(columns="geometry")).rename(columns=names)
    houses = pd.DataFrame(buildings.drop(columns="geometry")).rename(columns=covered)
    spaces["kind"] = spaces["kind"].fillna("unknown").astype(str)
    houses["kind"] = "building"
    rows = _rows(SPACES, spaces, KINDS) + _rows(BUILDINGS, houses, ("building",))
    return pd.DataFrame(rows, columns=list(contract.picture_columns("areas")), dtype=object)


def _rows(of: str, things: pd.DataFrame, kinds: Sequence[str]) -> list[dict[str, Any]]:
    """Return the rows of one histogram."""
    known = things[things["area_m2"].notna()]
    edges = class_edges(known["area_m2"].to_numpy(float), known["area_sd_m2"].to_numpy(float))
    rows: list[dict[str, Any]] = []
    for kind in kinds:
        mine = known[known["kind"] == kind]
        area = mine["area_m2"].to_numpy(float)
        common = {"of": of, "kind": kind}
        if len(mine):
            rows += [common | row for row in _classes(area, edges)]
            rows += [common | row for row in _quartiles(area)]
    area, sd = (known[name].to_numpy(float) for name in ("area_m2", "area_sd_m2"))
    if len(known):
        rows += [{"of": of, "kind": "all"} | row for row in _ranges(area, sd, edges)]
    return rows + _missing(of, things[things["area_m2"].isna()])


def class_edges(area: Array, sd: Array) -> Array:
    """Return the edges of classes, from 0 on.

    Parameters
    ----------
    area, sd : array, shape (n,)
        Areas and their standard uncertainties [m²]; an unknown sd has no say.

    Returns
    -------
    array, shape (k + 1,)
        Classes are a round number of m² wide: no narrower than three quarters of the rule of
        Freedman and Diaconis (1981, Zeitschrift für Wahrscheinlichkeitstheorie 57, from memory),
        2 IQR n^(-1/3), no narrower than four sds of the middle area, and at most `MOST_CLASSES`.

    Examples
    --------
    >>> class_edges(np.array([3.0, 4.0, 9.0]), np.array([0.5, 0.5, 0.5])).tolist()
    [0.0, 5.0, 10.0]
    """
    if not len(area):
        return np.array([0.0, 1.0])
    low, high = np.quantile(area, [0.25, 0.75])
    known = sd[np.isfinite(sd)]
    errors = 4 * float(np.median(known)) if len(known) else 0.0
    top = float(area.max())
    least = max(1.5 * (high - low) / len(area) ** (1 / 3), errors, top / MOST_CLASSES, 1e-3)
    decade = 10.0 ** math.floor(math.log10(least))
    width = next(w * decade for w in (*ROUND, 10.0) if w * decade >= least * (1 - 1e-9))
    return np.arange(math.floor(top / width) + 2, dtype=np.float64) * width


def _classes(area: Array, edges: Array) -> list[dict[str, Any]]:
    """Return a row for every class that isn't empty."""
    number = np.histogram(area, edges)[0]
    return [
        {"row": "class", "from_m2": edges[k], "to_m2": edges[k + 1], "count": int(n)}
        for k, n in enumerate(number)
        if n
    ]


def _ranges(area: Array, sd: Array, edges: Array) -> list[dict[str, Any]]:
    """Return for each class of all kinds the range of its number that errors alone would give."""
    number = np.histogram(area, edges)[0]
    rows = []
    for k, n in enumerate(number):
        row = {"row": "class", "from_m2": edges[k], "to_m2": edges[k + 1], "count": int(n)}
        ends: tuple[int | None, int | None] = (None, None)
        if np.isfinite(sd).all():
            ends = count_range(chances(area, sd, edges[k], edges[k + 1]))
        if n or ends != (0, 0):
            why = NO_COUNT if ends[0] is None else ""
            rows.append(row | {"low_count": ends[0], "high_count": ends[1], "null_because": why})
    return rows


def chances(area: Array, sd: Array, low: float, high: float) -> Array:
    """Return the probability of each area to lie in a class, errors normal.

    Parameters
    ----------
    area, sd : array, shape (n,)
        [m²]
    low, high : float
        Edges of the class; the upper one is beyond it [m²].
    """
    inside = ((area >= low) & (area < high)).astype(float)
    width = np.where(sd > 0, sd, 1.0)
    told = ndtr((high - area) / width) - ndtr((low - area) / width)
    return np.where(sd > 0, told, inside)


def count_range(chance: Array) -> tuple[int, int]:
    """Return the 2.5 % and 97.5 % quantiles of how many of independent trials succeed.

    Parameters
    ----------
    chance : array, shape (n,)
        Probability of each.

    Examples
    --------
    >>> count_range(np.array([1.0, 1.0, 0.5])), count_range(np.zeros(3))
    ((2, 3), (0, 0))
    """
    sure, open_ = int((chance > 1 - 1e-6).sum()), chance[(chance >= 1e-6) & (chance <= 1 - 1e-6)]
    mass = np.ones(1)
    for p in np.sort(open_):
        mass = np.convolve(mass, [1 - p, p])
    level = np.cumsum(mass)
    return sure + int(np.argmax(level >= LOW)), sure + int(np.argmax(level >= HIGH - 1e-12))


def _quartiles(area: Array) -> list[dict[str, Any]]:
    """Return a row for the median and each quartile, with the interval of its order statistics."""
    rows = []
    for name, share in QUARTILES.items():
        ends = order_interval(area, share)
        value = float(np.quantile(area, share, method="median_unbiased"))
        row = {"row": name, "value_m2": value, "count": len(area)}
        why = {} if ends else {"null_because": FEW}
        rows.append(row | dict(zip(("low_m2", "high_m2"), ends or (), strict=False)) | why)
    return rows


def order_interval(values: Array, share: float) -> tuple[float, float] | None:
    """Return the narrowest pair of ranks' values that holds a quantile with 95 % or more.

    Parameters
    ----------
    values : array, shape (n,)
    share : float
        Of the quantile, 0 to 1.

    Returns
    -------
    tuple of float or None
        None where even the least and the greatest value don't hold it with 95 %.

    Notes
    -----
    The r-th and s-th of n values hold the quantile p with the probability that a binomial count of
    n trials with chance p lies in r to s - 1.

    Examples
    --------
    The 2nd and 9th of ten values hold the median with 97.9 % (a published table's entry, from
    memory).

    >>> order_interval(np.arange(1.0, 11.0), 0.5)
    (2.0, 9.0)
    """
    n = len(values)
    below = binom.cdf(np.arange(-1, n), n, share)
    last = np.searchsorted(below, below + (HIGH - LOW), side="left")
    first = np.flatnonzero((last <= n) & (np.arange(n + 1) >= 1))
    if not len(first):
        return None
    width = last[first] - first
    off = np.abs((first + last[first]) / 2 - share * (n + 1))
    r = first[np.lexsort((off, width))[0]]
    ordered = np.sort(values)
    return float(ordered[r - 1]), float(ordered[last[r] - 1])


def _missing(of: str, things: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a row for each kind without an area, and why."""
    rows = []
    for kind, mine in things.groupby("kind", sort=True):
        whys = sorted({_why(text) for text in mine["null_because"].fillna("")})
        row = {"of": of, "kind": kind, "row": "no area", "count": len(mine)}
        rows.append(row | {"null_because": "; ".join(whys)})
    return rows


def _why(text: str) -> str:
    """Return why the area is missing, out of a row's reasons.

    >>> _why("axis_deg: round; floor_area_m2: not closed"), _why("")
    ('not closed', 'no reason stated')
    """
    for part in text.split("; "):
        names, _, why = part.partition(": ")
        if "floor_area_m2" in names or "footprint_m2" in names:
            return why
    return "no reason stated"


def draw_areas(table: pd.DataFrame, about: Mapping[str, str]) -> Page:
    """Draw the table of areas.

    Parameters
    ----------
    table : DataFrame
        As `area_table` returns it.
    about : mapping of str to str
        Statement beside the figures.
    """
    numbers = {of: str(_number(table, of)) for of in (SPACES, BUILDINGS)}
    heading = say("area_heading", site=about["site"], **numbers)
    told = {of: _told(table, of) for of in (SPACES, BUILDINGS)}
    description = say("area_description", site=about["site"], **told)
    lost = table[table["row"] == "no area"]
    notes = [say("area_note"), *(_lost(row) for row in lost.to_dict("records"))]
    notes.append(statement_note(about, "surveyed", "credit"))
    with mpl.rc_context(SETTINGS):
        made = page(PAGE_MM, BODY_MM, heading, notes, description)
        for left, of in ((10.0, SPACES), (102.0, BUILDINGS)):
            axes = made.panel(left, 9.0, PANEL_MM, BODY_MM - 9.0 - SUMMARY_MM - 3.0)
            _histogram(axes, table[table["of"] == of])
            above = made.panel(left, BODY_MM - SUMMARY_MM - 2.0, PANEL_MM, SUMMARY_MM, sharex=axes)
            _summary(above, table[table["of"] == of], of)
    return made


def _number(table: pd.DataFrame, of: str) -> int:
    mine = table[(table["of"] == of) & (table["row"] == "median")]
    return int(mine["count"].sum())


def _told(table: pd.DataFrame, of: str) -> str:
    mine = table[(table["of"] == of) & (table["row"] == "median")]
    return "; ".join(
        f"{row['count']} {say('area_' + row['kind'])}: "
        f"{_quartile_words(_quartile_rows(table, of, row['kind']))}"
        for row in mine.to_dict("records")
    ) or say("area_none")


def _lost(row: Mapping[Any, Any]) -> str:
    what = say(f"area_{row['of']}")
    return say("area_missing", number=str(row["count"]), what=what, why=row["null_because"])


def _quartile_rows(table: pd.DataFrame, of: str, kind: str) -> dict[str, dict[str, float]]:
    """Return the quartiles of one kind, by name: `value_m2`, `low_m2`, `high_m2`, NaN for none."""
    mine = table[(table["of"] == of) & (table["kind"] == kind) & table["row"].isin(list(QUARTILES))]
    names = ["value_m2", "low_m2", "high_m2"]
    values = mine[names].astype(float).to_numpy()
    return {
        str(row): dict(zip(names, told, strict=True))
        for row, told in zip(mine["row"], values.tolist(), strict=True)
    }


def _quartile_words(rows: Mapping[str, Mapping[str, float]]) -> str:
    """Return the median and the middle half of one kind in words."""
    low, median, high = (fixed(rows[row]["value_m2"], 1) for row in QUARTILES)
    ends = {end: rows["median"][f"{end}_m2"] for end in ("low", "high")}
    held = ""
    if np.isfinite(ends["low"]):
        held = say("area_bound", **{end: fixed(value, 1) for end, value in ends.items()})
    return say("area_median", median=median, held=held, low=low, high=high)


def _histogram(axes: Axes, mine: pd.DataFrame) -> None:
    """Draw the kinds' numbers on each other, and the range that errors give to their sum."""
    classes = mine[mine["row"] == "class"]
    whole = classes[classes["kind"] == "all"]
    base: dict[float, float] = {}
    for kind in (*KINDS, "building"):
        rows = classes[classes["kind"] == kind]
        if not len(rows):
            continue
        low, high = (rows[f"{end}_m2"].to_numpy(float) for end in ("from", "to"))
        start = np.array([base.get(edge, 0.0) for edge in low])
        count = rows["count"].to_numpy(float)
        style = {"edgecolor": INK, "linewidth": points(HAIR_MM), **_fill(kind)}
        label = say(f"area_{kind}")
        bars = axes.bar(low, count, high - low, bottom=start, align="edge", label=label, **style)
        for bar, edge in zip(bars, low, strict=True):
            bar.set_gid(f"{kind}-{edge:g}")
        base |= dict(zip(low, start + count, strict=True))
    _whiskers(axes, whole)
    _frame(axes, whole, mine["of"].iloc[0] if len(mine) else SPACES)
    if len(set(classes["kind"])) > 2:
        axes.legend(loc="upper right", handlelength=1.6, labelspacing=0.3)


def _fill(kind: str) -> Mapping[str, Any]:
    return FILLS[(*KINDS, "building").index(kind) if kind != "building" else 2]


def _whiskers(axes: Axes, whole: pd.DataFrame) -> None:
    """Draw how many a class could hold by errors alone."""
    rows = whole[whole["low_count"].notna()]
    middle = (rows["from_m2"] + rows["to_m2"]).to_numpy(float) / 2
    low, high = (rows[f"{end}_count"].to_numpy(float) for end in ("low", "high"))
    style: dict[str, Any] = {"color": INK, "linewidth": points(LINE_MM), "zorder": 4}
    axes.vlines(middle, low, high, **style).set_gid("whiskers")
    for ends in (low, high):
        axes.plot(middle, ends, linestyle="none", marker="_", markersize=3, color=INK, zorder=4)


def _frame(axes: Axes, whole: pd.DataFrame, of: str) -> None:
    """Name the axes; where nothing has an area, say so."""
    axes.set_ylabel(say("area_count"))
    axes.yaxis.set_major_locator(MaxNLocator(5, integer=True))
    axes.xaxis.set_major_locator(MaxNLocator(7, steps=[1, 2, 2.5, 5, 10]))
    if not len(whole):
        axes.set(xlim=(0, 1), ylim=(0, 1), xticks=[], yticks=[])
        axes.text(0.5, 0.5, say("area_none"), ha="center", va="center")
        return
    top = float(np.nanmax(whole[["count", "high_count"]].astype(float).to_numpy()))
    axes.set(xlim=(0, float(whole["to_m2"].max())), ylim=(0, 1.06 * top))
    width = float((whole["to_m2"] - whole["from_m2"]).iloc[0])
    key = "area_axis" if of == SPACES else "area_axis_building"
    axes.set_xlabel(say(key, width=fixed(width, 2).rstrip("0").rstrip(".")))


def _summary(axes: Axes, mine: pd.DataFrame, of: str) -> None:
    """Draw the middle half, the median and its interval of the kind that most are of."""
    axes.axis("off")
    medians = mine[mine["row"] == "median"]
    if not len(medians):
        return
    kind = str(medians["kind"].iloc[int(np.argmax(medians["count"].to_numpy(int)))])
    rows = _quartile_rows(mine, of, kind)
    low, median, high = (rows[row]["value_m2"] for row in QUARTILES)
    style: dict[str, Any] = {"color": INK, "solid_capstyle": "butt"}
    (half,) = axes.plot([low, high], [0.15, 0.15], linewidth=points(FINE_MM), **style)
    half.set_gid("middle-half")
    held = [rows["median"][name] for name in ("low_m2", "high_m2")]
    if np.isfinite(held).all():
        (line,) = axes.plot(held, [0.15, 0.15], linewidth=points(3 * BOLD_MM), **style)
        line.set_gid("median-interval")
    shape: dict[str, Any] = {"marker": "D", "markersize": 3.5, "markeredgewidth": points(LINE_MM)}
    axes.plot(median, 0.15, markerfacecolor="white", markeredgecolor=INK, zorder=5, **shape)
    axes.set_ylim(0, 1)
    words = f"{say('area_' + kind)}: {_quartile_words(rows)}"
    place: dict[str, Any] = {"transform": axes.transAxes, "fontsize": SMALL_PT, "va": "top"}
    axes.text(0.0, 1.0, "\n".join(wrapped(words, PANEL_MM, SMALL_PT)), **place)
