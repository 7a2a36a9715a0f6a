"""The site in figures: each with its unit, what it rests on, and an sd no smaller than honest."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import CRS

from wrackline import contract, vectors
from wrackline.io import write_json
from wrackline.publish.summary import (
    Figure,
    families,
    mean_axis,
    orientation,
    summarise,
    summary_table,
    techniques_of,
)

NO_DEPOSIT = pd.DataFrame({"deposit_m": [], "deposit_sd_m": []})


def layer(name, rows=(), geometries=None):
    """Return a layer of a few rows, each a dict of some of its fields; geometries are boxes."""
    shapes = [shapely.box(0, 0, 4, 4)] * len(rows) if geometries is None else geometries
    data = {
        field: pd.Series([row.get(field) for row in rows], dtype=vectors.DTYPES[kind])
        for field, kind in contract.columns(name).items()
    }
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)


def figures(deposit=NO_DEPOSIT, **rows):
    """Return the figures of a site of which some layers have rows, by name."""
    plan = {name: layer(name) for name in (*contract.PLAN_LAYERS, "surveys", "waterlines")}
    plan |= {
        name: given if isinstance(given, gpd.GeoDataFrame) else layer(name, given)
        for name, given in rows.items()
    }
    found = summarise(plan, deposit)
    assert len({figure.figure for figure in found}) == len(found)
    return {figure.figure: figure for figure in found}


def room(kind="room", **fields):
    """Return a room's row."""
    return {"room": "R1", "kind": kind, **fields}


def area(value, sd, kind="room"):
    """Return a room of a certain floor area."""
    return room(kind, floor_area_m2=value, floor_area_sd_m2=sd)


def test_spaces_are_counted_by_kind():
    """Rooms, courts and lanes are told apart; buildings are counted from their own layer."""
    rows = [room(), room(), room("court"), room("lane"), room("unknown")]
    found = figures(rooms=rows, buildings=[{}, {}])
    counts = {name: found[name].value for name in ("rooms", "courts", "lanes", "unknowns")}
    assert counts == {"rooms": 2, "courts": 1, "lanes": 1, "unknowns": 1}
    assert found["buildings"].shown == "2"


def test_the_sum_of_floors_has_the_sd_of_errors_shared_in_full():
    """Floors of 10 and 20 m², each 0.3 m²: 30 ± 0.6 m² at most, 0.42 m² if nothing is shared."""
    total = figures(rooms=[area(10, 0.3), area(20, 0.3)])["floor_area_total_m2"]
    assert (total.value, total.sd) == (pytest.approx(30), pytest.approx(0.6))
    assert total.shown == "30.0 ± 0.6 m²"
    assert "2 of 2 rooms" in total.basis
    assert total.basis.endswith("the most that it can be; 0.4 m² if none were")


def test_no_share_of_common_error_makes_a_sum_less_sure_than_stated():
    """Whatever part of their errors rooms share, the sum's sd stays within the one stated."""
    stated = figures(rooms=[area(10, 0.3), area(20, 0.1)])["floor_area_total_m2"].sd
    for share in np.linspace(0, 1, 11):
        covariance = np.array([[0.09, share * 0.03], [share * 0.03, 0.01]])
        assert np.sqrt(covariance.sum()) <= stated + 1e-12


def test_a_room_without_an_area_is_left_out_and_counted():
    """The basis says how many of the rooms the sum is over."""
    total = figures(rooms=[area(10, 0.3), area(None, None)])["floor_area_total_m2"]
    assert (total.value, "1 of 2 rooms" in total.basis) == (10, True)


def test_courts_are_not_counted_as_floors():
    """A court's area stands by itself."""
    found = figures(rooms=[area(10, 0.3), area(50, 0.5, "court")])
    assert found["floor_area_total_m2"].value == 10
    assert found["court_area_total_m2"].value == 50


def test_quartiles_of_rooms_lie_between_their_areas():
    """Of 10, 12, 14, 16 and 30 m² the median is 14 m², the quartiles 12 and 16 m²."""
    found = figures(rooms=[area(value, 0.2) for value in (30, 10, 16, 12, 14)])
    names = ("lower_quartile", "median", "upper_quartile")
    assert [found[f"room_area_{name}_m2"].value for name in names] == [12, 14, 16]


