"""Rooms, buildings, walls and openings of hand-drawn sites, each figure checkable by eye."""

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import SURVEY, box, doubled, items, line_table, plan_of, site

from wrackline.crs import grid_factors
from wrackline.model import Site
from wrackline.rooms.met_floors import MetFloors
from wrackline.uncertainty import ErrorModel, NamedError

L_WALLS = [
    [(0, 0), (6, 0)],
    [(6, 0), (6, 2)],
    [(6, 2), (3, 2)],
    [(3, 2), (3, 5)],
    [(3, 5), (0, 5)],
    [(0, 5), (0, 0)],
]


def parted(lines, wall, start, stop):
    """Return lines with one of them cut: a gap from `start` to `stop` metres along it."""
    first, last = np.array(lines[wall], dtype=float)
    along = (last - first) / np.hypot(*(last - first))
    pieces = [[first, first + start * along], [first + stop * along, last]]
    return [*lines[:wall], *pieces, *lines[wall + 1 :]]


def test_a_room_has_the_area_perimeter_and_shape_that_was_drawn():
    """Four by three metres between faces: 12 m², 14 m round, 4/3 as long as wide, east to west."""
    room = plan_of(box(10, 20, 14, 23))["rooms"].iloc[0]
    assert room["floor_area_m2"] == pytest.approx(12.0)
    assert room["perimeter_m"] == pytest.approx(14.0)
    assert room["elongation"] == pytest.approx(4 / 3)
    assert room["axis_deg"] == pytest.approx(90.0)
    assert room["room"] == "R012-021"
    assert room["recorded_share"] == 1.0
    assert (room["first_season"], room["last_season"]) == ("2031", "2031")
    assert room["surveys"] == "2031-walls"


def test_the_sd_of_an_area_is_that_of_its_corners():
    """Each corner of a rectangle moves its area by half a diagonal per metre.

    With 0.03 m an axis, sd = 0.03 sqrt(4 (4² + 3²) / 4) = 0.15 m².
    """
    room = plan_of(box(0, 0, 4, 3))["rooms"].iloc[0]
    assert room["floor_area_sd_m2"] == pytest.approx(0.15)


def test_areas_are_on_the_ground_and_axes_from_true_north():
    """Away from the grid's middle the scale is taken out and the convergence put in."""
    where = site(crs="EPSG:32625", origin=(690_000.0, 4_760_000.0))
    plan = plan_of(box(690_000, 4_760_000, 690_004, 4_760_003), where=where, crs="EPSG:32625")
    convergence, scale = grid_factors("EPSG:32625", np.array([690_002.0]), np.array([4_760_001.5]))
    room = plan["rooms"].iloc[0]
    assert convergence[0] > 1.0
    assert room["floor_area_m2"] == pytest.approx(12 / scale[0] ** 2, rel=1e-9)
    assert room["axis_deg"] == pytest.approx(90 + convergence[0], abs=1e-6)
    south = plan["wall_lines"].iloc[0]
    assert south["length_m"] == pytest.approx(4 / scale[0], rel=1e-9)


def test_a_wall_between_two_faces_is_a_body_with_twice_its_area_over_its_outline():
    """Walls of 0.5 m round 4 by 3 m: area 8 m², outlines of 14 and 18 m, so 0.5 m thick."""
    plan = plan_of(doubled(0, 0, 4, 3, 0.5))
    body = plan["wall_bodies"].iloc[0]
    assert body.geometry.area == pytest.approx(8.0)
    assert body.geometry.length == pytest.approx(32.0)
    assert body["thickness_m"] == pytest.approx(0.5)
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([12.0])
    assert plan["rooms"]["centre_area_m2"].tolist() == pytest.approx([4.5 * 3.5])
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([20.0])


