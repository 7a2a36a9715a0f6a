"""Spot heights: what was measured and where, of what it is, and how good it is.

Figures are checked by hand on drawn walls and made surfaces; sds by the law of propagation written
out, and by simulation (JCGM 101:2008: a figure's spread over many draws of the errors).
"""

from types import SimpleNamespace

import geopandas as gpd
import numpy as np
import pytest
import shapely
from drawn import CRS, items, line_table, site

from wrackline import contract, vectors
from wrackline.model import WallSettings
from wrackline.rasters import Grid
from wrackline.rooms.met_floors import MetFloors
from wrackline.seabed.merge import share_band
from wrackline.seabed.sample import Surface
from wrackline.seasons.spot_heights import Walls, spot_heights
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.joining import settle_walls
from wrackline.walls.linework import linework

DRAWS = 4000
GAUGE = NamedError("gauge:height", "height", 0.05)
TRACED, AGAIN = "2031-walls", "2032-walls"
NONE = np.nan


def walls_of(lines, models=None, *, settle=False, **columns):
    """Return drawn wall lines, numbered W0, W1, … in their order, as spots are taken from them."""
    table = line_table(lines, **columns)
    models = models or {name: ErrorModel(name, 0.03, 0.02) for name in set(table["survey"])}
    work = settle_walls(table, models, WallSettings())[0].work if settle else linework(table)
    rows = work.lines.assign(wall=[f"W{k}" for k in range(len(work.lines))])
    rows["evidence"] = rows["evidence"].fillna("recorded")
    return Walls(rows, work, list(models.values()))


def plan_of(rooms=(), buildings=(), bodies=()):
    """Return the layers of a plan of such outlines, rooms numbered R0, R1, …."""

    def layer(shapes, **columns):
        shapes = gpd.GeoSeries([*shapes], crs=CRS)
        return gpd.GeoDataFrame(columns, geometry=shapes, crs=CRS)

    return {
        "rooms": layer(rooms, room=[f"R{k}" for k in range(len(rooms))]),
        "buildings": layer(buildings),
        "wall_bodies": layer(bodies),
    }


def surface_of(height, *, filled=None, cell=1.0, models=None, random=0.1, source=0):
    """Return a surface in memory, its first row the northernmost, its corner at the origin."""
    height = np.asarray(height, dtype=float)
    models = models or [ErrorModel("2032-swath", 0.0, random)]
    grid = Grid((0.0, 0.0), cell, 0, 0, height.shape[1], height.shape[0])
    one = np.ones(height.shape)
    bands = {
        "height": height,
        "sd_random": random * one,
        "sd_rest": 0 * one,
        "filled": 0 * one if filled is None else np.asarray(filled, dtype=float),
        "together": one,
        "source": source * one,
        **{share_band(model.survey): (k == source) * one for k, model in enumerate(models)},
    }

    def read(part, names=None):
        out = {}
        inside = part.intersection(grid)
        for name in names or bands:
            out[name] = np.full(part.shape, np.nan)
            if inside is not None:
                out[name][part.window(inside)] = bands[name][grid.window(inside)]
        return out

    dates = [["2032-06-01", "2032-06-02"]] * len(models)
    return Surface(grid, read, [model.survey for model in models], models, dates)


def spots(*, walls=None, floors=(), surface=None, plan=None, where=None, floor_model=None):
    """Return the spot heights of such a site, held to the contract."""
    met = MetFloors(items(floors), [floor_model or ErrorModel("2031-items", 0.05, 0.04)])
    where = where or site()
    found = spot_heights(plan or plan_of(), walls or walls_of([]), met, surface, where)
    return vectors.conform(found, contract.columns("spot_heights"))


def floor(x, y, z, evidence="excavated"):
    """Return a point at which a floor was met."""
    return {"geometry": shapely.Point(x, y, z), "evidence": evidence}


