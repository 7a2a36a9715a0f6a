"""Mosaics of sonar or photographs: pictures without heights, of which the footprint is read."""

from __future__ import annotations

import warnings
from typing import Any

import numpy as np
import pandas as pd
import rasterio
import shapely
from affine import Affine
from pyproj import CRS
from rasterio.errors import NotGeoreferencedWarning
from rasterio.features import shapes

from wrackline.errors import Fault
from wrackline.intake.places import check_declared_crs
from wrackline.intake.readings import Found
from wrackline.verdict import Problems, Source

OVERVIEW = 1000
"""Pixels of the overview's longer side, from which the footprint is taken."""

LARGEST = 1e9
"""Numbers of a place beyond this belong to no map, pixels smaller than its inverse nowhere."""
SPECKLE_PIXELS = 16
"""Parts of the footprint smaller than this many overview pixels are left out beside larger ones."""


def read_picture(source: Source, problems: Problems) -> Found | None:
    """Return the outline of a picture's valid pixels, or None with a fault.

    Parameters
    ----------
    source : Source
    problems : Problems

    Returns
    -------
    Found or None
        One item, a polygon or several; its note has the pixels' size and number. On a local grid,
        a picture without georeference has its column and row of pixels as x and y.
    """
    if source.survey.vertical.meaning != "none":
        problems.add(_heights(source))
    with warnings.catch_warnings():  # a picture without place becomes a fault
        warnings.simplefilter("ignore", NotGeoreferencedWarning)
        with rasterio.open(source.path) as picture:
            lost = picture.transform.is_identity and source.survey.local_grid is None
            if lost or not _is_sound(picture.transform):
                problems.add(_not_placed(source, len(picture.gcps[0])))
                return None
            if picture.crs is not None:
                check_declared_crs(source, CRS.from_user_input(picture.crs), problems)
            ground = footprint(picture)
            note = _note(picture)
    if ground.is_empty:
        problems.add(_nothing(source))
        return None
    return Found(pd.DataFrame({"note": [note]}), np.array([ground]), np.array([1]), 1)


def footprint(picture: Any) -> Any:
    """Return the outline of a raster's valid pixels, from an overview of it.

    Parameters
    ----------
    picture : rasterio dataset

    Returns
    -------
    shapely.MultiPolygon
        In the raster's own CRS, empty where no pixel is valid; its edge is right to about one
        overview pixel.
    """
    shrink = max(1.0, max(picture.width, picture.height) / OVERVIEW)
    height, width = (max(1, round(n / shrink)) for n in (picture.height, picture.width))
    mask = picture.dataset_mask(out_shape=(height, width)) > 0
    transform = _coarser(picture.transform, picture.width / width, picture.height / height)
    found = shapes(mask.astype(np.uint8), mask=mask)  # in pixels: sound whatever the place is
    parts = np.array([shapely.geometry.shape(part) for part, _ in found], dtype=object)
    large = shapely.area(parts) >= SPECKLE_PIXELS
    ground = shapely.union_all(parts[large] if large.any() else parts)
    plain = shapely.simplify(ground, 1.0 if shrink > 1 else 0.0)
    turn = np.array([[transform.a, transform.d], [transform.b, transform.e]])
    placed = shapely.transform(plain, lambda xy: xy @ turn + [transform.c, transform.f])
    return shapely.MultiPolygon(shapely.get_parts(placed).tolist())


def _is_sound(place: Affine) -> bool:
    """Tell whether pixels that are so placed have a size, and lie in the numbers of a map."""
    numbers = np.abs([place.a, place.b, place.c, place.d, place.e, place.f])
    return bool((numbers < LARGEST).all() and abs(place.determinant) > 1 / LARGEST)


def _coarser(fine: Affine, wide: float, high: float) -> Affine:
    """Return the transform of pixels so many times as wide and as high."""
    return Affine(fine.a * wide, fine.b * high, fine.c, fine.d * wide, fine.e * high, fine.f)


def _note(picture: Any) -> str:
    wide, high = (float(np.hypot(*axis)) for axis in zip(*_axes(picture), strict=True))
    size = f"{wide:.3g}" if np.isclose(wide, high, rtol=0.01) else f"{wide:.3g} x {high:.3g}"
    return f"pixels of {size}, {picture.width} x {picture.height}"


def _axes(picture: Any) -> tuple[tuple[float, float], tuple[float, float]]:
    t = picture.transform
    return (t.a, t.b), (t.d, t.e)


def _heights(source: Source) -> Fault:
    return source.fault(
        "picture_heights",
        f"vertical.meaning: {source.survey.vertical.meaning}, for a picture",
        "vertical.meaning: none",
        "shades of grey would be taken for heights",
        "write none; a raster of heights is a survey that holds bed_grid",
    )


def _not_placed(source: Source, marks: int) -> Fault:
    beside = f", with {marks} control points that were not applied" if marks else ""
    return source.fault(
        "not_placed",
        "a picture without georeference" + beside,
        "a picture that says where it lies, or a local_grid of marks seen in it",
        "it could not be laid under the plan",
        "export it with georeference, or put its world file beside it",
    )


def _nothing(source: Source) -> Fault:
    return source.fault(
        "no_rows",
        "a picture in which no pixel has a value",
        "at least one",
        "it would show nothing",
        "export it anew; look at its no-data value",
    )
