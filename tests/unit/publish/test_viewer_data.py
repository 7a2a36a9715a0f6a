"""What the plan viewer holds: shapes to a centimetre, figures as the report has them, reasons."""

import base64
import io
from itertools import accumulate

import geopandas as gpd
import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from PIL import Image
from report_site import WALLS, bare_houses, houses, layer, line
from viewer_site import (
    CRS_OF_SITE,
    EAST,
    NORTH,
    SECOND,
    moved,
    readings,
    shade,
    two_rooms,
    two_surveys,
    viewer,
)

from wrackline.publish.viewer.kinds import coded
from wrackline.publish.viewer.shapes import AREA, Zero, labels, marks, packed, relief_picture


def unpacked(data, zero):
    """Return shapes from their packed form, written without a look at the script that reads it."""
    east = [zero.easting + x / 100 for x in accumulate(data["xy"][::2])]
    north = [zero.northing + y / 100 for y in accumulate(data["xy"][1::2])]
    places, rings = list(zip(east, north, strict=True)), []
    for count in data["corners"]:
        rings.append(places[:count])
        places = places[count:]
    found = []
    for kind, count in zip(data["kinds"], data["parts"], strict=True):
        mine, rings = rings[:count], rings[count:]
        found.append((kind, mine))
    return found


def column(coded_):
    """Return a column of texts."""
    return [coded_["text"][at] for at in coded_["at"]] if "at" in coded_ else coded_["text"]


def kind(data, name):
    """Return one kind of things."""
    return next(one for one in data["kinds"] if one["name"] == name)


def facts(data, name, number):
    """Return what is told of one thing, by name."""
    one = kind(data, name)
    at = one["numbers"].index(number)
    told = {key: column(texts)[at] for key, texts in one["facts"].items()}
    return {key: text for key, text in told.items() if text}


@given(
    st.lists(
        st.lists(st.tuples(*[st.floats(-500, 500)] * 2), min_size=2, max_size=6),
        max_size=5,
    )
)
def test_lines_come_back_to_half_a_centimetre(lines):
    """Any lines, packed and unpacked, lie within half a centimetre of where they were."""
    shapes = [shapely.LineString(np.add(one, (EAST, NORTH))) for one in lines]
    zero = Zero(EAST - 7, NORTH + 3)
    back = unpacked(packed(shapes, zero), zero)
    assert len(back) == len(shapes)
    for shape, (_, parts) in zip(shapes, back, strict=True):
        moved_by = np.array(parts[0]) - shapely.get_coordinates(shape)
        assert np.abs(moved_by).max() <= 0.00501


def test_holes_and_parts_are_kept():
    """An area with a hole and an area in two parts keep all their rings; nothing has no part."""
    hole = shapely.box(0, 0, 9, 9) - shapely.box(2, 2, 4, 4)
    two = shapely.union_all([shapely.box(0, 0, 1, 1), shapely.box(3, 0, 4, 1)])
    back = unpacked(packed([hole, two, shapely.Polygon()], Zero(0, 0)), Zero(0, 0))
    assert [(kind_, len(parts)) for kind_, parts in back] == [(AREA, 2), (AREA, 2), (AREA, 0)]
    outer, inner = (shapely.Polygon(ring) for ring in back[0][1])
    assert (outer.area, inner.area) == (81.0, 4.0)


def test_a_number_stands_in_the_middle_of_its_room():
    """The widest place of a square is its middle, as wide as the square (to 5 cm)."""
    told = labels([shapely.box(10, 20, 14, 24)], Zero(0, 0))
    assert told["xy"] == pytest.approx([1200, 2200], abs=6)
    assert told["wide"] == pytest.approx([400], abs=11)


@pytest.mark.parametrize(
    "texts", [[], ["a"], ["a", "b"], ["a", "a", "b", "a"], ["", "", "", "x", "y"]]
)
def test_columns_come_back_as_they_were(texts):
    """A column of texts is the same whether repeats are kept once or not."""
    assert column(coded(texts)) == texts


def test_the_relief_is_clear_where_nothing_is_known():
    """The picture has the relief's cells, light where that is light, and lies on its ground."""
    told = relief_picture(shade(), Zero(EAST, NORTH))
    assert told["extent"] == [-200, 1000, -400, 800]
    head, _, text = told["picture"].partition(",")
    assert head == "data:image/webp;base64"
    picture = np.asarray(Image.open(io.BytesIO(base64.b64decode(text))).convert("RGBA"))
    assert picture.shape == (2, 2, 4)
    assert picture[..., 3].tolist() == [[255, 255], [255, 0]]
    assert picture[0, 0, 0] < picture[0, 1, 0]


def test_rooms_say_what_the_report_says():
    """A room's facts are the report's own, printed to what their sd supports."""
    told = facts(viewer().data(), "rooms", "R007-002")
    assert told["building"] == "B002-002"
    assert told["floor area"] == "16.5 ± 0.4 m²; 95 % between 15.7 and 17.3 m²"
    assert told["floor"] == "none was met"
    assert told["empty because"] == "floor: no floor was met in it"
    assert told["openings"] == "O009-002, 1.00 ± 0.04 m wide, possible, to outside"
    assert not {"measured by", "survey lines", "read as", "on the plan"} & set(told)


def test_walls_say_how_they_are_known():
    """A closing says that nobody saw it; a wall its length, thickness and what became of it."""
    data = viewer().data()
    told = facts(data, "walls", "W009")
    assert told["evidence"] == "inferred: a gap closed as a possible doorway, over a gap of 1.00 m"
    told = facts(data, "walls", "W001")
    assert told["length"] == "16.00 m on the ground (no sd stated)"
    assert told["thickness"] == "0.503 ± 0.021 m"
    assert told["condition"] == "seen in 2031, 12.0 m (a suggestion)"
    assert told["top"] == "–"


