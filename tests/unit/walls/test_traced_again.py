"""One wall traced several times: where it then lies, what became of its tracings, who disagrees."""

import numpy as np
import pytest
import shapely
from drawn import CRS, line_table
from scipy import sparse

from wrackline.model import WallSettings
from wrackline.rooms.figures import Figure, Ground
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.joining import join_walls, settle_walls
from wrackline.walls.network import load, save

SETTINGS = WallSettings()
GOOD, OTHER, THIRD = "2031-good", "2032-other", "2033-third"
MARK = NamedError("mark:northing", "northing", 0.05)


def surveys(*lines, sd=(0.02, 0.03, 0.04), named=(), follows="face", **columns):
    """Return lines, each (survey, points), and models of the surveys with these random sds."""
    names = [GOOD, OTHER, THIRD]
    models = {
        name: ErrorModel(name, size, size, named=tuple(named))
        for name, size in zip(names, sd, strict=True)
    }
    table = line_table(
        [points for _, points in lines],
        survey=[name for name, _ in lines],
        follows=follows,
        **columns,
    )
    return table, models


def settled(*lines, **traits):
    """Return the walls of `surveys` as placed by all tracings."""
    return settle_walls(*surveys(*lines, **traits), SETTINGS)[0]


def rows(found, survey=None, *, standing=None):
    """Return the rows of the table of tracings, of a survey, or that stand or don't."""
    table = found.tracings
    table = table if survey is None else table[table["survey"] == survey]
    return table if standing is None else table[table["standing"] == standing]


def test_a_wall_lies_at_the_weighted_mean_of_its_tracings():
    """Weights are inverse variances (GUM F.1.2.4's law for means): 9 : 4 for 0.02 and 0.03 m."""
    found = settled((GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.013), (8, 0.013)]))
    np.testing.assert_allclose(found.work.xyz[:, 1], 0.013 * 4 / 13)
    assert rows(found)["weight"].tolist() == pytest.approx([9 / 13, 4 / 13])
    assert rows(found)["off_m"].tolist() == pytest.approx([-0.004, 0.009])


def test_the_sd_of_a_mean_is_that_of_both_tracings():
    """1 / sd^2 of the ends is the sum of 1 / sd^2 (the textbook's weighted mean)."""
    found = settled((GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.01), (8, 0.01)]))
    _, models = surveys((GOOD, [(0, 0), (8, 0)]))
    sd = end_sd(found.work, models)
    assert sd == pytest.approx((1 / 0.02**2 + 1 / 0.03**2) ** -0.5)


