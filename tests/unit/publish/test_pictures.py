"""Pictures drawn of any plan, and the layer of surveys with the ground they looked at."""

import datetime as dt
import itertools

import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from drawn import CRS, box, items, plan_of
from report_site import bare_plan
from report_site import layer as contract_layer

from wrackline import contract, vectors
from wrackline.grounds import ground_stated
from wrackline.model import Survey, Vertical
from wrackline.publish import pictures
from wrackline.publish.pictures import draw_plan
from wrackline.publish.site import bed_lines, survey_layer
from wrackline.seasons.looked import COLUMNS, season_grounds
from wrackline.sources import GROUND_TRAITS
from wrackline.verdict import Problems, Source, make_verdict, write_verdict
from wrackline.walls.linework import ITEM_COLUMNS

TOPICS = ("site", "crs", "vertical_datum", "depths", "surveyed", "credit", "caution")
ABOUT = dict.fromkeys(TOPICS, "invented")


@pytest.mark.parametrize(
    "lines",
    [
        pytest.param([], id="nothing"),
        pytest.param([[(0, 0), (5, 0)]], id="one wall"),
        pytest.param(box(0, 0, 4, 3), id="a room"),
        pytest.param(box(0, 0, 4000, 0.3), id="a very long strip"),
    ],
)
def test_a_plan_is_drawn_of_whatever_there_is(tmp_path, lines):
    """A plan of nothing, of one wall and of odd proportions makes its pictures all the same."""
    paths = [tmp_path / "plan.png", tmp_path / "plan.svg"]
    draw_plan(plan_of(lines), None, ABOUT, [""], paths)
    assert paths[0].read_bytes().startswith(b"\x89PNG")
    assert b"<svg" in paths[1].read_bytes()[:2000]


@pytest.fixture
def drawn_figure(monkeypatch):
    """Draw a plan, and return its figure instead of writing files."""
    made = []
    monkeypatch.setattr(pictures, "save", lambda figure, paths: made.append(figure))

    def draw(plan, phases=("",)):
        draw_plan(plan, None, ABOUT, list(phases), [])
        made[-1].draw_without_rendering()
        return made[-1]

    return draw


@pytest.mark.parametrize(
    "corners", [(0, 0, 4, 3), (0, 0, 4, 300), (0, 0, 400, 3)], ids=["a room", "tall", "wide"]
)
def test_the_key_lies_outside_the_drawing(drawn_figure, corners):
    """Key, statement and drawing lie one below the other, all on the picture."""
    figure = drawn_figure(plan_of(box(*corners)))
    (axes,), (key,), (statement,) = figure.axes, figure.legends, figure.texts
    boxes = [part.get_tightbbox() for part in (axes, key, statement)]
    for above, below in itertools.pairwise(boxes):
        assert below.y1 <= above.y0
    assert boxes[-1].y0 >= 0
    assert all(part.x0 >= 0 and part.x1 <= figure.bbox.x1 for part in boxes[1:])


def test_the_plan_says_which_phase_it_shows(drawn_figure):
    """Heading and statement name the last phase; without any, the statement says so."""
    figure = drawn_figure(plan_of(box(0, 0, 4, 3)), ["early", "late"])
    assert "in its last phase, late" in figure.axes[0].get_title(loc="left")
    assert "as they stood in the last phase, late" in figure.texts[0].get_text()
    figure = drawn_figure(plan_of(box(0, 0, 4, 3)))
    assert "phase" not in figure.axes[0].get_title(loc="left")
    assert "No phases of walls are given" in figure.texts[0].get_text()


def test_a_room_of_unknown_area_is_labelled_so(tmp_path):
    """Where the floor's area is unknown the sheet says so; both files are the same each time."""
    plan = plan_of(box(0, 0, 4, 3), follows="centre")
    for name in ("a.svg", "b.svg"):
        contours = vectors.empty(contract.columns("contours"), CRS)
        draw_plan(plan, contours, ABOUT, [""], [tmp_path / name])
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def survey(**more):
    return Survey(
        name="walls",
        technique="any",
        holds="wall_lines",
        file="walls.gpkg",
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 1),
        to_date=dt.date(2031, 6, 2),
        vertical=Vertical(meaning="height"),
        random_horizontal_sd_m=0.03,
        random_vertical_sd_m=0.02,
        **more,
    )


def layer(tmp_path, config, **told):
    """Return the layer `surveys` of one survey."""
    source = Source("2031-walls", config, tmp_path)
    write_verdict(make_verdict(source, Problems(), rows=2, used=1), tmp_path / "verdict.json")
    traits = {key: getattr(config, key) for key in GROUND_TRAITS}
    grounds = season_grounds({"2031-walls": {**traits, **told}}, "EPSG:32625")
    vectors.write(grounds, COLUMNS, tmp_path / "looked.parquet")
    return survey_layer(
        [("2031-walls", config.model_dump_json())],
        [tmp_path / "verdict.json"],
        [tmp_path / "looked.parquet"],
        crs="EPSG:32625",
    )


