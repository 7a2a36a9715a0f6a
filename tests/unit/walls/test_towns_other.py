"""The towns of `towns_other` are what they say, and their surveys are as bad as asked.

Outside checks: shapely's polygonizer and Euler's formula for plane graphs (V - E + F = 1 + C).
"""

import sys
from pathlib import Path

import numpy as np
import pytest
import shapely
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from scipy.stats import binom, chi2

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from town_model import Damage
from towns_other import free_standing, make_town, survey, takes_door

EXACT = {"noise_m": 0.0, "ends_m": 0.0, "doors": 0.0, "doubled": 0.0}


@pytest.fixture(scope="module", params=[5, 134])
def town(request):
    return make_town(60, request.param)


@pytest.fixture(scope="module")
def thin():
    return make_town(25, 8, thickest_m=0.8)


def within_chance(count, n, share):
    """Return whether a count lies in the middle 99.9 % of a binomial law."""
    low, high = binom.interval(0.999, n, share)
    return low <= count <= high


def bytes_of(made):
    """Return all arrays of a town or survey as bytes."""
    every = [np.asarray(getattr(made, name)) for name in made.__dataclass_fields__]
    return [b"".join(shapely.to_wkb(v)) if v.dtype.kind == "O" else v.tobytes() for v in every]


def test_spaces_are_disjoint(town):
    """Spaces overlap nowhere: together they cover the sum of their areas."""
    total = shapely.area(town.spaces).sum()
    assert shapely.union_all(town.spaces).area == pytest.approx(total, abs=1e-4)


def test_spaces_are_faces_of_the_walls(town):
    """Every space is within 1e-6 m of a face that the walls enclose, and no two are of one."""
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(town.walls)]))
    inside = shapely.point_on_surface(town.spaces)
    space, face = shapely.STRtree(faces).query(inside, predicate="within")
    assert space.tolist() == list(range(len(town.spaces)))
    assert len(np.unique(face)) == len(face)
    assert shapely.hausdorff_distance(town.spaces, faces[face]).max() < 1e-6


def test_walls_meet_at_their_ends_alone(town):
    """Walls enclose as many faces as Euler's formula says of a graph without crossings."""
    ends = shapely.get_coordinates(shapely.boundary(town.walls))
    assert len(ends) == 2 * len(town.walls)
    points, node = np.unique(np.round(ends, 5), axis=0, return_inverse=True)
    a, b = node.reshape(-1, 2).T
    links = coo_array((np.ones(len(a)), (a, b)), shape=(len(points), len(points)))
    groups = connected_components(links, directed=False)[0]
    faces = shapely.get_parts(shapely.polygonize([shapely.union_all(town.walls)]))
    assert len(faces) == len(a) - len(points) + groups


def test_floors_lie_inside_spaces(town):
    """Floors are valid, lie inside their spaces and are smaller by something like their walls."""
    assert set(shapely.get_type_id(town.floors)) == {shapely.GeometryType.POLYGON}
    assert shapely.is_valid(town.floors).all()
    outside = shapely.area(shapely.difference(town.floors, town.spaces))
    assert outside.max() < 1e-9
    assert shapely.area(town.floors).min() > 0.5
    lost = shapely.area(town.spaces) - shapely.area(town.floors)
    thick = 2 * lost / shapely.length(town.spaces)
    assert 0.3 < thick.min() < np.median(town.thickness) < thick.max() * 1.5


def test_sizes_are_those_of_houses(town):
    """Rooms, courts, walls and counts keep to the ranges of the brief (no source)."""
    area = shapely.area(town.spaces)
    assert area.min() > 2
    assert area[town.kind == "room"].max() < 61
    assert area.max() < 156
    assert town.thickness.min() >= 0.4
    assert town.thickness.max() <= 1.5
    rooms = np.bincount(town.house)
    assert len(rooms) == 60
    assert rooms.min() >= 1
    assert rooms.max() <= 25
    assert np.median(rooms) >= 3
    assert set(town.kind) == {"room", "court", "round"}


