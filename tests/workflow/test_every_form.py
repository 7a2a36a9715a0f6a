"""Everything that a survey may hold, and field books too, through the whole workflow. Invented."""

import warnings

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import rasterio
import shapely
from rasterio.transform import from_origin

from sites import CRS, ORIGIN, build, hut_site, survey, write_rows, write_shapes, write_yaml

E, N = ORIGIN
MARKS = {"A": (100.0, 100.0, -3.0), "B": (124.0, 101.0, -4.0), "C": (123.0, 117.0, -5.0)}
CORNERS = {"W1": (105.0, 104.0, -5.0), "W2": (117.0, 104.0, -5.0), "W3": (117.0, 112.0, -5.0)}
LATER = {"from_date": "2033-06-09", "to_date": "2033-06-10"}
NO_HEIGHTS = {"vertical": {"meaning": "none"}}

pytestmark = pytest.mark.slow


def tape_book():
    """Return a book of tapes from three marks to three corners, their depths, and the wall."""
    places = {**MARKS, **CORNERS}
    rows = ["measure,from,to,value_m,line"]
    pairs = [(mark, corner) for mark in MARKS for corner in CORNERS]
    for one, other in [*pairs, ("A", "B"), ("B", "C"), ("W1", "W2"), ("W2", "W3"), ("W1", "W3")]:
        length = float(np.linalg.norm(np.subtract(places[one], places[other])))
        rows.append(f"distance,{one},{other},{length:.3f},")
    rows += [f"depth,{name},,{-place[2]:.2f}," for name, place in CORNERS.items()]
    rows += ["line,W1,W2,,quay wall", "line,W2,W3,,quay wall"]
    return "\n".join(rows) + "\n"


@pytest.fixture(scope="module")
def site(tmp_path_factory):
    """Return a hut to which a third season added one survey of everything else, built."""
    site = hut_site(tmp_path_factory.mktemp("every_form"))
    data = site / "data"
    write_shapes([shapely.box(E + 11, N + 11, E + 12, N + 12)], data / "trench.geojson", CRS)
    sherd = shapely.Point(E + 11.5, N + 11.5, -3.4)
    write_shapes([sherd], data / "finds.geojson", CRS, kind=["sherd"])
    places = {"easting": [E + 16, E + 17], "northing": [N + 12, N + 13], "height": [-3.0, -3.0]}
    write_rows(data / "probes.csv", **places, met=["floor", "nothing"], thickness_m=[0.8, 1.2])
    grid = {"width": 40, "height": 30, "count": 3, "dtype": "uint8", "crs": CRS}
    with warnings.catch_warnings():  # of a library's own use of another
        warnings.simplefilter("ignore", PendingDeprecationWarning)
        path, place = data / "mosaic.tif", from_origin(E + 5, N + 20, 0.5, 0.5)
        with rasterio.open(path, "w", driver="GTiff", transform=place, **grid) as out:
            out.write(np.full((3, 30, 40), 120, "uint8"))
    (data / "tapes.csv").write_text(tape_book())
    depths = {"vertical": {"meaning": "depth_below_datum"}}
    surveys = [
        survey("trench", "data/trench.geojson", "trench_outlines", **LATER, **NO_HEIGHTS),
        survey("finds", "data/finds.geojson", "finds", **LATER),
        survey("probes", "data/probes.csv", "probes", **LATER),
        survey("mosaic", "data/mosaic.tif", "picture", **LATER, **NO_HEIGHTS),
        survey("tapes", "data/tapes.csv", "wall_lines", form="tape", **LATER, **depths),
    ]
    season = {"schema_version": 1, "season": "2033", "surveys": surveys}
    write_yaml(season, site / "config" / "seasons" / "2033.yaml")
    marks = [f"{name},{E + e},{N + n},{h},0.01\n" for name, (e, n, h) in MARKS.items()]
    head = "point,easting,northing,height,sd_m\n"
    (site / "config" / "control.csv").write_text(head + "".join(marks))
    ended = build(site)
    assert ended.code == 0, ended.text
    return site


def layer(site, name):
    return gpd.read_file(site / "results" / "site.gpkg", layer=name)


def test_walls_from_a_tape_book_are_on_the_plan(site):
    """Two walls of 12 and 8 m at 5 m below the datum, 5.1 m below the sea, where tapes put them."""
    lines = layer(site, "wall_lines")
    taped = lines[lines["surveys"] == "2033-tapes"]
    assert taped["length_m"].sum() == pytest.approx(20.0, abs=0.02)
    assert taped["top_depth_m"].iloc[0] == pytest.approx(5.1, abs=0.03)
    corner = shapely.Point(E + 117, N + 104)
    assert shapely.union_all(taped.geometry.to_list()).distance(corner) < 0.02


def test_a_probe_that_met_a_floor_gives_its_depth(site):
    """0.8 m under a bed at -3 m: 3.9 m below the sea; the probe that met nothing counts nowhere."""
    rooms = layer(site, "rooms").set_index("room")
    assert rooms.loc["R016-012", "floor_depth_m"] == pytest.approx(3.9)
    assert rooms.loc["R016-012", "floor_evidence"] == "probe"
    deposit = pd.read_csv(site / "results" / "tables" / "deposit.csv")
    assert deposit["deposit_m"].tolist() == pytest.approx([0.5, 0.8])


def test_every_survey_is_listed_with_its_ground(site):
    """Trench, finds, mosaic and tapes stand in the list of surveys; the mosaic covers 300 m²."""
    surveys = layer(site, "surveys").set_index("survey")
    assert len(surveys) == 9
    assert surveys.loc["2033-mosaic"].geometry.area == pytest.approx(300.0, rel=0.01)