def test_wall_lengths_are_told_by_evidence():
    """Recorded, inferred and old-plan lines are summed apart; the share is of them all."""
    lines = [("recorded", 6.0), ("inferred", 1.0), ("old plan", 3.0), ("recorded", 0.0)]
    rows = [
        {"wall": "W", "evidence": evidence, "length_m": length, "line_follows": "face"}
        for evidence, length in lines
    ]
    found = figures(wall_lines=rows)
    assert [found[f"wall_{name}_m"].value for name in ("recorded", "inferred", "old_plan")] == [
        *(6.0, 1.0),
        3.0,
    ]
    assert found["wall_recorded_share"].shown == "60.0 %"


def test_depths_range_over_what_was_measured_with_the_sd_of_that_one():
    """Least and greatest come with their own sd; those without a figure don't count."""
    rows = [(3.0, 0.2), (None, None), (1.0, 0.1), (2.0, 0.3)]
    rooms = [room(floor_depth_m=depth, floor_depth_sd_m=sd) for depth, sd in rows]
    found = figures(rooms=rooms)
    assert found["floor_depth_least_m"].shown == "1.00 ± 0.10 m"
    assert found["floor_depth_greatest_m"].shown == "3.00 ± 0.20 m"
    assert found["floors_met"].value == 3


def test_ground_that_two_surveys_looked_at_counts_once():
    """Two squares of a hectare that overlap by half are one hectare and a half."""
    shapes = [shapely.box(0, 0, 100, 100), shapely.box(50, 0, 150, 100)]
    found = figures(surveys=layer("surveys", [{}, {}], shapes))
    assert found["area_looked_at_ha"].shown == "1.50 ha"
    assert "2 surveys" in found["area_looked_at_ha"].basis


def test_deposit_has_the_sd_of_its_least_sure_point():
    """Least and greatest come with their own sd, the median with the largest there is."""
    table = pd.DataFrame(
        {"deposit_m": [0.5, 0.3, np.nan, 0.9], "deposit_sd_m": [0.1, 0.2, np.nan, 0.05]}
    )
    found = figures(table)
    names = ("least", "median", "greatest")
    shown = [found[f"deposit_{name}_m"].shown for name in names]
    assert shown == ["0.30 ± 0.20 m", "0.50 ± 0.20 m", "0.90 ± 0.05 m"]
    assert found["deposit_points"].value == 3


def test_features_are_counted_by_kind_and_origin():
    """A built and a natural basin are two figures, with names that last."""
    rows = [{"kind": "Rock basin", "origin": made} for made in ("built", "natural", "built")]
    found = figures(features=rows)
    assert found["features_rock_basin_built"].value == 2
    assert found["features_rock_basin_natural"].value == 1


def test_waterlines_are_told_by_level():
    """The length of each named level's line, all of its pieces together, and how far it may be off.

    The median of 0.4 m and 0.6 m is 0.5 m; the level of which nothing is known says so.
    """
    pieces = [shapely.LineString([(0, y), (30, y)]) for y in (0, 1, 2)]
    rows = [
        {"sea_level": name, "may_lie_off_m": off}
        for name, off in (("mean", 0.4), ("mean", 0.6), ("high", None))
    ]
    found = figures(waterlines=layer("waterlines", rows, pieces))
    assert found["waterline_1_m"].text == "length of the line of high on today's seabed"
    assert (found["waterline_1_m"].value, found["waterline_2_m"].value) == (
        pytest.approx(30, rel=1e-5),
        pytest.approx(60, rel=1e-5),
    )
    assert "too flat to say" in found["waterline_1_m"].basis
    assert "may lie off by 0.500 m" in found["waterline_2_m"].basis


def test_a_site_with_nothing_on_it_has_figures_without_a_value(tmp_path):
    """Each missing figure says why, and all of it can be written as JSON."""
    found = figures()
    assert found["floor_area_total_m2"].basis == "no rooms"
    assert found["floor_depth_least_m"].shown == "–"
    assert found["axis_1_deg"].value is None
    assert found["deposit_median_m"].basis == (
        "no points where a floor was met and the seabed sounded"
    )
    assert all(figure.basis for figure in found.values())
    write_json([figure.record() for figure in found.values()], tmp_path / "summary.json")


def test_every_figure_has_the_fields_of_the_contract():
    """The table's columns are those declared, with the shown text among them."""
    found = summary_table(figures(rooms=[area(10, 0.3)]).values())
    assert list(found.columns) == list(contract.table_columns("summary"))
    row = found.loc[found["figure"] == "floor_area_total_m2"].iloc[0]
    assert (row["value"], row["unit"], row["shown"]) == (10, "m2", "10.00 ± 0.30 m²")


