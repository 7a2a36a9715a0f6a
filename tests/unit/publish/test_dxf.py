"""DXF for draughtsmen: read back by GDAL, it holds the plan to a tenth of a millimetre."""

import ezdxf
import geopandas as gpd
import numpy as np
import pyogrio
import pytest
import shapely
from drawn import box, line_table, plan_of, site
from ezdxf import recover

from wrackline import contract, vectors
from wrackline.publish.dxf import HEIGHTS, draw_dxf, layer_name, plain, write_dxf

CRS = "EPSG:32625"
EAST, NORTH = 500_000, 4_200_000
ABOUT = {"site": "Drawn (invented)", "caution": "Not for navigation.", "crs": CRS}
METRES = 6
"""The code of metres in ``$INSUNITS``, as the format's reference has it (from memory)."""


def plan(kinds=("jar",)):
    """Return a plan of one room whose walls have heights but for one, with a contour."""
    south, east, *others = box(EAST, NORTH, EAST + 4, NORTH + 3)
    high = [[(*end, -2.0 - k) for k, end in enumerate(line)] for line in (south, east, others[0])]
    features = [
        {"geometry": shapely.Point(EAST + 1 + k, NORTH + 1, -2.5), "kind": kind}
        for k, kind in enumerate(kinds)
    ]
    drawn = plan_of(
        line_table([*high, others[1]], crs=CRS),
        where=site(crs=CRS, origin=(EAST, NORTH)),
        features=features,
    )
    contour = vectors.empty(contract.columns("contours"), CRS)
    row = dict.fromkeys(contour.columns) | {
        "geometry": shapely.LineString([(EAST - 5, NORTH), (EAST + 9, NORTH + 0.12345)]),
        "height_m": -2.5,
        "depth_m": 2.6,
        "index": True,
        "label_easting_m": EAST,
        "label_northing_m": NORTH,
        "label_turn_deg": 30.0,
    }
    contours = gpd.GeoDataFrame([row], columns=contour.columns, crs=CRS)
    waterlines = vectors.empty(contract.columns("waterlines"), CRS)
    return drawn | {"contours": contours, "waterlines": waterlines}


@pytest.fixture
def read(tmp_path):
    """Return what writes a plan and gives it back as GDAL reads it."""

    def both(layers, about=ABOUT, phases=("",)):
        write_dxf(draw_dxf(layers, phases, about), about, tmp_path / "plan.dxf")
        return pyogrio.read_dataframe(tmp_path / "plan.dxf")

    return both


def test_walls_lie_where_the_plan_has_them_with_their_heights(read):
    """GDAL reads each recorded wall back in its place, height by height, to 0.1 mm."""
    layers = plan()
    drawn = read(layers)
    walls = layers["wall_lines"].geometry.to_numpy()
    known = [
        line for line in walls if np.isfinite(shapely.get_coordinates(line, include_z=True)).all()
    ]
    again = drawn[drawn["Layer"] == "walls recorded"].geometry.to_numpy()
    assert len(known) == len(again) > 0
    for line, other in zip(known, again, strict=True):
        np.testing.assert_allclose(
            shapely.get_coordinates(other, include_z=True),
            shapely.get_coordinates(line, include_z=True),
            rtol=0,
            atol=1e-4,
        )


def test_what_has_no_heights_says_so(read):
    """A wall without heights stands on a layer that tells it, flat; never among those with."""
    drawn = read(plan())
    flat = drawn[drawn["Layer"] == "walls recorded without heights"]
    assert len(flat) == 1
    assert not flat.geometry.has_z.any()


def test_contours_lie_at_their_height(read):
    """A contour has its height as elevation, and its figure beside it, turned along it."""
    drawn = read(plan())
    (line,) = drawn[drawn["Layer"] == "contours index"].geometry
    assert set(shapely.get_coordinates(line, include_z=True)[:, 2]) == {-2.5}
    (text,) = drawn.loc[drawn["Layer"] == "contour heights", "Text"]
    assert text == "-2.5"


def test_units_are_metres_and_the_caution_comes_first(tmp_path):
    """The header declares metres; comments and notes say what goes with the plan."""
    write_dxf(draw_dxf(plan(), [""], ABOUT), ABOUT, tmp_path / "plan.dxf")
    text = (tmp_path / "plan.dxf").read_text(encoding="cp1252")
    assert text.startswith("999\nsite: Drawn (invented)\n999\ncaution: Not for navigation.\n")
    document = ezdxf.readfile(tmp_path / "plan.dxf")
    assert document.header["$INSUNITS"] == METRES
    assert document.header["$EXTMAX"][:2] == (EAST + 9, NORTH + 3)
    notes = " ".join(one.dxf.text for one in document.modelspace().query('TEXT[layer=="notes"]'))
    assert "caution: Not for navigation." in notes
    assert HEIGHTS in notes
    assert document.audit().errors == []


