"""The report's part on buildings and rooms: for each room where its figures come from."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import groupby
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from wrackline.accuracy.markup import Markup, el, join
from wrackline.publish.report_access import way_in, ways_through
from wrackline.publish.report_building import building_key, building_plan
from wrackline.publish.report_text import (
    absent,
    counted,
    dated,
    deep,
    pairs,
    percent,
    plain,
    ranges,
    reasons,
    records,
    shown,
    spaced,
    supported,
    to,
)
from wrackline.quantities import MISSING, fixed, measured, rounded
from wrackline.uncertainty import Budget

BESIDE_FACE_M, BESIDE_CENTRE_M = 0.15, 0.5
"""How far from a room's outline its own closings may run, by what its walls were traced along."""

COVERAGE = 1.96
LEAST_SHARE = 0.05
"""Causes of less than this share of a variance are not named."""

INFERENCE = {
    "joint": "an end carried on to its neighbour",
    "corner": "two ends carried on to where they meet",
    "extension": "a wall carried on to the next",
    "foot": "an end led to the wall beside it",
    "doorway": "a gap closed as a possible doorway",
    "lost": "a wider gap closed as a lost stretch of wall",
    "drawn": "drawn by the team's decision",
}
OUTSIDE = "outside"
PAGES = "buildings.html"
Record = Mapping[str, Any]


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
    deposit : DataFrame
        Points at which a floor was met; may have no row.
    beds : DataFrame
        The seabed in each room, in the order of the rooms, as `wrackline.rooms.bed.Bed.inside`
        gives it.
    access : DataFrame
        The table of how rooms were reached; may have no row.
    """

    plan: Mapping[str, gpd.GeoDataFrame]
    surveys: pd.DataFrame
    adjacency: pd.DataFrame
    interpretations: pd.DataFrame = field(default_factory=pd.DataFrame)
    deposit: pd.DataFrame = field(default_factory=pd.DataFrame)
    beds: pd.DataFrame = field(default_factory=pd.DataFrame)
    access: pd.DataFrame = field(default_factory=pd.DataFrame)

    @cached_property
    def numbers(self) -> frozenset[str]:
        """Numbers of rooms and buildings: what a link can lead to."""
        return frozenset([*self.plan["rooms"]["room"], *self.plan["buildings"]["building"]])

    @cached_property
    def closings(self) -> gpd.GeoDataFrame:
        """Inferred wall lines."""
        walls = self.plan["wall_lines"]
        return walls[walls["evidence"] == "inferred"]

    @cached_property
    def _survey(self) -> dict[str, Record]:
        return {row["survey"]: row for row in records(self.surveys)}

    @cached_property
    def _bed(self) -> dict[str, Record]:
        return dict(zip(self.plan["rooms"]["room"], records(self.beds), strict=False))

    @cached_property
    def _follows(self) -> dict[str, str]:
        """What each survey line follows: face, centre or edge, by its name."""
        walls = self.plan["wall_lines"]
        kept = walls[walls["line_follows"].notna()]
        return dict(zip(kept["lines"], kept["line_follows"], strict=True))

    @cached_property
    def _beside(self) -> dict[str, list[Record]]:
        """Wall lines that are inferred or of an old plan alone, by the room that they bound."""
        walls = self.plan["wall_lines"]
        weak = walls[walls["evidence"] != "recorded"]
        lines = weak.geometry.to_numpy()
        middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
        tree, rows = shapely.STRtree(middles), records(weak)
        rooms = self.plan["rooms"]
        found = {}
        columns = (rooms["room"], rooms["lines"], rooms.geometry)
        for room, names, outline in zip(*columns, strict=True):
            ring = shapely.boundary(outline)
            near = tree.query(ring, predicate="dwithin", distance=self._reach(names))
            found[room] = [rows[k] for k in sorted(near.tolist())]
        return found

    def _reach(self, lines: object) -> float:
        """Return how far from a room's outline its own wall lines run [m]."""
        centre = any(self._follows.get(line) == "centre" for line in str(lines).split(";"))
        return BESIDE_CENTRE_M if centre else BESIDE_FACE_M

    @cached_property
    def _openings(self) -> dict[str, list[Record]]:
        """Openings, by each room that they join."""
        found = defaultdict(list)
        for row in records(self.plan["openings"]):
            for room in dict.fromkeys(str(row["joins"]).split(";")):
                found[room].append(row)
        return found

    @cached_property
    def _shared(self) -> dict[str, list[tuple[str, float]]]:
        """Neighbours through a shared wall and its length [m], by room."""
        found = defaultdict(list)
        for row in records(self.adjacency):
            length = row["shared_wall_length_m"]
            if not absent(length):
                found[row["room_a"]].append((row["room_b"], float(length)))
                found[row["room_b"]].append((row["room_a"], float(length)))
        return found

    def _of(self, table: pd.DataFrame, column: str) -> dict[str, list[Record]]:
        """Return a table's rows by what one of its columns says."""
        found = defaultdict(list)
        for row in records(table):
            found[row[column]].append(row)
        return found

    @cached_property
    def _features(self) -> dict[str, list[Record]]:
        return self._of(self.plan["features"], "room")

    @cached_property
    def _read(self) -> dict[str, list[Record]]:
        return self._of(self.interpretations, "number")

    @cached_property
    def _access(self) -> dict[str, list[Record]]:
        return self._of(self.access, "building")

    @cached_property
    def _reached(self) -> dict[str, Record]:
        return {row["room"]: row for row in records(self.access)}

    @cached_property
    def _floors(self) -> dict[str, list[Record]]:
        return self._of(self.deposit, "room")

    def html(self) -> Markup:
        """Return a section for each building, then the spaces that belong to none."""
        rooms = defaultdict(list)
        for row in records(self.plan["rooms"]):
            rooms[row["building"]].append(row)
        buildings = records(self.plan["buildings"])
        parts = [self._index(buildings)] if buildings else []
        parts += [self._building(row, rooms.pop(row["building"], [])) for row in buildings]
        lone = [row for rows in rooms.values() for row in rows]
        if lone:
            top = el("h3", "Spaces that belong to no building")
            parts.append(el("section", top, self._cards(lone)))
        if not parts:
            parts = [el("p", "No enclosed space was found: no room and no building is on record.")]
        return join(parts)

    def _index(self, buildings: Sequence[Record]) -> Markup:
        links = (to(row["building"], self.numbers) for row in buildings)
        listed = el("p", "Buildings: ", join(links, " "), class_="index")
        return join([listed, el("p", "Lines and discs in the plans of buildings:"), building_key()])

    def _building(self, row: Record, rooms: Sequence[Record]) -> Markup:
        number = row["building"]
        sheet = el("a", f"its page in {PAGES}", href=f"{PAGES}#{number}")
        below = el(
            "figcaption", "Discs are openings: black seen, white possible. To print: ", sheet
        )
        figure = el("figure", building_plan(self.plan, number), below)
        top = el("h3", f"Building {number}", id=number)
        both = el("div", figure, pairs(self.building_facts(row)), class_="two")
        return el("section", top, both, self._cards(rooms))

    def building_facts(self, row: Record) -> list[tuple[str, object]]:
        """Return what is known of one building, each fact with its name."""
        number = row["building"]
        return [
            ("rooms", f"{row['room_count']}, courts left out"),
            ("footprint", shown(row, "footprint_m2", ", to the outer lines recorded")),
            ("axis", shown(row, "axis_deg", " from true north, right angles taken as the same")),
            ("walls", self._thickness(number)),
            ("wall tops", deep(row, "top_depth_m")),
            ("seabed", deep(row, "bed_depth_m")),
            ("floors met", deep(row, "floor_depth_m")),
            ("support", supported(row["support"])),
            ("ways through", ways_through(self._access.get(number, []))),
            ("read as", self._readings(number)),
            ("measured by", self._named(row["surveys"])),
            ("on the plan", _seasons(row)),
            ("empty because", reasons(row["null_because"])),
        ]

    def _cards(self, rooms: Iterable[Record]) -> Markup:
        return el("div", *(self.card(row) for row in rooms), class_="cards")

    @cached_property
    def _bodies(self) -> dict[str, list[tuple[float, float]]]:
        """Thicknesses of wall bodies with their sds [m], by building."""
        bodies, buildings = self.plan["wall_bodies"], self.plan["buildings"]
        tree = shapely.STRtree(bodies.geometry.to_numpy())
        found: dict[str, list[tuple[float, float]]] = {}
        known = list(zip(bodies["thickness_m"], bodies["thickness_sd_m"], strict=True))
        for number, shape in zip(buildings["building"], buildings.geometry, strict=True):
            near = sorted(tree.query(shape, predicate="intersects").tolist())
            found[number] = [known[k] for k in near if not absent(known[k][0])]
        return found

    def _thickness(self, building: str) -> str:
        found = sorted(self._bodies[building])
        if not found:
            return "no thickness is known"
        least, most = (measured(*one, "m") for one in (found[0], found[-1]))
        if len(found) == 1:
            return f"{least} thick, the mean of all that hang together"
        return f"{least} to {most} thick, {len(found)} stretches"

    def card(self, row: Record) -> Markup:
        """Return what is known of one room, and how."""
        number = row["room"]
        head = el("h4", number, el("small", f" {row['kind']}, as suggested by size and shape"))
        return el("article", head, pairs(self.room_facts(row)), id=number)

    def room_facts(self, row: Record) -> list[tuple[str, object]]:
        """Return what is known of one room, each fact with its name."""
        number = row["room"]
        return [
            ("floor area", _area(row)),
            ("to wall centres", plain(row, "centre_area_m2")),
            ("long axis", shown(row, "axis_deg", " from true north")),
            ("seabed", self._seabed(row)),
            ("sd of its height", _causes(self._bed.get(number, {}).get("budget"))),
            ("floor", self._floor(row)),
            ("deposit", self._deposit(number)),
            ("outline", self._outline(row)),
            ("support", supported(row["support"])),
            ("openings", self._leading(number)),
            ("way in", way_in(self._reached.get(number, {}))),
            ("walls shared", self._neighbours(number)),
            ("features", self._inside(number)),
            ("read as", self._readings(number)),
            ("measured by", self._named(row["surveys"])),
            ("survey lines", ranges(row["lines"])),
            ("on the plan", _seasons(row)),
            ("empty because", reasons(row["null_because"])),
        ]

    def _seabed(self, row: Record) -> object:
        if absent(row["bed_depth_m"]):
            return "no depth is known"
        least, most = row["bed_depth_min_m"], row["bed_depth_max_m"]
        words = (
            f"{deep(row, 'bed_depth_m')}, the median; {fixed(least, 2)} to "
            f"{fixed(most, 2)} m; {percent(row['bed_covered_share'])} of the floor covered"
        )
        bed = self._bed.get(row["room"])
        if bed is None or not bed["cells"]:
            return join([f"{words}; surveyed ", dated(*_ends(row["bed_date"]))])
        filled = f"{percent(bed['filled_share'])} of it filled between soundings"
        known = filled if bed["filled_share"] > 0 else "all of it measured"
        return join([f"{words}, {known}; from ", self._named(";".join(bed["surveys"]))])

    def _floor(self, row: Record) -> object:
        if absent(row["floor_depth_m"]):
            return "none was met"
        words = f"{deep(row, 'floor_depth_m')}, met by: {spaced(row['floor_evidence'])}"
        points = self._floors.get(row["room"], [])
        if not points:
            return words
        named = [f"{one['survey']}/{one['line']}" for one in points if not absent(one["line"])]
        lines = f": {ranges(';'.join(named))}" if named else ""
        names = ";".join(sorted({one["survey"] for one in points}))
        return join([words, f"; {counted(len(points), 'point')}{lines}; from ", self._named(names)])

    def _deposit(self, room: str) -> str:
        points = [one for one in self._floors.get(room, []) if not absent(one["deposit_m"])]
        if not points:
            return ""
        thick = sorted((float(one["deposit_m"]), float(one["deposit_sd_m"])) for one in points)
        least, most = (measured(*one, "m") for one in (thick[0], thick[-1]))
        if len(points) == 1:
            return f"{least} over the floor, at 1 point"
        return f"{least} to {most} over the floor, at {len(points)} points"

    def _outline(self, row: Record) -> object:
        weak = self._beside.get(row["room"], [])
        closings = [line for line in weak if line["evidence"] == "inferred"]
        old = [line["length_m"] for line in weak if line["evidence"] == "old plan"]
        known = f"{percent(row['recorded_share'])} of it recorded"
        if old:
            known += f", {fixed(sum(old), 1)} m of it on an old plan alone"
        if not closings:
            return f"{known}; nothing inferred"
        return join([f"{known}. Inferred: ", _items(inferences(closings))])

    def _leading(self, room: str) -> object:
        return _items(
            join(
                [
                    f"{row['opening']}, {shown(row, 'width_m')} wide, {row['evidence']}, to ",
                    join([to(n, self.numbers) for n in _other(row, room)] or [OUTSIDE], " and "),
                ]
            )
            for row in self._openings.get(room, [])
        )

    def _neighbours(self, room: str) -> object:
        found = [
            join([to(other, self.numbers), f" ({fixed(length, 1)} m)"])
            for other, length in self._shared.get(room, [])
        ]
        return join(found, ", ") if found else ""

    def _inside(self, room: str) -> object:
        return _items(
            f"{row['kind']} {row['feature']}, {row['origin']}, top {deep(row, 'top_depth_m')}"
            + ("" if absent(row["note"]) else f": {row['note']}")
            for row in self._features.get(room, [])
        )

    def _readings(self, number: str) -> object:
        return _items(
            f"{row['reading']} ({row['certainty']}; {row['who']}, {row['when']}; {row['status']})"
            for row in self._read.get(number, [])
        )

    def _named(self, names: object) -> Markup:
        """Return surveys with technique and dates, each a way to what is said of it."""
        found = [name for name in str(names).split(";") if name in self._survey]
        return _items(self._name(self._survey[name]) for name in found) or Markup("")

    def _name(self, row: Record) -> Markup:
        link = el("a", row["survey"], href=f"#survey-{row['survey']}")
        return join([link, f": {row['technique']}, ", dated(row["from_date"], row["to_date"])])