@pytest.mark.parametrize(
    ("figure", "shown"),
    [
        (Figure("a", "", 930.105, "", unit="m"), "930 m"),
        (Figure("a", "", 0.17849, "", unit="deg"), "0.178°"),
        (Figure("a", "", 12.3456, "", 0.31, "m2"), "12.35 ± 0.31 m²"),
        (Figure("a", "", 0.925, "", unit="share"), "92.5 %"),
        (Figure("a", "", 0, ""), "0"),
        (Figure("a", "", None, "", unit="m"), "–"),
    ],
)
def test_a_figure_shows_no_more_digits_than_it_has(figure, shown):
    """To the place that its sd supports; three digits where none is known; counts in full."""
    assert figure.shown == shown


def buildings(*axes, size=10.0, sd=0.2):
    """Return buildings of equal outlines with axes in degrees."""
    rows = [{"building": "B", "axis_deg": axis, "axis_sd_deg": sd} for axis in axes]
    return layer("buildings", rows, [shapely.box(0, 0, size, size)] * len(rows))


def test_buildings_along_two_streets_are_two_families():
    """Six buildings near 13 degrees and three near 62 are told apart, the larger family first."""
    axes = [62.1, 12.8, 13.0, 12.6, 61.9, 12.9, 13.1, 12.6, 62.0]
    found = {figure.figure: figure for figure in orientation(buildings(*axes))}
    assert found["axis_families"].value == 2
    assert found["axis_1_deg"].value == pytest.approx(12.833, abs=0.001)
    assert found["axis_2_deg"].value == pytest.approx(62.0, abs=0.001)
    assert (found["axis_1_buildings"].value, found["axis_2_buildings"].value) == (6, 3)


def test_axes_on_both_sides_of_north_are_one_family():
    """89 and 1 degrees are 2 degrees apart, for right angles are taken as the same."""
    found = {figure.figure: figure for figure in orientation(buildings(89, 1, 89, 1, 89, 1))}
    assert found["axis_families"].value == 1
    assert found["axis_1_deg"].value == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(
    "axes",
    [
        (12, 13, 14, 62, 63),
        (0, 15, 30, 45, 60, 75),
        (10, 12, 14, 24, 26, 28),
        (0, 8, 16, 40, 48, 56),
    ],
)
def test_families_are_told_apart_only_where_no_doubt_is_left(axes):
    """Too few, spread evenly, too near, or too loose: one family."""
    assert not families(np.array(axes, dtype=float)).any()


def test_families_do_not_depend_on_the_order_of_buildings():
    """Turned round, the same buildings fall into the same families."""
    axes = np.array([1.0, 2.0, 88.0, 50.0, 51.0, 49.0])
    assert families(axes)[::-1].tolist() == families(axes[::-1]).tolist()
    assert sorted(np.bincount(families(axes)).tolist()) == [3, 3]


def test_a_long_outline_weighs_more_in_the_mean():
    """An axis of three times the weight draws the mean to three quarters of the way."""
    mean, _ = mean_axis(np.array([10.0, 14.0]), np.array([1.0, 3.0]))
    assert mean == pytest.approx(13.0, abs=0.02)


def test_axes_without_any_direction_have_a_boundless_spread():
    """Two axes 45 degrees apart cancel: their spread is not a small number."""
    _, spread = mean_axis(np.array([0.0, 45.0]), np.ones(2))
    assert spread > 100


def test_techniques_stand_once_with_their_surveys_and_days():
    """Two surveys by one technique are one record from the first day to the last."""
    rows = [
        {
            "survey": name,
            "technique": technique,
            "holds": "wall_lines",
            "from_date": first,
            "to_date": last,
            "rows": 5,
        }
        for name, technique, first, last in (
            ("2032-b", "tape", "2032-05-01", "2032-05-02"),
            ("2031-a", "tape", "2031-06-01", "2031-06-09"),
            ("2031-c", "level", "2031-06-03", "2031-06-03"),
        )
    ]
    level, tape = techniques_of(layer("surveys", rows))
    assert level["technique"] == "level"
    assert tape == {
        "technique": "tape",
        "surveys": ["2031-a", "2032-b"],
        "holds": ["wall_lines"],
        "from_date": "2031-06-01",
        "to_date": "2032-05-02",
        "rows": 10,
    }