def test_a_surveys_ground_is_a_corridor_along_what_it_recorded(tmp_path):
    """Without a stated ground, a survey looked at least within 1 m of its lines."""
    drawn = items([{"geometry": shapely.LineString([(0, 0, 0), (10, 0, 0)])}], crs="EPSG:32625")
    vectors.write(drawn, ITEM_COLUMNS, tmp_path / "items.parquet")
    row = layer(tmp_path, survey(), data=str(tmp_path / "items.parquet")).iloc[0]
    assert row.geometry.area == pytest.approx(20 + np.pi, rel=0.01)
    assert row["ground_looked_at"] == "within 1 m of what it recorded"
    empty = ("resolution_m", "visibility_m", "plant_cover_share", "pole_width_m")
    told = [f"{name}: the config doesn't state it" for name in empty]
    assert row["null_because"] == "; ".join(told)
    assert (row["rows"], row["used"]) == (2, 1)
    assert list(row.index) == [*contract.columns("surveys"), "geometry"]


def stated(tmp_path, shapes, crs="EPSG:32625"):
    table = gpd.GeoDataFrame(geometry=shapes, crs=crs)
    pyogrio.write_dataframe(table, tmp_path / "ground.gpkg")
    return str(tmp_path / "ground.gpkg")


def test_ground_that_the_team_states_is_taken_as_stated(tmp_path):
    """Stated polygons are the ground, whatever was recorded in them; a quarter is overgrown."""
    path = stated(tmp_path, [shapely.box(0, 0, 10, 5), shapely.box(10, 0, 20, 5)])
    config = survey(looked_at=path, plant_cover=0.25, visibility_m=4.0)
    row = layer(tmp_path, config, data="").iloc[0]
    assert row.geometry.area == pytest.approx(100.0)
    assert row["ground_looked_at"] == "as stated by the team"
    assert (row["visibility_m"], row["plant_cover_share"]) == (4.0, 0.25)


def test_nobody_sees_further_than_the_water_is_clear(tmp_path):
    """A reach of 3 m in water of 1 m visibility looks 1 m to either side: 20 m² and a disc."""
    way = gpd.GeoDataFrame(geometry=[shapely.LineString([(0, 0), (10, 0)])], crs="EPSG:32625")
    pyogrio.write_dataframe(way, tmp_path / "swum.gpkg")
    config = survey(swim_lines=str(tmp_path / "swum.gpkg"), swim_reach_m=3.0, visibility_m=1.0)
    row = layer(tmp_path, config, data="").iloc[0]
    assert row.geometry.area == pytest.approx(20 + np.pi, rel=0.01)


def test_ground_drawn_as_a_bow_tie_is_mended(tmp_path):
    """A stated outline that crosses itself keeps both its halves: 2 m², each a triangle of one."""
    bow_tie = shapely.Polygon([(0, 0), (2, 2), (2, 0), (0, 2)])
    ground, _ = ground_stated(stated(tmp_path, [bow_tie]), "EPSG:32625")
    assert ground.area == pytest.approx(2.0)


def test_a_site_without_seabed_model_has_no_contour():
    """Contours and waterlines of nothing are layers without rows."""
    for name in ("contours", "waterlines"):
        table = bed_lines(name, [], CRS)
        assert len(table) == 0
        assert list(table.columns) == [*contract.columns(name), "geometry"]


def test_numbers_of_buildings_touch_nothing(drawn_figure):
    """In two rows of houses a street apart, no number touches another or another house."""
    shapes = [shapely.box(9 * k, 24 * j, 9 * k + 6, 24 * j + 12) for k in range(36) for j in (0, 1)]
    names = [{"building": f"B{k:03}-000"} for k in range(72)]
    rooms = [{"room": f"R{k:03}-000", "kind": "room"} for k in range(72)]
    layers = {"buildings": contract_layer("buildings", names, shapes)}
    layers["rooms"] = contract_layer("rooms", rooms, shapes)
    figure = drawn_figure(bare_plan(**layers))
    axes = figure.axes[0]
    texts = [text for text in axes.texts if text.get_text().startswith("B")]
    assert len(texts) == 72
    boxes = [shapely.box(*text.get_window_extent().extents) for text in texts]
    for one, other in itertools.combinations(boxes, 2):
        assert one.intersection(other).area < 1
    corners = [axes.transData.transform([s.bounds[:2], s.bounds[2:]]).ravel() for s in shapes]
    houses = [shapely.box(*corner) for corner in corners]
    assert all(sum(box.intersects(house) for house in houses) <= 1 for box in boxes)