def level_resting_on(error, height=0.3):
    """Return a site whose sea level rests on a named source, as a survey does."""
    content = site().model_dump(mode="json")
    level = {"name": "msl", "height_m": height, "sd_m": 0.015, "error_sources": ["gauge"]}
    source = {"kind": "shift", "height_sd_m": error, "about": "the gauge's zero"}
    return type(site()).model_validate(
        content | {"sea_levels": [level], "error_sources": {"gauge": source}}
    )


def test_a_wall_top_is_the_height_that_was_taken_there():
    """Height, depth below the level, place, wall, survey and season as drawn."""
    walls = walls_of([[(0, 0, -2.5), (30, 0, -2.1)]], survey=AGAIN)
    found = spots(walls=walls, where=site(level=0.3))
    assert found["of"].tolist() == ["wall top", "wall top"]
    assert found["thing"].tolist() == ["W0", "W0"]
    assert found["height_m"].tolist() == [-2.5, -2.1]
    assert found["depth_m"].tolist() == pytest.approx([2.8, 2.4])
    assert found[["easting_m", "northing_m"]].to_numpy().tolist() == [[0, 0], [30, 0]]
    assert (found["survey"] == AGAIN).all()
    assert (found["season"] == "2032").all()
    assert [point.z for point in found.geometry] == [-2.5, -2.1]


def test_tops_and_bases_are_two_heights_and_the_bed_at_a_wall_is_neither():
    """Lines traced at the top, the base and the bed: two kinds of spots, and none of the third."""
    lines = [[(0, y, z), (30, y, z)] for y, z in ((0, -2), (0.5, -3), (1.0, -2.7))]
    found = spots(walls=walls_of(lines, traced_at=["top", "base", "bed"]))
    assert set(zip(found["of"], found["height_m"], strict=True)) == {
        ("wall top", -2.0),
        ("wall base", -3.0),
    }


def test_of_an_old_plan_only_measured_points_count():
    """One vertex with a height, one without: nothing is put between them."""
    walls = walls_of([[(0, 0, NONE), (15, 0, -1.0), (30, 0, NONE)]], evidence="old plan")
    found = spots(walls=walls)
    assert found["easting_m"].tolist() == [15.0]
    assert found["evidence"].tolist() == ["old plan"]


def test_the_sd_of_a_height_has_all_its_causes_and_depth_the_level_s():
    """Random, patchy and named add in squares (GUM 5.1.2); the gauge cancels from the depth."""
    model = ErrorModel(TRACED, 0.5, 0.03, 0.5, 0.04, 10.0, (GAUGE,))
    walls = walls_of([[(0, 0, -2.0), (30, 0, -2.0)]], {TRACED: model})
    found = spots(walls=walls, where=level_resting_on(0.05)).iloc[0]
    assert found["height_sd_m"] == pytest.approx(np.sqrt(0.03**2 + 0.04**2 + 0.05**2))
    assert found["depth_sd_m"] == pytest.approx(np.sqrt(0.03**2 + 0.04**2 + 0.015**2))


def test_a_wall_placed_by_two_tracings_rests_on_both():
    """Two surveys of one season that traced one wall: the mean by inverse variances, its sd."""
    one, other = "2031-a", "2031-b"
    models = {one: ErrorModel(one, 0.02, 0.02), other: ErrorModel(other, 0.02, 0.03)}
    lines = [[(0, 0, -2.0), (30, 0, -2.0)], [(0, 0.01, -2.013), (30, 0.01, -2.013)]]
    found = spots(walls=walls_of(lines, models, settle=True, survey=[one, other]))
    assert set(found["survey"]) == {f"{one};{other}"}
    np.testing.assert_allclose(found["height_m"], -2 - 0.013 * 4 / 13)
    np.testing.assert_allclose(found["height_sd_m"], (1 / 0.02**2 + 1 / 0.03**2) ** -0.5)


