"""What each structure says of the sea level of its time: a limit, a level with its range, or none.

A structure says something through its functional height, the height above the sea at which a
certain part of it stood in use (Morhange & Marriner 2015, Handbook of Sea-Level Research; Vacchi
et al. 2016, Earth-Science Reviews 155:172-197, section 3.3). Floors and graves were only kept dry,
so they bound the level from above (terrestrial limiting) and never give one. Marine limiting
structures bound it from below. Of an index point the config states the least and the greatest
height in use, Ll and Ul; with its height E on the same level RWL = (Ul + Ll) / 2, IR = Ul - Ll,
RSL = E - RWL, sd = sqrt(sd_E^2 + (IR / 2)^2) (Rovere et al. 2016, Earth-Science Reviews
159:404-427).
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline import contract
from wrackline.drawn_marks import is_mark
from wrackline.model import SeaLevelMark, Site
from wrackline.quantities import measured
from wrackline.rooms.features import buildings_of_features
from wrackline.rooms.met_floors import MetFloors
from wrackline.uncertainty import Budget, ErrorModel, level_budget, propagate

TERRESTRIAL, MARINE, INDEX, NONE = "terrestrial limiting", "marine limiting", "index point", "none"
INDICATIONS = {"terrestrial": TERRESTRIAL, "marine": MARINE, "index": INDEX, "none": NONE}

KEPT_DRY = ("floor", "threshold", "hearth", "grave", "paving", "bench", "street")
"""Kinds that people kept above the sea, so terrestrial limiting unless the config says other."""

FLOOR = "floor"
PARTS = {"threshold": "sill of the threshold", "paving": "surface of the paving"}

NOT_STATED = "its functional height isn't stated (sea_level_marks)"
OTHER_ORIGIN = {
    "natural": "it is natural, not built",
    "modern": "it is modern",
    "doubtful": "whether people made it is doubtful",
}
NO_POINTS = "the points that it rests on can't be told"
NO_HEIGHT = "no heights were taken on it"
SAME_M = 0.001


@dataclass(frozen=True)
class Height:
    """Height of a structure's part above the datum, with its causes of error [m].

    `depth_sd_m` is that of its depth, as published: what the height and the level share is out.
    `budget` is None where the points that it rests on can't be told.
    """

    value_m: float
    depth_sd_m: float
    budget: Budget | None


@dataclass(frozen=True)
class Structure:
    """One structure as the tables have it: what it is, where, and the height of one part."""

    number: str
    kind: str
    building: str | None
    room: str | None
    part: str
    origin: str
    evidence: str
    surveys: str
    height: Height | None


def limits(elevation_m: float, sd_m: float, lower_m: float, upper_m: float) -> tuple[float, ...]:
    """Return reference water level, indicative range, sea level and its sd of an index point.

    Parameters
    ----------
    elevation_m, sd_m : float
        Height of the part on today's sea level, and its standard uncertainty [m].
    lower_m, upper_m : float
        Least and greatest height of that part above the sea level of its time [m].

    Examples
    --------
    A part that stood 0.4 to 1.0 m above the sea, now 1.3 m below it: the sea has risen by 2 m.

    >>> [round(figure, 3) for figure in limits(-1.3, 0.04, 0.4, 1.0)]
    [0.7, 0.6, -2.0, 0.303]
    """
    reference, span = (upper_m + lower_m) / 2, upper_m - lower_m
    return reference, span, elevation_m - reference, float(np.hypot(sd_m, span / 2))


def year_text(year: int | None) -> str | None:
    """Return an astronomical year as people write it.

    >>> year_text(350), year_text(1), year_text(0), year_text(-699)
    ('350 CE', '1 CE', '1 BCE', '700 BCE')
    """
    if year is None:
        return None
    return f"{year} CE" if year > 0 else f"{1 - year} BCE"


def sea_level_table(
    plan: Mapping[str, gpd.GeoDataFrame],
    floors: gpd.GeoDataFrame,
    models: Sequence[ErrorModel],
    site: Site,
) -> pd.DataFrame:
    """Return one row a structure: every floor met, then every feature.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The plan's layers `rooms`, `buildings` and `features`.
    floors : GeoDataFrame
        `ITEM_COLUMNS`, PointZ: points at which a floor was met.
    models : sequence of ErrorModel
        Errors of the surveys of features and floors.
    site : Site
        Sea levels, marks and years.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["sea_level"]`.
    """
    structures = [
        *_room_floors(plan["rooms"], MetFloors(floors, models), site),
        *_other_floors(plan["rooms"], floors, models, site),
        *_features(plan, models, site),
    ]
    marks = {mark.kind.casefold(): mark for mark in site.sea_level_marks}
    rows = [_row(structure, marks, site) for structure in structures]
    return pd.DataFrame(rows, columns=list(contract.table_columns("sea_level")), dtype=object)


def _room_floors(rooms: gpd.GeoDataFrame, met: MetFloors, site: Site) -> list[Structure]:
    """Return the floors met in rooms, courts and lanes; never the seabed."""
    found = []
    for _, room in rooms[rooms["floor_depth_m"].notna()].iterrows():
        height = site.depth_level.height_m - float(room["floor_depth_m"])
        points = met.inside(room.geometry)
        value, budget = met.mean(points) if len(points) else (np.nan, None)
        surveys = sorted(set(met.points["survey"].iloc[points]))
        same = abs(value - height) < SAME_M
        found.append(
            Structure(
                number=room["room"],
                kind=FLOOR,
                building=_text(room["building"]),
                room=room["room"],
                part=f"floor, {_text(room['floor_evidence']) or 'met'}",
                origin="built",
                evidence=_text(room["floor_evidence"]) or "",
                surveys=";".join(surveys),
                height=Height(height, float(room["floor_depth_sd_m"]), budget if same else None),
            )
        )
    return found


def _other_floors(
    rooms: gpd.GeoDataFrame, floors: gpd.GeoDataFrame, models: Sequence[ErrorModel], site: Site
) -> list[Structure]:
    """Return floors met in no room, one a point, named after survey and point."""
    shapes = shapely.union_all(rooms.geometry.to_numpy()) if len(rooms) else shapely.Polygon()
    outside = floors[~shapely.intersects(shapes, floors.geometry.to_numpy())]
    return [
        Structure(
            number=f"{point['survey']}/{_text(point['line']) or '#' + str(point['row'])}",
            kind=FLOOR,
            building=None,
            room=None,
            part=f"floor, {_text(point['evidence']) or 'met'}, in no room",
            origin="built",
            evidence=_text(point["evidence"]) or "",
            surveys=point["survey"],
            height=_height_of(point.geometry, point["survey"], models, site),
        )
        for _, point in outside.iterrows()
    ]


def _features(
    plan: Mapping[str, gpd.GeoDataFrame], models: Sequence[ErrorModel], site: Site
) -> list[Structure]:
    found = []
    for feature, building in zip(
        plan["features"].to_dict("records"), buildings_of_features(plan), strict=True
    ):
        kind, room = _text(feature["kind"]) or "unnamed", _text(feature["room"])
        if is_mark(kind):
            continue
        found.append(
            Structure(
                number=feature["feature"],
                kind=kind,
                building=building,
                room=room,
                part=PARTS.get(kind.casefold(), f"top of the {kind}"),
                origin=_text(feature["origin"]) or "",
                evidence="recorded",
                surveys=feature["survey"],
                height=_height_of(feature["geometry"], feature["survey"], models, site),
            )
        )
    return found


def _height_of(
    geometry: shapely.Geometry, survey: str, models: Sequence[ErrorModel], site: Site
) -> Height | None:
    """Return the mean height of a structure's own points; None where none has a height."""
    xyz = shapely.get_coordinates(geometry, include_z=True)
    known = xyz[np.isfinite(xyz[:, 2])]
    if not len(known):
        return None
    gradient = np.zeros_like(known)
    gradient[:, 2] = 1 / len(known)
    index = [model.survey for model in models].index(survey)
    budget = propagate(gradient, known, np.full(len(known), index), models)
    depth_sd = level_budget(site.depth_level, site).minus(budget).sd
    return Height(float(known[:, 2].mean()), depth_sd, budget)


def _text(value: Any) -> str | None:
    return value if isinstance(value, str) and value else None


def _row(structure: Structure, marks: Mapping[str, SeaLevelMark], site: Site) -> dict[str, Any]:
    mark = marks.get(structure.kind.casefold())
    indication, why = indication_of(structure, mark, sorted(marks))
    years, age_basis = _years(structure, mark, site)
    fields = _heights(structure, site) | _meaning(structure, indication, mark, site)
    missing = [why if indication == NONE else "", fields.pop("why")]
    if years == (None, None) and age_basis != why:
        missing.append(f"age_from, age_to: {age_basis}")
    return {
        **dict.fromkeys(contract.table_columns("sea_level")),
        "structure": structure.number,
        "what": structure.kind,
        "building": structure.building,
        "room": structure.room,
        "part_measured": (mark.part if mark else "") or structure.part,
        "indication": indication,
        "relative_to": site.depth_level.name,
        **fields,
        "statement": _statement(indication, why, fields),
        "from_year": years[0],
        "to_year": years[1],
        "age_from": year_text(years[0]),
        "age_to": year_text(years[1]),
        "age_basis": "" if years == (None, None) else age_basis,
        "meaning_basis": _basis(structure, mark),
        "evidence": structure.evidence,
        "surveys": structure.surveys,
        "null_because": "; ".join(filter(None, missing)),
    }


def indication_of(
    structure: Structure, mark: SeaLevelMark | None, kinds: Sequence[str] = ()
) -> tuple[str, str]:
    """Return what a structure may say of the sea level, and why not if it says nothing.

    Parameters
    ----------
    structure : Structure
    mark : SeaLevelMark or None
        What the config says of its kind.
    kinds : sequence of str
        Kinds that the config knows, for a hint where a name is misspelt.
    """
    kind = structure.kind.casefold()
    if structure.origin in OTHER_ORIGIN:
        return NONE, OTHER_ORIGIN[structure.origin]
    if mark is not None and mark.indication == "none":
        return NONE, mark.basis or "the config states that it says nothing"
    if mark is None and kind not in KEPT_DRY:
        near = difflib.get_close_matches(kind, kinds, 1)
        return NONE, NOT_STATED + (f"; the nearest kind there is '{near[0]}'" if near else "")
    if structure.height is None:
        return NONE, NO_HEIGHT
    return (TERRESTRIAL if mark is None else INDICATIONS[mark.indication]), ""


def _heights(structure: Structure, site: Site) -> dict[str, Any]:
    """Return height, elevation on the level of depths, and clearance above today's high water."""
    height, high = structure.height, site.high_water_level
    if height is None:
        return {"why": f"height_m: {NO_HEIGHT}"}
    level = site.depth_level
    fields: dict[str, Any] = {
        "height_m": height.value_m,
        "elevation_m": height.value_m - level.height_m,
        "elevation_sd_m": height.depth_sd_m,
        "why": "",
    }
    if height.budget is None:
        fields["why"] = f"height_sd_m, clearance_above_high_water_sd_m: {NO_POINTS}"
    else:
        fields["height_sd_m"] = height.budget.sd
    if high is None:
        why = "clearance_above_high_water_m: the config names no high_water"
        fields["why"] = "; ".join(filter(None, [fields["why"], why]))
        return fields
    fields["clearance_above_high_water_m"] = height.value_m - high.height_m
    if height.budget is not None:
        clearance = height.budget.minus(level_budget(high, site))
        fields["clearance_above_high_water_sd_m"] = clearance.sd
    return fields


def _meaning(
    structure: Structure, indication: str, mark: SeaLevelMark | None, site: Site
) -> dict[str, Any]:
    """Return the figures of an index point; none for any other."""
    if indication != INDEX or mark is None or structure.height is None:
        return {}
    lower, upper = mark.lower_limit_m, mark.upper_limit_m
    if lower is None or upper is None:
        return {}
    elevation = structure.height.value_m - site.depth_level.height_m
    figures = limits(elevation, structure.height.depth_sd_m, lower, upper)
    names = ("reference_water_level_m", "indicative_range_m", "sea_level_m", "sea_level_sd_m")
    return {
        "lower_limit_m": lower,
        "upper_limit_m": upper,
        **dict(zip(names, figures, strict=True)),
    }


def _statement(indication: str, why: str, fields: Mapping[str, Any]) -> str:
    """Return in words what the structure says; of a limiting point a bound, never a level."""
    words: dict[str, Callable[[], str]] = {
        NONE: lambda: f"not used: {why}",
        TERRESTRIAL: lambda: f"sea level at or below {_figure(fields, 'elevation')}",
        MARINE: lambda: f"sea level at or above {_figure(fields, 'elevation')}",
        INDEX: lambda: f"sea level at {_figure(fields, 'sea_level')}",
    }
    return words[indication]()


def _figure(fields: Mapping[str, Any], name: str) -> str:
    return measured(fields[f"{name}_m"], fields[f"{name}_sd_m"], "m")


def _years(
    structure: Structure, mark: SeaLevelMark | None, site: Site
) -> tuple[tuple[int | None, int | None], str]:
    """Return first and last year and what they rest on: the kind's own, else the settlement's.

    Without years, why there are none.
    """
    if structure.origin in OTHER_ORIGIN:
        return (None, None), OTHER_ORIGIN[structure.origin]
    if mark is not None and mark.from_year is not None:
        return (mark.from_year, mark.to_year), mark.basis
    if site.occupied is not None:
        return (site.occupied.from_year, site.occupied.to_year), site.occupied.basis
    return (None, None), "the config states no years (occupied)"


def _basis(structure: Structure, mark: SeaLevelMark | None) -> str:
    if mark is not None:
        return mark.basis
    return "kept above the sea while in use" if structure.kind.casefold() in KEPT_DRY else ""
