"""The report's part on buildings and rooms: for each room where its figures come from."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from wrackline.accuracy.markup import Markup, el, join, table
from wrackline.publish.report_plan import building_plan
from wrackline.quantities import MISSING, fixed, measured

BESIDE_FACE_M, BESIDE_CENTRE_M = 0.15, 0.5
"""How far from a room's outline its own closings may run, by what its walls were traced along."""

COVERAGE = 1.96
INFERENCE = {
    "joint": "an end carried on to its neighbour",
    "corner": "two ends carried on to where they meet",
    "extension": "a wall carried on to the next",
    "foot": "an end led to the wall beside it",
    "doorway": "a gap closed as a possible doorway",
    "lost": "a wider gap closed as a lost stretch of wall",
}
WHY_COMMON = ("support:", "phase_from, phase_to:")
"""Reasons that hold for every row, told once."""


@dataclass(frozen=True)
class Houses:
    """What the report says of buildings and rooms, from the products themselves.

    Attributes
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan, layers of `PLAN_LAYERS`.
    surveys : DataFrame
        The layer `surveys`.
    adjacency : DataFrame
        The table of rooms that share walls, numbers and texts.
    interpretations : DataFrame
        What people read the things as; may have no row.
    """

    plan: Mapping[str, gpd.GeoDataFrame]
    surveys: pd.DataFrame
    adjacency: pd.DataFrame
    interpretations: pd.DataFrame = field(default_factory=pd.DataFrame)

    @cached_property
    def closings(self) -> gpd.GeoDataFrame:
        """Inferred wall lines."""
        walls = self.plan["wall_lines"]
        return walls[walls["evidence"] == "inferred"]

    @cached_property
    def follows(self) -> dict[str, str]:
        """What each survey line follows: face, centre or edge, by its name."""
        walls = self.plan["wall_lines"]
        kept = walls[walls["line_follows"].notna()]
        return dict(zip(kept["lines"], kept["line_follows"], strict=True))

    def inferred_around(self, room: Any) -> gpd.GeoDataFrame:
        """Return the closings that run along a room's outline."""
        lines = str(room["lines"]).split(";")
        centre = any(self.follows.get(line) == "centre" for line in lines)
        near = BESIDE_CENTRE_M if centre else BESIDE_FACE_M
        middle = shapely.line_interpolate_point(
            self.closings.geometry.to_numpy(), 0.5, normalized=True
        )
        outline = shapely.boundary(room.geometry)
        shapely.prepare(outline)
        return self.closings[shapely.dwithin(middle, outline, near)]

    def html(self) -> Markup:
        """Return a section for each building, then the spaces that belong to none."""
        rooms = self.plan["rooms"]
        parts = [self._building(row) for _, row in self.plan["buildings"].iterrows()]
        known = self.plan["buildings"]["building"]
        lone = rooms[~rooms["building"].isin(known)]
        if len(lone):
            cards = [self.card(row) for _, row in lone.iterrows()]
            parts.append(el("section", el("h3", "Spaces that belong to no building"), *cards))
        if not parts:
            parts = [el("p", "No enclosed space was found: no room and no building is on record.")]
        return join(parts)

    def _building(self, row: Any) -> Markup:
        number = row["building"]
        rooms = self.plan["rooms"]
        mine = rooms[rooms["building"] == number]
        facts = [
            ("rooms", str(row["room_count"])),
            ("footprint", shown(row, "footprint_m2")),
            ("axis", f"{shown(row, 'axis_deg')} (right angles taken as the same)"),
            ("wall tops", shown(row, "top_depth_m", " deep")),
            ("seabed", shown(row, "bed_depth_m", " deep")),
            ("floors met", shown(row, "floor_depth_m", " deep")),
            ("surveys", spaced(row["surveys"])),
            ("empty because", reasons(row["null_because"])),
        ]
        figure = el("figure", building_plan(self.plan, number))
        top = el("h3", f"Building {number}", id=number)
        cards = [self.card(one) for _, one in mine.iterrows()]
        return el("section", top, el("div", figure, pairs(facts), class_="two"), *cards)

    def card(self, row: Any) -> Markup:
        """Return what is known of one room, and how."""
        number = row["room"]
        head = el("h4", number, el("small", f" {row['kind']}, as suggested by size and shape"))
        facts = [
            ("floor area", self._area(row)),
            ("to wall centres", plain(row, "centre_area_m2")),
            ("long axis", shown(row, "axis_deg", " from true north")),
            ("seabed", self._bed(row)),
            ("floor", self._floor(row)),
            ("outline", self._outline(row)),
            ("openings", self._openings(number)),
            ("walls shared", self._neighbours(number)),
            ("features", self._features(number)),
            ("read as", self._readings(number)),
            ("measured by", self._surveys(row)),
            ("survey lines", ranges(row["lines"])),
            ("empty because", reasons(row["null_because"])),
        ]
        return el("article", head, pairs(facts), id=number)

    def _area(self, row: Any) -> str:
        value, sd = row["floor_area_m2"], row["floor_area_sd_m2"]
        if pd.isna(value):
            return MISSING
        low, high = (fixed(value + way * COVERAGE * sd, 1) for way in (-1, 1))
        return f"{measured(value, sd, 'm2')}; 95 % between {low} and {high} m²"

    def _bed(self, row: Any) -> str:
        if pd.isna(row["bed_depth_m"]):
            return MISSING
        span = f"{fixed(row['bed_depth_min_m'], 2)} to {fixed(row['bed_depth_max_m'], 2)} m"
        share = fixed(100 * row["bed_covered_share"], 0)
        return (
            f"{shown(row, 'bed_depth_m')} deep in the middle of its range, {span}; "
            f"surveyed {str(row['bed_date']).replace('/', ' to ')}, {share} % of the floor covered"
        )

    def _floor(self, row: Any) -> str:
        if pd.isna(row["floor_depth_m"]):
            return "none was met"
        return f"{shown(row, 'floor_depth_m')} deep, met by: {spaced(row['floor_evidence'])}"

    def _outline(self, row: Any) -> str:
        share = fixed(100 * row["recorded_share"], 0)
        closings = self.inferred_around(row)
        if not len(closings):
            return f"{share} % of it recorded; nothing inferred"
        parts = [
            f"{len(part)} × {INFERENCE.get(kind, kind)} ({fixed(part['gap_m'].sum(), 2)} m)"
            for kind, part in closings.groupby("closing", sort=True)
        ]
        return f"{share} % of it recorded. Inferred: {'; '.join(parts)}"

    def _openings(self, room: str) -> str:
        openings = self.plan["openings"]
        mine = openings[[room in str(text).split(";") for text in openings["joins"]]]
        return "; ".join(
            f"{row['opening']}, {shown(row, 'width_m')} wide, {row['evidence']}, "
            f"to {' and '.join(n for n in str(row['joins']).split(';') if n != room) or 'outside'}"
            for _, row in mine.iterrows()
        )

    def _neighbours(self, room: str) -> str:
        rows = self.adjacency
        if not len(rows):
            return ""
        mine = rows[(rows["room_a"] == room) | (rows["room_b"] == room)]
        found = [
            f"{row['room_b'] if row['room_a'] == room else row['room_a']} "
            f"({fixed(float(row['shared_wall_length_m']), 1)} m)"
            for _, row in mine.iterrows()
            if pd.notna(row["shared_wall_length_m"])
        ]
        return ", ".join(found)

    def _features(self, room: str) -> str:
        mine = self.plan["features"][self.plan["features"]["room"] == room]
        return "; ".join(
            f"{row['kind']} {row['feature']}, {row['origin']}, top {shown(row, 'top_depth_m')} deep"
            for _, row in mine.iterrows()
        )

    def _readings(self, room: str) -> str:
        if not len(self.interpretations):
            return ""
        mine = self.interpretations[self.interpretations["number"] == room]
        return "; ".join(
            f"{row['reading']} ({row['who']}, {row['when']}, {row['certainty']}, {row['status']})"
            for _, row in mine.iterrows()
        )

    def _surveys(self, row: Any) -> str:
        names = str(row["surveys"]).split(";")
        mine = self.surveys[self.surveys["survey"].isin(names)]
        return "; ".join(
            f"{one['survey']}: {one['technique']}, {one['from_date']} to {one['to_date']}"
            for _, one in mine.iterrows()
        )