def test_the_sd_of_placed_heights_is_their_spread():
    """Each source of a placed vertex moved at random, 4000 times: the spread is the sd to 4 %.

    The sd of a sample's sd is 1 / sqrt(2 n), 1.1 % here.
    """
    one, other = "2031-a", "2031-b"
    models = {
        one: ErrorModel(one, 0.02, 0.02, named=(GAUGE,)),
        other: ErrorModel(other, 0.02, 0.03, named=(GAUGE,)),
    }
    lines = [
        [(0, 0, -2.0), (10, 0, -2.2), (21, 0, -2.0)],
        [(-0.1, 0.01, -2.01), (14, 0.01, -2.1), (21.2, 0.01, -2.02)],
    ]
    walls = walls_of(lines, models, settle=True, survey=[one, other])
    found = spots(walls=walls)
    share, further = walls.work.moved.share, walls.work.moved.survey
    surveys = [*walls.work.lines["survey"].to_numpy(str)[walls.work.line], *further]
    rng = np.random.default_rng(3)
    sizes = np.array([models[name].random_vertical for name in surveys])
    moves = np.zeros((3 * len(surveys), DRAWS))
    moves[2::3] = sizes[:, None] * rng.standard_normal((len(surveys), DRAWS))
    moves[2::3] += GAUGE.sd * rng.standard_normal(DRAWS)
    spread = (share @ moves)[2::3].std(axis=1)
    at = [int(np.argmin(np.abs(walls.work.xyz[:, 0] - x))) for x in found["easting_m"]]
    np.testing.assert_allclose(found["height_sd_m"], spread[at], rtol=0.04)


def test_floors_are_where_they_were_met_best_evidence_first():
    """A probe beside an excavated point is left out; a point without a height is none."""
    met = [
        floor(2, 2, -4.0, "probe"),
        floor(2.5, 2, -4.2, "excavated"),
        floor(30, 2, -4.1, "paving"),
        floor(60, 2, NONE),
    ]
    found = spots(floors=met, plan=plan_of(rooms=[shapely.box(0, 0, 5, 5)]))
    assert found["of"].tolist() == ["floor", "floor"]
    assert found["evidence"].tolist() == ["excavated", "paving"]
    assert found["thing"].tolist() == ["R0", ""]
    assert found["height_m"].tolist() == [-4.2, -4.1]
    np.testing.assert_allclose(found["height_sd_m"], 0.04)


def test_the_seabed_in_a_room_is_that_of_its_inmost_cell():
    """Of a room of 5 by 5 m the cell in the middle, by its own height, not the room's median."""
    height = np.arange(81.0).reshape(9, 9)
    room = shapely.box(2, 2, 7, 7)
    found = spots(surface=surface_of(height), plan=plan_of(rooms=[room]))
    inside = found[found["thing"] == "R0"]
    assert inside[["easting_m", "northing_m", "height_m"]].to_numpy().tolist() == [[4.5, 4.5, 40]]
    assert inside["evidence"].tolist() == ["seabed model"]
    assert inside["survey"].tolist() == ["2032-swath"]


def test_no_height_is_taken_from_a_filled_gap():
    """The inmost cell was filled in: the nearest with soundings stands; of a filled room none."""
    filled = np.zeros((9, 9))
    filled[4, 4] = 1
    plan = plan_of(rooms=[shapely.box(2, 2, 7, 7)])
    found = spots(surface=surface_of(np.zeros((9, 9)), filled=filled), plan=plan)
    (place,) = found.loc[found["thing"] == "R0", ["easting_m", "northing_m"]].to_numpy().tolist()
    assert place == [4.5, 5.5]
    found = spots(surface=surface_of(np.zeros((9, 9)), filled=np.ones((9, 9))), plan=plan)
    assert not len(found)


def test_a_room_too_narrow_for_a_cell_clear_of_walls_has_none():
    """A cell that a wall touches is lifted by it, so a room of 1.2 m has no height of the bed."""
    plan = plan_of(rooms=[shapely.box(2, 2, 3.2, 7)], buildings=[shapely.box(0, 0, 9, 9)])
    assert not len(spots(surface=surface_of(np.zeros((9, 9))), plan=plan))