def test_a_strip_is_as_thick_as_it_is_wide_and_a_pillar_has_no_thickness():
    """A wall of 6 by 0.8 m is 0.8 m thick; a pillar of 0.8 by 0.9 m has none, and says why."""
    assert plan_of(box(0, 0, 6, 0.8))["wall_bodies"]["thickness_m"].tolist() == pytest.approx([0.8])
    pillar = plan_of(box(0, 0, 0.9, 0.8))["wall_bodies"].iloc[0]
    assert pd.isna(pillar["thickness_m"])
    why = "thickness_m: hardly longer than thick, so it has none"
    assert pillar["null_because"].split("; ")[0] == why


@pytest.mark.parametrize(
    ("lines", "thickness", "floor", "footprint"),
    [
        pytest.param(box(0, 0, 4, 3), 0.5, 3.5 * 2.5, 4.5 * 3.5, id="one thickness"),
        pytest.param(box(0, 0, 4, 3), [0.4, 0.6, 0.4, 0.8], 3.3 * 2.6, 4.7 * 3.4, id="three"),
        pytest.param(L_WALLS, 0.5, 21 - 22 * 0.25 + 0.25, 21 + 22 * 0.25 + 0.25, id="L-shape"),
        pytest.param(
            L_WALLS,
            [0.4, 0.4, 0.4, 1.0, 0.4, 0.4],
            5.6 * 4.6 - 3.3 * 3.0,
            6.4 * 5.4 - 2.7 * 3.0,
            id="L-shape, one wall thick",
        ),
    ],
)
def test_floors_end_at_faces_and_footprints_reach_outer_ones(lines, thickness, floor, footprint):
    """Beside wall centres, half of each wall is taken off the floor and added to the footprint.

    At the L's inner corner the floor keeps away from both walls: its missing part is that corner
    moved by half of each thickness.
    """
    plan = plan_of(lines, follows="centre", thickness_m=thickness, thickness_sd_m=0.0)
    assert plan["rooms"]["floor_area_m2"].tolist() == pytest.approx([floor])
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([footprint])


def test_a_survey_thickness_error_moves_all_walls_at_once():
    """Walls 0.1 m too thick each: the floor's outline of 12 m loses 0.05 m all round, 0.6 m²."""
    plan = plan_of(
        box(0, 0, 4, 3),
        follows="centre",
        thickness_m=0.5,
        thickness_sd_m=0.1,
        models=[ErrorModel("2031-walls", 0.0, 0.0)],
    )
    assert plan["rooms"]["floor_area_sd_m2"].tolist() == pytest.approx([0.6])
    assert plan["buildings"]["footprint_sd_m2"].tolist() == pytest.approx([0.8])


def test_an_unknown_thickness_leaves_the_area_empty_with_the_reason():
    """One wall centre of unknown thickness: no floor area, no footprint, and why."""
    thickness = [0.5, 0.5, np.nan, 0.5]
    plan = plan_of(box(0, 0, 4, 3), follows="centre", thickness_m=thickness)
    room, building = plan["rooms"].iloc[0], plan["buildings"].iloc[0]
    assert pd.isna(room["floor_area_m2"])
    assert pd.isna(room["floor_area_sd_m2"])
    assert "floor_area_m2, perimeter_m: wall thickness unknown" in room["null_because"]
    assert pd.isna(building["footprint_m2"])
    assert "footprint_m2: the thickness of its outer walls is unknown" in building["null_because"]


def test_walls_that_leave_no_floor_leave_no_area():
    """Walls 1.3 m thick, 1.2 m apart: the floor's area is empty, not 0."""
    plan = plan_of(box(0, 0, 4, 1.2), follows="centre", thickness_m=1.3)
    assert plan["rooms"]["floor_area_m2"].isna().tolist() == [True]


@pytest.mark.parametrize(
    ("lines", "kinds"),
    [
        pytest.param(box(0, 0, 4, 3), ["room"], id="room"),
        pytest.param(box(0, 0, 16, 12), ["court"], id="court"),
        pytest.param(box(0, 0, 14, 2), ["lane"], id="lane"),
        pytest.param(box(0, 0, 12, 0.05), [], id="sliver"),
        pytest.param(box(0, 0, 6, 0.8), [], id="wall body"),
        pytest.param(box(0, 0, 4, 3)[:3], [], id="open"),
    ],
)
def test_spaces_are_told_apart_by_size_and_shape(lines, kinds):
    """Rooms, courts above 150 m², lanes; slivers, walls and open ground are none of them."""
    assert plan_of(lines)["rooms"]["kind"].tolist() == kinds