def test_town_has_more_than_one_axis(town):
    """Walls keep to at least two families of directions, more than 12 degrees apart."""
    straight = town.walls[shapely.get_num_coordinates(town.walls) == 2]
    way = np.diff(shapely.get_coordinates(straight).reshape(-1, 2, 2), axis=1)[:, 0]
    angle = np.degrees(np.arctan2(way[:, 1], way[:, 0])) % 90
    heap = np.bincount((angle // 6).astype(int), weights=shapely.length(straight), minlength=15)
    main = int(np.argmax(heap))
    apart = np.abs((np.arange(15) - main + 7) % 15 - 7)
    assert heap[apart > 2].max() > 0.05 * heap.sum()


def test_same_seed_same_bytes():
    """The same seed gives the same town and lines, another seed others."""
    damage = Damage(lost=0.1, gone=0.05, others=0.2, rubble=0.2, faces="mix")
    small = make_town(12, 3)
    assert bytes_of(small) == bytes_of(make_town(12, 3))
    assert bytes_of(small) != bytes_of(make_town(12, 4))
    seen = bytes_of(survey(small, damage, 1))
    assert seen == bytes_of(survey(small, damage, 1))
    assert seen != bytes_of(survey(small, damage, 2))


def test_perfect_survey_draws_every_wall_once(town):
    """Without damage the lines lie on the walls (2 cm) and are as long as they together."""
    seen = survey(town, Damage(**EXACT), 2)
    assert len(seen.missing) == 0
    assert len(seen.lines) < len(town.walls)  # some run through junctions
    assert shapely.length(seen.lines).sum() == pytest.approx(
        shapely.length(town.walls).sum(), rel=2e-3
    )
    walls = shapely.union_all(town.walls)
    shapely.prepare(walls)
    points = shapely.points(shapely.get_coordinates(shapely.segmentize(seen.lines, 1.0)))
    assert shapely.distance(walls, points).max() < 0.02


def test_doors_are_as_many_and_as_wide_as_asked(town):
    """Doorways take their share of the walls that have room, 0.6 to 1.4 m each, none in benches."""
    seen = survey(town, Damage(doors=0.4), 3)
    n = int(takes_door(town).sum())
    assert n > 0.6 * len(town.walls)
    assert within_chance(len(seen.doors), n, 0.4)
    width = shapely.length(seen.doors)
    assert width.min() > 0.59
    assert width.max() < 1.41
    benches = town.walls[free_standing(town.walls)]
    assert len(benches)
    assert shapely.distance(shapely.union_all(benches), seen.doors).min() > 0
    assert len(seen.missing) == len(seen.doors)


def test_lost_and_gone_are_as_asked(town):
    """Lost stretches are 20 to 60 % of their wall, lost walls are whole, both their share."""
    lost = survey(town, Damage(doors=0, lost=0.3), 4).missing
    gone = survey(town, Damage(doors=0, gone=0.2), 4).missing
    assert within_chance(len(lost), len(town.walls), 0.3)
    assert within_chance(len(gone), len(town.walls), 0.2)
    half = shapely.line_interpolate_point(lost, 0.5, normalized=True)
    wall = shapely.STRtree(town.walls).nearest(half)
    share = shapely.length(lost) / shapely.length(town.walls[wall])
    assert share.min() > 0.199
    assert share.max() < 0.601
    half = shapely.line_interpolate_point(gone, 0.5, normalized=True)
    wall = shapely.STRtree(town.walls).nearest(half)
    assert shapely.hausdorff_distance(gone, town.walls[wall]).max() < 1e-6


def test_what_is_not_drawn_is_missing(town):
    """Nothing is drawn where wall is missing, and drawn and missing stretches leave crumbs alone.

    Lines that cross a missing stretch count for the 4 cm of its strip.
    """
    seen = survey(town, Damage(**EXACT | {"doors": 0.5}, lost=0.2, gone=0.1), 5)
    strips = shapely.union_all(shapely.buffer(seen.missing, 0.02, cap_style="flat"))
    drawn = shapely.union_all(shapely.buffer(seen.lines, 0.02))
    walls = shapely.union_all(town.walls)
    crumbs = shapely.difference(walls, shapely.union(strips, drawn)).length
    assert crumbs < 0.005 * walls.length
    assert shapely.length(shapely.intersection(seen.lines, strips)).sum() < 0.01 * walls.length


def test_noise_is_measured_back(town):
    """Points off the middle of walls have the sd that was asked for (chi-squared, 99.9 %)."""
    noise = 0.03
    seen = survey(town, Damage(noise_m=noise, ends_m=0, doors=0, doubled=0, step_m=0.7), 6)
    assert seen.sd_m == noise
    points = shapely.points(shapely.get_coordinates(seen.lines))
    ends = shapely.union_all(shapely.boundary(town.walls))
    straight = town.walls[shapely.get_num_coordinates(town.walls) == 2]
    points = points[shapely.distance(ends, points) > 0.5]
    _, off = shapely.STRtree(straight).query_nearest(
        points, max_distance=5 * noise, return_distance=True, all_matches=False
    )
    low, high = chi2.interval(0.999, len(off))
    slack = 1.02  # simplified runs are up to 1.5 cm off
    assert low / slack**2 < (off**2).sum() / noise**2 < high * slack**2


def test_ends_overshoot_and_fall_short(town):
    """Without noise every point is at most ends_m and 2 cm off the walls, and some nearly so."""
    ends = 0.25
    seen = survey(town, Damage(**EXACT | {"ends_m": ends}), 7)
    walls = shapely.union_all(town.walls)
    off = shapely.distance(walls, shapely.points(shapely.get_coordinates(seen.lines)))
    assert 0.8 * ends < off.max() < ends + 0.02


def test_doubles_are_their_share(town):
    """The second drawings are so many more lines, and none is longer than the first."""
    once = len(survey(town, Damage(doubled=0), 8).lines)
    twice = len(survey(town, Damage(doubled=0.25), 8).lines)
    assert within_chance(twice - once, once, 0.25)


@pytest.mark.parametrize("faces", ["face", "mix"])
def test_faces_stand_half_a_wall_off(thin, faces):
    """Lines that follow faces are half a thickness off the centre line, in the median to 1 cm."""
    seen = survey(thin, Damage(**EXACT, faces=faces), 9)
    of_face = seen.lines[seen.follows == "face"]
    assert set(seen.follows) == ({"face"} if faces == "face" else {"face", "centre"})
    middle = shapely.line_interpolate_point(
        of_face[shapely.length(of_face) > 1], 0.5, normalized=True
    )
    walls = np.flatnonzero(~free_standing(thin.walls))
    (point, wall), off = shapely.STRtree(thin.walls[walls]).query_nearest(
        middle, return_distance=True, all_matches=False
    )
    assert len(point) == len(middle)
    assert np.median(np.abs(off - thin.thickness[walls][wall] / 2)) < 0.01


def test_floors_are_drawn_by_their_faces(thin):
    """Where faces are drawn without damage, most of each floor's outline has a line within 5 cm."""
    seen = survey(thin, Damage(**EXACT, faces="face"), 10)
    near = shapely.buffer(shapely.union_all(seen.lines), 0.05)
    outline = shapely.boundary(thin.floors)
    shapely.prepare(near)
    share = shapely.length(shapely.intersection(outline, near)) / shapely.length(outline)
    assert np.quantile(share, 0.1) > 0.9


def test_missing_faces_come_in_pairs(thin):
    """Where faces are drawn, each doorway is missing twice, a wall's thickness apart."""
    seen = survey(thin, Damage(faces="face"), 11)
    one, two = seen.doors.reshape(2, -1)
    apart = shapely.hausdorff_distance(one, two)
    assert apart.min() > 0.39
    assert np.median(apart) < 0.8


def test_other_lines_are_as_many_as_asked(town):
    """Other lines and rubble are their shares of the walls' number, under their own names."""
    seen = survey(town, Damage(doubled=0, others=0.3, rubble=0.2), 12)
    known = {"wall", "grave", "kerb", "cistern", "rock", "modern", "rubble"}
    loose = np.isin(seen.truth, ["modern", "rubble"]).sum()
    other = np.isin(seen.truth, ["grave", "kerb", "cistern", "rock"]).sum()
    assert set(seen.truth) == known
    assert other == round(0.3 * len(town.walls))
    assert loose == round(0.2 * len(town.walls))


def test_coded_surveys_tell_the_truth(thin):
    """A coded survey says what each line is, an uncoded one says wall of all."""
    damage = {"others": 0.2, "rubble": 0.1}
    coded = survey(thin, Damage(**damage, coded=True), 13)
    plain = survey(thin, Damage(**damage), 13)
    assert (coded.code == coded.truth).all()
    assert set(plain.code) == {"wall"}
    assert (plain.truth == coded.truth).all()


def test_a_survey_may_find_nothing():
    """A town of which all is lost has no lines, and all walls are missing."""
    town = make_town(2, 1)
    for faces in ("centre", "face", "mix"):
        seen = survey(town, Damage(gone=1.0, faces=faces), 1)
        assert len(seen.lines) == 0
        assert len(seen.missing) >= len(town.walls)


def test_impossible_towns_are_refused():
    """A town without houses, or of walls thinner than 0.4 m, is refused with a reason."""
    with pytest.raises(ValueError, match="allowed are 1 or more"):
        make_town(0, 1)
    with pytest.raises(ValueError, match=r"0\.4 to 1\.5 m"):
        make_town(5, 1, thickest_m=0.2)
