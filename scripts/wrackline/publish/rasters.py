"""The seabed as single-band rasters, the form that other programs take most easily."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

from wrackline.io import read_json
from wrackline.rasters import Band, read_raster, write_raster

UNITS = {"height": "m", "sd": "m", "count": "1", "source": "1"}
PICTURE_UNITS = {"slope": "degree", "hillshade": "1"}


def publish_rasters(
    surface: Path | str,
    record: Path | str,
    *,
    pictures: Mapping[str, Path | str],
    outputs: Mapping[str, Path | str],
    about: Mapping[str, str],
) -> None:
    """Write one raster a band.

    Parameters
    ----------
    surface, record : Path or str
        A merged surface and its JSON.
    pictures : mapping of str to path
        Rasters of slope and hillshade.
    outputs : mapping of str to path
        Where each band goes, by name.
    about : mapping of str to str
        Statement that goes with every product: CRS, datum, sea level, dates, caution.
    """
    grid, bands = read_raster(surface)
    content = read_json(record)
    sources = "; ".join(f"{k} = {name}" for k, name in enumerate(content["sources"]))
    dates = "; ".join(
        f"{name}: {first} to {last}"
        for name, (first, last) in zip(content["sources"], content["dates"], strict=True)
    )
    layers = {name: (UNITS[name], bands[name]) for name in UNITS}
    for name, path in pictures.items():
        layers[name] = (PICTURE_UNITS[name], read_raster(path)[1][name])
    for name, (unit, values) in layers.items():
        write_raster(
            outputs[name],
            [Band(name, unit, np.asarray(values))],
            grid=grid,
            crs=about["crs"],
            vertical_datum=about["vertical_datum"],
            tags={**_said(about), "sources": sources, "surveyed": dates},
            smooth=name in ("height", "slope", "hillshade"),
        )


def _said(about: Mapping[str, str]) -> dict[str, str]:
    """Return what a raster's tags say of the site; its CRS and datum have places of their own."""
    return {topic: about[topic] for topic in ("site", "depths", "uncertainties", "credit")}
