"""Small sites written from code, and whole runs of the workflow on them.

Everything here is invented but for what a test brings along. A site is written in few lines:
surveys as dicts of config, their data as geometries or rows.
"""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import shapely
import yaml

REPOSITORY = Path(__file__).resolve().parents[1]
COMMAND = "import sys; from wrackline.command import main; sys.exit(main())"
CRS = "EPSG:32625"
ORIGIN = (324400.0, 4207600.0)


@dataclass(frozen=True)
class Ended:
    """How a run ended: its exit code, and all that it wrote to the terminal."""

    code: int
    text: str


def build(
    site: Path, *, cores: int | None = None, within_s: float = 120, **environment: str
) -> Ended:
    """Build a site in a process of its own, within a time limit; further keys are variables."""
    return _run("build", site=site, cores=cores, within_s=within_s, **environment)


def check(site: Path, *, file: str | None = None, within_s: float = 120) -> Ended:
    """Check a site's survey files, or one, in a process of its own, within a time limit."""
    what = ["check"] if file is None else ["check", "--file", file]
    return _run(*what, site=site, cores=None, within_s=within_s)


def rehearse(site: Path, *, season: Path | None = None, within_s: float = 120) -> Ended:
    """Rehearse a build of a site, perhaps with a season file, in a process of its own."""
    what = ["rehearse"] if season is None else ["rehearse", "--season", str(season)]
    return _run(*what, site=site, cores=None, within_s=within_s)


def _run(*what: str, site: Path, cores: int | None, within_s: float, **environment: str) -> Ended:
    command = [sys.executable, "-c", COMMAND, *what, "--site", str(site)]
    if cores is not None:
        command += ["--cores", str(cores)]
    variables = {**os.environ, "PYTHONPATH": str(REPOSITORY / "scripts"), **environment}
    done = subprocess.run(
        command, env=variables, capture_output=True, text=True, timeout=within_s, check=False
    )
    return Ended(done.returncode, done.stdout + done.stderr)


def built(site: Path, **how: Any) -> Path:
    """Build a site that must succeed, see `build`, and return its folder."""
    ended = build(site, **how)
    if ended.code != 0:
        raise RuntimeError(f"exit code {ended.code}:\n{ended.text}")
    return site


def survey(name: str, file: str, holds: str, *, meaning: str = "height", **keys: Any) -> dict:
    """Return the config of a survey in `CRS` with small errors, any key of it changed or added."""
    return {
        "name": name,
        "technique": "invented",
        "holds": holds,
        "file": file,
        "crs": CRS,
        "from_date": "2031-06-09",
        "to_date": "2031-06-10",
        "vertical": {"meaning": meaning},
        "random_horizontal_sd_m": 0.02,
        "random_vertical_sd_m": 0.02,
        **keys,
    }


def write_site(folder: Path, seasons: Mapping[str, Sequence[dict]], **keys: Any) -> Path:
    """Write a site's config: surveys by season, any key of site.yaml changed or added."""
    site = {
        "schema_version": 1,
        "name": "Written from code (invented)",
        "crs": CRS,
        "vertical_datum": "levelling datum (invented)",
        "origin": list(ORIGIN),
        "sea_levels": [{"name": "mean sea level", "height_m": 0.1, "sd_m": 0.01}],
        "depths_below": "mean sea level",
        **keys,
    }
    write_yaml(site, folder / "config" / "site.yaml")
    for season, surveys in seasons.items():
        content = {"schema_version": 1, "season": season, "surveys": list(surveys)}
        write_yaml(content, folder / "config" / "seasons" / f"{season}.yaml")
    return folder


def write_yaml(content: Any, path: Path) -> None:
    """Write a config file."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(yaml.safe_dump(content, sort_keys=False), encoding="utf-8")


def write_shapes(shapes: Sequence[shapely.Geometry], path: Path, crs: str, **columns: Any) -> None:
    """Write geometries as GeoPackage or GeoJSON, as the file's name says."""
    path.parent.mkdir(parents=True, exist_ok=True)
    table = gpd.GeoDataFrame(columns, geometry=list(shapes), crs=crs)
    pyogrio.write_dataframe(table, path)


def write_rows(path: Path, **columns: Any) -> None:
    """Write columns as CSV."""
    path.parent.mkdir(parents=True, exist_ok=True)
    pd.DataFrame(columns).to_csv(path, index=False)


def box(west: float, south: float, east: float, north: float, height: float) -> Any:
    """Return a rectangle's outline as a closed line with heights, metres from `ORIGIN`."""
    corners = np.array([(west, south), (east, south), (east, north), (west, north), (west, south)])
    return shapely.LineString(np.column_stack([corners + ORIGIN, np.full(5, height)]))


def hut_site(folder: Path) -> Path:
    """Write a hut of two rooms, its walls traced on both faces, sounded in a second season.

    Rooms of 4 by 5 m and 3 by 5 m, walls of 0.5 m, wall tops at -2 m; a flat seabed at -3 m; a
    floor met at -3.5 m in the western room, and a jar in the eastern.
    """
    inner = [box(10, 10, 14, 15, -2.0), box(14.5, 10, 17.5, 15, -2.0)]
    write_shapes([*inner, box(9.5, 9.5, 18, 15.5, -2.0)], folder / "data" / "walls.gpkg", CRS)
    jar = shapely.Point(ORIGIN[0] + 16, ORIGIN[1] + 12, -2.9)
    write_shapes([jar], folder / "data" / "things.geojson", CRS, kind=["jar"], origin=["built"])
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(4, 25, 0.5), np.arange(4, 22, 0.5)))
    heights = {"easting": x + ORIGIN[0], "northing": y + ORIGIN[1], "height": np.full(len(x), -3.0)}
    write_rows(folder / "data" / "bed.csv", **heights)
    floor = {"easting": [ORIGIN[0] + 12], "northing": [ORIGIN[1] + 12], "height": [-3.5]}
    write_rows(folder / "data" / "floors.csv", **floor, evidence=["excavated"])
    first = [
        survey("walls", "data/walls.gpkg", "wall_lines"),
        survey("things", "data/things.geojson", "features"),
    ]
    later = {"from_date": "2032-06-09", "to_date": "2032-06-10"}
    second = [
        survey("bed", "data/bed.csv", "bed_points", **later),
        survey("floors", "data/floors.csv", "floor_points", **later),
    ]
    return write_site(folder, {"2031": first, "2032": second})
