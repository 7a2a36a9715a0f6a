"""What the run says of numbers that are others than in the record before, and why.

A number that isn't in print comes from the place where its thing was first seen, so that mending an
early file may change it. Reads `results/` as it stands and `work/publish/`, which is about to take
its place; writes nothing.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import shapely

from wrackline.io import read_json
from wrackline.numbers import NUMBERED
from wrackline.seasons.kin import LEAST_ALIKE, assigned, kin_of

SHOWN = 20
"""So many changes are said one by one."""


@dataclass(frozen=True)
class Renamed:
    """A thing that bears another number now, and the season from which on it does."""

    what: str
    was: str
    now: str
    season: str
    why: str


def say_renumbered(site: Path) -> list[str]:
    """Return what to say of numbers that changed, line by line; nothing where none did.

    Parameters
    ----------
    site : Path
        The site's folder, all steps done and `results/` not yet replaced.
    """
    old, new = site / "results", site / "work" / "publish"
    if _checksums(old) == _checksums(new):
        return []
    renamed = [one for what in NUMBERED for one in _renamed(old, new, what)]
    if not renamed:
        return []
    mended = _mended(old, new)
    lines = [f"{len(renamed)} numbers that are not in print changed ({mended}):"]
    lines += [f"  {r.what} {r.was} is {r.now} now: {r.why}" for r in renamed[:SHOWN]]
    if len(renamed) > SHOWN:
        lines.append(f"  and {len(renamed) - SHOWN} more")
    return [*lines, "`make freeze SEASON=…` puts a season's numbers in print; then they stay."]


def _checksums(record: Path) -> dict[str, str]:
    """Return the checksums of a record's plans by their names; none where there is no record."""
    try:
        files = read_json(record / "manifest.json")["files"]
    except (OSError, ValueError, KeyError):
        return {}
    plans = {name: str(about["sha256"]) for name, about in files.items()}
    return {name: digest for name, digest in plans.items() if name.endswith("plan.gpkg")}


def _seasons(record: Path) -> list[str]:
    return sorted(path.parent.name for path in record.glob("seasons/*/plan.gpkg"))


def _name(season: str) -> str:
    return f"seasons/{season}/plan.gpkg"


def _renamed(old: Path, new: Path, layer: str) -> Iterator[Renamed]:
    """Yield a layer's things whose number changed, each once, from the earliest season on."""
    told: set[tuple[str, str]] = set()
    before, after = _checksums(old), _checksums(new)
    for season in sorted(set(_seasons(old)) & set(_seasons(new))):
        if before.get(_name(season)) == after.get(_name(season)):
            continue
        was, now = (_plan(record, season, layer) for record in (old, new))
        for one, other, moved_m in _changed(was, now, layer):
            if (one, other) not in told:
                told.add((one, other))
                yield Renamed(NUMBERED[layer][0], one, other, season, _why(season, moved_m))


def _plan(record: Path, season: str, layer: str) -> gpd.GeoDataFrame:
    return gpd.read_file(record / "seasons" / season / "plan.gpkg", layer=layer)


def _changed(
    was: gpd.GeoDataFrame, now: gpd.GeoDataFrame, layer: str
) -> Iterator[tuple[str, str, float]]:
    """Yield old number, new number and shift of what lies in one place under two numbers."""
    field = NUMBERED[layer][0]
    before, after = (shapely.force_2d(table.geometry.to_numpy()) for table in (was, now))
    kin = kin_of(after, before)
    chosen = kin.alike >= LEAST_ALIKE
    pairs = assigned(kin.now[chosen], kin.before[chosen], kin.alike[chosen])
    kept = set(was[field]) & set(now[field])
    for row, old in pairs.items():
        one, other = str(was[field].iloc[old]), str(now[field].iloc[row])
        if one != other and one not in kept:
            apart = shapely.distance(shapely.centroid(after[row]), shapely.centroid(before[old]))
            yield one, other, float(np.asarray(apart))


def _why(season: str, moved_m: float) -> str:
    if moved_m < 0.01:
        return f"it is first seen on another plan than before {season}"
    return f"on the plan of {season} it lies {moved_m:.2f} m from where it lay"


def _mended(old: Path, new: Path) -> str:
    """Return which raw files changed between two records, in words."""
    was, now = (_files(record) for record in (old, new))
    changed = sorted(file for file in was.keys() & now.keys() if was[file] != now[file])
    parts = [
        ("changed: ", changed),
        ("new: ", sorted(now.keys() - was.keys())),
        ("no longer there: ", sorted(was.keys() - now.keys())),
    ]
    said = [name + ", ".join(files) for name, files in parts if files]
    return "; ".join(said) or "no survey file changed, but config or code did"


def _files(record: Path) -> dict[str, str]:
    table = gpd.read_file(record / "site.gpkg", layer="surveys", columns=["file", "sha256"])
    return dict(zip(table["file"].astype(str), table["sha256"].astype(str), strict=True))