def test_small_spaces_between_centres_are_unknown():
    """A space of 0.81 m² between wall centres is enclosed, but too small to be called a room."""
    plan = plan_of(box(0, 0, 0.9, 0.9), follows="centre", thickness_m=0.2)
    assert plan["rooms"]["kind"].tolist() == ["unknown"]
    assert len(plan["buildings"]) == 0


def test_top_depth_is_the_mean_along_the_walls_with_heights():
    """Two walls of 4 m at −1 m and two of 3 m at −2 m: 10/7 m deep, by length."""
    south, east, north, west = box(0, 0, 4, 3)
    lines = [[(*p, -1.0) for p in wall] for wall in (south, north)]
    lines += [[(*p, -2.0) for p in wall] for wall in (east, west)]
    plan = plan_of(lines)
    assert plan["buildings"]["top_depth_m"].tolist() == pytest.approx([10 / 7])
    assert plan["wall_lines"]["top_depth_m"].tolist() == pytest.approx([1.0, 1.0, 2.0, 2.0])


@pytest.mark.parametrize(
    ("rests_on", "expected"),
    [(["benchmark_1"], 0.1 / np.sqrt(8)), ([], np.sqrt(0.01 / 8 + 0.3**2))],
)
def test_a_source_under_both_wall_and_sea_level_cancels_from_depths(rests_on, expected):
    """Eight points of 0.1 m each; a benchmark of 0.3 m counts unless the level rests on it too."""
    source = {"kind": "shift", "height_sd_m": 0.3}
    level = {"name": "msl", "height_m": 0.0, "error_sources": rests_on}
    drawn = site().model_dump() | {"error_sources": {"benchmark_1": source}, "sea_levels": [level]}
    named = (NamedError("benchmark_1:height", "height", 0.3),)
    model = ErrorModel(SURVEY, 0.0, 0.1, named=named)
    plan = plan_of(box(0, 0, 5, 5, -2.0), where=Site.model_validate(drawn), models=[model])
    np.testing.assert_allclose(plan["buildings"]["top_depth_sd_m"], expected, rtol=1e-6)


def test_walls_without_heights_are_left_out_of_the_top_depth():
    """One wall without heights: the mean is over the three others; none at all: empty, and why."""
    south, *others = box(0, 0, 4, 3)
    plan = plan_of([south, *([(*p, -2.0) for p in wall] for wall in others)])
    assert plan["buildings"]["top_depth_m"].tolist() == pytest.approx([2.0])
    assert plan["wall_lines"]["top_depth_m"].isna().tolist() == [True, False, False, False]
    building = plan_of(box(0, 0, 4, 3))["buildings"].iloc[0]
    assert pd.isna(building["top_depth_m"])
    assert pd.isna(building["top_depth_sd_m"])
    assert "top_depth_m: no heights were taken" in building["null_because"]


def test_walls_traced_at_their_base_have_no_top_depth():
    """Heights of a wall's base fill base_depth_m, and leave top_depth_m empty with the reason."""
    lines = [[(*p, -3.0) for p in wall] for wall in box(0, 0, 4, 3)]
    plan = plan_of(lines, traced_at="base")
    assert plan["wall_lines"]["base_depth_m"].tolist() == pytest.approx([3.0] * 4)
    assert plan["wall_lines"]["top_depth_m"].isna().all()
    assert plan["buildings"]["top_depth_m"].isna().all()
    assert "top_depth_m: traced at the base" in plan["wall_lines"]["null_because"].iloc[0]


