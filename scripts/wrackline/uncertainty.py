"""One law of propagation for every figure: gradient in, standard uncertainty out.

Every measured figure of the record (an area, an axis, a depth) is, to first order, a sum over
survey points of gradient times displacement. The displacement of a point has three parts, as the
config names them: *random* from point to point; *patchy*, alike over a stated distance; and from
*named sources*, which move everything that rests on them together. So one function serves all
figures, and a source that stands on both sides of a difference cancels by itself.

Method: JCGM 100:2008 (GUM), 5.1 and 5.2, first order, with correlated input. The patchy part has
the spherical correlation of geostatistics, whose integral over the plane is pi a^2 / 5 (the form
that Anderson 2019, doi:10.1002/esp.4551, uses for volumes).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt
import scipy  # loads its parts, of which trees are dear, where they are first used

from wrackline.model import AppliedOffset, ErrorSource, SeaLevel, Site, Survey

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

COVERAGE_95 = 1.959963984540054
"""Half-width of a 95 % interval in standard uncertainties (normal; IHO S-44 2.7 prints 1.96)."""

PAIR_BLOCK = 2_000_000
VERTICAL = ("height", "tilt")
"""Kinds of named errors that a correction of heights can take the place of."""


@dataclass(frozen=True)
class NamedError:
    """One component of a named source: what one standard uncertainty does to a point.

    Attributes
    ----------
    name : str
        Source and component, e.g. ``gauge_zero:height``; equal names are the same error.
    kind : {"easting", "northing", "height", "rotation", "scale", "tilt"}
    sd : float
        In metres (shifts), radians (rotation) or metre per metre (scale, tilt).
    pivot : tuple of float
        Easting and northing that stay put [m].
    azimuth_deg : float
        Grid azimuth of a tilt's steepest rise [degrees].
    """

    name: str
    kind: str
    sd: float
    pivot: tuple[float, float] = (0.0, 0.0)
    azimuth_deg: float = 0.0

    def displacement(self, xyz: Array) -> Array:
        """Return what one standard uncertainty adds to each point.

        Parameters
        ----------
        xyz : array, shape (n, 3)
            Easting, northing, height [m].

        Returns
        -------
        array, shape (n, 3)
            Displacement in easting, northing, height [m].
        """
        moved = np.zeros_like(xyz)
        east, north = xyz[:, 0] - self.pivot[0], xyz[:, 1] - self.pivot[1]
        if self.kind in ("easting", "northing", "height"):
            moved[:, ("easting", "northing", "height").index(self.kind)] = self.sd
        elif self.kind == "rotation":
            moved[:, 0], moved[:, 1] = self.sd * north, -self.sd * east
        elif self.kind == "scale":
            moved[:, 0], moved[:, 1] = self.sd * east, self.sd * north
        else:
            azimuth = np.radians(self.azimuth_deg)
            moved[:, 2] = self.sd * (east * np.sin(azimuth) + north * np.cos(azimuth))
        return moved


@dataclass(frozen=True)
class ErrorModel:
    """Errors of one survey, in metres; per axis in the horizontal.

    Attributes
    ----------
    survey : str
        Identifier of the survey.
    random_horizontal, random_vertical : float
        Standard uncertainty from point to point [m].
    patchy_horizontal, patchy_vertical : float
        Standard uncertainty of what is alike over `patchy_distance` [m].
    patchy_distance : float
        Range of the spherical correlation [m].
    named : tuple of NamedError
        Components of the named sources that the survey rests on.
    """

    survey: str
    random_horizontal: float
    random_vertical: float
    patchy_horizontal: float = 0.0
    patchy_vertical: float = 0.0
    patchy_distance: float = 0.0
    named: tuple[NamedError, ...] = ()

    def as_dict(self) -> dict[str, Any]:
        """Return JSON-ready values that `model_from_dict` reads back."""
        return {**vars(self), "named": [vars(part) for part in self.named]}


def model_from_dict(record: Mapping[str, Any]) -> ErrorModel:
    """Rebuild an `ErrorModel` from `ErrorModel.as_dict`."""
    return ErrorModel(**{**record, "named": tuple(errors_from_dicts(record["named"]))})


def errors_from_dicts(records: Iterable[Mapping[str, Any]]) -> list[NamedError]:
    """Rebuild named errors from JSON."""
    return [
        NamedError(**{**part, "pivot": tuple(part.get("pivot", (0.0, 0.0)))}) for part in records
    ]


def components(name: str, source: ErrorSource, origin: tuple[float, float]) -> list[NamedError]:
    """Return the independent components of a named source.

    Parameters
    ----------
    name : str
        The source's name in `site.yaml`.
    source : ErrorSource
        Its description.
    origin : tuple of float
        The site's origin, the pivot where none is given [m].
    """
    pivot = source.pivot or origin
    if source.kind == "shift":
        sizes = {
            "easting": source.easting_sd_m,
            "northing": source.northing_sd_m,
            "height": source.height_sd_m,
        }
        return [NamedError(f"{name}:{k}", k, sd, pivot) for k, sd in sizes.items() if sd > 0]
    sd = {
        "rotation": float(np.radians(source.rotation_sd_deg)),
        "scale": source.scale_sd_ppm * 1e-6,
        "tilt": source.tilt_sd_mm_per_m * 1e-3,
    }[source.kind]
    return [NamedError(f"{name}:{source.kind}", source.kind, sd, pivot, source.tilt_azimuth_deg)]


def offset_errors(name: str, offset: AppliedOffset) -> list[NamedError]:
    """Return the errors of an applied offset itself: its height, and its tilt in two parts.

    The errors of the tilts towards east and north may be correlated: one standard uncertainty of
    the first part tilts both, the second part is what is left of the tilt towards north.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    offset : AppliedOffset
    """
    found = [NamedError(f"{name}:applied_offset", "height", offset.sd_m)]
    east, north = offset.tilt_east_sd_mm_per_m / 1000, offset.tilt_north_sd_mm_per_m / 1000
    along, rest = offset.tilt_correlation * north, np.sqrt(1 - offset.tilt_correlation**2) * north
    pivot = offset.pivot or (0.0, 0.0)
    for part, (x, y) in (("applied_tilt", (east, along)), ("applied_tilt_2", (0.0, rest))):
        azimuth = float(np.degrees(np.arctan2(x, y)))
        found.append(NamedError(f"{name}:{part}", "tilt", float(np.hypot(x, y)), pivot, azimuth))
    return [part for part in found if part.sd > 0]


def error_model(
    name: str, survey: Survey, site: Site, extra: Sequence[NamedError] = ()
) -> ErrorModel:
    """Return the error model that the config states for a survey.

    Parameters
    ----------
    name : str
        Identifier of the survey.
    survey, site : Survey, Site
        Their config.
    extra : sequence of NamedError
        Errors that the fit found, e.g. of a local grid's transformation.
    """
    offset = survey.applied_offset
    dropped = set(offset.replaces) if offset else set()
    named = [
        part
        for source in survey.error_sources
        for part in components(source, site.error_sources[source], site.origin)
        if source not in dropped or part.kind not in VERTICAL
    ]
    if offset:
        there = {part.name for part in named}
        named += [
            part
            for source in offset.rests_on
            for part in components(source, site.error_sources[source], site.origin)
            if part.kind in VERTICAL and part.name not in there
        ]
        named += offset_errors(name, offset)
    return ErrorModel(
        survey=name,
        random_horizontal=survey.random_horizontal_sd_m,
        random_vertical=survey.random_vertical_sd_m,
        patchy_horizontal=survey.patchy_horizontal_sd_m,
        patchy_vertical=survey.patchy_vertical_sd_m,
        patchy_distance=survey.patchy_distance_m,
        named=(*named, *extra),
    )


@dataclass(frozen=True)
class Budget:
    """Uncertainty of one figure, by cause, in the figure's own unit.

    Attributes
    ----------
    random, patchy : float
        Standard uncertainties.
    named : dict of str to float
        Signed effect of one standard uncertainty of each named component.

    Examples
    --------
    A level common to both sides of a difference cancels:

    >>> wall = Budget(0.03, 0.0, {"gauge_zero:height": 0.05})
    >>> bed = Budget(0.04, 0.0, {"gauge_zero:height": 0.05})
    >>> round(wall.minus(bed).sd, 3)
    0.05
    """

    random: float = 0.0
    patchy: float = 0.0
    named: Mapping[str, float] = field(default_factory=dict)

    @property
    def sd(self) -> float:
        """Combined standard uncertainty."""
        named = sum(effect**2 for effect in self.named.values())
        return float(np.sqrt(self.random**2 + self.patchy**2 + named))

    def times(self, factor: float) -> Budget:
        """Return the budget of the figure times a number."""
        named = {name: factor * effect for name, effect in self.named.items()}
        return Budget(abs(factor) * self.random, abs(factor) * self.patchy, named)

    def plus(self, other: Budget) -> Budget:
        """Return the budget of the sum of two figures, equal named components combined."""
        named = dict(self.named)
        for name, effect in other.named.items():
            named[name] = named.get(name, 0.0) + effect
        return Budget(
            float(np.hypot(self.random, other.random)),
            float(np.hypot(self.patchy, other.patchy)),
            named,
        )

    def minus(self, other: Budget) -> Budget:
        """Return the budget of the difference of two figures."""
        return self.plus(other.times(-1.0))


def spherical(distance: Array, reach: float) -> Array:
    """Return the spherical correlation of points at given distances.

    Parameters
    ----------
    distance : array
        Distances [m].
    reach : float
        Distance from which the correlation is zero [m].

    Examples
    --------
    >>> spherical(np.array([0.0, 5.0, 10.0, 20.0]), 10.0)
    array([1.    , 0.3125, 0.    , 0.    ])
    """
    h = np.minimum(np.asarray(distance, dtype=float) / reach, 1.0)
    return 1.0 - 1.5 * h + 0.5 * h**3


def propagate(
    gradient: Array, xyz: Array, survey: npt.NDArray[np.int_], models: Sequence[ErrorModel]
) -> Budget:
    """Return the uncertainty of a figure from its gradient on the survey points.

    Parameters
    ----------
    gradient : array, shape (n, 3)
        Change of the figure per metre of displacement of each point in easting, northing, height.
    xyz : array, shape (n, 3)
        Easting, northing, height of the points [m].
    survey : array of int, shape (n,)
        Index into `models` of the survey that measured each point.
    models : sequence of ErrorModel
        Errors of the surveys; different surveys share named components of equal name only.

    Returns
    -------
    Budget

    Examples
    --------
    The mean height of four points, each 0.04 m at random, is known to 0.02 m:

    >>> xyz = np.array([[0.0, 0, 1], [9, 0, 1], [0, 9, 1], [9, 9, 1]])
    >>> gradient = np.tile([0.0, 0.0, 0.25], (4, 1))
    >>> level = ErrorModel("2031-level", 0.0, 0.04)
    >>> propagate(gradient, xyz, np.zeros(4, int), [level]).sd
    0.02
    """
    random = patchy = 0.0
    named: dict[str, float] = {}
    for index in np.unique(survey):
        model, mine = models[index], survey == index
        grad, points = gradient[mine], xyz[mine]
        horizontal, vertical = grad[:, :2], grad[:, 2:]
        random += model.random_horizontal**2 * float((horizontal**2).sum())
        random += model.random_vertical**2 * float((vertical**2).sum())
        if model.patchy_horizontal > 0 or model.patchy_vertical > 0:
            scaled = np.hstack(
                [horizontal * model.patchy_horizontal, vertical * model.patchy_vertical]
            )
            patchy += _patchy_variance(scaled, points[:, :2], model.patchy_distance)
        for part in model.named:
            effect = float((grad * part.displacement(np.nan_to_num(points))).sum())
            named[part.name] = named.get(part.name, 0.0) + effect
    return Budget(float(np.sqrt(random)), float(np.sqrt(max(patchy, 0.0))), named)


def _patchy_variance(scaled: Array, xy: Array, reach: float) -> float:
    """Return the sum over all pairs of g_i . g_j rho(d_ij), pairs beyond the reach left out."""
    tree = scipy.spatial.cKDTree(xy)
    total, step = 0.0, max(1, PAIR_BLOCK // max(len(xy), 1))
    for start in range(0, len(xy), step):
        block = slice(start, start + step)
        part = tree if step >= len(xy) else scipy.spatial.cKDTree(xy[block])
        pairs = part.sparse_distance_matrix(tree, reach, output_type="coo_matrix")
        products = (scaled[block][pairs.row] * scaled[pairs.col]).sum(axis=1)
        total += float((products * spherical(pairs.data, reach)).sum())
    return total


def level_budget(level: SeaLevel, site: Site) -> Budget:
    """Return the uncertainty of a named sea level's height.

    Parameters
    ----------
    level : SeaLevel
        The level; of the error sources that it rests on, the height shifts count.
    site : Site
    """
    named = {
        part.name: part.sd
        for name in level.error_sources
        for part in components(name, site.error_sources[name], site.origin)
        if part.kind == "height"
    }
    return Budget(named={f"{level.name}:level": level.sd_m, **named})
