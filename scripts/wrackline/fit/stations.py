"""Total-station observations: reduction to the grid, and the fit of a setup to its back-sights.

Here circle readings, bearings and the circle's orientation are radians clockwise, as they are
read; a grid bearing is circle reading + orientation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.fit.adjust import Adjustment, Snooped, snoop

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

EARTH_RADIUS_M = 6_371_000.0
"""Mean radius of the earth (from memory)."""
REFRACTION = 0.13
"""Coefficient of refraction: radius of the earth over that of the ray (common practice)."""
ANGLE_SD_RAD = float(np.radians(5 / 3600))
"""Standard uncertainty of one direction or zenith angle: 5 arc-seconds."""
LEAST_SD_M = 0.001
"""No pole is held better than this."""
PRISM_CONSTANTS_M = (0.0175, 0.030, 0.0344)
POLE_SECTIONS_M = (0.3, 0.5, 1.0, 1.5, 2.0)
"""Constants of prisms, and lengths of pole sections, in use (common practice, no source)."""


@dataclass(frozen=True)
class Sights:
    """Back-sights of one setup, reduced to the grid.

    Attributes
    ----------
    place : array, shape (m, 2)
        Easting and northing of the marks [m].
    sd : array, shape (m,)
        Standard uncertainty of a mark's easting and of its northing [m].
    circle : array, shape (m,)
        Circle readings [radians].
    distance : array, shape (m,)
        Grid distances, NaN where none was measured [m].
    axis : array, shape (m,)
        Height of the instrument's axis by each sight, NaN where unknown [m].
    axis_sd : array, shape (m,)
        Its standard uncertainty [m].
    """

    place: Array
    sd: Array
    circle: Array
    distance: Array
    axis: Array
    axis_sd: Array


@dataclass(frozen=True)
class Occupied:
    """The mark under the instrument: place [m], its sd [m], and axis height by it, or NaN."""

    place: Array
    sd: float
    axis: float = float("nan")
    axis_sd: float = float("nan")


@dataclass(frozen=True)
class Setup:
    """A fitted setup.

    Attributes
    ----------
    x : array, shape (3,)
        Easting, northing [m] and orientation [radians].
    covariance : array, shape (3, 3)
    axis, axis_sd : float
        Height of the instrument's axis and its standard uncertainty, NaN where unknown [m].
    along, across, height : array, shape (m,)
        Observed minus computed for each back-sight, NaN where not observed [m].
    off : list of int
        Back-sights whose direction or distance doesn't fit; -1 is the occupied mark's place.
    off_with_constant : list of int
        The same if all distances are off by one constant.
    off_height : list of int
        Back-sights whose height doesn't fit; -1 is the occupied mark's height.
    redundancy, height_redundancy : int
        Observations beyond those needed.
    constant, constant_sd : float
        Additive constant of the distances, if fitted too, NaN where the sights don't show it [m].
    determined : bool
        Whether the sights fix place and orientation.
    """

    x: Array
    covariance: Array
    axis: float
    axis_sd: float
    along: Array
    across: Array
    height: Array
    off: list[int]
    off_with_constant: list[int]
    off_height: list[int]
    redundancy: int
    height_redundancy: int
    constant: float
    constant_sd: float
    determined: bool


def wrapped(angle: Array) -> Array:
    """Return angles between -pi and pi.

    >>> np.degrees(wrapped(np.radians([350.0, -190.0]))).round(6)
    array([-10., 170.])
    """
    return np.asarray(np.arctan2(np.sin(angle), np.cos(angle)), dtype=float)


def curvature_and_refraction(horizontal_m: Array, refraction: float = REFRACTION) -> Array:
    """Return what a level sight misses of a height because earth and ray are curved [m].

    Parameters
    ----------
    horizontal_m : array, shape (n,)
    refraction : float
        Coefficient k of refraction.

    Examples
    --------
    >>> float(curvature_and_refraction(np.array([1000.0]), 0.0)[0].round(4))
    0.0785
    """
    return (1 - refraction) * np.asarray(horizontal_m) ** 2 / (2 * EARTH_RADIUS_M)


def reduce_slope(slope_m: Array, zenith: Array) -> tuple[Array, Array]:
    """Return level ground distance, at the instrument's height, and rise from axis to target.

    Parameters
    ----------
    slope_m : array, shape (n,)
    zenith : array, shape (n,)
        [radians].

    Returns
    -------
    horizontal_m, rise_m : array, shape (n,)

    Examples
    --------
    >>> level, rise = reduce_slope(np.array([100.0]), np.radians([60.0]))
    >>> float(level[0].round(3)), float(rise[0].round(3))
    (86.602, 50.001)
    """
    flat, up = slope_m * np.sin(zenith), slope_m * np.cos(zenith)
    level = flat - flat * up * (2 - REFRACTION) / (2 * EARTH_RADIUS_M)
    return level, up + curvature_and_refraction(flat)


def mean_of_faces(
    first_deg: tuple[Array, Array], second_deg: tuple[Array, Array]
) -> tuple[Array, Array, Array]:
    """Return circle and zenith as on face one, averaged where both faces were read.

    Parameters
    ----------
    first_deg, second_deg : pair of array, shape (n,)
        Circle and zenith readings, NaN where not read [degrees].

    Returns
    -------
    circle, zenith : array, shape (n,)
        [radians].
    apart : array, shape (n,)
        Larger disagreement of the two faces in circle and zenith, 0 where one was read [radians].

    Examples
    --------
    >>> one, two = (np.array([10.0]), np.array([92.0])), (np.array([190.002]), np.array([268.002]))
    >>> [np.degrees(part).round(4).tolist() for part in mean_of_faces(one, two)]
    [[10.001], [91.999], [0.002]]
    """
    circle, zenith = _as_face_one(*first_deg)
    other_circle, other_zenith = _as_face_one(*second_deg)
    turn = np.nan_to_num(wrapped(other_circle - circle))
    tip = np.nan_to_num(other_zenith - zenith)
    apart = np.maximum(np.abs(turn), np.abs(tip))
    return np.mod(circle + turn / 2, 2 * np.pi), zenith + tip / 2, apart


def _as_face_one(circle_deg: Array, zenith_deg: Array) -> tuple[Array, Array]:
    turned = zenith_deg > 180
    circle = np.where(turned, circle_deg - 180, circle_deg)
    return np.radians(circle), np.radians(np.where(turned, 360 - zenith_deg, zenith_deg))


def fit_setup(sights: Sights, occupied: Occupied | None, random_sd_m: float) -> Setup:
    """Fit place, orientation and height of a setup, setting aside what doesn't fit.

    A mark's own uncertainty, alike in all directions, goes into the sd of the sights to it, which
    for one sight a mark is the same as fitting the mark with its place as an observation.

    Parameters
    ----------
    sights : Sights
    occupied : Occupied or None
        None for a free station.
    random_sd_m : float
        Standard uncertainty of the target's place per axis [m].

    Returns
    -------
    Setup
    """
    centre = sights.place.mean(axis=0)
    own = None if occupied is None else occupied.place - centre
    plane = _Plane(sights, sights.place - centre, own, 0.0 if occupied is None else occupied.sd)
    start = _start(plane)
    observed, sd = plane.observations(start, max(random_sd_m, LEAST_SD_M))
    found = snoop(lambda x: plane.predict(x, observed), start, observed, sd)
    with_constant = snoop(lambda x: plane.predict(x, observed), np.append(start, 0.0), observed, sd)
    constant, constant_sd = _constant(with_constant.adjustment)
    axis, off_height, spare = _fit_height(sights, occupied)
    x = found.adjustment.x
    along, across = plane.misfits(x)
    return Setup(
        x=x + np.append(centre, 0.0),
        covariance=found.adjustment.covariance,
        axis=axis[0],
        axis_sd=axis[1],
        along=along,
        across=across,
        height=axis[0] - sights.axis,
        off=plane.named(found),
        off_with_constant=plane.named(with_constant),
        off_height=off_height,
        redundancy=len(observed) - 3,
        height_redundancy=spare,
        constant=constant,
        constant_sd=constant_sd,
        determined=len(observed) >= 3 and not found.adjustment.undetermined,
    )


@dataclass(frozen=True)
class _Plane:
    """Directions, then distances, then the occupied mark's place, about the marks' centre."""

    sights: Sights
    marks: Array
    own: Array | None
    own_sd: float

    @property
    def measured(self) -> Ints:
        """Sights with a distance."""
        return np.flatnonzero(np.isfinite(self.sights.distance)).astype(np.int64)

    @property
    def sight(self) -> Ints:
        """Sight of each observation, -1 for the occupied mark's place."""
        own = [] if self.own is None else [-1, -1]
        return np.concatenate([np.arange(len(self.marks)), self.measured, own]).astype(np.int64)

    def polar(self, x: Array) -> tuple[Array, Array, Array]:
        """Return offsets, bearings and distances of the marks from a place."""
        to = self.marks - x[:2]
        return to, np.arctan2(to[:, 0], to[:, 1]), np.maximum(np.hypot(*to.T), 1e-3)

    def observations(self, start: Array, random_sd_m: float) -> tuple[Array, Array]:
        """Return observations and their sds."""
        lengths = self.polar(start)[2]
        aside = np.hypot(random_sd_m, self.sights.sd)
        own = np.zeros(0) if self.own is None else self.own
        observed = np.concatenate([self.sights.circle, self.sights.distance[self.measured], own])
        directions = np.hypot(ANGLE_SD_RAD, aside / lengths)
        return observed, np.concatenate(
            [directions, aside[self.measured], np.full(len(own), max(self.own_sd, LEAST_SD_M / 10))]
        )

    def predict(self, x: Array, observed: Array) -> tuple[Array, Array]:
        """Return predictions and jacobian; a fourth unknown is the distances' constant."""
        to, bearing, length = self.polar(x)
        m, some = len(self.marks), self.measured
        turn = wrapped(observed[:m] - (bearing - x[2]))
        constant = x[3] if len(x) > 3 else 0.0
        own = np.zeros(0) if self.own is None else x[:2]
        jacobian = np.zeros((m + len(some) + len(own), len(x)))
        jacobian[:m, 0], jacobian[:m, 1] = -to[:, 1] / length**2, to[:, 0] / length**2
        jacobian[:m, 2] = -1.0
        jacobian[m : m + len(some), :2] = -(to / length[:, None])[some]
        jacobian[m : m + len(some), 3:] = 1.0
        jacobian[m + len(some) :, :2] = np.eye(2)[: len(own)]
        return np.concatenate([observed[:m] - turn, length[some] + constant, own]), jacobian

    def named(self, found: Snooped) -> list[int]:
        """Return the sights that were set aside, -1 for the occupied mark."""
        return sorted({int(self.sight[part.index]) for part in found.rejected})

    def misfits(self, x: Array) -> tuple[Array, Array]:
        """Return observed minus computed, along and across the line of sight [m]."""
        _, bearing, length = self.polar(x)
        return self.sights.distance - length, wrapped(self.sights.circle + x[2] - bearing) * length


