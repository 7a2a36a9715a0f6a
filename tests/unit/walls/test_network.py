"""The network between stages, repeats of a wall, and tables of several surveys gathered."""

import numpy as np
import pytest
from drawn import CRS, SURVEY, box, items, line_table, models_of, network_of

from wrackline import vectors
from wrackline.io import write_json
from wrackline.model import WallSettings
from wrackline.uncertainty import ErrorModel, NamedError
from wrackline.walls.gather import gather_items, gather_lines, read_models
from wrackline.walls.joining import build_network
from wrackline.walls.linework import ITEM_COLUMNS
from wrackline.walls.network import load, save
from wrackline.walls.planar import node
from wrackline.walls.repeats import merge_repeats, position_sd


def test_a_network_is_read_as_it_was_written(tmp_path):
    """Lines, pieces and edges come back from their files bit by bit, closings included."""
    network = network_of(line_table([*box(0, 0, 4, 3)[:3], [(0, 2.8), (0, 0.1)]]))
    save(network, tmp_path, CRS)
    again = load(tmp_path)
    np.testing.assert_array_equal(again.edges, network.edges)
    np.testing.assert_array_equal(again.piece, network.piece)
    np.testing.assert_array_equal(again.fraction, network.fraction)
    np.testing.assert_array_equal(again.pieces.share, network.pieces.share)
    np.testing.assert_array_equal(again.work.xyz, network.work.xyz)
    assert again.pieces.kind.tolist() == network.pieces.kind.tolist()


def test_an_empty_network_is_read_as_it_was_written(tmp_path):
    """A site without wall lines has a network of nothing, which survives its files."""
    save(network_of(line_table([])), tmp_path, CRS)
    assert len(load(tmp_path).edges) == 0


def test_no_pieces_make_no_edges():
    """Nothing noded is nothing."""
    assert node(np.zeros((0, 2, 2))).shape == (0, 2, 2)


def test_heights_run_along_pieces():
    """A wall from 1 m to 3 m high is 2 m high midway; NaN stays where none was taken."""
    network = network_of(line_table([[(0, 0, 1), (4, 0, 3)], [(2, -1), (2, 1)]]))
    along = network.edges[:, 0, 1] == network.edges[:, 1, 1]
    np.testing.assert_allclose(network.heights()[along], [[1, 2], [2, 3]])
    assert np.isnan(network.heights()[~along]).all()


def surveys(second, sd=0.02):
    """Return a good survey of one wall, and another line of a second survey."""
    table = line_table([[(0, 0), (5, 0)], second], survey=["2031-good", "2032-other"])
    models = {
        "2031-good": ErrorModel("2031-good", 0.01, 0.01),
        "2032-other": ErrorModel("2032-other", sd, sd),
    }
    return table, models


@pytest.mark.parametrize(
    ("second", "repeats"),
    [
        pytest.param([(0.1, 0.03), (4.9, 0.04)], True, id="within its sd"),
        pytest.param([(0.1, -0.03), (2, -0.02), (4.9, -0.03)], True, id="more vertices"),
        pytest.param([(0, 0.3), (5, 0.3)], False, id="the other face"),
        pytest.param([(4, 0), (9, 0)], False, id="goes on"),
        pytest.param([(2, -3), (2, 3)], False, id="crosses"),
    ],
)
def test_a_line_within_its_sd_of_a_better_one_repeats_it(second, repeats):
    """A repeat is left out and its survey noted at the line kept; any other line stays."""
    merged = merge_repeats(*surveys(second), WallSettings())
    assert len(merged) == (1 if repeats else 2)
    assert merged["repeats"].iloc[0] == ("2032-other" if repeats else "")


def test_the_better_known_tracing_stays():
    """Whatever the order, the tracing with the smaller sd is kept."""
    table, models = surveys([(0.1, 0.02), (4.9, 0.02)])
    table["survey"] = table["survey"].to_numpy()[::-1]
    assert merge_repeats(table, models, WallSettings())["survey"].tolist() == ["2031-good"]


def test_two_faces_of_one_survey_are_never_merged():
    """Lines of one survey all stay, however near."""
    table = line_table([[(0, 0), (5, 0)], [(0, 0.01), (5, 0.01)]])
    models = {model.survey: model for model in models_of(table, random_horizontal=0.1)}
    assert len(merge_repeats(table, models, WallSettings())) == 2


