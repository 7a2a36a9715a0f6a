"""Slips to plant in the sites of `cross_sites`, each with the suspicion that must name it.

Walls are traced by two surveys alone, which can't tell which of them is off: slips of the older
must be named at the newer, whose message says that either may be off.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pandas as pd
from cross_sites import CRS, ORIGIN, Made
from pyproj import Transformer

from wrackline.model import Survey


@dataclass(frozen=True)
class Slip:
    """A slip: what plants it, and "survey kind" of the suspicion that must be raised."""

    plant: Callable[[Made], Made]
    found: str


def _raise_bed(name: str, up_m: float) -> Callable[[Made], Made]:
    """Raise a survey of heights."""
    return lambda made: made.with_bed(name, v=made.beds[name]["v"] + up_m)


def _day(made: Made) -> Made:
    """Lower the second day's soundings by 0.2 m, as with another draught."""
    table = made.beds["2031-soundings"]
    second = table["time"] > table["time"].min() + 80_000
    return made.with_bed("2031-soundings", v=table["v"] + 0.2 * second)


def _level_of_depths(made: Made) -> Made:
    return made.with_bed("2031-soundings", v=made.beds["2031-soundings"]["v"] - 0.2)


def _tilt(made: Made) -> Made:
    table = made.beds["2031-soundings"]
    across = (table["x"] - ORIGIN[0]) / 100.0
    return made.with_bed("2031-soundings", v=table["v"] + 0.1 * (across - 0.5))


def _hour(made: Made) -> Made:
    table = made.beds["2031-soundings"]
    since = table["time"] - table["time"].min()
    return made.with_bed("2031-soundings", v=table["v"] + 0.25 * since.between(2000, 5600))


