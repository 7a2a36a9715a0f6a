"""The part of a picture behind a sheet: each pixel where it lies, whatever the picture is."""

import tracemalloc

import numpy as np
import pytest
import rasterio
from affine import Affine
from pyproj import Transformer
from rasterio.enums import ColorInterp, Resampling
from rasterio.warp import reproject

from wrackline.frames import placing, placing_back
from wrackline.model import LocalGrid, Survey
from wrackline.publish.sheets.backdrop import picture_in

SITE = "EPSG:32625"
E0, N0 = 324400.0, 4207600.0
PLACED = Affine(0.5, 0, E0, 0, -0.5, N0 + 20)
pytestmark = pytest.mark.filterwarnings(
    "ignore::rasterio.errors.NotGeoreferencedWarning"  # of the writer of these tests
)


def survey(crs=SITE, **keys):
    """Return the config of a picture."""
    content = {
        "name": "mosaic",
        "technique": "invented",
        "holds": "picture",
        "file": "mosaic.tif",
        "crs": crs,
        "from_date": "2033-06-02",
        "to_date": "2033-06-09",
        "vertical": {"meaning": "none"},
        "random_horizontal_sd_m": 0.02,
        "random_vertical_sd_m": 0.02,
        **keys,
    }
    return Survey.model_validate(content)


def written(folder, bands, transform=PLACED, crs=SITE, *, colours=None, **profile):
    """Write a picture of such bands, shape (bands, rows, columns), and return its path."""
    bands = np.atleast_3d(bands) if np.ndim(bands) == 3 else np.asarray(bands)[None]
    path = folder / "mosaic.tif"
    given = {"count": len(bands), "height": bands.shape[1], "width": bands.shape[2]}
    placed = {} if transform is None else {"transform": transform, "crs": crs}
    with rasterio.open(
        path, "w", driver="GTiff", dtype=bands.dtype, **given, **placed, **profile
    ) as out:
        out.write(bands)
        if colours:
            out.write_colormap(1, colours)
    return path


def seen(path, bounds, of=None, **how):
    """Return the backdrop of a picture within bounds, in metres from the corner."""
    west, south, east, north = bounds
    back = placing_back("2033-mosaic", of or survey(), SITE)
    return picture_in(path, back, (E0 + west, N0 + south, E0 + east, N0 + north), **how)


def numbered(rows=40, columns=60, dtype=np.uint8):
    """Return pixels of different values, none of them 0."""
    return (np.arange(rows * columns).reshape(rows, columns) % 250 + 1).astype(dtype)


def test_pixels_lie_where_they_lie(tmp_path):
    """A window of whole pixels is the picture's own pixels, grey and opaque."""
    pixels = numbered()
    got = seen(written(tmp_path, pixels), (5, 2, 15, 12))
    assert got.rgba.shape == (20, 20, 4)
    np.testing.assert_array_equal(got.rgba[..., 0], pixels[16:36, 10:30])
    np.testing.assert_array_equal(got.rgba[..., 1], got.rgba[..., 2])
    assert (got.rgba[..., 3] == 255).all()
    assert got.extent == (E0 + 5, E0 + 15, N0 + 2, N0 + 12)
    assert got.pixel_m == 0.5


def test_beyond_the_picture_nothing_is_shown(tmp_path):
    """Bounds that reach beyond it are transparent there; of another place there is none at all."""
    path = written(tmp_path, numbered())
    got = seen(path, (-5, 0, 5, 20))
    assert (got.rgba[:, :10, 3] == 0).all()
    assert (got.rgba[:, 10:, 3] == 255).all()
    assert seen(path, (100, 0, 120, 20)) is None
    assert seen(path, (-2e6, 5e6, -1.9e6, 5.1e6)) is None


def test_nodata_and_nan_are_transparent(tmp_path):
    """What the picture says is no value, and in numbers what is none."""
    pixels = numbered()
    pixels[:, :30] = 0
    opaque = seen(written(tmp_path, pixels, nodata=0), (0, 0, 30, 20)).rgba[..., 3]
    assert (opaque == np.where(pixels == 0, 0, 255)).all()
    values = pixels.astype(np.float32)
    values[values == 0] = np.nan
    opaque = seen(written(tmp_path, values), (0, 0, 30, 20)).rgba[..., 3]
    assert (opaque == np.where(pixels == 0, 0, 255)).all()
    pixels[:] = 0
    assert seen(written(tmp_path, pixels, nodata=0), (0, 0, 30, 20)) is None


