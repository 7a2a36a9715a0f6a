"""Contours: in place, calm within the surface's sd, whole, without crumbs, strips without trace."""

import numpy as np
import pytest
import shapely
from scipy.ndimage import gaussian_filter, map_coordinates
from shapely.geometry import LineString

from wrackline.model import SeaLevel
from wrackline.rasters import Band, Grid, write_raster
from wrackline.seabed.calming import SHARE, calmed
from wrackline.seabed.contours import (
    ABOVE_M,
    LEAST_LENGTH_M,
    LEAST_RING_M2,
    contour_heights,
    contours,
    index_every,
    label_place,
)

LEVEL = SeaLevel(name="msl", height_m=0.1, sd_m=0.0)
ORIGIN = (500_000.0, 4_700_000.0)


@pytest.fixture
def draw(tmp_path):
    """Return a function that writes a surface and returns its contours."""

    def drawn(height, *, sd=0.0, cell=1.0, step_m=0.5, **more):
        grid = Grid(ORIGIN, cell, 0, 0, height.shape[1], height.shape[0])
        bands = [Band("height", "m", height), Band("sd", "m", np.full(height.shape, sd))]
        frame = {"crs": "EPSG:32633", "vertical_datum": "invented"}
        write_raster(tmp_path / "surface.tif", bands, grid=grid, **frame)
        return contours(
            tmp_path / "surface.tif", step_m=step_m, level=LEVEL, crs="EPSG:32633", **more
        )

    return drawn


def ground(shape=(60, 70), seed=1, noise=0.03):
    """Return rolling ground with noise from cell to cell, on a slope."""
    random = np.random.default_rng(seed)
    hills = gaussian_filter(random.normal(0, 1, shape), 6) * 8
    return hills + 0.04 * np.arange(shape[1]) + random.normal(0, noise, shape)


def sampled(values, places, cell=1.0):
    """Return a raster between its cell centres, bilinear, at places."""
    column = (places[:, 0] - ORIGIN[0]) / cell - 0.5
    row = values.shape[0] - 0.5 - (places[:, 1] - ORIGIN[1]) / cell
    return map_coordinates(values, [row, column], order=1, mode="nearest")


def test_contours_of_a_plane_are_straight_and_in_place(draw):
    """On a plane rising 0.1 per metre eastward, each contour lies where it must, to a centimetre.

    It is drawn a millimetre above its height, which is a centimetre on this slope.
    """
    drawn = draw(np.tile(-3.05 + 0.1 * np.arange(40), (10, 1)), sd=0.05)
    assert drawn["height_m"].tolist() == [-3.0, -2.5, -2.0, -1.5, -1.0, -0.5, 0.0, 0.5]
    np.testing.assert_allclose(drawn["depth_m"], 0.1 - drawn["height_m"], atol=1e-9)
    for row in drawn.itertuples():
        x = np.asarray(row.geometry.coords)[:, 0] - ORIGIN[0]
        np.testing.assert_allclose(x, 0.5 + (row.height_m + ABOVE_M + 3.05) / 0.1, atol=1e-4)
        np.testing.assert_allclose(row.geometry.length, 9.0, atol=1e-6)


def test_higher_ground_lies_on_the_left(draw):
    """Contours of ground that rises eastward run south."""
    drawn = draw(np.tile(0.1 * np.arange(20.0), (6, 1)))
    ways = [np.diff(np.asarray(line.coords), axis=0).sum(axis=0) for line in drawn.geometry]
    assert all(step[1] < 0 for step in ways)


def test_a_basins_contours_are_circles_of_the_right_radius(draw):
    """In a bowl z = r²/100 - 4 the contour of 0 m is a ring of radius 20 m, within a chord."""
    y, x = np.mgrid[-30:31, -30:31] * 1.0
    drawn = draw((x**2 + y**2) / 100 - 4, step_m=4.0)
    (ring,) = drawn.loc[drawn["height_m"] == 0].geometry
    assert ring.is_ring
    np.testing.assert_allclose(ring.length, 2 * np.pi * 20, rtol=2e-3)


def test_contours_end_only_where_the_surface_does(draw):
    """Every end of every contour lies on an edge of the squares of four known cell centres."""
    height = ground()
    height[20:26, 10:30] = np.nan
    height[:, 50] = np.nan
    drawn = draw(height, sd=0.03, step_m=0.1)
    known = np.isfinite(height)
    square = known[:-1, :-1] & known[1:, :-1] & known[:-1, 1:] & known[1:, 1:]
    rows, columns = np.nonzero(square)
    west, south = columns + 0.5 + ORIGIN[0], height.shape[0] - rows - 1.5 + ORIGIN[1]
    edge = shapely.union_all(shapely.box(west, south, west + 1, south + 1)).boundary
    ends = [shapely.points(line.coords[k]) for line in drawn.geometry for k in (0, -1)]
    closed = np.repeat(drawn.geometry.is_ring.to_numpy(), 2)
    assert closed.any()
    assert not closed.all()
    away = shapely.distance(np.array(ends)[~closed], edge)
    np.testing.assert_allclose(away, 0.0, atol=1e-6)


