"""Pictures: where they lie, and the ground that their valid pixels cover."""

import numpy as np
import pytest
import rasterio
from affine import Affine
from items_read import CRS, E0, N0, kinds, read_file

from wrackline.model import LocalGrid, Vertical

pytestmark = pytest.mark.filterwarnings(
    "ignore::rasterio.errors.NotGeoreferencedWarning"  # of the writer of these tests
)
FLAT = Vertical(meaning="none")
PLACED = Affine(0.1, 0, E0, 0, -0.1, N0 + 20)


def picture(folder, pixels, transform=PLACED, crs=CRS, nodata=0):
    """Write a picture of one band."""
    high, wide = pixels.shape
    placed = {} if transform is None else {"transform": transform, "crs": crs}
    with rasterio.open(
        folder / "mosaic.tif",
        "w",
        driver="GTiff",
        height=high,
        width=wide,
        count=1,
        dtype="uint8",
        nodata=nodata,
        **placed,
    ) as out:
        out.write(pixels, 1)
    return "mosaic.tif"


def read(folder, pixels, *, vertical=FLAT, more=None, **drawn):
    name = picture(folder, pixels, **drawn)
    return read_file(folder, name, holds="picture", vertical=vertical, **(more or {}))


def test_the_footprint_is_that_of_the_valid_pixels(tmp_path):
    """Of 200 by 300 pixels of 0.1 m, half without value, 20 m by 15 m is covered: 300 m²."""
    pixels = np.zeros((200, 300), np.uint8)
    pixels[:, :150] = 7
    items, verdict = read(tmp_path, pixels)
    assert kinds(verdict) == ([], [])
    assert items.geometry.area.tolist() == [pytest.approx(300.0)]
    assert items.total_bounds.tolist() == pytest.approx([E0, N0, E0 + 15, N0 + 20])
    assert items["note"].tolist() == ["pixels of 0.1, 300 x 200"]


def test_large_pictures_are_looked_at_from_afar(tmp_path):
    """The footprint of a large picture is right to about one pixel of its overview."""
    pixels = np.zeros((100, 4000), np.uint8)
    pixels[:, 1000:3001] = 7
    pixels[3, 3500] = 7
    items, _ = read(tmp_path, pixels)
    assert len(items) == 1
    assert items.geometry.area.sum() == pytest.approx(10 * 200.1, rel=0.05)


@pytest.mark.parametrize(
    ("drawn", "vertical", "kind"),
    [
        pytest.param({"transform": None}, FLAT, "not_placed", id="no place"),
        pytest.param({"crs": "EPSG:32626"}, FLAT, "crs_contradiction", id="other CRS"),
        pytest.param({}, Vertical(meaning="height"), "picture_heights", id="heights"),
        pytest.param({"nodata": 7}, FLAT, "no_rows", id="nothing valid"),
    ],
)
def test_a_picture_that_cant_be_used_is_refused(tmp_path, drawn, vertical, kind):
    """Pictures without place, of another CRS, with heights, or empty end in that one fault."""
    items, verdict = read(tmp_path, np.full((20, 20), 7, np.uint8), vertical=vertical, **drawn)
    assert kinds(verdict)[0] == [kind]
    assert len(items) == 0


def test_a_scan_is_placed_by_marks_seen_in_it(tmp_path):
    """Without georeference, columns and rows of pixels are the local grid's numbers."""
    marks = [((0, 0), (E0, N0 + 20)), ((200, 0), (E0 + 20, N0 + 20)), ((0, 200), (E0, N0))]
    grid = LocalGrid(
        method="affine",
        points=[{"point": str(k), "local": a, "site": b} for k, (a, b) in enumerate(marks)],
        control_sd_m=0.05,
    )
    pixels = np.full((200, 200), 7, np.uint8)
    items, verdict = read(tmp_path, pixels, transform=None, more={"local_grid": grid})
    assert kinds(verdict) == ([], [])
    assert items.total_bounds.tolist() == [0, 0, 200, 200]


@pytest.mark.parametrize("pixel", [1e-200, 1e300])
def test_a_picture_with_an_absurd_place_is_a_fault_and_ends(tmp_path, pixel):
    """Pixels of no size, or beyond all maps, are not placed; no outline is sought in them."""
    place = Affine(pixel, 0, E0, 0, -pixel, N0)
    _, verdict = read(tmp_path, np.full((9, 9), 9, np.uint8), transform=place)
    assert kinds(verdict)[0] == ["not_placed"]