def _constant(found: Adjustment) -> tuple[float, float]:
    """Return the distances' constant and its sd, NaN where it can't be told from the place."""
    sd = float(np.sqrt(found.covariance[3, 3]))
    shown = 3 not in found.undetermined and sd > 0 and np.isfinite(found.s0)
    return (float(found.x[3]), sd) if shown else (float("nan"), float("nan"))


def forgotten_constant(constant_m: float, sd_m: float) -> float | None:
    """Return the prism constant that distances are off by, None where they aren't plainly.

    It must stand out at a significance of 0.001 and agree with one in use.

    >>> forgotten_constant(-0.033, 0.004), forgotten_constant(0.033, 0.02)
    (0.0344, None)
    """
    if not abs(constant_m) > 3.3 * sd_m:
        return None
    nearest = min(PRISM_CONSTANTS_M, key=lambda known: abs(abs(constant_m) - known))
    return nearest if abs(abs(constant_m) - nearest) <= max(2 * sd_m, 0.002) else None


def near_section(size_m: float, sd_m: float) -> float | None:
    """Return the length of a pole section that a misfit in height agrees with, or None.

    >>> near_section(-1.03, 0.02), near_section(0.7, 0.02)
    (1.0, None)
    """
    nearest = min(POLE_SECTIONS_M, key=lambda length: abs(abs(size_m) - length))
    return nearest if abs(abs(size_m) - nearest) <= max(2.5 * sd_m, 0.01) else None