def inferences(closings: Iterable[Record]) -> list[str]:
    """Return closings by kind: how many, which gaps, how long together.

    Examples
    --------
    >>> gaps = [{"closing": "doorway", "gap_m": gap, "length_m": gap} for gap in (0.91, 1.0)]
    >>> inferences(gaps)
    ['2 × a gap closed as a possible doorway (gaps 0.91 to 1.00 m, 1.91 m of line)']
    """
    rows = sorted(closings, key=lambda line: (line["closing"], line["gap_m"]))
    parts = []
    for kind, group in groupby(rows, key=lambda line: str(line["closing"])):
        part = list(group)
        least, most = fixed(part[0]["gap_m"], 2), fixed(part[-1]["gap_m"], 2)
        gaps = f"gap {least}" if least == most else f"gaps {least} to {most}"
        long = fixed(sum(line["length_m"] for line in part), 2)
        what = INFERENCE.get(kind, kind)
        parts.append(f"{len(part)} × {what} ({gaps} m, {long} m of line)")
    return parts


def _items(parts: Iterable[object]) -> Any:
    """Return parts as a list, one alone as it is, none as nothing."""
    found = list(parts)
    if len(found) < 2:
        return join(found) if found else ""
    return el("ul", *(el("li", part) for part in found))


def _area(row: Record) -> str:
    value, sd = row["floor_area_m2"], row["floor_area_sd_m2"]
    if absent(value):
        return MISSING
    low, high = (rounded(value + way * COVERAGE * sd, sd)[0] for way in (-1, 1))
    return f"{measured(value, sd, 'm2')}; 95 % between {low} and {high} m²"


def _causes(budget: Any) -> str:
    """Return which causes make up an uncertainty of height, the greatest first."""
    if not isinstance(budget, Budget) or not budget.sd > 0:
        return ""
    causes = [("random errors", budget.random), ("patchy errors", budget.patchy)]
    for name, parts in groupby(sorted(budget.named), key=lambda part: part.split(":")[0]):
        effect = sum(budget.named[part] ** 2 for part in parts) ** 0.5
        causes.append((f"named source {name}", effect))
    told = [(size, name) for name, size in causes if size**2 >= LEAST_SHARE * budget.sd**2]
    ordered = sorted(told, key=lambda cause: (-cause[0], cause[1]))
    return ", ".join(f"{name} {fixed(size, 3)} m" for size, name in ordered)


def _other(row: Record, room: str) -> list[str]:
    return [number for number in str(row["joins"]).split(";") if number not in (room, OUTSIDE)]


def _ends(text: object) -> tuple[str, str]:
    first, _, last = str(text).partition("/")
    return first, last or first


def _seasons(row: Record) -> str:
    first, last = row["first_season"], row["last_season"]
    if absent(first) or absent(last):
        return ""
    return f"season {first}" if first == last else f"since season {first}, last shown by {last}"