def _rows(made: Made) -> Made:
    """Raise a fifth of a swath that went over the site in lines."""
    order = np.lexsort([made.beds["2031-swath"]["y"], made.beds["2031-swath"]["x"] // 5])
    table = made.beds["2031-swath"].iloc[order].reset_index(drop=True)
    table["row"] = np.arange(len(table)) + 2
    part = table.index.to_series().between(len(table) * 0.4, len(table) * 0.6)
    table["v"] += 0.25 * part
    return replace(made, beds={**made.beds, "2031-swath": table})


def _flip(made: Made) -> Made:
    return made.with_bed("2031-swath", v=-made.beds["2031-swath"]["v"])


def _flip_depths(made: Made) -> Made:
    return made.with_bed("2031-soundings", v=-made.beds["2031-soundings"]["v"])


def _feet(made: Made) -> Made:
    return made.with_bed("2032-swath", v=made.beds["2032-swath"]["v"] / 0.3048)


def _clock(made: Made) -> Made:
    """Have the sounder's clock two hours ahead, unsaid."""
    table = made.beds["2031-soundings"]
    return made.with_bed("2031-soundings", time=table["time"] + 7200.0)


def _walls(east_m: float, north_m: float, up_m: float = 0.0) -> Callable[[Made], Made]:
    return lambda made: made.with_items(
        "2031-walls", lambda xyz: xyz + np.array([east_m, north_m, up_m])
    )


def _bed_shift(made: Made) -> Made:
    return made.with_bed("2031-swath", x=made.beds["2031-swath"]["x"] + 1.5)


def _mark(made: Made) -> Made:
    grid = made.surveys["2032-walls"].local_grid
    points = [point.model_dump() for point in grid.points]
    points[2]["site"] = (points[2]["site"][0] + 0.3, points[2]["site"][1])
    told = made.surveys["2032-walls"].model_dump()
    told["local_grid"] = {"points": points, "control_sd_m": grid.control_sd_m}
    return replace(made, surveys={**made.surveys, "2032-walls": Survey.model_validate(told)})


def _grid_in_feet(made: Made) -> Made:
    grid = made.surveys["2032-walls"].local_grid
    points = [point.model_dump() for point in grid.points]
    for point in points:
        point["local"] = tuple(value / 0.3048 for value in point["local"])
    told = made.surveys["2032-walls"].model_dump()
    told["local_grid"] = {"points": points, "control_sd_m": grid.control_sd_m}
    surveys = {**made.surveys, "2032-walls": Survey.model_validate(told)}
    feet = replace(made, surveys=surveys)
    return feet.with_items("2032-walls", lambda xyz: xyz / [0.3048, 0.3048, 1.0])


def _axes(made: Made) -> Made:
    return made.with_items("2032-walls", lambda xyz: xyz[:, [1, 0, 2]])


def _zone(made: Made) -> Made:
    """Have the swath in the zone beside, as a receiver set by hand would."""
    table = made.beds["2031-swath"]
    beside = Transformer.from_crs(CRS, "EPSG:32626", always_xy=True)
    x, y = beside.transform(table["x"].to_numpy(), table["y"].to_numpy())
    return made.with_bed("2031-swath", x=x, y=y)


def _twice(made: Made) -> Made:
    told = made.surveys["2031-swath"].model_copy(update={"name": "again"})
    table = made.beds["2031-swath"].iloc[::-1].reset_index(drop=True)
    surveys = {**made.surveys, "2032-again": told}
    return replace(made, surveys=surveys, beds={**made.beds, "2032-again": table})


def _inside(made: Made) -> Made:
    told = made.surveys["2031-walls"].model_copy(update={"name": "again"})
    surveys = {**made.surveys, "2032-again": told}
    some = made.items["2031-walls"][3:9]
    return replace(made, surveys=surveys, items={**made.items, "2032-again": some})


def _inside_bed(made: Made) -> Made:
    told = made.surveys["2031-soundings"].model_copy(update={"name": "again"})
    table: pd.DataFrame = made.beds["2031-soundings"].iloc[2000:4000].reset_index(drop=True)
    surveys = {**made.surveys, "2032-again": told}
    return replace(made, surveys=surveys, beds={**made.beds, "2032-again": table})


SLIPS = {
    "day's level 0.2 m": Slip(_day, "2031-soundings day_level_off"),
    "soundings 0.2 m too high": Slip(_level_of_depths, "2031-soundings survey_offset"),
    "pole points 0.15 m too high": Slip(_raise_bed("2031-pole", 0.15), "2031-pole survey_offset"),
    "swath 0.15 m too low": Slip(_raise_bed("2031-swath", -0.15), "2031-swath survey_offset"),
    "tilt 0.1 m over the site": Slip(_tilt, "2031-soundings survey_tilt"),
    "walls 0.15 m off": Slip(_walls(0.09, 0.12), "2032-walls survey_shift"),
    "walls 0.15 m too high": Slip(_walls(0, 0, 0.15), "2032-walls survey_offset"),
    "walls a pole section off": Slip(_walls(0, 0, -0.5), "2032-walls pole_section"),
    "walls 2 m too low": Slip(_walls(0, 0, -2.1), "2031-walls bed_above_walls"),
    "swath 1.5 m displaced": Slip(_bed_shift, "2031-swath survey_shift"),
    "sign of heights": Slip(_flip, "2031-swath wrong_sign"),
    "sign of depths": Slip(_flip_depths, "2031-soundings wrong_sign"),
    "feet": Slip(_feet, "2032-swath feet_for_metres"),
    "an hour 0.25 m off": Slip(_hour, "2031-soundings block_off"),
    "rows 0.25 m off": Slip(_rows, "2031-swath block_off"),
    "clock two hours off": Slip(_clock, "2031-soundings clock_slip"),
    "a mark 0.3 m off": Slip(_mark, "2032-walls mark_misfit"),
    "grid in feet": Slip(_grid_in_feet, "2032-walls scale_of_grid"),
    "axes swapped": Slip(_axes, "2032-walls axes_swapped"),
    "wrong zone": Slip(_zone, "2031-swath wrong_zone"),
    "same survey twice": Slip(_twice, "2032-again same_survey_twice"),
    "walls inside another": Slip(_inside, "2032-again survey_inside_another"),
    "soundings inside another": Slip(_inside_bed, "2032-again survey_inside_another"),
}