def shown(row: Any, name: str, after: str = "") -> str:
    """Return a field with its standard uncertainty as people read it.

    Parameters
    ----------
    row : mapping
    name : str
        Field; its partner has ``_sd`` before the unit.
    after : str
        Words behind a figure that is there.
    """
    stem, unit = name.rsplit("_", 1)
    text = measured(row[name], row[f"{stem}_sd_{unit}"], unit)
    return text if text == MISSING else text + after


def plain(row: Any, name: str) -> str:
    """Return a field that states no uncertainty, to three digits."""
    value = row[name]
    if pd.isna(value):
        return MISSING
    digits = max(0, 2 - int(np.floor(np.log10(max(abs(value), 1e-6)))))
    return f"{fixed(value, digits)} m² (no sd stated)"


def spaced(text: object) -> str:
    """Return a list field as people read it.

    >>> spaced("2031-walls;2032-day")
    '2031-walls, 2032-day'
    """
    return ", ".join(str(text).split(";"))


def reasons(text: object) -> str:
    """Return why fields of a row are empty, without what holds for every row.

    >>> reasons("floor_depth_m: no floor met; support: not computed yet")
    'floor_depth_m: no floor met'
    """
    if not isinstance(text, str):
        return ""
    parts = [part for part in text.split("; ") if not part.startswith(WHY_COMMON)]
    return "; ".join(parts)


