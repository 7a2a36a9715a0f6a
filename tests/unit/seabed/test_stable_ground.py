"""Files of stable ground: taken in any CRS that they name, refused with what is wrong and where."""

import warnings

import geopandas as gpd
import pyogrio
import pytest
import shapely

from wrackline.errors import InputError
from wrackline.seabed.stable_ground import read_stable, stable_faults

CRS, ORIGIN = "EPSG:32633", (500_000.0, 4_700_000.0)
ROCK = shapely.box(500_010, 4_700_010, 500_020, 4_700_020)


def written(path, shapes, crs=CRS):
    with warnings.catch_warnings():  # a file without CRS is meant
        warnings.simplefilter("ignore", UserWarning)
        pyogrio.write_dataframe(gpd.GeoDataFrame(geometry=list(shapes), crs=crs), path)
    return path


def test_polygons_come_into_the_sites_crs(tmp_path):
    """A file in longitude and latitude lies where it was drawn, within a millimetre."""
    table = gpd.GeoDataFrame(geometry=[ROCK], crs=CRS).to_crs("EPSG:4326")
    path = written(tmp_path / "rock.geojson", table.geometry, "EPSG:4326")
    (found,) = read_stable(path, CRS, ORIGIN)
    assert shapely.hausdorff_distance(found, ROCK) < 0.001


BOW = shapely.Polygon([(500_000, 4_700_000), (500_009, 4_700_009), (500_009, 4_700_000),
                       (500_000, 4_700_009)])  # fmt: skip


def test_every_feature_that_is_no_polygon_is_named(tmp_path):
    """A point, a polygon that crosses itself: a fault each, with its row."""
    path = written(tmp_path / "rock.gpkg", [ROCK, shapely.Point(500_000, 4_700_000), BOW])
    with pytest.raises(InputError, match="a Point") as error:
        read_stable(path, CRS, ORIGIN)
    assert [fault.row for fault in error.value.faults] == [2, 3]
    assert "Self-intersection" in error.value.faults[1].found
    assert all("mend seabed.stable_ground" in fault.remedy for fault in error.value.faults)


@pytest.mark.parametrize(
    ("make", "match"),
    [
        (lambda path: path.write_text("no map"), "DataSourceError"),
        (lambda path: written(path, []), "no features"),
        (lambda path: written(path, [ROCK], None), "names no CRS"),
        (lambda path: written(path, [shapely.transform(ROCK, lambda x: x + 1e5)]), "km from"),
    ],
)
def test_a_file_that_cannot_be_used_is_refused(tmp_path, make, match):
    """Unreadable, empty, without CRS, far off the site."""
    make(tmp_path / "rock.gpkg")
    with pytest.raises(InputError, match=match):
        read_stable(tmp_path / "rock.gpkg", CRS, ORIGIN)


def test_a_missing_file_is_a_fault_before_anything_is_built(tmp_path):
    """Named in the config and not there; nothing stated is none."""
    (fault,) = stable_faults("config/rock.gpkg", None, CRS, ORIGIN)
    assert (fault.kind, fault.found, fault.file) == (
        "stable_ground",
        "no such file",
        "config/rock.gpkg",
    )
    assert stable_faults(None, None, CRS, ORIGIN) == []
    good = written(tmp_path / "rock.gpkg", [ROCK])
    assert stable_faults("rock.gpkg", good, CRS, ORIGIN) == []
