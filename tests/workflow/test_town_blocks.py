"""Real outlines through the whole workflow: the town blocks that the package momepy carries.

The layer `buildings` of momepy's data set `bubenec` (BSD-3; momepy 0.11.0): 144 outlines, one of
them with a courtyard, drawn in EPSG:3857, where areas are 2.43 times too large. They go in as wall
lines of that CRS and come out as floors of a site in UTM 33. What they are held against is worked
out from the outlines by other programs: shapely (areas in the grid), PROJ and GeographicLib
(geodesic areas and azimuths, Karney 2013, doi:10.1007/s00190-012-0578-z), momepy (orientation)
and numpy (the published mean of axes). Their sums are printed in no publication: they were
computed with pyproj 3.7.2, PROJ 9.5.1, geographiclib 2.1 and momepy 0.11.0.
"""

import geopandas as gpd
import momepy
import numpy as np
import pytest
import shapely
from geographiclib.geodesic import Geodesic
from pyproj import Geod, Proj

from sites import built, survey, write_shapes, write_site

pytestmark = pytest.mark.slow

SITE_CRS, FILE_CRS, PLACES = "EPSG:32633", "EPSG:3857", "EPSG:4326"
COUNT, TOTAL_M2, WRONGLY_ORIENTED_M2 = 144, 43184.05, 43475.12
# The network counts in millimetres, so no corner moves by more than 0.5 mm along each axis.
CORNER_M = 0.0005
ROOMS = {"room_max_area_m2": 1e5, "lane_max_width_m": 0.1}
WALLS = {"join_gap_m": 0.0, "doorway_max_m": 0.0, "wall_max_thickness_m": 0.05}


@pytest.fixture(scope="module")
def outlines():
    """Return the outlines as momepy carries them."""
    return gpd.read_file(momepy.datasets.get_path("bubenec"), layer="buildings")


@pytest.fixture(scope="module")
def town(outlines, tmp_path_factory):
    """Build a site that has the rings of all outlines as wall lines."""
    folder = tmp_path_factory.mktemp("town")
    lines = [shapely.LineString(ring.coords) for ring in shapely.get_rings(outlines.geometry)]
    write_shapes(lines, folder / "data" / "blocks.gpkg", FILE_CRS)
    traced = survey("blocks", "data/blocks.gpkg", "wall_lines", meaning="none", crs=FILE_CRS)
    frame = {"crs": SITE_CRS, "origin": [457000.0, 5549000.0]}
    return built(write_site(folder, {"2031": [traced]}, walls=WALLS, rooms=ROOMS, **frame))


@pytest.fixture(scope="module")
def spaces(town):
    """Return all spaces found, the blocks and what they enclose between them."""
    return gpd.read_file(town / "results" / "site.gpkg", layer="rooms")


@pytest.fixture(scope="module")
def found(outlines, spaces):
    """Return the space found for each outline, in their order, with its share of overlap."""
    there = spaces.geometry.to_numpy()
    rows, shares = [], []
    for outline in outlines.to_crs(SITE_CRS).geometry:
        share = shapely.area(shapely.intersection(outline, there))
        share /= shapely.area(shapely.union(outline, there))
        rows.append(int(share.argmax()))
        shares.append(float(share.max()))
    return spaces.iloc[rows].reset_index(drop=True).assign(share=shares)


def factors(outlines):
    """Return PROJ's factors of the site's grid at the middle of each outline."""
    middle = outlines.to_crs(SITE_CRS).centroid.to_crs(PLACES)
    return Proj(SITE_CRS).get_factors(middle.x.to_numpy(), middle.y.to_numpy())


def perimeters(outlines):
    """Return the perimeters in the site's grid, courtyards included [m]."""
    return outlines.to_crs(SITE_CRS).length.to_numpy()


def geographiclib_area(ring):
    """Return the area within a ring of longitudes and latitudes, whichever way it runs [m²]."""
    polygon = Geodesic.WGS84.Polygon()
    for longitude, latitude in ring.coords[:-1]:
        polygon.AddPoint(latitude, longitude)
    return abs(polygon.Compute(reverse=False, sign=True)[2])


def mean_axis(polygon, fold):
    """Return the mean azimuth of geodesic edges, weighted by length, and its vector's length.

    Zar, Biostatistical Analysis (2010), 26.7: angles times the fold, averaged as vectors, divided.
    """
    vector, total = 0.0, 0.0
    for ring in (polygon.exterior, *polygon.interiors):
        longitude, latitude = np.array(ring.coords).T
        azimuth, _, length = Geod(ellps="WGS84").inv(
            longitude[:-1], latitude[:-1], longitude[1:], latitude[1:]
        )
        vector += (length * np.exp(1j * fold * np.radians(azimuth))).sum()
        total += length.sum()
    return np.degrees(np.angle(vector)) / fold % (360 / fold), abs(vector) / total


def mean_axes(outlines, fold):
    """Return `mean_axis` of every outline, as two arrays."""
    return np.array([mean_axis(p, fold) for p in outlines.to_crs(PLACES).geometry]).T


def apart(one, other, period):
    """Return how far two angles of a period lie apart [degrees]."""
    return np.abs((one - other + period / 2) % period - period / 2)


def test_all_blocks_are_there(outlines, found):
    """Each of the 144 outlines comes out as a space of its own, in its place."""
    assert len(outlines) == found["room"].nunique() == COUNT
    assert found["share"].min() > 0.999


def test_floor_areas_against_shapely(outlines, found):
    """Floors are the outlines' areas in the grid over PROJ's areal scale."""
    expected = outlines.to_crs(SITE_CRS).area.to_numpy() / factors(outlines).areal_scale
    error = np.abs(found["floor_area_m2"].to_numpy() - expected)
    assert (error <= CORNER_M * perimeters(outlines)).all()


