"""A datum grid that is not on this machine stops the run and is named; nothing is guessed.

PROJ otherwise takes the next best operation, or returns its input as output (PROJ documentation,
`allow_ballpark` and `only_best` of `proj_create_crs_to_crs_from_pj`).
"""

import warnings

import pytest
import shapely
from pyproj import CRS, Transformer
from pyproj.transformer import TransformerGroup

from sites import build, survey, write_shapes, write_site
from wrackline.crs import transformer
from wrackline.errors import EXIT_INPUT, InputError

# A national grid whose best way to WGS 84 is a grid of shifts, two megabytes that no wheel carries.
OLD, NEW, GRID = "EPSG:27700", "EPSG:32630", "uk_os_OSTN15_NTv2_OSGBtoETRS.tif"
PLACE = (400000.0, 300000.0)


@pytest.fixture(autouse=True)
def _without_the_grid():
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        if TransformerGroup(OLD, NEW, always_xy=True).best_available:
            pytest.skip(f"{GRID} is on this machine, so nothing is missing")


def test_missing_grid_is_a_fault_that_names_it():
    """The best operation's grid is named, with what its absence would do and what to do."""
    with pytest.raises(InputError, match=f"the best operation needs {GRID}") as caught:
        transformer(CRS(OLD), CRS(NEW), survey="2031-walls", file="data/walls.gpkg")
    (fault,) = caught.value.faults
    assert (fault.kind, fault.file, fault.survey) == (
        "grid_missing",
        "data/walls.gpkg",
        "2031-walls",
    )
    assert "unseen" in fault.consequence
    assert "PROJ's data folder" in fault.remedy


def test_proj_would_have_gone_on():
    """Left to itself PROJ gives a place all the same, by another operation, and no error."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", UserWarning)
        found = Transformer.from_crs(OLD, NEW, always_xy=True).transform(*PLACE)
    assert all(value > 0 for value in found)


def test_same_datum_needs_no_grid():
    """Between grids of one datum the transformation is exact and needs no file."""
    operation = transformer(CRS("EPSG:4277"), CRS(OLD), survey="2031-walls", file="walls.gpkg")
    back = operation.transform(*operation.transform(*PLACE, direction="INVERSE"))
    assert back == pytest.approx(PLACE, abs=1e-6)


def test_a_whole_run_stops_before_anything_is_built(tmp_path):
    """A survey in such a CRS ends the run with the exit code of bad input; no results appear."""
    wall = shapely.LineString([PLACE, (PLACE[0] + 5, PLACE[1])])
    write_shapes([wall], tmp_path / "data" / "walls.gpkg", OLD)
    traced = survey("walls", "data/walls.gpkg", "wall_lines", meaning="none", crs=OLD)
    write_site(tmp_path, {"2031": [traced]}, crs=NEW, origin=[600000.0, 5700000.0])
    ended = build(tmp_path)
    assert ended.code == EXIT_INPUT, ended.text
    assert f"the best operation needs {GRID}" in ended.text
    assert "Traceback" not in ended.text
    assert not (tmp_path / "results").exists()