def end_sd(work, models, vertex=0, axis=1):
    """Return the sd of one coordinate of a placed vertex."""
    ground = Ground.under(
        work, sparse.identity(3 * len(work.xyz), format="csr"), [*models.values()]
    )
    gradient = np.zeros((1, 2, 3))
    gradient[0, vertex % 2, axis] = 1.0
    return ground.budget(Figure(0.0, np.array([vertex // 2]), gradient)).sd


def test_a_cause_common_to_both_is_neither_averaged_away_nor_held_against_them():
    """A mark's 0.05 m stays in the place and is in no weight and no offset."""
    lines = (GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.013), (8, 0.013)])
    found = settled(*lines, named=(MARK,))
    np.testing.assert_allclose(found.work.xyz[:, 1], 0.004)
    _, models = surveys(*lines, named=(MARK,))
    own = (1 / 0.02**2 + 1 / 0.03**2) ** -0.5
    assert end_sd(found.work, models) == pytest.approx(np.hypot(own, 0.05))
    plain = rows(settled(*lines), OTHER)["off_sd_m"].iloc[0]
    assert rows(found, OTHER)["off_sd_m"].iloc[0] == pytest.approx(plain)


def test_an_end_keeps_its_place_along_the_wall():
    """What another survey traced 0.4 m further on moves nothing along."""
    found = settled((GOOD, [(0, 0), (8, 0)]), (OTHER, [(-0.4, 0.01), (8.4, 0.01)]))
    np.testing.assert_allclose(found.work.xyz[:2, 0], [0, 8])


@pytest.mark.parametrize("turned", [False, True])
def test_a_corner_is_moved_by_both_of_its_walls(turned):
    """The walls' weighted means cross where the corner is placed, whichever way lines run."""
    other = [(0, 0.013), (8.026, 0.013), (8.026, 6)]
    found = settled((GOOD, [(0, 0), (8, 0), (8, 6)]), (OTHER, other[::-1] if turned else other))
    np.testing.assert_allclose(found.work.xyz[1, :2], [8 + 0.026 * 4 / 13, 0.004], atol=1e-4)


def test_a_closed_line_stays_closed():
    """A polygon's outline, moved at its first corner, is moved at its last with it."""
    ring = np.array([(0, 0), (6, 0), (6, 5), (0, 5), (0, 0)], dtype=float)
    found = settled((GOOD, ring), (OTHER, ring + 0.013))
    assert (found.work.xyz[0] == found.work.xyz[-1])[:2].all()
    np.testing.assert_allclose(found.work.xyz[:, :2], ring + 0.004, atol=1e-4)


def test_three_tracings_make_one_wall():
    """Weights 36 : 16 : 9 for sds of 0.02, 0.03 and 0.04 m."""
    found = settled(
        (GOOD, [(0, 0), (8, 0)]), (OTHER, [(8, 0.01), (0, 0.01)]), (THIRD, [(0, -0.02), (8, -0.02)])
    )
    assert len(found.work.lines) == 1
    np.testing.assert_allclose(found.work.xyz[:, 1], (16 * 0.01 - 9 * 0.02) / 61)
    assert found.work.lines["repeats"].tolist() == [f"{OTHER};{THIRD}"]


def test_one_long_line_repeats_several_short_ones():
    """A line over two walls is a tracing of each, and stands itself where none of them does.

    Between its vertices its random variance is less, by (1 - t)^2 + t^2.
    """
    found = settled(
        (GOOD, [(0, 0), (4, 0)]), (GOOD, [(7, 0), (11, 0)]), (OTHER, [(0, 0.013), (11, 0.013)])
    )
    of = rows(found, OTHER)
    assert set(of["wall_line"]) == {f"{GOOD}/#1", f"{GOOD}/#2", f"{OTHER}/#3"}
    assert of["length_m"].sum() == pytest.approx(11, abs=0.01)
    inner = 0.013 / (1 + (9 / 4) * ((4 / 11) ** 2 + (7 / 11) ** 2))
    np.testing.assert_allclose(found.work.xyz[:4, 1], [0.004, inner, inner, 0.004])


def test_an_old_line_split_in_two_is_one_wall():
    """Two short tracings share in the ends of the long one that they lie at."""
    found = settled(
        (GOOD, [(0, 0), (11, 0)]),
        (OTHER, [(0, 0.013), (5, 0.013)]),
        (OTHER, [(6, 0.026), (11, 0.026)]),
    )
    assert len(found.work.lines) == 1
    np.testing.assert_allclose(found.work.xyz[:, 1], [0.004, 0.008])


def test_a_line_that_goes_on_is_joined_to_the_wall_that_it_repeats():
    """Of 10 m, of which 8.5 m are known, 1.5 m are new; wall and new part become one run."""
    table, models = surveys((GOOD, [(0, 0), (8.5, 0)]), (OTHER, [(0, 0.01), (10, 0.01)]))
    joined = join_walls(table, models, SETTINGS)
    of = joined.tracings[joined.tracings["survey"] == OTHER].set_index("wall_line")
    assert of["length_m"].to_dict() == pytest.approx(
        {f"{GOOD}/#1": 8.5, f"{OTHER}/#2": 1.5}, abs=0.02
    )
    edges = shapely.union_all(shapely.linestrings(joined.network.edges))
    assert shapely.line_merge(edges).geom_type == "LineString"


def test_a_curved_wall_is_moved_across_itself_everywhere():
    """An arc of 6 m radius, traced 13 mm further out by the other survey, lies 4 mm further out.

    Chords lie inside an arc, here by up to 2 mm for points half a metre apart.
    """
    angle = np.linspace(0, 1.5, 20)
    arc = np.column_stack([np.cos(angle), np.sin(angle)])
    found = settled((GOOD, 6 * arc), (OTHER, 6.013 * arc[::-1]))
    np.testing.assert_allclose(np.hypot(*found.work.xyz[:, :2].T), 6.004, atol=0.002)
    assert rows(found, OTHER)["disagrees"].tolist() == [False]


def test_two_faces_of_one_survey_stay_two():
    """Faces 0.2 m apart, each traced once by one survey, are two lines, unmoved."""
    found = settled((GOOD, [(0, 0), (8, 0)]), (GOOD, [(0, 0.2), (8, 0.2)]))
    assert found.work.moved is None
    np.testing.assert_array_equal(found.work.xyz[:, 1], [0, 0, 0.2, 0.2])


def test_a_face_and_a_centre_line_are_brought_together_by_half_the_wall():
    """A centre line 0.3 m beside a face, of a wall of 0.56 m: 0.02 m more than half."""
    found = settled(
        (GOOD, [(0, 0), (8, 0)]),
        (OTHER, [(0, 0.30), (8, 0.30)]),
        follows=["face", "centre"],
        thickness_m=[np.nan, 0.56],
        thickness_sd_m=[np.nan, 0.02],
    )
    of = rows(found, OTHER).iloc[0]
    np.testing.assert_allclose(found.work.xyz[:, 1], 0.02 * of["weight"])
    assert of["weight"] == pytest.approx(4 / 13)
    assert of["off_m"] == pytest.approx(0.02 * 9 / 13)


def test_the_thickness_is_in_doubt_with_the_place():
    """Half of a thickness known to 0.02 m adds 4/13 of 0.01 m to the place's sd."""
    lines = (GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.30), (8, 0.30)])
    traits = {
        "follows": ["face", "centre"],
        "thickness_m": [np.nan, 0.56],
        "thickness_sd_m": [np.nan, 0.02],
    }
    _, models = surveys(*lines)
    own = (1 / 0.02**2 + 1 / 0.03**2) ** -0.5
    sd = end_sd(settled(*lines, **traits).work, models)
    assert sd == pytest.approx(np.hypot(own, 4 / 13 * 0.01))