def test_open_ground_has_the_lattice_s_heights_clear_of_what_is_built():
    """Every 10 m from the origin on; none within a metre of a wall, a body, a building."""
    built = shapely.box(9, 9, 16, 16)
    line = [(20, 0, -1.0), (20, 14, -1.0)]
    walls = walls_of([line])
    plan = plan_of(buildings=[built], bodies=[shapely.box(27, 18, 33, 22)])
    found = spots(surface=surface_of(np.zeros((40, 40))), walls=walls, plan=plan)
    bed = found[found["of"] == "seabed"]
    points = shapely.points(bed[["easting_m", "northing_m"]].to_numpy())
    for shape in (built, shapely.LineString(line), plan["wall_bodies"].geometry.iloc[0]):
        assert shapely.distance(points, shape).min() >= 1.0
    away = np.abs(bed[["easting_m", "northing_m"]] / 10).round().mul(10)
    assert np.abs(bed[["easting_m", "northing_m"]] - away).to_numpy().max() <= 2.0
    assert len(bed) == 7  # of nine places two are built over, one lies beside the wall


def test_the_bed_s_sd_has_all_its_causes():
    """One cell's own noise, what is patchy, what is named; of two surveys only the cell's own."""
    named = ErrorModel("2032-swath", 0.0, 0.5, 0.0, 0.03, 8.0, (GAUGE,))
    other = ErrorModel("2031-line", 0.0, 0.9, 0.0, 0.9, 8.0)
    surface = surface_of(np.zeros((9, 9)), models=[other, named], random=0.04, source=1)
    plan = plan_of(rooms=[shapely.box(2, 2, 7, 7)])
    found = spots(surface=surface, plan=plan, where=level_resting_on(0.05)).iloc[0]
    assert found["survey"] == "2032-swath"
    assert found["height_sd_m"] == pytest.approx(np.sqrt(0.04**2 + 0.03**2 + 0.05**2))
    assert found["depth_sd_m"] == pytest.approx(np.sqrt(0.04**2 + 0.03**2 + 0.015**2))


@pytest.fixture(scope="module")
def everything():
    """Return a site's heights of all kinds, and what it was made from."""
    rng = np.random.default_rng(8)
    lines = [
        [(x, y, -2 + rng.normal(0, 0.2)), (x + 6, y, -2 + rng.normal(0, 0.2))]
        for x in range(0, 60, 12)
        for y in range(0, 60, 9)
    ]
    rooms = [shapely.box(x, y + 1, x + 6, y + 8) for x in range(0, 60, 12) for y in (0, 18, 36)]
    met = [floor(*rng.uniform(0, 60, 2), rng.normal(-4, 0.1)) for _ in range(60)]
    given = {
        "floors": met,
        "surface": surface_of(rng.normal(-3, 0.3, (70, 70))),
        "plan": plan_of(rooms=rooms),
    }
    return SimpleNamespace(found=spots(walls=walls_of(lines), **given), lines=lines, given=given)


def test_those_to_be_put_first_stand_in_front(everything):
    """Ranks rise down the table; within a rank floors come before walls, and the seabed last."""
    found = everything.found
    order = [("floor", "wall top", "wall base", "seabed").index(of) for of in found["of"]]
    keys = list(zip(found["rank"], order, strict=True))
    assert keys == sorted(keys)
    assert set(found["of"]) == {"floor", "wall top", "seabed"}
    assert set(found["rank"]) == {1, 2, 3, 4}


def test_another_order_of_input_gives_the_same_heights(everything):
    """Lines and floors handed in the other way round: the same places, heights and ranks."""
    given = everything.given | {"floors": everything.given["floors"][::-1]}
    again = spots(walls=walls_of(everything.lines[::-1]), **given)
    columns = ["of", "rank", "height_m", "easting_m", "northing_m", "height_sd_m"]
    np.testing.assert_array_equal(
        again[columns].to_numpy(object), everything.found[columns].to_numpy(object)
    )


def test_a_site_of_nothing_has_no_heights():
    """No walls, no floors, no soundings: an empty layer with all its fields."""
    found = spots()
    assert not len(found)
    assert list(found.columns) == [*contract.columns("spot_heights"), "geometry"]