def test_written_twice_a_drawing_has_the_same_bytes(tmp_path):
    """Neither the clock nor identifiers by chance stand in it."""
    for name in ("a.dxf", "b.dxf"):
        write_dxf(draw_dxf(plan(), [""], ABOUT), ABOUT, tmp_path / name)
    assert (tmp_path / "a.dxf").read_bytes() == (tmp_path / "b.dxf").read_bytes()


HOSTILE = [
    "Krug, Höhle",
    "a\n0\nENDSEC\n0\nEOF",
    '=1+1;|*?<>/\\":`',
    "",
    "床 %%c ^J 😀",
    "Jar",
    "jar",
]


def test_strange_words_of_the_team_break_nothing(read, tmp_path):
    """Kinds with line breaks, signs of the format and other scripts stay texts, on layers."""
    drawn = read(plan(HOSTILE), ABOUT | {"site": "a\n0\nEOF"})
    layers = set(drawn["Layer"])
    assert {"features Krug Höhle", "features a 0 ENDSEC 0 EOF", "features 1+1"} <= layers
    points = drawn[drawn["Layer"].str.startswith("features ")]
    assert len(points) == len(HOSTILE)
    assert (points["Layer"].str.casefold() == "features jar").sum() == 2
    document, audit = recover.readfile(tmp_path / "plan.dxf")
    assert audit.errors == []
    assert any("床" in one.dxf.text for one in document.modelspace().query("TEXT"))


def test_rooms_have_their_outline_and_number(read):
    """The room's outline encloses its floor; its number stands inside."""
    layers = plan()
    drawn = read(layers)
    (room,) = layers["rooms"].itertuples()
    (outline,) = drawn[drawn["Layer"] == "rooms"].geometry
    assert shapely.Polygon(outline).area == pytest.approx(room.geometry.area, abs=1e-3)
    (number,) = drawn[drawn["Layer"] == "room numbers"].itertuples()
    assert number.Text == room.room
    assert room.geometry.contains(number.geometry)


def test_a_body_with_holes_is_filled_around_them(read):
    """A hatch leaves the rooms within walls open, and has the body's area."""
    layers = plan()
    body = shapely.box(EAST, NORTH, EAST + 9, NORTH + 9).difference(
        shapely.box(EAST + 1, NORTH + 1, EAST + 4, NORTH + 4)
    )
    row = dict.fromkeys(layers["wall_bodies"].columns) | {"geometry": body, "wall": "W1"}
    layers["wall_bodies"] = gpd.GeoDataFrame([row], crs=CRS)
    drawn = read(layers)
    (filled,) = drawn[drawn["Layer"] == "wall bodies fill"].geometry
    assert filled.area == pytest.approx(72.0)
    assert (drawn["Layer"] == "wall bodies").sum() == 2


def test_spot_heights_and_trenches_are_drawn_where_there_are_some(read):
    """A spot height lies at its height with its figure beside it; a trench is an outline."""
    layers = plan()
    spot = shapely.Point(EAST + 1, NORTH + 1, -3.21)
    layers["spot_heights"] = gpd.GeoDataFrame(
        {"of": ["wall top"], "height_m": [-3.21]}, geometry=[spot], crs=CRS
    )
    trench = shapely.box(EAST, NORTH, EAST + 2, NORTH + 2)
    layers["trenches"] = gpd.GeoDataFrame({"trench": ["A"]}, geometry=[trench], crs=CRS)
    drawn = read(layers)
    (point,) = drawn[drawn["Layer"] == "spot heights wall top"].geometry
    assert (point.x, point.y, point.z) == (EAST + 1, NORTH + 1, -3.21)
    (figure,) = drawn.loc[drawn["Layer"] == "spot heights wall top figures", "Text"]
    assert figure == "-3.21"
    (outline,) = drawn[drawn["Layer"] == "trenches"].geometry
    assert shapely.Polygon(outline).area == pytest.approx(4.0)


def test_rooms_of_earlier_phases_stand_apart(read):
    """A room that stood in an earlier phase alone is on a layer that says so."""
    layers = plan()
    layers["rooms"] = layers["rooms"].assign(phase_from="early", phase_to="early")
    names = read(layers, phases=("early", "late"))["Layer"]
    assert "rooms of earlier phases" in set(names)
    assert "rooms" not in set(names)


def test_a_plan_of_nothing_is_a_drawing_of_its_notes(read):
    """Layers without rows give a whole file."""
    empty = {
        name: vectors.empty(contract.columns(name), CRS)
        for name in (*contract.PLAN_LAYERS, "contours", "waterlines")
    }
    assert set(read(empty)["Layer"]) == {"notes"}


@pytest.mark.parametrize(
    ("given", "shown"), [("a\tb\u202e", "a b"), ("%%u", "% %u"), ("x^J", "x J"), ("😀", "")]
)
def test_texts_stand_in_one_line(given, shown):
    """What doesn't show, or would be read as a code, is a blank."""
    assert plain(given) == shown
    assert layer_name("<>") == "of no name"