def test_a_thickness_that_nobody_stated_brings_nothing_together():
    """The better line stands alone, and the table says why."""
    found = settled(
        (GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.3), (8, 0.3)]), follows=["face", "centre"]
    )
    assert found.work.moved is None
    (why,) = rows(found, OTHER)["why"]
    assert "not known" in why
    assert rows(found, OTHER)[["off_m", "disagrees"]].isna().all(axis=None)


def test_a_pole_off_its_face_is_put_back_where_the_walls_side_is_known():
    """Both faces of a wall tell its side; a pole of 0.08 m lies 0.04 m outside its face."""
    found = settled(
        (GOOD, [(0, 0), (8, 0)]),
        (GOOD, [(0, 0.6), (8, 0.6)]),
        (OTHER, [(0, -0.04), (8, -0.04)]),
        pole_width_m=[np.nan, np.nan, 0.08],
        pole_width_sd_m=[np.nan, np.nan, 0.0],
    )
    np.testing.assert_allclose(found.work.xyz[:2, 1], 0.0, atol=1e-9)
    assert rows(found, OTHER)["weight"].iloc[0] == pytest.approx(4 / 13)


def test_an_old_plan_has_no_share_but_is_compared():
    """An old plan's line within its errors gives way whole, with its offset in the table."""
    table, models = surveys(
        (GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.2), (8, 0.2)]), sd=(0.02, 0.2, 0.2)
    )
    table["evidence"] = ["recorded", "old plan"]
    found = settle_walls(table, models, SETTINGS)[0]
    assert found.work.moved is None
    row = rows(found, OTHER).iloc[0]
    assert (row["weight"], row["standing"], row["disagrees"]) == (0, False, False)
    assert row["off_m"] == pytest.approx(0.2)
    assert "old plan" in row["why"]


@pytest.mark.parametrize(("off", "named"), [(0.04, False), (0.2, True)])
def test_a_wall_that_lies_further_off_than_errors_explain_is_named(off, named):
    """The offset's sd is 0.036 m / sqrt(2): 1.6 sd are nothing, 8 are; the better stands alone."""
    found = settled((GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, off), (8, off)]))
    assert len(found.work.lines) == 1
    assert rows(found, OTHER)["disagrees"].tolist() == [named]
    assert (found.work.xyz[0, 1] == 0) == named
    assert len(found.notes) == named
    if named:
        assert "0.20 m (sd 0.03 m) to the left of 2031-good/#1" in found.notes[0]


def test_a_survey_that_is_displaced_is_said_once():
    """Six walls of six lie 0.2 m north-east: one note, and each wall says so."""
    houses = [box_lines(12 * k) for k in range(3)]
    lines = [(GOOD, line) for house in houses for line in house]
    lines += [(OTHER, line + 0.15) for house in houses for line in house]
    found = settled(*lines, sd=(0.015, 0.02, 0.02))
    assert len(found.notes) == 1
    assert "0.21 m towards grid 45° of 2031-good, along 12 of the 12 walls" in found.notes[0]
    assert rows(found, OTHER)["why"].str.contains("whole survey").all()


def box_lines(west):
    """Return four lines around a house of 6 by 5 m."""
    corners = np.array([(west, 0), (west + 6, 0), (west + 6, 5), (west, 5), (west, 0)], dtype=float)
    return [corners[k : k + 2] for k in range(4)]