def test_ground_areas_against_geographiclib(outlines, found):
    """Floors are geodesic areas, courtyards taken off ring by ring: 43 184.05 m² in all."""
    expected = [
        geographiclib_area(p.exterior) - sum(map(geographiclib_area, p.interiors))
        for p in outlines.to_crs(PLACES).geometry
    ]
    error = np.abs(found["floor_area_m2"].to_numpy() - expected)
    assert (error <= CORNER_M * perimeters(outlines)).all()
    np.testing.assert_allclose(sum(expected), TOTAL_M2, atol=0.005)
    np.testing.assert_allclose(found["floor_area_m2"].sum(), TOTAL_M2, atol=0.05)


def test_proj_counts_a_hole_that_runs_the_wrong_way(outlines):
    """PROJ's geodesic area trusts the turn of rings: unoriented, one block is a third too large."""
    geod = Geod(ellps="WGS84")
    raw = np.array(list(outlines.to_crs(PLACES).geometry), dtype=object)
    signed = [geod.geometry_area_perimeter(p)[0] for p in raw]
    turned = [geod.geometry_area_perimeter(p)[0] for p in shapely.orient_polygons(raw)]
    np.testing.assert_allclose(np.abs(signed).sum(), WRONGLY_ORIENTED_M2, atol=0.005)
    np.testing.assert_allclose(sum(turned), TOTAL_M2, atol=0.005)
    (courtyard,) = np.flatnonzero(~np.isclose(np.abs(signed), turned, rtol=1e-6))
    np.testing.assert_allclose(abs(signed[courtyard]) / turned[courtyard], 1.332, atol=5e-4)


def test_a_courtyard_is_no_floor_of_its_block(outlines, spaces, found):
    """The block with a courtyard has a floor with a hole, and the courtyard is a space beside."""
    (row,) = [k for k, p in enumerate(outlines.geometry) if p.interiors]
    block = found.iloc[row]
    (floor,) = shapely.get_parts(block.geometry)
    assert len(floor.interiors) == 1
    court = shapely.Polygon(floor.interiors[0])
    beside = spaces.loc[spaces.geometry.contains(court.representative_point())]
    assert list(beside["room"]) != [block["room"]]
    np.testing.assert_allclose(beside.geometry.area, court.area, rtol=1e-9)


def test_perimeters_are_on_the_ground(outlines, found):
    """Perimeters are geodesic lengths of all rings, as GeographicLib's solution gives them."""
    geod = Geod(ellps="WGS84")
    expected = [
        sum(geod.geometry_length(ring) for ring in (p.exterior, *p.interiors))
        for p in outlines.to_crs(PLACES).geometry
    ]
    np.testing.assert_allclose(found["perimeter_m"], expected, rtol=1e-4)


def test_axes_against_the_published_mean(outlines, found):
    """A floor's axis is the fourfold mean of its geodesic edges, in all blocks to 0.01 degrees."""
    expected, _ = mean_axes(outlines, 4)
    assert apart(found["axis_deg"].to_numpy(), expected, 90).max() < 0.01


def test_axes_lie_along_the_longer_walls(outlines, found):
    """Of the two directions at right angles, the axis is that in which more wall runs."""
    along, strength = mean_axes(outlines, 2)
    told = strength > 0.05  # as much wall one way as the other: no longer direction
    assert told.sum() > 90
    assert apart(found["axis_deg"].to_numpy(), along, 180)[told].max() <= 45


def test_axes_against_momepy(outlines, found):
    """Where right angles hold, axes differ from momepy's by less than a degree.

    momepy takes the smallest enclosing rectangle, in the grid, and folds it to 0-45 degrees from
    the cardinal directions; convergence is what lies between grid and true north.
    """
    theirs = momepy.orientation(outlines.to_crs(SITE_CRS)).to_numpy()
    grid = found["axis_deg"].to_numpy() - factors(outlines).meridian_convergence
    folded = np.minimum(grid % 90, 90 - grid % 90)
    _, strength = mean_axes(outlines, 4)
    square = strength > 0.99
    assert square.sum() == 102
    off = np.abs(folded - theirs)[square]
    assert off.max() < 0.6
    assert np.median(off) < 0.1
    np.testing.assert_allclose(momepy.orientation(outlines).sum(), 3021.681694, atol=1e-5)


def test_lone_blocks_are_buildings(town, found):
    """A block that touches no other is a building of the same ground and axis as its floor."""
    buildings = gpd.read_file(town / "results" / "site.gpkg", layer="buildings")
    lone = buildings.loc[buildings["room_count"] == 1]
    floors = found.set_index("building").loc[lone["building"]]
    assert len(lone) == 6
    np.testing.assert_allclose(lone["footprint_m2"], floors["floor_area_m2"], rtol=1e-9)
    assert apart(lone["axis_deg"].to_numpy(), floors["axis_deg"].to_numpy(), 90).max() < 1e-6


def test_nothing_is_inferred_or_given_a_depth(town, spaces):
    """Outlines without heights, all closed, give no closing and no depth, and say why."""
    walls = gpd.read_file(town / "results" / "site.gpkg", layer="wall_lines")
    assert set(walls["evidence"]) == {"recorded"}
    assert walls["top_depth_m"].isna().all()
    assert walls["null_because"].str.contains("top_depth_m: the survey took no heights").all()
    assert spaces["bed_depth_m"].isna().all()
    assert spaces["null_because"].str.contains("bed_depth_m: no soundings").all()
