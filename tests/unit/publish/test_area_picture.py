"""Areas: classes, what errors could move, medians with their intervals, and what is drawn."""

import numpy as np
import pandas as pd
import pytest
import shapely
from printed_page import by_gid, gids
from report_site import ABOUT, layer
from scipy.stats import binom

from wrackline.publish.text_pictures.areas import (
    area_table,
    chances,
    class_edges,
    count_range,
    draw_areas,
    order_interval,
)


def spaces(areas, sd=0.3, kinds=None):
    """Return rooms of given areas."""
    kinds = kinds or ["room"] * len(areas)
    rows = [
        {"room": f"R{k:03}-000", "kind": kind, "floor_area_m2": area, "floor_area_sd_m2": sd}
        for k, (area, kind) in enumerate(zip(areas, kinds, strict=True))
    ]
    return layer("rooms", rows, [shapely.box(0, 0, 1, 1)] * len(rows))


def drawn_of(areas, **more):
    """Return the table of some rooms, and its picture."""
    table = area_table(spaces(areas, **more), layer("buildings"))
    return table, draw_areas(table, ABOUT)


def test_bars_are_the_tables_classes():
    """Each bar of each kind stands where numpy counts as many areas, on the bars below it."""
    rng = np.random.default_rng(4)
    areas = [*rng.uniform(8, 30, 60), *rng.uniform(25, 60, 9)]
    kinds = ["room"] * 60 + ["court"] * 9
    table, made = drawn_of(areas, kinds=kinds)
    classes = table[(table["row"] == "class") & (table["kind"] != "all")]
    width = float(classes["to_m2"].iloc[0] - classes["from_m2"].iloc[0])
    for kind in ("room", "court"):
        mine = np.array(areas)[np.array(kinds) == kind]
        edges = np.arange(0, 70, width)
        expected = {
            f"{kind}-{e:g}": n
            for e, n in zip(edges, np.histogram(mine, edges)[0], strict=False)
            if n
        }
        bars = gids(made, f"{kind}-")
        assert {name: bar.get_height() for name, bar in bars.items()} == expected
        assert all(bar.get_width() == pytest.approx(width) for bar in bars.values())
    tops = {bar.get_x(): bar.get_height() for bar in gids(made, "room-").values()}
    for bar in gids(made, "court-").values():
        assert bar.get_y() == tops.get(bar.get_x(), 0)


def test_quartiles_are_numpys_and_drawn():
    """Median and quartiles are numpy's median-unbiased ones, and stand where they are drawn."""
    areas = np.random.default_rng(5).lognormal(2.8, 0.4, 80)
    table, made = drawn_of(areas)
    rows = table[table["kind"] == "room"].set_index("row")
    expected = np.quantile(areas, [0.25, 0.5, 0.75], method="median_unbiased")
    found = rows.loc[["lower quartile", "median", "upper quartile"], "value_m2"].astype(float)
    np.testing.assert_allclose(found, expected)
    np.testing.assert_allclose(by_gid(made, "middle-half").get_xdata(), expected[[0, 2]])
    ends = rows.loc["median", ["low_m2", "high_m2"]].astype(float)
    np.testing.assert_allclose(by_gid(made, "median-interval").get_xdata(), ends)


def test_intervals_hold_what_they_say():
    """Of 2,000 samples of a skewed distribution 95 % or more of the intervals hold its median.

    The bar is the 0.1 % quantile of a binomial distribution of 95 %.
    """
    rng = np.random.default_rng(6)
    for share, truth in ((0.5, np.log(2)), (0.25, np.log(4 / 3)), (0.75, np.log(4))):
        ends = [order_interval(rng.exponential(1.0, 25), share) for _ in range(2000)]
        held = sum(low <= truth <= high for low, high in ends)
        assert held >= binom.ppf(0.001, 2000, 0.95)


@pytest.mark.parametrize(("n", "ranks"), [(6, (1, 6)), (10, (2, 9)), (20, (6, 15)), (25, (8, 18))])
def test_ranks_of_a_medians_interval(n, ranks):
    """The tabled ranks of 95 % intervals of a median (Conover 1999, table A3, from memory)."""
    assert order_interval(np.arange(1.0, n + 1), 0.5) == ranks


def test_too_few_have_no_interval():
    """Five values hold their median in 93.75 % of cases only: no interval, and the row says why."""
    assert order_interval(np.arange(5.0), 0.5) is None
    table, _ = drawn_of([10.0, 11, 12, 13, 14])
    row = table[table["row"] == "median"].iloc[0]
    assert row["low_m2"] is None or np.isnan(row["low_m2"])
    assert "too few" in row["null_because"]


def test_what_errors_could_move():
    """The exact range of a class's number is that of 20,000 simulations of the areas' errors."""
    rng = np.random.default_rng(7)
    area, sd = rng.uniform(8, 22, 50), rng.uniform(0.2, 1.5, 50)
    simulated = rng.normal(area, sd, (20_000, 50))
    counts = ((simulated >= 10) & (simulated < 15)).sum(axis=1)
    chance = chances(area, sd, 10, 15)
    assert chance.sum() == pytest.approx(counts.mean(), abs=0.05)
    low, high = count_range(chance)
    assert (counts < low).mean() <= 0.026
    assert (counts > high).mean() <= 0.026
    assert (counts <= low).mean() > 0.02
    assert (counts >= high).mean() > 0.02


def test_no_errors_move_nothing():
    """Areas without error have classes that can hold only what they hold, edges counted once."""
    assert count_range(chances(np.array([10.0, 15.0, 12.0]), np.zeros(3), 10, 15)) == (2, 2)


def test_an_unknown_sd_gives_no_range():
    """Where the sd of an area isn't known the range is null, and says so."""
    table, _ = drawn_of([10.0, 12.0, 30.0], sd=None)
    rows = table[(table["row"] == "class") & (table["kind"] == "all")]
    assert rows["low_count"].isna().all()
    assert rows["null_because"].str.contains("sd of some area").all()


def test_classes_are_round_and_few():
    """Widths are 1, 2, 2.5 or 5 of some power of ten, from 0 on; one giant makes no long tail."""
    rng = np.random.default_rng(8)
    for told in (rng.uniform(8, 30, 300), [5.0], [5.0] * 9, [*rng.uniform(8, 30, 50), 5000.0]):
        areas = np.asarray(told)
        edges = class_edges(areas, np.full(len(areas), 0.3))
        width = edges[1] / 10 ** np.floor(np.log10(edges[1]))
        assert round(width, 9) in (1, 2, 2.5, 5)
        assert edges[0] == 0
        assert edges[-1] > areas.max()
        assert len(edges) <= 42
    assert class_edges(np.array([10.0, 20.0]), np.array([5.0, 5.0]))[1] >= 20


def test_spaces_without_an_area_are_counted():
    """They are in the table with the reason, and in a note."""
    rooms = spaces([10.0, None, 12.0])
    rooms["null_because"] = ["", "floor_area_m2: its outline is not closed", ""]
    table = area_table(rooms, layer("buildings"))
    row = table[table["row"] == "no area"].iloc[0]
    assert (row["count"], row["null_because"]) == (1, "its outline is not closed")
    assert pd.notna(table.loc[table["row"] == "median", "count"].iloc[0])