def test_houses_that_share_a_wall_are_one_building():
    """A party wall joins two rooms, traced by one line or by two faces."""
    for lines in (
        [*box(0, 0, 4, 3), *box(4, 0, 8, 3)[:3]],
        [*box(0, 0, 4, 3), *box(4.5, 0, 8.5, 3), *box(-0.5, -0.5, 9, 3.5)],
    ):
        plan = plan_of(lines)
        assert plan["buildings"]["room_count"].tolist() == [2]
        assert set(plan["rooms"]["building"]) == set(plan["buildings"]["building"])


def test_houses_apart_are_two_buildings():
    """Two houses 3 m apart share nothing."""
    plan = plan_of(doubled(0, 0, 4, 3, 0.5) + doubled(8, 0, 12, 3, 0.5))
    assert plan["buildings"]["footprint_m2"].tolist() == pytest.approx([20.0, 20.0])
    assert plan["rooms"]["building"].tolist() == plan["buildings"]["building"].tolist()


def test_a_house_that_stands_free_in_a_court_is_a_building_of_its_own():
    """A house inside another's court is a hole in the court and no part of that building."""
    outer = [*doubled(0, 0, 20, 15, 0.5)[:4], *box(-5.5, -0.5, 20.5, 15.5), *box(-5, 0, -0.5, 15)]
    plan = plan_of([*outer, *doubled(8, 5, 11, 7, 0.5)])
    rooms = plan["rooms"].set_index("room")
    assert rooms["kind"].tolist() == ["room", "court", "room"]
    assert rooms["floor_area_m2"].tolist() == pytest.approx([67.5, 300 - 12, 6.0])
    assert len(plan["buildings"]) == 2
    house, court = rooms["building"].iloc[2], rooms["building"].iloc[1]
    assert house != court
    assert plan["buildings"]["room_count"].tolist() == [1, 1]


def test_a_doorway_through_both_faces_is_one_opening_between_its_rooms():
    """A gap of 0.9 m in each face of the wall between two rooms: one opening, joining both."""
    lines = [*box(0, 0, 4, 3), *box(4.5, 0, 8.5, 3), *box(-0.5, -0.5, 9, 3.5)]
    lines = parted(parted(lines, 7, 1.1, 2.0), 1, 1.0, 1.9)
    plan = plan_of(lines)
    (opening,) = plan["openings"].itertuples()
    assert opening.joins == ";".join(sorted(plan["rooms"]["room"]))
    assert opening.width_m == pytest.approx(0.9)
    assert opening.width_sd_m == pytest.approx(0.03 * np.sqrt(2))
    assert opening.evidence == "possible"


def test_a_doorway_to_open_ground_joins_the_outside():
    """A gap in both faces of an outer wall joins the room and the outside."""
    lines = parted(parted(doubled(0, 0, 4, 3, 0.5), 4, 2.0, 2.9), 0, 1.5, 2.4)
    plan = plan_of(lines)
    assert plan["openings"]["joins"].tolist() == [f"{plan['rooms']['room'].iloc[0]};outside"]


def test_two_doorways_of_one_wall_stay_two():
    """Two gaps side by side in both faces of a wall are two openings, not one."""
    lines = doubled(0, 0, 6, 3, 0.5)
    lines = parted(parted(lines, 4, 3.9, 4.7), 4, 1.5, 2.3)
    lines = parted(parted(lines, 0, 3.4, 4.2), 0, 1.0, 1.8)
    assert plan_of(lines)["openings"]["joins"].str.count("outside").tolist() == [1, 1]


@pytest.mark.parametrize(
    ("kind", "at", "evidence"),
    [
        pytest.param("threshold", (1.95, -0.25), "seen", id="in the wall"),
        pytest.param("threshold", (1.95, -0.9), "seen", id="just before it"),
        pytest.param("jamb", (1.55, -0.1), "seen", id="a jamb of it"),
        pytest.param("threshold", (3.6, 2), "possible", id="elsewhere"),
        pytest.param("hearth", (1.95, -0.25), "possible", id="no threshold"),
    ],
)
def test_an_opening_is_seen_where_a_threshold_lies_in_it(kind, at, evidence):
    """Only a recorded threshold or jamb within half a metre makes a gap a seen opening."""
    lines = parted(parted(doubled(0, 0, 4, 3, 0.5), 4, 2.0, 2.9), 0, 1.5, 2.4)
    plan = plan_of(lines, features=[{"geometry": shapely.Point(at), "kind": kind}])
    assert plan["openings"]["evidence"].tolist() == [evidence]