def with_old_plan(*old, better=((0, 0), (10, 0))):
    """Return one wall's face recorded well, and centre lines of an old plan good to 0.2 m."""
    survey = ["2031-good", *["1986-plan"] * len(old)]
    follows = ["face", *["centre"] * len(old)]
    table = line_table([list(better), *map(list, old)], survey=survey, follows=follows)
    table["evidence"] = ["recorded", *["old plan"] * len(old)]
    table["thickness_m"] = [np.nan, *[0.6] * len(old)]
    return table, {
        name: ErrorModel(name, sd, sd)
        for name, sd in zip(survey, [0.02, *[0.2] * len(old)], strict=True)
    }


def test_an_old_plan_gives_way_to_what_was_recorded_since():
    """An old centre line half a metre off a recorded face is that wall, and is left out."""
    merged = merge_repeats(*with_old_plan([(0.3, 0.5), (9.5, 0.6)]), WallSettings())
    assert merged["survey"].tolist() == ["2031-good"]
    assert merged["repeats"].tolist() == ["1986-plan"]


def test_of_an_old_line_the_stretch_recorded_since_is_cut_out():
    """Of an old wall of 20 m, half recorded since, 10 m stay; a wall that crosses cuts nothing."""
    merged = merge_repeats(
        *with_old_plan([(0, 0.2), (20, 0.2)], [(15, -4), (15, 5)]), WallSettings()
    )
    assert merged["survey"].tolist() == ["2031-good", "1986-plan", "1986-plan"]
    assert merged.length.tolist() == pytest.approx([10, 10, 9])
    assert merged["repeats"].tolist() == ["1986-plan", "", ""]


def test_an_old_wall_that_nobody_recorded_since_stays():
    """A parallel wall two metres off is another wall."""
    merged = merge_repeats(*with_old_plan([(0, 2.0), (10, 2.0)]), WallSettings())
    assert merged["survey"].tolist() == ["2031-good", "1986-plan"]


@pytest.mark.parametrize(("off", "left"), [(0.3, 1), (0.5, 1), (0.8, 2)])
def test_a_centre_line_repeats_a_face_half_a_wall_off(off, left):
    """The centre of a wall 0.6 m thick lies 0.3 m from its face: one wall, surveyed twice."""
    table, models = surveys([(0.1, off), (4.9, off)], sd=0.07)
    table["line_follows"] = ["face", "centre"]
    table["thickness_m"] = [np.nan, 0.6]
    assert len(merge_repeats(table, models, WallSettings())) == left


def test_position_sd_counts_shared_shifts():
    """3 cm at random, 4 cm patchy and a shift of 12 cm make 13 cm."""
    shift = NamedError("benchmark:easting", "easting", 0.12)
    model = ErrorModel("2031-a", 0.03, 0.0, 0.04, 0.0, 5.0, (shift,))
    assert position_sd(model) == pytest.approx(0.13)


def test_surveys_are_gathered_with_what_their_config_says(tmp_path):
    """Lines of several files carry their survey's traits; no file at all is a table of no rows."""
    table = line_table([[(0, 0), (5, 0)]])
    vectors.write(table[[*ITEM_COLUMNS, "geometry"]], ITEM_COLUMNS, tmp_path / "a.parquet")
    trait = {"line_follows": "centre", "traced_at": "base", "evidence": "old plan"}
    trait |= {"from_date": "a", "to_date": "b", "pole_width_m": 0.05, "pole_width_sd_m": 0.001}
    lines = gather_lines({SURVEY: trait}, [tmp_path / "a.parquet"], CRS)
    assert lines[list(trait)].iloc[0].to_dict() == trait
    assert len(gather_lines({}, [], CRS)) == 0
    assert list(gather_items([], CRS).columns) == list(items().columns)


def test_error_models_survive_their_files(tmp_path):
    """What `errors.json` holds reads back as the same model."""
    model = ErrorModel(
        "2031-a", 0.03, 0.02, named=(NamedError("b:tilt", "tilt", 1e-3, (1.0, 2.0), 30.0),)
    )
    write_json({"model": model.as_dict()}, tmp_path / "errors.json")
    assert read_models([tmp_path / "errors.json"]) == [model]


def test_build_network_merges_before_it_joins():
    """A repeated wall makes no second set of edges."""
    table, models = surveys([(0.1, 0.03), (4.9, 0.04)])
    assert len(build_network(table, models, WallSettings()).edges) == 1


def test_of_an_old_round_wall_nothing_is_left_beside_the_new():
    """A ring drawn of old, half a metre smaller, gives way to the ring recorded since, whole."""
    turn = np.linspace(0, 2 * np.pi, 33)
    circle = np.column_stack([np.cos(turn), np.sin(turn)])
    new, old = ([tuple(xy) for xy in r * circle] for r in (3.0, 2.6))
    merged = merge_repeats(*with_old_plan(old, better=new), WallSettings())
    assert merged["survey"].tolist() == ["2031-good"]