def test_two_thin_faces_each_with_a_tracing_are_no_disagreement():
    """Faces 0.2 m apart: each is repeated by its own tracing, none by the other's."""
    found = settled(
        (GOOD, [(0, 0), (8, 0)]),
        (OTHER, [(0, 0.01), (8, 0.01)]),
        (OTHER, [(0, 0.2), (8, 0.2)]),
    )
    assert not rows(found)["disagrees"].any()
    assert set(found.work.lines["survey"]) == {GOOD, OTHER}


def test_heights_of_one_season_are_averaged():
    """Two surveys of one season, 0.02 and 0.03 m: 9 : 4."""
    table, models = surveys(
        (GOOD, [(0, 0, -2), (8, 0, -2)]), (OTHER, [(0, 0, -2.13), (8, 0, -2.13)])
    )
    table["season"] = "2031"
    found = settle_walls(table, models, SETTINGS)[0]
    np.testing.assert_allclose(found.work.xyz[:, 2], -2.04)


def test_heights_of_the_newest_season_stand_alone():
    """A top that lost a course is as low as it was last seen, however good the older survey."""
    found = settled((GOOD, [(0, 0, -2), (8, 0, -2)]), (OTHER, [(0, 0, -2.13), (8, 0, -2.13)]))
    np.testing.assert_allclose(found.work.xyz[:, 2], -2.13)
    _, models = surveys((GOOD, [(0, 0), (8, 0)]))
    assert end_sd(found.work, models, axis=2) == pytest.approx(0.03)


def test_heights_of_another_part_of_the_wall_count_for_nothing():
    """A newer tracing along the base says nothing of the top."""
    table, models = surveys((GOOD, [(0, 0, -2), (8, 0, -2)]), (OTHER, [(0, 0, -3), (8, 0, -3)]))
    table["traced_at"] = ["top", "base"]
    found = settle_walls(table, models, SETTINGS)[0]
    np.testing.assert_array_equal(found.work.xyz[:, 2], -2)


def test_heights_that_make_two_walls_keep_both():
    """Tops 1.2 m apart in height are two walls: nothing is averaged."""
    found = settled((GOOD, [(0, 0, -2), (8, 0, -2)]), (OTHER, [(0, 0, -3.2), (8, 0, -3.2)]))
    assert len(found.work.lines) == 2
    assert found.work.moved is None


def test_the_gradient_is_that_of_finite_differences():
    """A vertex moved in any line moves the placed ones as the matrix says, corners included."""
    lines = [
        (GOOD, np.array([(0, 0, -2), (8, 0.1, -2.2), (8.2, 6, -2.1)])),
        (OTHER, np.array([(8.21, 6.3, -2.1), (8.02, 0.12, -2.2), (-0.3, 0.01, -2.0)])),
    ]
    table, models = surveys(*lines)
    table["season"] = "2031"
    work = settle_walls(table, models, SETTINGS)[0].work
    share = work.moved.share.toarray()
    step = 1e-6
    sources = np.vstack([lines[0][1], work.moved.xyz])
    for source, place in enumerate(sources):
        for axis in range(3):
            changed = [(name, points.copy()) for name, points in lines]
            for _, points in changed:
                points[(points == place).all(axis=1), axis] += step
            table = surveys(*changed)[0].assign(season="2031")
            after = settle_walls(table, models, SETTINGS)[0].work.xyz
            slope = (after - work.xyz).ravel() / step
            np.testing.assert_allclose(share[:, 3 * source + axis], slope, atol=5e-3)


def test_order_and_direction_of_lines_leave_no_trace():
    """The same tracings in another order give the same walls and the same table."""
    lines = [
        (GOOD, [(0, 0), (8, 0)]),
        (OTHER, [(0, 0.01), (8, 0.01)]),
        (THIRD, [(0, -0.02), (8, 0)]),
    ]
    table, models = surveys(*lines)
    one = settle_walls(table, models, SETTINGS)[0]
    two = settle_walls(table.iloc[::-1].reset_index(drop=True), models, SETTINGS)[0]
    np.testing.assert_array_equal(one.work.xyz, two.work.xyz)
    assert one.tracings.drop(columns="geometry").equals(two.tracings.drop(columns="geometry"))


def test_what_placed_a_network_is_read_as_it_was_written(tmp_path):
    """Sources and shares come back bit by bit."""
    table, models = surveys((GOOD, [(0, 0), (8, 0)]), (OTHER, [(0, 0.01), (8, 0.01)]))
    network = join_walls(table, models, SETTINGS).network
    save(network, tmp_path, CRS)
    again = load(tmp_path).work
    np.testing.assert_array_equal(again.xyz, network.work.xyz)
    np.testing.assert_array_equal(again.moved.xyz, network.work.moved.xyz)
    assert (again.moved.share != network.work.moved.share).nnz == 0
    assert again.moved.survey.tolist() == [OTHER, OTHER]
