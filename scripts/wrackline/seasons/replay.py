"""The seasons replayed in order: a site's lasting numbers as a pure function of its plans."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import geopandas as gpd
import pandas as pd

from wrackline.seasons.carry import Carried, carry
from wrackline.seasons.freezing import frozen_table


@dataclass(frozen=True)
class Replayed:
    """A season, and what it was carried into."""

    season: str
    carried: Carried

    @property
    def plan(self) -> dict[str, gpd.GeoDataFrame]:
        """The numbered plan, by layer."""
        return self.carried.plan

    @property
    def events(self) -> pd.DataFrame:
        """What changed."""
        return self.carried.events


def replay(
    plans: Sequence[tuple[str, Mapping[str, gpd.GeoDataFrame]]],
    frozen: gpd.GeoDataFrame | None,
    origin: tuple[float, float],
) -> list[Replayed]:
    """Return the plans of all seasons with lasting numbers.

    Parameters
    ----------
    plans : sequence of (str, mapping of str to GeoDataFrame)
        Seasons in the order of their names, each with its plan numbered by place.
    frozen : GeoDataFrame or None
        Numbers in print, see `freezing.frozen_table`; None for none.
    origin : tuple of float
        The site's origin [m].
    """
    things, replayed = None, []
    given = frozen_table((), None) if frozen is None else frozen
    for season, plan in plans:
        carried = carry(plan, things, given, season, origin)
        things = carried.things
        replayed.append(Replayed(season, carried))
    return replayed