def test_only_the_best_evidence_gives_a_rooms_floor():
    """An excavated floor at −3 m counts, two probes at −4 m in the same room don't."""
    floors = [
        {"geometry": shapely.Point(1, 1, -4.0), "evidence": "probe"},
        {"geometry": shapely.Point(2, 1, -3.0), "evidence": "excavated"},
        {"geometry": shapely.Point(3, 1, -4.0), "evidence": "probe"},
        {"geometry": shapely.Point(9, 1, -9.0), "evidence": "excavated"},
    ]
    room = plan_of(box(0, 0, 4, 3), floors=floors)["rooms"].iloc[0]
    assert room["floor_depth_m"] == pytest.approx(3.0)
    assert room["floor_depth_sd_m"] == pytest.approx(0.04)
    assert room["floor_evidence"] == "excavated"


def test_points_of_equal_evidence_are_averaged():
    """Two thresholds at −2 and −3 m: a floor 2.5 m deep, known to 0.04/√2 m."""
    floors = [
        {"geometry": shapely.Point(1 + k, 1, -2.0 - k), "evidence": "threshold"} for k in range(2)
    ]
    room = plan_of(box(0, 0, 4, 3), floors=floors)["rooms"].iloc[0]
    assert room["floor_depth_m"] == pytest.approx(2.5)
    assert room["floor_depth_sd_m"] == pytest.approx(0.04 / np.sqrt(2))


def test_evidence_of_no_known_word_counts_last():
    """A floor without evidence is used only where nothing better was met."""
    points = items(
        [
            {"geometry": shapely.Point(1, 1, -2.0)},
            {"geometry": shapely.Point(2, 1, -3.0), "evidence": "probe"},
        ]
    )
    met = MetFloors(points, [ErrorModel("2031-items", 0.05, 0.04)])
    assert met.inside(shapely.box(0, 0, 4, 3)).tolist() == [1]
    assert met.inside(shapely.box(0, 0, 1.5, 3)).tolist() == [0]


def test_a_feature_names_the_room_in_which_it_lies():
    """A jar in the room names it, one outside names none; depth and its absence are told."""
    features = [
        {"geometry": shapely.Point(1, 1, -2.5), "kind": "jar", "origin": "built"},
        {"geometry": shapely.Point(9, 9), "kind": "anchor"},
    ]
    plan = plan_of(box(0, 0, 4, 3), features=features)
    jar, anchor = (row for _, row in plan["features"].iterrows())
    assert jar["room"] == plan["rooms"]["room"].iloc[0]
    assert jar["top_depth_m"] == pytest.approx(2.5)
    assert jar["top_depth_sd_m"] == pytest.approx(0.04)
    assert pd.isna(anchor["room"])
    assert pd.isna(anchor["top_depth_m"])
    assert "top_depth_m: no heights were taken on it" in anchor["null_because"]


@pytest.mark.parametrize(
    ("lines", "walls"),
    [
        pytest.param([], 0, id="no wall survey"),
        pytest.param([[(0, 0), (5, 0)]], 1, id="one wall of two points"),
        pytest.param([[(0, 0), (0.001, 0)]], 1, id="one wall of a millimetre"),
        pytest.param(
            [[(0, 0), (4, 3), (4, 0), (0, 3), (0, 0)]], 1, id="a line that crosses itself"
        ),
        pytest.param(box(0, 0, 4, 3) * 2, 4, id="every line twice"),
    ],
)
def test_odd_sites_make_a_plan_of_what_they_have(lines, walls):
    """No walls, one, a tiny one, a crossing one and doubled ones make a plan all the same."""
    features = [{"geometry": shapely.Point(1, 1, -2.5), "kind": "jar"}]
    plan = plan_of(lines, features=features)
    assert (plan["wall_lines"]["evidence"] == "recorded").sum() == walls
    assert len(plan["features"]) == 1


