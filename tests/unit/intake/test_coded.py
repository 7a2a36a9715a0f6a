"""Coded points strung into lines: their order, their gaps, and lines that can't be one."""

import pytest
import shapely
from items_read import CRS, E0, N0, kinds, read_file

from wrackline.model import Columns, Vertical

HEADER = "line,sequence,code,easting,northing,height"


def coded(folder, points, header=HEADER, **more):
    """Read points, each line, number, code, metres east and north of a place."""
    rows = [f"{a},{b},{c},{E0 + x:.3f},{N0 + y:.3f},-2.5" for a, b, c, x, y in points]
    (folder / "points.csv").write_text("\n".join([header, *rows]) + "\n")
    return read_file(folder, "points.csv", form="coded_points", **more)


def wall(name, count, step=1.0, y=0.0, first=1):
    return [(name, first + k, "W", k * step, y) for k in range(count)]


def east(items, k=0):
    return [round(x - E0, 3) for x, _ in shapely.get_coordinates(items.geometry.iloc[k])]


def test_points_are_strung_by_their_numbers(tmp_path):
    """Points come in the order of their numbers, whatever their order in the file."""
    one, other = wall("A", 4), wall("B", 3, y=5)
    mixed = [one[2], other[0], one[0], one[3], other[2], one[1], other[1]]
    items, verdict = coded(tmp_path, mixed)
    assert kinds(verdict) == ([], [])
    assert items["line"].tolist() == ["A", "B"]
    assert items["kind"].tolist() == ["W", "W"]
    assert (east(items, 0), east(items, 1)) == ([0, 1, 2, 3], [0, 1, 2])
    assert items["row"].tolist() == [4, 3]


def test_without_numbers_the_files_order_holds(tmp_path):
    """A table without a column of numbers is strung as it stands."""
    points = [("A", "", "W", x, 0) for x in (0, 2, 1)]
    items, verdict = coded(tmp_path, points, HEADER.replace("sequence", "whim"))
    assert verdict.faults == []
    assert east(items) == [0, 2, 1]


def test_codes_are_picked_and_a_wrong_one_is_named(tmp_path):
    """Only the picked codes are read; one that isn't there is a fault with the nearest one."""
    points = [*wall("A", 3), ("R", 1, "rock", 3, 3), ("R", 2, "rock", 4, 3)]
    items, verdict = coded(tmp_path, points, pick=["rock"])
    assert (items["line"].tolist(), verdict.faults) == (["R"], [])
    _, verdict = coded(tmp_path, points, pick=["rocks"])
    assert kinds(verdict)[0][0] == "pick_unknown"
    assert "'rock'" in verdict.faults[0].remedy


def test_features_of_one_point_are_points_and_walls_of_one_are_named(tmp_path):
    """A line of one point is a point where points may be, and a suspicion with its place if not."""
    points = [*wall("A", 3), ("B", 1, "jar", 2, 2)]
    items, verdict = coded(tmp_path, points, holds="features")
    assert items.geom_type.tolist() == ["LineString", "Point"]
    assert items["kind"].tolist() == ["W", "jar"]
    items, verdict = coded(tmp_path, points)
    assert len(items) == 1
    assert [(s.kind, s.row, s.place) for s in verdict.suspicions] == [
        ("lone_point", 5, (E0 + 2, N0 + 2))
    ]


def test_floors_stay_single_points(tmp_path):
    """Floor points of one name are not strung together."""
    points = [("F", k, "floor", k, 0) for k in range(3)]
    items, _ = coded(tmp_path, points, holds="floor_points")
    assert items.geom_type.unique().tolist() == ["Point"]
    assert items["line"].tolist() == ["F", "F", "F"]


def test_a_number_that_stands_twice_is_refused(tmp_path):
    """Two points of one number in a line leave its order to chance."""
    points = wall("A", 5)
    points[3] = ("A", 3, "W", 3, 0)
    _, verdict = coded(tmp_path, points)
    assert [(f.kind, f.row) for f in verdict.faults] == [("sequence_twice", 5)]


def test_a_point_without_number_among_numbered_ones_is_refused(tmp_path):
    """A line has a number at every point, or at none."""
    points = wall("A", 5)
    points[3] = ("A", "", "W", 3, 0)
    _, verdict = coded(tmp_path, points)
    assert [(f.kind, f.row) for f in verdict.faults] == [("no_sequence", 5)]


