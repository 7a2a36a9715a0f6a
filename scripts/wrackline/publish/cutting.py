"""Shapes cut by other shapes, each by those that it meets, so cost grows with their number."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import shapely


def less(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Return shapes without the ground of others.

    Parameters
    ----------
    shapes : array of Geometry, shape (n,)
    others : array of Geometry, shape (m,)

    Returns
    -------
    array of Geometry, shape (n,)
        Those that meet no other one are the same.

    Examples
    --------
    >>> wall = np.array([shapely.box(0, 0, 4, 1)], dtype=object)
    >>> float(less(wall, np.array([shapely.box(1, 0, 2, 1)], dtype=object))[0].area)
    3.0
    """
    return _cut(shapes, others, shapely.difference, shapes)


def common(shapes: np.ndarray, others: np.ndarray) -> np.ndarray:
    """Return what shapes have in common with the ground of others; nothing gives an empty shape.

    Parameters
    ----------
    shapes : array of Geometry, shape (n,)
    others : array of Geometry, shape (m,)
    """
    nothing = np.full(len(shapes), shapely.GeometryCollection(), dtype=object)
    return _cut(shapes, others, shapely.intersection, nothing)


def _cut(
    shapes: np.ndarray, others: np.ndarray, how: Callable[..., np.ndarray], else_: np.ndarray
) -> np.ndarray:
    parts = shapely.get_parts(others)
    mine, met = shapely.STRtree(parts).query(shapes, predicate="intersects")
    order = np.lexsort((met, mine))
    touched, starts = np.unique(mine[order], return_index=True)
    groups = np.split(parts[met[order]], starts[1:])
    cut = np.array(else_, dtype=object)
    for k, group in zip(touched.tolist(), groups, strict=False):
        cut[k] = how(shapes[k], shapely.union_all(group))
    return cut