@pytest.mark.parametrize("cell", [0.1, 1.0])
def test_lines_lie_within_the_sd_of_their_height(draw, cell):
    """Sampled along every line, the surface is off by less than an sd at 95 of 100 places.

    At vertices, which lie between two cell centres, it is nowhere off by more than the share that
    is stated.
    """
    sd, step = 0.05, 0.1
    height = ground(noise=0.03)
    drawn = draw(height, sd=sd, step_m=step, cell=cell)
    lines, at = drawn.geometry.to_numpy(), drawn["height_m"].to_numpy()
    vertices, line = shapely.get_coordinates(lines, return_index=True)
    off = np.abs(sampled(height, vertices, cell) - at[line])
    assert off.max() <= SHARE * sd + ABOVE_M + 1e-6
    places, line = shapely.get_coordinates(shapely.segmentize(lines, cell / 4), return_index=True)
    off = np.abs(sampled(height, places, cell) - at[line])
    assert len(off) > 1000
    assert np.quantile(off, 0.95) < sd


def test_calm_contours_are_shorter_than_the_noise_makes_them(draw):
    """On an even slope with noise contours are at most a fifth longer than the slope is wide.

    Uncalmed ones are longer by two fifths and more.
    """
    random = np.random.default_rng(5)
    height = np.tile(0.03 * np.arange(60.0)[:, None], (1, 80)) + random.normal(0, 0.03, (60, 80))
    calm = draw(height, sd=0.06, step_m=0.25).geometry.length.sum()
    rough = draw(height, sd=0.0, step_m=0.25).geometry.length.sum()
    straight = 7 * 79.0
    assert calm < 1.2 * straight
    assert rough > 1.4 * straight


def test_calming_keeps_to_its_share_and_keeps_walls():
    """Calmed heights stay within the share of the sd, so a wall of 0.5 m loses a tenth of an sd."""
    height = ground(noise=0.05)
    height[:, 30:33] += 0.5
    calm = calmed(height, np.full(height.shape, 0.05), 0.5)
    assert np.abs(calm - height).max() <= SHARE * 0.05 + 1e-12
    assert np.abs(calm - height).max() > 0.5 * SHARE * 0.05


def test_calming_bends_no_slope_beside_gaps():
    """Even slopes stay as they are to the last micrometre, at gaps and edges too."""
    x, y = np.meshgrid(np.arange(30.0), np.arange(25.0))
    slope = 0.2 * x - 0.1 * y
    slope[8:12, 9:20] = np.nan
    np.testing.assert_allclose(calmed(slope, np.full(slope.shape, 0.5), 0.5), slope, atol=1e-9)


@pytest.mark.parametrize("noise", [0.0, 1e-7, 1e-4])
def test_flat_ground_at_a_contours_height_is_drawn_once_around(draw, noise):
    """A terrace exactly at a contour's height, give or take noise, has one straight line on it."""
    random = np.random.default_rng(2)
    rise = np.clip(np.arange(60.0) - 20, 0, 20) - np.clip(np.arange(60.0) - 30, 0, 10)
    height = np.tile(-1.0 + 0.1 * (rise - np.clip(12 - np.arange(60.0), 0, 12)), (40, 1))
    flat = height == -1.0
    height[flat] += random.normal(0, noise, flat.sum()) if noise else 0.0
    drawn = draw(height, sd=0.02, step_m=0.5)
    (line,) = drawn.loc[drawn["height_m"] == -1.0].geometry
    assert line.length < 39.0 * 1.02
    assert 12.5 < np.mean(np.asarray(line.coords)[:, 0]) - ORIGIN[0] < 21.0


def test_stair_steps_of_rounded_heights_are_worn_down(draw):
    """Heights rounded to 0.1 m, on a slope across the grid, give lines near the slope's own."""
    x, y = np.meshgrid(np.arange(80.0), np.arange(60.0))
    height = np.round(0.02 * x + 0.013 * y, 1)
    straight = draw(0.02 * x + 0.013 * y, step_m=0.25).geometry.length.sum()
    stairs = draw(height, sd=0.0, step_m=0.25).geometry.length.sum()
    calm = draw(height, sd=0.06, step_m=0.25).geometry.length.sum()
    assert stairs > 1.05 * straight
    assert calm - straight < (stairs - straight) / 3