def test_colours_and_opacity_are_kept(tmp_path):
    """Red, green, blue, and a band of opacity; of infrared beside them nothing is shown."""
    rng = np.random.default_rng(4)
    bands = rng.integers(0, 255, (4, 40, 60)).astype(np.uint8)
    bands[3] = np.where(bands[3] > 120, 255, 0)
    got = seen(written(tmp_path, bands, photometric="RGB", alpha="YES"), (0, 0, 30, 20))
    np.testing.assert_array_equal(got.rgba[..., 3], bands[3])
    np.testing.assert_array_equal(got.rgba[..., :3], np.moveaxis(bands[:3], 0, -1))
    path = written(tmp_path, bands, photometric="MINISBLACK")
    with rasterio.open(path, "r+") as out:
        names = ("undefined", "red", "green", "blue")
        out.colorinterp = [ColorInterp[name] for name in names]
    got = seen(path, (0, 0, 30, 20))
    np.testing.assert_array_equal(got.rgba[..., :3], np.moveaxis(bands[1:], 0, -1))


def test_indexed_colours_are_looked_up(tmp_path):
    """Numbers of a table of colours are no shades of grey."""
    table = {0: (0, 0, 0, 255), 1: (200, 10, 20, 255), 2: (0, 90, 240, 255)}
    pixels = (np.indices((40, 60)).sum(axis=0) % 3).astype(np.uint8)
    got = seen(written(tmp_path, pixels, photometric="palette", colours=table), (0, 0, 30, 20))
    np.testing.assert_array_equal(got.rgba, np.array(list(table.values()))[pixels])
    path = written(tmp_path, pixels, photometric="palette", colours=table, nodata=0)
    assert (seen(path, (0, 0, 30, 20)).rgba[..., 3] == np.where(pixels > 0, 255, 0)).all()


@pytest.mark.parametrize("dtype", [np.uint16, np.float32])
def test_other_numbers_are_stretched_alike_on_every_sheet(tmp_path, dtype):
    """The stretch is the whole picture's: two parts of it show one value as one grey."""
    ramp = np.tile(np.linspace(1000, 9000, 60), (40, 1)).astype(dtype)
    path = written(tmp_path, ramp)
    whole = seen(path, (0, 0, 30, 20)).rgba[0, :, 0]
    assert (np.diff(whole.astype(int)) >= 0).all()
    assert (whole[0], whole[-1]) == (0, 255)
    np.testing.assert_array_equal(seen(path, (5, 0, 10, 20)).rgba[0, :, 0], whole[10:20])


def test_a_coarse_look_has_the_mean_of_what_it_covers(tmp_path):
    """No more pixels than asked for; each is the mean of its valid ones (a whole number here)."""
    pixels = np.full((40, 60), 100, np.uint8)
    pixels[::2] = 200
    pixels[:20, :4] = 0
    got = seen(written(tmp_path, pixels, nodata=0), (0, 0, 30, 20), most_px=15)
    assert got.rgba.shape == (10, 15, 4)
    shown = got.rgba[..., 3] > 0
    assert shown.sum() == 150 - 5
    assert set(np.unique(got.rgba[..., 0][shown])) == {150}
    assert got.pixel_m == 2.0


def test_a_picture_in_another_crs_is_brought_into_the_site_s(tmp_path):
    """Against GDAL's own warping, nearest pixels: the same but where a pixel's edge decides.

    In the neighbouring zone the grid is turned by some 4 degrees.
    """
    other = "EPSG:32626"
    x, y = Transformer.from_crs(SITE, other, always_xy=True).transform(E0 + 15, N0 + 10)
    place = Affine(0.5, 0, x - 40, 0, -0.5, y + 40)
    rng = np.random.default_rng(6)
    pixels = rng.integers(1, 255, (160, 160)).astype(np.uint8)
    got = seen(written(tmp_path, pixels, place, other), (0, 0, 30, 20), survey(other))
    rows, columns, _ = got.rgba.shape
    into = np.zeros((rows, columns), np.uint8)
    to = Affine(30 / columns, 0, E0, 0, -20 / rows, N0 + 20)
    reproject(
        pixels,
        into,
        src_transform=place,
        src_crs=other,
        dst_transform=to,
        dst_crs=SITE,
        resampling=Resampling.nearest,
        tolerance=0.0,
    )
    assert (rows, columns) == (40, 60)
    assert (got.rgba[..., 0] == into).mean() > 0.99