def test_a_dash_comes_with_its_reason():
    """What can't be had is a dash, and the reason stands beside it in people's words."""
    row = {"null_because": "top_depth_m: the survey took no heights; support: recorded"}
    lines = [line("W001", "recorded", [(0, 0), (0, 4)], **row)]
    walls = layer("wall_lines", *zip(*lines, strict=True))
    matter = houses(plan=two_rooms(wall_lines=walls), surveys=two_surveys())
    told = facts(viewer(matter).data(), "walls", "W001")
    assert (told["top"], told["empty because"]) == ("–", "top: the survey took no heights")


def test_readings_and_history_are_told():
    """A thing has its readings with their grounds, and all events that name it."""
    rooms = kind(viewer().data(), "rooms")
    at = rooms["numbers"].index("R007-002")
    told = "store (possible, A. Orr, 2031-07-02, disputed): sherds of jars"
    assert column(rooms["readings"]) == ["", told]
    assert column(rooms["history"])[at] == "2032: merged, R006-001, R007-002 → R007-002 (no wall)"
    assert column(rooms["history"])[1 - at] == "2031: new (first seen now)"


def test_things_name_their_surveys_and_seasons():
    """Each thing leads to the surveys that it rests on and to its first season."""
    data = viewer().data()
    assert [one["name"] for one in data["surveys"]] == [WALLS, SECOND]
    assert data["surveys"][0]["file"] == f"data/{WALLS}.csv"
    features = kind(data, "features")
    assert (features["surveys"], features["first"]) == ([[0], [1]], [0, 1])
    assert column(features["lines"]) == [f"{WALLS} T1", ""]
    assert kind(data, "rooms")["first"] == [0, 0]


def test_columns_sort_by_value_and_keep_their_nulls():
    """Depths sort as numbers; what is not known has no value and shows a dash."""
    rooms = kind(viewer().data(), "rooms")
    (floor,) = [one for one in rooms["columns"] if one["head"] == "floor depth [m]"]
    assert (floor["sort"], column(floor)) == ([3.4, None], ["3.400 ± 0.030", "–"])


def test_heights_of_contours_stand_where_their_layer_says():
    """A contour's height is written where the layer says; one that says nowhere has none."""
    lines = viewer().data()["lines"]["contours"]
    assert lines["texts"] == [[1100, 400, 1400, "-3.00 m"]]
    assert lines["bold"] == [True, False]


def test_rooms_of_an_earlier_phase_stand_on_a_layer_of_their_own():
    """What the last phase no longer had is drawn apart from what it had."""
    rooms = two_rooms()["rooms"].assign(phase_to=["early", None])
    matter = houses(plan=two_rooms() | {"rooms": rooms}, surveys=two_surveys())
    data = viewer(matter, phases=["early", "late"]).data()
    assert column(kind(data, "rooms")["layer"]) == ["earlier", "rooms"]


def test_further_layers_are_shown_where_they_are_there():
    """Trenches and spot heights are kinds like others; heights know how much room they have."""
    trench = gpd.GeoDataFrame(
        {"trench": ["T1"], "area_m2": [4.0], "survey": [WALLS], "season": ["2031"]},
        geometry=[shapely.box(1, 1, 3, 3)],
        crs=CRS_OF_SITE,
    )
    spots = gpd.GeoDataFrame(
        {
            **{"of": ["floor", "seabed"], "thing": ["R002-002", ""], "height_m": [-3.41, -3.0]},
            **{"height_sd_m": [0.03, np.nan], "depth_m": [3.5, 3.1], "depth_sd_m": [0.04, 0.05]},
            **{"survey": [WALLS, WALLS], "season": ["2031"] * 2, "evidence": ["excavated", ""]},
            "rank": [1, 4],
        },
        geometry=[shapely.Point(2, 2, -3.41), shapely.Point(8, 8, -3)],
        crs=CRS_OF_SITE,
    )
    data = viewer(more={"trenches": moved(trench), "spots": moved(spots)}).data()
    assert facts(data, "trenches", "T1")["area"] == "4.0 m² on the ground (no sd stated)"
    assert facts(data, "spots", "1")["height"] == "-3.410 ± 0.030 m above the datum"
    assert kind(data, "spots")["labels"]["text"] == ["-3.410", "-3.00"]
    assert kind(data, "spots")["apart"] == [100_000, 849]


@given(st.lists(st.tuples(*[st.floats(0, 50)] * 2), min_size=2, max_size=150), st.floats(0.2, 20))
def test_spot_heights_never_meet(places, needed):
    """Of those that lie far enough from all before them, any two lie that far apart."""
    points = [shapely.Point(*place) for place in places]
    wide = np.array(marks(points, Zero(0, 0))["wide"]) / 100
    kept = np.array(places)[wide >= needed]
    apart = np.linalg.norm(kept[:, None] - kept[None], axis=2)[np.triu_indices(len(kept), 1)]
    assert (apart >= needed - 0.011).all()
    assert wide[0] == 1000.0


def test_a_site_with_nothing_on_its_plan_has_a_page():
    """Without a plan, a seabed or surveys there still is a page that says what it is."""
    nothing = {name: table.iloc[:0] for name, table in two_rooms().items()}
    matter = houses(plan=nothing, interpretations=readings().iloc[:0])
    page = viewer(matter, events=(), more={}, shade=None)
    assert page.data()["kinds"] == []
    assert "plan viewer" in page.html()
    assert bare_houses({}).plan.keys() == nothing.keys()
