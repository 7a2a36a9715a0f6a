"""Local relief and openness on known surfaces, against their definitions, at gaps, in strips."""

import math

import numpy as np
import pytest
from scipy.ndimage import map_coordinates

from wrackline.rasters import Band, Grid, read_raster, write_raster
from wrackline.seabed.local_relief import local_relief, reach
from wrackline.seabed.openness import openness, rays
from wrackline.seabed.relief import VIEW_UNITS
from wrackline.seabed.views import Reach, draw_views

FRAME = {"crs": "EPSG:32633", "vertical_datum": "invented"}


def mesh(n, cell=1.0):
    """Return eastings and northings of n by n cells around the middle."""
    axis = (np.arange(n) - n // 2) * cell
    return np.meshgrid(axis, axis[::-1])


def rough(shape, seed, gaps=0.0):
    """Return rough ground, with some cells unknown."""
    random = np.random.default_rng(seed)
    height = random.normal(0.0, 0.3, shape).cumsum(axis=1) * 0.2
    height[random.random(shape) < gaps] = np.nan
    return height


def mean_of_disc(height, row, column, radius):
    """Return the mean of the cells whose centres lie within a radius, in cells: the definition."""
    near = [
        height[r, c]
        for r in range(height.shape[0])
        for c in range(height.shape[1])
        if math.hypot(r - row, c - column) <= radius
    ]
    return sum(near) / len(near)


def zenith_of(height, row, column, *, cell, radius, directions):
    """Return the mean zenith angle to the horizon, ray by ray: the definition [degrees].

    A profile is read where it crosses rows or columns of centres, by linear interpolation.
    """
    total = 0.0
    for k in range(directions):
        down, right = (
            -math.cos(2 * math.pi * k / directions),
            math.sin(2 * math.pi * k / directions),
        )
        scale = max(abs(down), abs(right))
        steepest = -math.inf
        for step in range(1, math.floor(radius / cell + 1e-9) + 1):
            r, c = row + step * down / scale, column + step * right / scale
            away = cell * math.hypot(r - row, c - column)
            if away <= radius + 1e-9:
                (high,) = map_coordinates(height, [[r], [c]], order=1)
                steepest = max(steepest, (high - height[row, column]) / away)
        total += 90.0 - math.degrees(math.atan(steepest))
    return total / directions


@pytest.mark.parametrize("radius", [2.0, 3.5, 5.0])
def test_local_relief_is_the_height_above_the_mean_of_a_disc(radius):
    """Where the disc is whole it agrees with the definition, cell by cell, to a micrometre."""
    height = rough((15, 17), 1)
    found = local_relief(height, 1.0, radius)
    for row, column in ((7, 8), (6, 6), (8, 10)):
        expected = height[row, column] - mean_of_disc(height, row, column, radius)
        assert found[row, column] == pytest.approx(expected, abs=2e-6)


@pytest.mark.parametrize(("east", "north"), [(0.0, 0.0), (0.4, 0.0), (-0.3, 0.7)])
def test_planes_have_no_relief_and_full_openness_beside_gaps_too(east, north):
    """A plane has relief 0 and openness 90° in all cells that have any: no false rim."""
    x, y = mesh(31, 0.5)
    plane = east * x + north * y
    plane[10:14, 12:20] = np.nan
    plane[:, 25] = np.nan
    relief, open_deg = local_relief(plane, 0.5, 2.0), openness(plane, 0.5, 2.0, 16)
    np.testing.assert_allclose(relief[np.isfinite(relief)], 0.0, atol=2e-6)
    np.testing.assert_allclose(open_deg[np.isfinite(open_deg)], 90.0, atol=1e-9)
    assert np.isfinite(relief[np.isfinite(plane)]).mean() > 0.95
    assert np.isfinite(open_deg[np.isfinite(plane)]).mean() > 0.75
    assert np.isnan(relief[np.isnan(plane)]).all()
    assert np.isnan(open_deg[np.isnan(plane)]).all()


def test_filled_ground_between_soundings_shows_no_rim():
    """A slope that is sounded in part and filled in elsewhere has no relief at the joint."""
    x, _ = mesh(41, 0.5)
    slope = 0.1 * x
    filled = slope.copy()
    filled[:, 15:25] = np.linspace(filled[:, 14], filled[:, 25], 12, axis=1)[:, 1:-1]
    np.testing.assert_allclose(local_relief(filled, 0.5, 2.0)[8:-8, 8:-8], 0.0, atol=2e-6)


def test_a_wall_stands_above_its_trend_by_what_of_the_disc_it_leaves():
    """A wall of height h that fills a share s of the disc stands (1 - s) h above the trend."""
    height = np.zeros((41, 41))
    height[:, 18:23] = 0.8
    axis = np.arange(-10, 11)
    inside = np.add.outer(axis**2, axis**2) <= 100
    share = inside[:, 8:13].sum() / inside.sum()
    found = local_relief(height, 0.1, 1.0)
    assert found[20, 20] == pytest.approx(0.8 * (1 - share), abs=2e-6)
    assert found[20, 16] < 0


def test_a_dome_has_the_curvature_of_its_trend():
    """A dome z = -(x² + y²) / 2R has relief r²/4R, its mean over a disc, where cells are fine."""
    x, y = mesh(101, 0.05)
    radius = 20.0
    found = local_relief(-(x**2 + y**2) / (2 * radius), 0.05, 2.0)
    assert found[50, 50] == pytest.approx(2.0**2 / (4 * radius), rel=0.01)


@pytest.mark.parametrize(("directions", "radius"), [(8, 4.0), (16, 3.0), (12, 5.5)])
def test_openness_agrees_with_its_definition_ray_by_ray(directions, radius):
    """On rough ground without gaps it is Yokoyama's mean zenith angle, to 1e-9 of a degree."""
    height = rough((17, 17), 2)
    found = openness(height, 1.0, radius, directions)
    for row, column in ((8, 8), (6, 9), (10, 7)):
        expected = zenith_of(height, row, column, cell=1.0, radius=radius, directions=directions)
        assert found[row, column] == pytest.approx(expected, abs=1e-9)


def test_openness_of_a_cone_and_of_a_pit():
    """At the tip of a cone of 30° every horizon lies 30° below level: 120°; in a pit 60°."""
    x, y = mesh(21)
    cone = -np.hypot(x, y) * np.tan(np.radians(30))
    assert openness(cone, 1.0, 8.0, 8)[10, 10] == pytest.approx(120.0)
    assert openness(-cone, 1.0, 8.0, 8)[10, 10] == pytest.approx(60.0)


def test_openness_in_a_hemispherical_bowl():
    """In a bowl of radius R, looking r far, the rim stands at atan((R - √(R² - r²)) / r)."""
    x, y = mesh(41, 0.1)
    bowl = 5.0 - np.sqrt(25.0 - x**2 - y**2)
    expected = 90 - np.degrees(np.arctan((5 - np.sqrt(21.0)) / 2.0))
    assert openness(bowl, 0.1, 2.0, 4)[20, 20] == pytest.approx(expected)


def test_openness_at_the_foot_of_a_wall():
    """On three sides as on level ground; towards a wall of height h at a, the horizon is h/a up."""
    height = np.zeros((21, 21))
    height[:, 13:] = 2.0
    found = openness(height, 1.0, 6.0, 4)[10, 10]
    assert found == pytest.approx((3 * 90 + 90 - np.degrees(np.arctan(2.0 / 3.0))) / 4)


def test_what_hides_behind_a_gap_is_not_made_up():
    """A cell counts only where its counterpart is known too; a lone known cell has no openness."""
    height = np.zeros((9, 9))
    height[4, 7] = 3.0
    full = openness(height, 1.0, 3.0, 8)[4, 4]
    height[4, 1] = np.nan
    assert full < 90.0
    assert openness(height, 1.0, 3.0, 8)[4, 4] == 90.0
    alone = np.full((5, 5), np.nan)
    alone[2, 2] = 1.0
    assert np.isnan(openness(alone, 1.0, 2.0, 8)).all()
    assert np.isnan(local_relief(alone, 1.0, 2.0)).all()


@pytest.mark.parametrize("directions", [4, 8, 16, 32])
def test_rays_point_evenly_all_round(directions):
    """Ray k leads to its azimuth exactly, in steps of a row or a column, to the radius."""
    steps, share, distance = rays(10.0, 0.5, directions)
    assert distance.max() <= 10.0
    for k, (ray, part, away) in enumerate(zip(steps, share, distance, strict=True)):
        seen = away > 0
        place = ray[seen, :2] + part[seen, None] * (ray[seen, 2:] - ray[seen, :2])
        azimuth = 2 * np.pi * k / directions
        expected = away[seen, None] / 0.5 * [-np.cos(azimuth), np.sin(azimuth)]
        np.testing.assert_allclose(place, expected, atol=1e-7)
        assert away.max() > 10.0 - 0.5 * np.sqrt(2)


def test_trends_reach_two_cells_at_least():
    """A radius below two cells is taken as two, or walls would be their own trend."""
    assert reach(0.1, 0.5) == reach(1.0, 0.5) == 2
    height = rough((9, 9), 3)
    np.testing.assert_array_equal(local_relief(height, 0.5, 0.1), local_relief(height, 0.5, 1.0))


@pytest.mark.parametrize("most_cells", [1, 37 * 8, 37 * 256])
def test_strips_leave_no_trace(tmp_path, most_cells):
    """Views are the same bytes whatever the strips, on rough ground with gaps."""
    grid = Grid((500_000.0, 4_700_000.0), 0.25, 3, -5, 40, 60)
    surface = tmp_path / "surface.tif"
    height = rough(grid.shape, 4, gaps=0.1)
    write_raster(surface, [Band("height", "m", height)], grid=grid, **FRAME)
    look = Reach(trend_m=1.1, openness_m=1.6, directions=16)
    made = {}
    for name, cells in (("whole", 10**9), ("strips", most_cells)):
        outputs = {view: tmp_path / name / f"{view}.tif" for view in VIEW_UNITS}
        draw_views(surface, outputs, **FRAME, reach=look, most_cells=cells)
        made[name] = {view: path.read_bytes() for view, path in outputs.items()}
    assert made["strips"] == made["whole"]
    relief = read_raster(tmp_path / "whole" / "local_relief.tif")[1]["local_relief"]
    written = read_raster(surface)[1]["height"]
    np.testing.assert_allclose(relief, local_relief(written, 0.25, 1.1), atol=1e-6)