def test_crumbs_are_left_out_and_larger_rings_kept(draw):
    """A ring around less than 1 m², and a scrap shorter than 1 m, are not drawn."""
    height = np.full((60, 60), 0.2)
    height[10, 10] = 0.6
    height[30:40, 30:40] = 0.6
    height[50:, 59] = np.nan
    drawn = draw(height, cell=0.25)
    (ring,) = drawn.geometry
    assert ring.is_ring
    assert shapely.Polygon(ring).area > LEAST_RING_M2
    everything = draw(ground(seed=3, noise=0.2), cell=0.25, step_m=0.1)
    rings = everything.geometry[everything.geometry.is_ring]
    assert min(shapely.Polygon(ring).area for ring in rings) >= 0.99 * LEAST_RING_M2
    assert everything.geometry[~everything.geometry.is_ring].length.min() >= 0.99 * LEAST_LENGTH_M


@pytest.mark.parametrize("seed", range(4))
def test_no_two_contours_cross_and_none_itself(draw, seed):
    """On ground as rough as rubble, with saddles, lines cross neither each other nor themselves."""
    random = np.random.default_rng(seed)
    height = random.normal(0, 0.5, (40, 40))
    height[random.random(height.shape) < 0.05] = np.nan
    lines = draw(height, sd=0.1, step_m=0.05, cell=2.0).geometry.to_numpy()
    assert len(lines) > 200
    tree = shapely.STRtree(lines)
    assert tree.query(lines, predicate="crosses").shape[1] == 0
    assert shapely.is_simple(lines).all()


@pytest.mark.parametrize("most_cells", [1, 70 * 9, 70 * 256])
def test_strips_leave_no_trace(draw, most_cells):
    """Whatever the strips, the table is the same to the last bit and in the same order."""
    height = ground((300, 70), seed=4)
    height[100:103] = np.nan
    height[200:210, 20:40] = -0.5
    whole = draw(height, sd=0.04, step_m=0.1, cell=0.25)
    parts = draw(height, sd=0.04, step_m=0.1, cell=0.25, most_cells=most_cells)
    assert len(whole) > 30
    assert shapely.to_wkb(whole.geometry).tolist() == shapely.to_wkb(parts.geometry).tolist()
    assert whole.drop(columns="geometry").equals(parts.drop(columns="geometry"))


def test_nothing_known_draws_nothing_and_keeps_the_columns(draw):
    """Empty surfaces, and such of one row, give an empty table with all its columns."""
    for height in (np.full((4, 4), np.nan), np.zeros((1, 9)), np.full((4, 4), 0.5)):
        drawn = draw(height)
        assert len(drawn) == 0
        assert list(drawn.columns)[:3] == ["height_m", "depth_m", "index"]
        assert drawn.crs.to_epsg() == 32633


def test_contour_heights_are_round_numbers():
    """Multiples of 0.1 come out as 0.3, not as 0.30000000000000004."""
    assert contour_heights(0.25, 0.45, 0.1).tolist() == [0.3, 0.4]
    assert contour_heights(-0.04, 0.04, 0.1).tolist() == [0.0]
    assert contour_heights(np.nan, np.nan, 0.1).tolist() == []


@pytest.mark.parametrize(
    ("step", "every"), [(0.05, 5), (0.1, 5), (0.2, 5), (0.25, 4), (0.025, 4), (1.0, 5), (2.5, 4)]
)
def test_index_contours_have_rounder_heights(draw, step, every):
    """Every fifth is an index contour, or fourth of quarters (common practice, no source)."""
    assert index_every(step) == every
    height = np.tile(np.linspace(-11 * step, 11.2 * step, 40), (8, 1))
    drawn = draw(height, step_m=step)
    bold = drawn.loc[drawn["index"], "height_m"].to_numpy()
    np.testing.assert_allclose(np.diff(bold), every * step)
    assert 0.0 in bold


def test_labels_stand_on_their_line_and_read_upright(draw):
    """Every label of an index contour lies on its line and is turned as the line runs there."""
    drawn = draw(ground(seed=6), sd=0.05, step_m=0.1)
    told = drawn[drawn["label_easting_m"].notna()]
    assert len(told) > 5
    assert told["index"].all()
    assert told["label_turn_deg"].between(-90, 90).all()
    for row in told.itertuples():
        place = shapely.Point(row.label_easting_m, row.label_northing_m)
        assert row.geometry.distance(place) < 1e-6
    long = drawn["index"] & (drawn.length > 4.5)
    assert drawn.loc[long, "label_easting_m"].notna().all()


@pytest.mark.parametrize(
    ("end", "turn"), [((10, 0), 0), ((7, 7), -45), ((-7, 7), 45), ((7, -7), 45), ((-10, 0), 0)]
)
def test_labels_turn_clockwise(end, turn):
    """A line that climbs to the north-east turns its label 45° anticlockwise, which is -45."""
    assert label_place(LineString([(0, 0), end]))[2] == pytest.approx(turn)


def test_short_lines_have_no_label():
    """Below four metres there is no place for one."""
    assert np.isnan(label_place(LineString([(0, 0), (3.9, 0)]))).all()