@pytest.mark.parametrize(
    ("drop", "doubts"),
    [
        pytest.param([], [], id="unbroken"),
        pytest.param([4], ["sequence_gap"], id="one lost"),
        pytest.param([1, 3, 4, 6, 8], [], id="numbers that never ran"),
    ],
)
def test_a_skipped_number_in_a_run_is_doubted(tmp_path, drop, doubts):
    """A gap is named where the numbers run on otherwise, and not where they never did."""
    points = [point for k, point in enumerate(wall("A", 10)) if k not in drop]
    _, verdict = coded(tmp_path, points)
    assert kinds(verdict) == ([], doubts)


def test_numbers_that_went_to_another_line_are_no_gap(tmp_path):
    """Numbers that count through the whole file skip those of the lines between."""
    one = wall("A", 10)
    points = [*one[:5], ("B", 6, "W", 0, 3), ("B", 7, "W", 1, 3), *one[7:]]
    _, verdict = coded(tmp_path, points)
    assert kinds(verdict) == ([], [])


def test_a_row_without_place_makes_no_gap_too(tmp_path):
    """A row left out for an empty cell is named once, as that."""
    points = wall("A", 10)
    coded(tmp_path, points)
    lines = (tmp_path / "points.csv").read_text().splitlines()
    lines[5] = "A,5,W,,,"
    (tmp_path / "points.csv").write_text("\n".join(lines))
    _, verdict = read_file(tmp_path, "points.csv", form="coded_points")
    assert set(kinds(verdict)[1]) == {"empty_cell"}


def test_long_steps_and_names_used_again_are_told_apart(tmp_path):
    """A far point in a line is a long step; a name taken up again elsewhere is a name reused."""
    far = wall("A", 6)
    far[3] = ("A", 4, "W", 3, 40)
    _, verdict = coded(tmp_path, far)
    assert kinds(verdict) == ([], ["long_step", "long_step"])
    assert verdict.suspicions[0].place == (E0 + 3, N0 + 40)
    again = [*wall("A", 4), *wall("B", 3, y=9)]
    again += [("A", 5 + k, "W", k, 30) for k in range(3)]
    _, verdict = coded(tmp_path, again)
    assert kinds(verdict) == ([], ["line_reused"])


def test_long_walls_with_few_points_are_honest(tmp_path):
    """Long steps are no blunder where the line's other steps are long too."""
    _, verdict = coded(tmp_path, wall("A", 5, step=12.0))
    assert kinds(verdict) == ([], [])


def test_outlines_of_trenches_are_closed(tmp_path):
    """Four corners measured once each are an outline."""
    corners = [("T1", k + 1, "T", *xy) for k, xy in enumerate([(0, 0), (4, 0), (4, 2), (0, 2)])]
    items, verdict = coded(tmp_path, corners, holds="trench_outlines")
    assert kinds(verdict) == ([], [])
    assert items.geometry.area.tolist() == [pytest.approx(8.0)]


def test_columns_go_by_the_configs_names(tmp_path):
    """Line, number and code are found under the names that the config gives."""
    header = "Wall,Nr,What,easting,northing,height"
    columns = Columns(line="Wall", sequence="Nr", code="What")
    items, verdict = coded(tmp_path, wall("A", 3)[::-1], header, columns=columns, crs=CRS)
    assert (kinds(verdict), east(items)) == (([], []), [0, 1, 2])


def test_units_are_taken_to_metres_once(tmp_path):
    """Feet on the ground and fathoms of height become metres: 0.3048 m and 1.8288 m."""
    foot = 0.3048
    rows = [f"A,{k},W,{(E0 + k) / foot:.6f},{N0 / foot:.6f},-1" for k in (1, 2)]
    (tmp_path / "points.csv").write_text("\n".join([HEADER, *rows]))
    vertical = Vertical(meaning="height", unit="fathom")
    items, verdict = read_file(
        tmp_path, "points.csv", form="coded_points", unit="foot", vertical=vertical
    )
    assert kinds(verdict) == ([], [])
    xyz = shapely.get_coordinates(items.geometry, include_z=True)
    assert xyz.tolist() == [pytest.approx([E0 + k, N0, -1.8288]) for k in (1, 2)]


def test_degrees_have_no_unit_of_length(tmp_path):
    """A unit beside a CRS in degrees is refused."""
    _, verdict = coded(tmp_path, wall("A", 3), crs="EPSG:4326", unit="foot")
    assert "unit_of_degrees" in kinds(verdict)[0]