def ranges(text: object) -> str:
    """Return survey lines with runs of numbers drawn together.

    >>> ranges("2031-walls/W001;2031-walls/W002;2031-walls/W003;2032-day/F7")
    '2031-walls W001–W003; 2032-day F7'
    """
    if not isinstance(text, str) or not text:
        return ""
    named = sorted(part.partition("/")[::2] for part in text.split(";"))
    shown_parts = []
    for survey, lines in groupby(named, key=lambda pair: pair[0]):
        shown_parts.append(f"{survey} {', '.join(_runs([line for _, line in lines]))}")
    return "; ".join(shown_parts)


def _runs(lines: Sequence[str]) -> list[str]:
    """Return names of lines, those whose numbers follow each other as one."""
    split = [re.fullmatch(r"(.*?)(\d+)", line) for line in lines]
    keys = [(m.group(1), int(m.group(2)) - k) if m else k for k, m in enumerate(split)]
    runs = []
    for _, part in groupby(zip(keys, lines, strict=True), key=lambda pair: pair[0]):
        names = [line for _, line in part]
        runs.append(names[0] if len(names) == 1 else f"{names[0]}–{names[-1]}")
    return runs


def pairs(facts: Sequence[tuple[str, object]]) -> Markup:
    """Return names and what is said of them; empty ones are left out."""
    there = [(name, value) for name, value in facts if value not in ("", None)]
    return el("dl", *(join([el("dt", name), el("dd", value)]) for name, value in there))


def room_table(rooms: gpd.GeoDataFrame) -> Markup:
    """Return all rooms as one table, a row each."""
    head = ["room", "building", "kind", "floor area", "long axis", "seabed", "floor", "recorded"]
    rows = [
        [
            el("a", row["room"], href=f"#{row['room']}"),
            row["building"] if isinstance(row["building"], str) else MISSING,
            row["kind"],
            shown(row, "floor_area_m2"),
            shown(row, "axis_deg"),
            shown(row, "bed_depth_m"),
            shown(row, "floor_depth_m"),
            f"{fixed(100 * row['recorded_share'], 0)} %",
        ]
        for _, row in rooms.iterrows()
    ]
    return table(head, rows, caption="Rooms, courts and lanes; depths positive down")


def building_table(buildings: gpd.GeoDataFrame) -> Markup:
    """Return all buildings as one table, a row each."""
    head = ["building", "rooms", "footprint", "axis", "wall tops", "seabed", "floors met"]
    fields = ("footprint_m2", "axis_deg", "top_depth_m", "bed_depth_m", "floor_depth_m")
    rows = [
        [
            el("a", row["building"], href=f"#{row['building']}"),
            int(row["room_count"]),
            *(shown(row, name) for name in fields),
        ]
        for _, row in buildings.iterrows()
    ]
    return table(head, rows, caption="Buildings; depths positive down")