def test_a_picture_in_degrees_lies_where_its_marks_do(tmp_path):
    """A white pixel drawn at a place by its longitude and latitude is found there."""
    to = Transformer.from_crs(SITE, "EPSG:4326", always_xy=True)
    (west, south), (east, north) = to.transform(E0 - 5, N0 - 5), to.transform(E0 + 35, N0 + 25)
    pixels = np.full((600, 800), 50, np.uint8)
    place = Affine((east - west) / 800, 0, west, 0, -(north - south) / 600, north)
    lon, lat = to.transform(E0 + 12.0, N0 + 7.0)
    column, row = (lon - place.c) / place.a, (lat - place.f) / place.e
    pixels[int(row) - 2 : int(row) + 3, int(column) - 2 : int(column) + 3] = 250
    got = seen(written(tmp_path, pixels, place, "EPSG:4326"), (0, 0, 30, 20), survey("EPSG:4326"))
    rows, columns = np.nonzero(got.rgba[..., 0] == 250)
    assert (columns.mean() + 0.5) * got.pixel_m == pytest.approx(12.0, abs=0.06)
    assert 20 - (rows.mean() + 0.5) * got.pixel_m == pytest.approx(7.0, abs=0.06)


def test_a_picture_on_a_local_grid_lies_by_its_marks(tmp_path):
    """A scan without a place: its pixels' columns and rows are tied to the site by marks."""
    turn = np.array([[0.05, 0.02], [0.02, -0.05]])
    marks = [(0.0, 0.0), (600.0, 0.0), (0.0, 400.0), (600.0, 400.0)]
    points = [
        {"point": f"P{k}", "local": (x, y), "site": (E0 + 5 + float(e), N0 + 15 + float(n))}
        for k, (x, y) in enumerate(marks)
        for e, n in [np.array([x, y]) @ turn]
    ]
    grid = {"points": points, "control_sd_m": 0.05, "method": "affine"}
    of = survey(None, local_grid=LocalGrid.model_validate(grid).model_dump())
    pixels = np.full((400, 600), 50, np.uint8)
    pixels[148:153, 248:253] = 250
    got = seen(written(tmp_path, pixels, None), (0, -20, 50, 40), of)
    rows, columns = np.nonzero(got.rgba[..., 0] == 250)
    place = np.array([(columns.mean() + 0.5), -(rows.mean() + 0.5)]) * got.pixel_m + [0, 40]
    np.testing.assert_allclose(place, np.array([250.5, 150.5]) @ turn + [5, 15], atol=0.06)


@pytest.mark.parametrize("crs", [SITE, "EPSG:32626", "EPSG:4326"])
def test_placing_and_back_is_where_one_began(crs):
    """Each undoes the other, to a micrometre."""
    rng = np.random.default_rng(1)
    x, y = E0 + rng.uniform(0, 300, 20), N0 + rng.uniform(0, 300, 20)
    own = placing_back("2033-mosaic", survey(crs), SITE)(x, y)
    again = placing("2033-mosaic", survey(crs), SITE)(*own)
    np.testing.assert_allclose(again, (x, y), rtol=0, atol=1e-6)


def test_of_a_large_picture_only_what_is_shown_is_read(tmp_path):
    """A mosaic of 400 million pixels: a sheet's part of it takes a hundredth of its memory."""
    path = tmp_path / "large.tif"
    profile = {"driver": "GTiff", "count": 1, "dtype": "uint8", "height": 20000, "width": 20000}
    place = Affine(0.01, 0, E0, 0, -0.01, N0 + 200)
    with rasterio.open(
        path, "w", **profile, crs=SITE, transform=place, tiled=True, sparse_ok=True
    ) as out:
        window = rasterio.windows.Window(5000, 5000, 512, 512)
        out.write(np.full((1, 512, 512), 90, np.uint8), window=window)
    tracemalloc.start()
    got = seen(path, (50, 144.88, 55.12, 150), most_px=256)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert got.rgba.shape == (256, 256, 4)
    assert (got.rgba[..., 0] == 90).all()
    assert peak < 0.01 * 20000**2 * 4
