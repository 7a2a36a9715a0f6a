"""The seabed as single-band rasters, the form that other programs take most easily."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from wrackline.io import read_json
from wrackline.rasters import RasterReader, RasterWriter, SmoothRasterWriter
from wrackline.seabed.relief import VIEW_UNITS
from wrackline.seasons.seabed_change import BANDS, GROUNDS

UNITS = {"height": "m", "sd": "m", "count": "1", "source": "1"}
SAID = {
    "slope": "slope from level, gradient after Horn 1981",
    "hillshade": "light from 315 degrees, 45 degrees high, 1 to 255",
    "shade_around": "light from 225, 270, 315 and 360 degrees, 45 degrees high, 1 to 255, weighted "
    "by the square of the cosine between it and the slope (gdaldem -multidirectional, after Mark "
    "1992)",
    "local_relief": "height above the mean of the ground around; at gaps and edges above the "
    "plane through it",
    "openness": "positive openness (Yokoyama, Shirasawa and Pike 2002)",
}
"""What a view is, written into its tags."""

STRIP_CELLS = 1_000_000


def publish_rasters(
    surface: Path | str,
    record: Path | str,
    *,
    pictures: Mapping[str, Path | str],
    outputs: Mapping[str, Path | str],
    about: Mapping[str, str],
) -> None:
    """Write one raster a band, piece by piece.

    Parameters
    ----------
    surface, record : Path or str
        A merged surface and its JSON.
    pictures : mapping of str to path
        Rasters of the views of `wrackline.seabed.views`.
    outputs : mapping of str to path
        Where each band goes, by name.
    about : mapping of str to str
        Statement that goes with every product: CRS, datum, sea level, dates, caution.
    """
    content = read_json(record)
    sources = "; ".join(f"{k} = {name}" for k, name in enumerate(content["sources"]))
    dates = "; ".join(
        f"{name}: {first} to {last}"
        for name, (first, last) in zip(content["sources"], content["dates"], strict=True)
    )
    tags = {**_said(about), "sources": sources, "surveyed": dates}
    for name, path in {**dict.fromkeys(UNITS, surface), **pictures}.items():
        view = {"view": SAID[name]} if name in SAID else {}
        _copy(name, path, outputs[name], about, {**tags, **view})


def publish_change(
    raster: Path | str, figures: Mapping[str, Any], about: Mapping[str, str], output: Path | str
) -> None:
    """Write a raster of change with what a reader needs in its tags.

    Parameters
    ----------
    raster : Path or str
        With the bands of `wrackline.seasons.seabed_change.BANDS`.
    figures : mapping
        The pair's figures.
    about : mapping of str to str
        Statement that goes with every product.
    output : Path or str
    """
    dates = "; ".join(
        f"{figures[side]}: {figures['dates'][side][0]} to {figures['dates'][side][1]} "
        f"({', '.join(figures['surveys'][side])})"
        for side in ("earlier", "later")
    )
    tags = {
        **_said(about),
        "surveyed": dates,
        "difference": "height of the later season less that of the earlier",
        "ground": "; ".join(f"{value} = {words}" for value, words in GROUNDS.items()),
    }
    with (
        RasterReader(raster) as reader,
        RasterWriter(
            output,
            list(BANDS.items()),
            grid=reader.grid,
            crs=about["crs"],
            vertical_datum=about["vertical_datum"],
            tags=tags,
        ) as writer,
    ):
        for part in reader.grid.strips(STRIP_CELLS):
            bands = reader.read(part)
            writer.write(part, [bands[name] for name in BANDS])


def _copy(
    name: str,
    path: Path | str,
    output: Path | str,
    about: Mapping[str, str],
    tags: Mapping[str, str],
) -> None:
    """Write one band of a raster as a raster of its own."""
    smooth = name == "height" or name in VIEW_UNITS
    with (
        RasterReader(path) as reader,
        (SmoothRasterWriter if smooth else RasterWriter)(
            output,
            [(name, {**UNITS, **VIEW_UNITS}[name])],
            grid=reader.grid,
            crs=about["crs"],
            vertical_datum=about["vertical_datum"],
            tags=tags,
        ) as writer,
    ):
        for part in reader.grid.strips(STRIP_CELLS):
            writer.write(part, [reader.read(part, [name])[name]])


def _said(about: Mapping[str, str]) -> dict[str, str]:
    """Return what a raster's tags say of the site; its CRS and datum have places of their own."""
    return {topic: about[topic] for topic in ("site", "depths", "uncertainties", "credit")}
