"""Merged surfaces: which survey a cell comes from, and what the record says of it."""

import numpy as np

from wrackline.io import read_json, write_json
from wrackline.rasters import Band, Grid, read_raster, write_raster
from wrackline.seabed.merge import SurveySurface, merge_surfaces, merged
from wrackline.uncertainty import ErrorModel, model_from_dict

ORIGIN = (0.0, 0.0)


def part(name, height, sd, filled, *, west=0):
    """Return a survey of one row of cells."""
    height = np.array([height], dtype=float)
    known = np.isfinite(height)
    grid = Grid(ORIGIN, 1.0, west, 0, west + height.shape[1], 1)
    sd = np.where(known, np.broadcast_to(sd, height.shape), np.nan)
    bands = {
        "height": height,
        "sd": sd,
        "sd_random": sd / 2,
        "count": np.where(known, 3.0, np.nan),
        "filled": np.where(known, np.broadcast_to(filled, height.shape), np.nan),
    }
    return name, grid, bands


def merge(*parts):
    grid = parts[0][1]
    for _, other, _ in parts:
        grid = grid.union(other)
    return merged(parts, grid)


def test_the_newer_season_comes_first_even_with_a_larger_sd():
    """The seabed as last measured, whatever the order in which surveys are listed."""
    old, new = part("2031-a", [1.0], 0.01, 0), part("2032-a", [2.0], 0.5, 0)
    for parts, index in (((old, new), 1), ((new, old), 0)):
        bands = merge(*parts)
        assert (bands["height"][0, 0], bands["source"][0, 0]) == (2.0, index)


def test_within_a_season_the_smaller_sd_comes_first():
    """Of two surveys of a season each cell takes the surer one."""
    bands = merge(
        part("2031-a", [1.0, 1.0], [0.1, 0.3], 0), part("2031-b", [2.0, 2.0], [0.2, 0.2], 0)
    )
    assert bands["source"].tolist() == [[0, 1]]
    assert bands["height"].tolist() == [[1.0, 2.0]]


def test_measured_cells_come_before_filled_ones_of_a_newer_season():
    """An interpolated value never hides a measured one."""
    bands = merge(part("2031-a", [1.0], 0.3, 0), part("2032-a", [2.0], 0.1, 1))
    assert (bands["height"][0, 0], bands["filled"][0, 0]) == (1.0, 0.0)


def test_of_equal_surveys_the_first_listed_stays():
    """Ties are settled by the config's order."""
    bands = merge(part("2031-a", [1.0], 0.1, 0), part("2031-b", [2.0], 0.1, 0))
    assert bands["source"][0, 0] == 0


def test_surveys_apart_keep_their_places_and_the_gap_stays_empty():
    """Grids are united; cells without any survey have no source."""
    bands = merge(part("2031-a", [1.0, np.nan], 0.1, 0), part("2031-b", [2.0], 0.1, 0, west=3))
    np.testing.assert_array_equal(bands["height"], [[1.0, np.nan, np.nan, 2.0]])
    np.testing.assert_array_equal(bands["source"], [[0.0, np.nan, np.nan, 1.0]])


def test_raster_and_record_agree(tmp_path):
    """Bands as documented; sources, models and dates in the order of the source band."""
    surveys = []
    for name, date in (("2031-a", "2031-05-01"), ("2032-b", "2032-05-01")):
        _, grid, bands = part(name, [1.0, 2.0], 0.1, 0)
        raster, errors = tmp_path / f"{name}.tif", tmp_path / f"{name}.json"
        written = [Band(key, "m", values) for key, values in bands.items()]
        write_raster(raster, written, grid=grid, crs="EPSG:32633", vertical_datum="msl")
        write_json(
            {
                "model": ErrorModel(name, 0.1, 0.1).as_dict(),
                "from_date": date,
                "to_date": date,
                "own_sd": False,
            },
            errors,
        )
        surveys.append(SurveySurface(name, raster, errors))
    frame = {"crs": "EPSG:32633", "vertical_datum": "msl", "origin": ORIGIN}
    out = tmp_path / "composite.tif"
    merge_surfaces(surveys, out, name="composite", frame=frame, fill_distance_m=1.5)
    _, bands = read_raster(out)
    record = read_json(tmp_path / "composite.json")
    assert list(bands) == ["height", "sd", "sd_random", "count", "source", "filled"]
    assert record["sources"] == ["2031-a", "2032-b"]
    assert [model_from_dict(m).survey for m in record["models"]] == record["sources"]
    assert record["dates"][1] == ["2032-05-01", "2032-05-01"]
    assert (record["cell_m"], record["fill_distance_m"]) == (1.0, 1.5)
    assert bands["source"].tolist() == [[1.0, 1.0]]
