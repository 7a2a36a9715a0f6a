"""Bed points written and read the way the workflow does, in metres from a test's origin."""

from types import SimpleNamespace

import numpy as np
import pytest

from wrackline.points import Points, PointWriter
from wrackline.rasters import read_raster, ticks
from wrackline.seabed.bins import bin_points
from wrackline.seabed.gridding import Settings, grid_survey
from wrackline.uncertainty import ErrorModel

ORIGIN = (500_000.0, 4_700_000.0)
FRAME = {"crs": "EPSG:32633", "vertical_datum": "mean sea level", "origin": ORIGIN}


def write_points(path, xyz, *, sd=None, origin=ORIGIN, step=None, rows=None):
    """Write points given in metres from the origin, in one chunk or in steps."""
    xyz = np.asarray(xyz, dtype=float)
    step = step or max(len(xyz), 1)
    extra = {"with_sd": sd is not None, "with_row": rows is not None}
    with PointWriter(path, crs="EPSG:32633", origin=origin, **extra) as writer:
        for start in range(0, len(xyz), step):
            part = slice(start, start + step)
            east, north, height = (ticks(axis) for axis in xyz[part].T)
            own = None if sd is None else np.asarray(sd, dtype=float)[part]
            row = None if rows is None else np.asarray(rows)[part]
            east, north = east + ticks(origin[0]), north + ticks(origin[1])
            writer.write(Points(east, north, height, own, row))
    return path


@pytest.fixture
def bed(tmp_path):
    """Return helpers: `write(xyz)`, `cells(xyz)`, `surface(xyz)` -> grid, bands."""
    level = ErrorModel("2031-level", 0.0, 0.04)
    given = SimpleNamespace(folder=tmp_path, origin=ORIGIN, frame=FRAME, set_aside=None)

    def write(xyz, *, name="points.laz", **more):
        return write_points(tmp_path / name, xyz, **more)

    def cells(xyz, *, cell_m=1.0, **more):
        return bin_points(write(xyz, **more), origin=ORIGIN, cell_m=cell_m)

    def surface(xyz, *, model=level, cell_m=1.0, fill_distance_m=0.0, how=None, **more):
        out = tmp_path / "surface.tif"
        given.set_aside = grid_survey(
            write(xyz, **more),
            out,
            model=model,
            frame={**FRAME, "origin": more.get("origin", ORIGIN)},
            settings=Settings(cell_m, fill_distance_m, **(how or {})),
        )
        return read_raster(out)

    given.write, given.cells, given.surface = write, cells, surface
    return given
