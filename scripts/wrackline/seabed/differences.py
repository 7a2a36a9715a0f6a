"""Two seasons' surfaces on the cells that both have: how far apart, and why they might be.

The difference is later minus earlier: above 0 ground has come, below 0 it went. Its errors are told
by cause, as those of the surfaces are: *random* ones of both add; *patchy* ones of different
surveys add, each alike over its own distance; a *named* one moves the difference by what it does to
the later surface less what it does to the earlier, so a source common to both cancels as far as it
acts alike. What a surface's sd holds beyond its surveys' error models (a file's own uncertainty) is
alike in all cells of the survey that counts most there.

The level of detection of one cell is 1.96 sd of its difference (Brasington, Langham and Rumsby
2003, doi:10.1016/S0169-555X(02)00320-3; Lane, Westaway and Hicks 2003, doi:10.1002/esp.483), here
with all causes in the sd, not the random one alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from wrackline.rasters import Grid
from wrackline.seabed.merge import share_band
from wrackline.seabed.sample import Surface
from wrackline.seabed.slopes import SLOPE_MARGIN, plane_gradient
from wrackline.seabed.surface_kinds import BED
from wrackline.seabed.variances import named_effects

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]

TOLD = ("height", "sd_random", "together", "sd_rest", "source", "filled", "surface")


@dataclass(frozen=True)
class Patchy:
    """What one survey's patchy errors do to a piece's difference along one axis.

    Attributes
    ----------
    size : array
        Standard uncertainty in each cell, signed where its way matters [m].
    reach : float
        Distance from which it is independent [m].
    """

    size: Array
    reach: float


@dataclass(frozen=True)
class Difference:
    """Later minus earlier on a piece of the site's cells; arrays of the piece's shape.

    Attributes
    ----------
    part : Grid
    height : array
        Later height minus earlier one, NaN where not both have one [m].
    random, grouped : (array, array)
        Of the earlier and the later surface: variance of random errors, and the same times the
        number of cells that share one [m²].
    patchy : dict of str to Patchy
        By survey and axis.
    named : dict of str to array
        Signed effect of one standard uncertainty of each named component [m].
    bed, filled : array of bool
        Both are the bed, not plants or a structure; one of them was filled between soundings.
    only : (array of bool, array of bool)
        Where the earlier alone, or the later alone, has a height.
    """

    part: Grid
    height: Array
    random: tuple[Array, Array]
    grouped: tuple[Array, Array]
    patchy: dict[str, Patchy]
    named: dict[str, Array]
    bed: Flags
    filled: Flags
    only: tuple[Flags, Flags]

    @property
    def both(self) -> Flags:
        """Where both have a height."""
        return np.isfinite(self.height)

    @property
    def patchy_variance(self) -> Array:
        """Variance of patchy errors [m²]."""
        return np.asarray(sum((p.size**2 for p in self.patchy.values()), np.zeros(self.part.shape)))

    @property
    def named_variance(self) -> Array:
        """Variance of named errors [m²]."""
        effects = (self.named[name] ** 2 for name in sorted(self.named))
        return np.asarray(sum(effects, np.zeros(self.part.shape)))

    @property
    def sd(self) -> Array:
        """Standard uncertainty of each cell's difference [m]."""
        variance = self.random[0] + self.random[1] + self.patchy_variance + self.named_variance
        return np.where(self.both, np.sqrt(variance), np.nan)


@dataclass(frozen=True)
class _Side:
    """One season on a piece: its bands, and its errors by cause."""

    bands: Mapping[str, Array]
    patchy: dict[str, Patchy] = field(default_factory=dict)
    named: dict[str, Array] = field(default_factory=dict)

    @property
    def known(self) -> Flags:
        """Where it has a height."""
        return np.isfinite(self.bands["height"])

    @property
    def bed(self) -> Flags:
        """Where it has a height of the bed."""
        there = self.known & (np.nan_to_num(self.bands["surface"], nan=BED) == BED)
        return np.asarray(there, dtype=bool)


def common_grid(earlier: Surface, later: Surface) -> Grid | None:
    """Return the cells that both surfaces' rasters reach, None where they don't meet."""
    return earlier.grid.intersection(later.grid)


def difference(earlier: Surface, later: Surface, part: Grid) -> Difference:
    """Return the difference of two surfaces on a piece of the site's cells.

    Parameters
    ----------
    earlier, later : Surface
        Merged surfaces, of the same origin and cells.
    part : Grid
    """
    old, new = _side(earlier, part), _side(later, part)
    named = {
        name: _zero_where_nan(new.named.get(name)) - _zero_where_nan(old.named.get(name))
        for name in sorted({*old.named, *new.named})
    }
    random = tuple(np.nan_to_num(side.bands["sd_random"]) ** 2 for side in (old, new))
    together = (np.nan_to_num(side.bands["together"], nan=1.0) for side in (old, new))
    grouped = tuple(v * np.maximum(t, 1.0) for v, t in zip(random, together, strict=True))
    return Difference(
        part,
        new.bands["height"] - old.bands["height"],
        (random[0], random[1]),
        (grouped[0], grouped[1]),
        {**old.patchy, **new.patchy},
        {name: np.broadcast_to(effect, part.shape) for name, effect in named.items()},
        old.bed & new.bed,
        (old.bands["filled"] > 0) | (new.bands["filled"] > 0),
        (old.known & ~new.known, new.known & ~old.known),
    )


def _zero_where_nan(values: Array | None) -> Array:
    return np.zeros(()) if values is None else np.nan_to_num(values)


def _side(surface: Surface, part: Grid) -> _Side:
    """Return one surface on a piece, with the effects of each survey by its share."""
    around = part.grown(SLOPE_MARGIN)
    names = [*TOLD, *(share_band(name) for name in surface.sources)]
    bands = surface.read(around, names)
    slope = plane_gradient(bands["height"], part.cell_m, lone_slope=0.0)
    window = around.window(part)
    inner = {name: band[window] for name, band in bands.items()}
    slopes = (np.nan_to_num(slope[0][window]), np.nan_to_num(slope[1][window]))
    side = _Side(inner)
    for number, (name, model) in enumerate(zip(surface.sources, surface.models, strict=True)):
        share = np.nan_to_num(inner[share_band(name)])
        if not share.any():
            continue
        sizes = {"height": model.patchy_vertical * share}
        if model.patchy_horizontal > 0:
            sizes["east"] = -model.patchy_horizontal * share * slopes[0]
            sizes["north"] = -model.patchy_horizontal * share * slopes[1]
        for way, size in sizes.items():
            if model.patchy_distance > 0 and size.any():
                side.patchy[f"{name}:{way}"] = Patchy(size, model.patchy_distance)
        for component, effect in named_effects(part, slopes, model):
            side.named[component] = side.named.get(component, 0.0) + share * effect
        own = np.where(inner["source"] == number, np.nan_to_num(inner["sd_rest"]), 0.0)
        if own.any():
            side.named[f"{name}:own_sd"] = own
    return side


def level_of_detection(sds: Sequence[Array | float], coverage: float) -> Array:
    """Return the least difference of two heights that their sds let pass for a change.

    Parameters
    ----------
    sds : sequence of array or float
        Standard uncertainties of independent errors of both heights [m].
    coverage : float
        Half-width of the interval in standard uncertainties, 1.96 for 95 %.

    Returns
    -------
    array
        minLoD = t √(σ₁² + σ₂²) [m].

    Examples
    --------
    >>> level_of_detection([0.10, 0.10], 1.96).round(3)
    np.float64(0.277)
    """
    return np.asarray(coverage * np.sqrt(sum(np.square(sd) for sd in sds)))
