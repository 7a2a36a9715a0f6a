"""Trenches by their outlines: name, area on the ground and its sd, season and dates."""

import numpy as np
import pytest
import shapely
from drawn import CRS, items

from wrackline import contract, vectors
from wrackline.trenches.outlines import outline_area, trench_table
from wrackline.uncertainty import ErrorModel, NamedError

GRID = "EPSG:32625"
PIT = [(0, 0), (2, 0), (2, 1), (0, 1)]
DUG = ErrorModel("2032-trenches", 0.02, 0.02)


def account(model=DUG, **dates):
    """Return what the stage `fit` writes of a survey's errors."""
    days = {"from_date": "2032-06-18", "to_date": "2032-06-28"} | dates
    return {"model": model.as_dict(), **days}


def outlined(*rows, survey="2032-trenches"):
    """Return items of a survey of trenches, each a dict with `geometry` and any other column."""
    given = [{"row": k + 1, "season": survey[:4], **row} for k, row in enumerate(rows)]
    return items(given, survey=survey)


def table(dug, *accounts, crs=CRS):
    """Return the layer, held to the contract."""
    return vectors.conform(trench_table(dug, accounts, crs), contract.columns("trenches"))


def test_a_trench_has_its_name_area_season_and_days():
    """The team's name, or the row of the file where it has none."""
    pit = shapely.Polygon([(*corner, np.nan) for corner in PIT])
    found = table(outlined({"geometry": pit, "line": "TR1", "note": "deep"}, {"geometry": pit}),
                  account())  # fmt: skip
    assert found["trench"].tolist() == ["TR1", "#2"]
    np.testing.assert_allclose(found["area_m2"], 2.0, rtol=1e-9)
    assert found.loc[0, ["survey", "season", "from_date", "to_date", "note"]].tolist() == [
        *("2032-trenches", "2032", "2032-06-18", "2032-06-28", "deep")
    ]
    assert not found.geometry.has_z.any()


def test_a_line_counts_as_the_ground_that_it_encloses():
    """As it does where the seabed's change is measured."""
    found = table(outlined({"geometry": shapely.LineString(PIT)}), account())
    assert found.geometry.iloc[0].equals(shapely.Polygon(PIT))


def test_areas_are_on_the_ground():
    """A grid that shows a length 0.9996 times (UTM on its central meridian) shrinks areas twice."""
    pit = shapely.transform(shapely.Polygon(PIT), lambda xy: np.add(xy, (500_000.0, 4_000_000.0)))
    dug = outlined({"geometry": pit}).set_crs(GRID, allow_override=True)
    found = table(dug, account(), crs=GRID)
    assert found["area_m2"].iloc[0] == pytest.approx(2 / 0.9996**2, rel=1e-7)


def test_the_sd_of_a_rectangle_by_hand():
    """Each of four corners moves the area by half the diagonal d a metre: sd = s d."""
    area, budget = outline_area(shapely.Polygon(PIT), DUG)
    assert area == 2.0
    assert budget.sd == pytest.approx(0.02 * np.hypot(2, 1))


def test_a_shift_of_all_corners_changes_nothing_and_scale_twice():
    """A named shift leaves the area; a scale error of s changes it by 2 s A, a hole's too."""
    shift = NamedError("mark:easting", "easting", 0.5)
    scale = NamedError("tape:scale", "scale", 1e-3)
    ring = shapely.box(0, 0, 4, 3) - shapely.box(1, 1, 2, 2)
    model = ErrorModel("2032-trenches", 0.0, 0.0, named=(shift, scale))
    area, budget = outline_area(ring, model)
    assert area == 11.0
    assert budget.named["mark:easting"] == pytest.approx(0, abs=1e-12)
    assert abs(budget.named["tape:scale"]) == pytest.approx(2e-3 * 11.0)


def test_the_sd_is_the_spread_of_areas():
    """Corners of a ring with a hole moved at random, 4000 times: the spread is the sd to 4 %."""
    rng = np.random.default_rng(2)
    ring = shapely.Polygon([(0, 0), (5, 1), (6, 4), (2, 5)], [[(2, 2), (3, 2), (3, 3)]])
    corners = shapely.get_num_coordinates(ring) - 2

    def moved():
        moves = rng.normal(0, 0.02, (corners, 2))
        out = np.vstack([moves[:4], moves[:1], moves[4:], moves[4:5]])
        return shapely.set_coordinates(shapely.Polygon(ring), shapely.get_coordinates(ring) + out)

    spread = np.std([moved().area for _ in range(4000)])
    assert outline_area(ring, DUG)[1].sd == pytest.approx(spread, rel=0.04)


def test_trenches_stand_in_the_order_of_survey_and_row():
    """Whatever the order in which they are handed in."""
    pit = shapely.Polygon(PIT)
    dug = outlined({"geometry": pit, "line": "B", "row": 2}, {"geometry": pit, "line": "A"})
    dug.loc[1, "row"] = 1
    assert table(dug, account())["trench"].tolist() == ["A", "B"]


def test_nothing_dug_is_an_empty_layer():
    """With all its fields."""
    found = table(items(()))
    assert not len(found)
    assert list(found.columns) == [*contract.columns("trenches"), "geometry"]