def test_a_closing_says_what_it_is_and_measures_nothing():
    """An inferred line has its kind, its gap and the lines that it rests on, but no depths."""
    lines = [[(*p, -2.0) for p in wall] for wall in parted(box(0, 0, 4, 3), 0, 1.5, 2.4)]
    walls = plan_of(lines)["wall_lines"]
    (closing,) = walls.loc[walls["evidence"] == "inferred"].itertuples()
    assert (closing.closing, round(closing.gap_m, 6)) == ("doorway", 0.9)
    assert closing.lines == "2031-walls/#1;2031-walls/#2"
    assert pd.isna(closing.top_depth_m)
    assert np.isnan(shapely.get_coordinates(closing.geometry, include_z=True)[:, 2]).all()
    assert plan_of(lines)["rooms"]["recorded_share"].iloc[0] == pytest.approx(1 - 0.9 / 14)


def test_every_empty_field_has_its_reason():
    """Each figure that is empty is named in null_because, in every layer of a plan."""
    where = site()
    floors = [{"geometry": shapely.Point(1, 1, -4.0), "evidence": "probe"}]
    features = [{"geometry": shapely.Point(1, 1), "kind": "threshold"}]
    lines = parted(parted(doubled(0, 0, 4, 3, 0.5), 4, 2.0, 2.9), 0, 1.5, 2.4)
    lines += box(8, 0, 12, 3)
    plan = plan_of(lines, where=where, floors=floors, features=features)
    silent = {
        "room",
        "building",
        "joins",
        "closing",
        "gap_m",
        "line",
        "note",
        "origin",
        "traced_at",
    }
    for layer, table in plan.items():
        for _, row in table.iterrows():
            for field in set(table.columns) - silent - {"geometry", "null_because"}:
                if pd.isna(row[field]):
                    stem = field.replace("_sd_", "_").replace("_min_", "_").replace("_max_", "_")
                    named = {stem, field, stem.replace("bed_date", "bed_depth_m")}
                    named.add(stem.replace("floor_evidence", "floor_depth_m"))
                    assert any(name in row["null_because"] for name in named), (layer, field)


def test_what_carries_a_line_number_cites_it():
    """Lines with an id of their own are cited by it, others by their row."""
    table = line_table(box(0, 0, 4, 3), line=["S", None, "N", None])
    room = plan_of(table)["rooms"].iloc[0]
    assert room["lines"] == "2031-walls/#2;2031-walls/#4;2031-walls/N;2031-walls/S"


def test_lines_drawn_at_random_make_a_plan_whose_figures_hold():
    """Of tangled lines with some heights and thicknesses missing, no figure is senseless.

    Areas are those of the outlines shown, every sd is a finite number.
    """
    rng = np.random.default_rng(17)
    for _ in range(25):
        lines = [np.cumsum(rng.normal(0, 1.5, (4, 3)), axis=0) for _ in range(12)]
        lines += [rng.integers(0, 5, (3, 3)) + np.arange(3)[:, None] for _ in range(8)]
        drawn = {"follows": rng.choice(["face", "centre"], 20).tolist(), "thickness_sd_m": 0.05}
        thickness = np.where(rng.random(20) < 0.1, np.nan, rng.uniform(0.2, 1.0, 20))
        plan = plan_of(lines, thickness_m=thickness, **drawn)
        areas = plan["rooms"]["floor_area_m2"].to_numpy(float)
        shown = plan["rooms"].geometry.area.to_numpy()
        np.testing.assert_allclose(shown[~np.isnan(areas)], areas[~np.isnan(areas)], rtol=1e-6)
        for table in plan.values():
            for field in [name for name in table if "_sd_" in name]:
                known = table[field].dropna().to_numpy(float)
                assert np.isfinite(known).all()
                assert (known >= 0).all()