def _start(plane: _Plane) -> Array:
    """Return place and orientation to begin from: closed, or the best of a ring of places."""
    if plane.own is not None:
        return _oriented(plane, plane.own)
    if len(plane.measured) >= 2:
        some = plane.measured
        seen = plane.sights.distance[some] * np.exp(1j * plane.sights.circle[some])
        there = plane.marks[some, 1] + 1j * plane.marks[some, 0]
        turn = np.angle((np.conj(seen - seen.mean()) * (there - there.mean())).sum())
        origin = (there - seen * np.exp(1j * turn)).mean()
        return np.array([origin.imag, origin.real, turn])
    spread = max(float(np.hypot(*plane.marks.T).max()), 1.0)
    angles = np.arange(24) * np.pi / 12
    ring = np.column_stack([np.sin(angles), np.cos(angles)])
    places = [radius * spread * at for radius in (0.1, 0.4, 0.8, 1.3, 2.0) for at in ring]
    return min((_oriented(plane, at) for at in places), key=lambda x: _cost(plane, x))


def _oriented(plane: _Plane, place: Array) -> Array:
    bearing = plane.polar(place)[1]
    turn = np.angle(np.exp(1j * (bearing - plane.sights.circle)).sum())
    return np.append(place, turn)


def _cost(plane: _Plane, x: Array) -> float:
    along, across = plane.misfits(x)
    length = plane.polar(x)[2]
    return float(np.nansum((along / length) ** 2) + ((across / length) ** 2).sum())


def _fit_height(
    sights: Sights, occupied: Occupied | None
) -> tuple[tuple[float, float], list[int], int]:
    """Return axis height and sd, the sights that don't fit it, and observations to spare."""
    own = float("nan") if occupied is None else occupied.axis
    own_sd = float("nan") if occupied is None else occupied.axis_sd
    axis, sd = np.append(sights.axis, own), np.append(sights.axis_sd, own_sd)
    known = np.flatnonzero(np.isfinite(axis))
    if not len(known):
        return (float("nan"), float("nan")), [], -1
    base = float(axis[known[0]])
    found: Snooped = snoop(
        lambda x: (np.repeat(x, len(known)), np.ones((len(known), 1))),
        np.zeros(1),
        axis[known] - base,
        np.maximum(sd[known], LEAST_SD_M),
    )
    fit = found.adjustment
    off = [int(known[r.index]) for r in found.rejected]
    named = sorted(-1 if k == len(sights.axis) else k for k in off)
    return (base + float(fit.x[0]), float(np.sqrt(fit.covariance[0, 0]))), named, len(known) - 1


def shot_variances(setup: Setup, offset: Array) -> Array:
    """Return what a setup's uncertainty adds to shots.

    Parameters
    ----------
    setup : Setup
    offset : array, shape (n, 2)
        East and north of the setup [m].

    Returns
    -------
    array, shape (n, 3)
        Variances in easting, northing, height [m²].
    """
    c = setup.covariance
    east = c[0, 0] + 2 * offset[:, 1] * c[0, 2] + offset[:, 1] ** 2 * c[2, 2]
    north = c[1, 1] - 2 * offset[:, 0] * c[1, 2] + offset[:, 0] ** 2 * c[2, 2]
    return np.column_stack([east, north, np.full(len(offset), setup.axis_sd**2)])


def named_errors(survey: str, setups: Sequence[Setup]) -> list[dict[str, object]]:
    """Return what the uncertainty of setups does to their shots, as errors that shots share.

    One setup gives its own errors, the rotation about the point where it is independent of the
    shift. Several are pooled into one set that all shots share: sds are the root mean square of
    the setups', the pivot is the mean of theirs. That is right for how far the whole may be off,
    and too hopeful for lengths between shots of different setups.

    Parameters
    ----------
    survey : str
    setups : sequence of Setup

    Returns
    -------
    list of dict
        ``name``, ``kind``, ``sd``, ``pivot``, ``azimuth_deg`` for
        `wrackline.uncertainty.NamedError`.
    """
    if not setups:
        return []
    parts = np.array([_parts(setup) for setup in setups])
    sds = np.sqrt((parts[:, :4]).mean(axis=0))
    pivot = parts[:, 4:].mean(axis=0).tolist()
    which = "setup" if len(setups) == 1 else "setups"
    return [
        {
            "name": f"{survey}:{which}_{kind}",
            "kind": kind,
            "sd": float(sd),
            "pivot": pivot,
            "azimuth_deg": 0.0,
        }
        for kind, sd in zip(("easting", "northing", "height", "rotation"), sds, strict=True)
    ]


def _parts(setup: Setup) -> list[float]:
    """Return variances of shift, height and rotation, and the pivot, of one setup."""
    c = setup.covariance
    turn = c[2, 2]
    if turn <= 0:
        return [c[0, 0], c[1, 1], setup.axis_sd**2, 0.0, *setup.x[:2]]
    east, north = c[1, 2] / turn, -c[0, 2] / turn
    shifts = [c[0, 0] - c[0, 2] ** 2 / turn, c[1, 1] - c[1, 2] ** 2 / turn]
    return [*shifts, setup.axis_sd**2, turn, setup.x[0] + east, setup.x[1] + north]
