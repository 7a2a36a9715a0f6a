"""What the plan viewer tells of a thing: facts as texts, history, readings, survey lines.

Rooms and buildings say what the report says of them, word for word.
"""

from __future__ import annotations

import html
import re
from collections import defaultdict
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd

from wrackline.accuracy.markup import Markup, plain
from wrackline.publish.report_rooms import INFERENCE, Houses
from wrackline.publish.report_text import (
    FIELD_WORDS,
    WHY_COMMON,
    absent,
    deep,
    percent,
    ranges,
    records,
    shown,
    spaced,
    supported,
)
from wrackline.publish.viewer.words import FACTS
from wrackline.quantities import MISSING, SIGNS, fixed, measured

Record = Mapping[str, Any]
Facts = list[tuple[str, str]]

TOLD_APART = frozenset({"read as", "measured by", "survey lines", "on the plan"})
"""Facts of the report that the viewer tells in parts of their own, with more."""
NO_SD = " (no sd stated)"
NO_SD_DIGITS = {"m": 2, "deg": 0, "m2": 1}
FIELDS = FIELD_WORDS | {
    "axis_sd_deg": "sd of the axis",
    "base_depth_m": "base",
    "top_depth_m": "top",
    "top_depth_sd_m": "sd of the top",
    "thickness_m": "thickness",
    "width_m": "width",
    "length_m": "length",
    "phase_from": "first phase",
    "phase_to": "last phase",
}
PASSED_ON = ("split", "merged", "redrawn", "renumbered")


@dataclass(frozen=True)
class Told:
    """What facts are drawn from.

    Attributes
    ----------
    houses : Houses
        Plan, surveys, readings and tables about rooms.
    events : sequence of mapping
        Events of all seasons in order, `wrackline.seasons.events.EVENT_COLUMNS`.
    condition : DataFrame
        The layer `wall_condition`; may have no row.
    """

    houses: Houses
    events: Iterable[Record] = ()
    condition: pd.DataFrame = field(default_factory=pd.DataFrame)

    def facts(self, kind: str) -> Callable[[Record], Facts]:
        """Return what tells the facts of a row of one kind of things."""
        return {
            "rooms": lambda row: [*_room(row), *as_texts(self.houses.room_facts(row))],
            "buildings": lambda row: as_texts(self.houses.building_facts(row)),
            "walls": self._wall,
            "openings": _opening,
            "features": _feature,
            "trenches": _trench,
            "spots": _spot,
            "changes": _change,
        }[kind]

    def history(self, what: str, number: str) -> str:
        """Return a thing's events, a line each: those of its number, and of what came of it."""
        return "\n".join(self._history.get((what, number), []))

    def readings(self, number: str) -> str:
        """Return what people read a thing as and on what grounds, a line each."""
        return "\n".join(_reading(row) for row in self._readings.get(number, []))

    @cached_property
    def _history(self) -> dict[tuple[str, str], list[str]]:
        found: dict[tuple[str, str], list[str]] = defaultdict(list)
        for event in self.events:
            names = [event["number"], *_split(event["parents"]), *_split(event["children"])]
            for name in dict.fromkeys(map(str, names)):
                found[str(event["what"]), name].append(_happened(event))
        return found

    @cached_property
    def _readings(self) -> dict[str, list[Record]]:
        found = defaultdict(list)
        for row in records(self.houses.interpretations):
            found[str(row["number"])].append(row)
        return found

    @cached_property
    def _thickness(self) -> dict[str, str]:
        """Thickness of the bodies that each wall line bounds."""
        found: dict[str, list[str]] = defaultdict(list)
        for row in records(self.houses.plan["wall_bodies"]):
            if not absent(row["thickness_m"]):
                for wall in _split(row["wall"]):
                    found[wall].append(shown(row, "thickness_m"))
        return {wall: ", ".join(dict.fromkeys(texts)) for wall, texts in found.items()}

    @cached_property
    def _conditions(self) -> dict[str, str]:
        """What became of each wall: lengths by the last word on them, and its season."""
        lengths: dict[str, dict[tuple[str, str], float]] = defaultdict(lambda: defaultdict(float))
        for row in records(self.condition):
            known = "" if absent(row["known_in"]) else str(row["known_in"])
            lengths[str(row["wall"])][str(row["last_known"]), known] += float(row["length_m"])
        return {wall: _stretches(parts) for wall, parts in lengths.items()}

    def _wall(self, row: Record) -> Facts:
        number = str(row["wall"])
        return _named(
            evidence=_evidence(row),
            support=supported(row["support"]),
            line=_followed(row),
            length=stated(row, "length_m", " on the ground"),
            axis=stated(row, "axis_deg", " from true north"),
            top=deep(row, "top_depth_m"),
            base=deep(row, "base_depth_m"),
            thickness=self._thickness.get(number, ""),
            condition=self._conditions.get(number, ""),
            phases=_phases(row),
            empty=why_empty(row["null_because"]),
        )


def as_texts(facts: Iterable[tuple[str, object]]) -> Facts:
    """Return facts of the report as plain texts, those left out that the viewer tells elsewhere."""
    told = [(name, as_text(value)) for name, value in facts if name not in TOLD_APART]
    return [(name, text) for name, text in told if text]


def as_text(value: object) -> str:
    r"""Return markup of ours as plain text, each item of a list on a line of its own.

    Examples
    --------
    >>> from wrackline.accuracy.markup import el
    >>> as_text(el("ul", el("li", "a < b"), el("li", "c"))), as_text("a < b")
    ('a < b\nc', 'a < b')
    """
    if value is None:
        return ""
    if not isinstance(value, Markup):
        return plain(value)
    lines = re.sub(r"<li[^>]*>", "\n", value)
    return html.unescape(re.sub(r"<[^>]*>", "", lines)).strip()


def stated(row: Record, name: str, after: str = "") -> str:
    """Return a figure with its sd, or with as many digits as a figure without one deserves.

    Examples
    --------
    >>> stated({"length_m": 3.14159}, "length_m"), stated({"length_m": None}, "length_m")
    ('3.14 m (no sd stated)', '–')
    """
    stem, unit = name.rsplit("_", 1)
    sd = row.get(f"{stem}_sd_{unit}")
    if absent(row[name]):
        return MISSING
    if not absent(sd):
        return shown(row, name, after)
    sign = SIGNS.get(unit, unit)
    gap = "" if sign == "°" else " "
    return f"{fixed(float(row[name]), NO_SD_DIGITS.get(unit, 2))}{gap}{sign}{after}{NO_SD}"


def why_empty(text: object) -> str:
    """Return why fields are empty, fields called by what people call them.

    Examples
    --------
    >>> why_empty("base_depth_m: traced at the top; support: recorded, so no choice was made")
    'base: traced at the top'
    """
    if absent(text):
        return ""
    parts = [part for part in str(text).split("; ") if not part.startswith(WHY_COMMON)]
    names = "|".join(sorted(map(re.escape, FIELDS), key=len, reverse=True))
    told = (re.sub(rf"\b({names})\b", lambda m: FIELDS[m[1]], part) for part in parts)
    return plain("; ".join(told))


def lines_of(row: Record) -> str:
    """Return the survey lines that a thing was drawn from."""
    if "lines" in row:
        return plain(ranges(row["lines"]))
    if absent(row.get("line")):
        return ""
    return plain(f"{row.get('survey', '')} {row['line']}".strip())


def _named(**texts: str) -> Facts:
    """Return facts under their names, empty ones left out."""
    return [(FACTS[key], text) for key, text in texts.items() if text]


def _split(text: object) -> list[str]:
    return [] if absent(text) else str(text).split(";")


def _evidence(row: Record) -> str:
    if row["evidence"] != "inferred":
        return str(row["evidence"])
    kind = "" if absent(row["closing"]) else str(row["closing"])
    gap = "" if absent(row["gap_m"]) else f", over a gap of {fixed(row['gap_m'], 2)} m"
    return f"inferred: {INFERENCE.get(kind, kind or 'nobody saw a wall there')}{gap}"


def _followed(row: Record) -> str:
    if absent(row["line_follows"]):
        return ""
    heights = "" if absent(row["traced_at"]) else f"; traced at its {row['traced_at']}"
    return f"along the wall's {row['line_follows']}{heights}"


def _phases(row: Record) -> str:
    ends = [str(row[name]) for name in ("phase_from", "phase_to") if not absent(row[name])]
    return plain(" to ".join(dict.fromkeys(ends)))


def _stretches(parts: Mapping[tuple[str, str], float]) -> str:
    """Return lengths by what was last known of them, the longest first."""
    order = sorted(parts.items(), key=lambda part: (-part[1], part[0]))
    told = [
        f"{word}{f' in {season}' if season else ''}, {fixed(length, 1)} m"
        for (word, season), length in order
    ]
    return "; ".join(told) + " (a suggestion)"


def _room(row: Record) -> Facts:
    """Return what the report says of a room beside its facts."""
    return _named(
        building="" if absent(row["building"]) else str(row["building"]),
        kind=f"{row['kind']}, as suggested by size and shape",
        phases=_phases(row),
    )


def _opening(row: Record) -> Facts:
    rooms = [FACTS["outside"] if name == "outside" else name for name in _split(row["joins"])]
    return _named(
        evidence=str(row["evidence"]),
        width=shown(row, "width_m"),
        joins=", ".join(rooms),
        empty=why_empty(row["null_because"]),
    )


def _feature(row: Record) -> Facts:
    return _named(
        kind=plain(row["kind"]),
        origin="" if absent(row["origin"]) else plain(row["origin"]),
        room="" if absent(row["room"]) else str(row["room"]),
        top=deep(row, "top_depth_m"),
        base=stated(row, "base_depth_m", " deep"),
        phases=_phases(row),
        note="" if absent(row["note"]) else plain(row["note"]),
        empty=why_empty(row["null_because"]),
    )


def _trench(row: Record) -> Facts:
    bottom = "bottom_height_m" in row and not absent(row["bottom_height_m"])
    return _named(
        area=stated(row, "area_m2", " on the ground"),
        bottom=stated(row, "bottom_height_m", " above the datum") if bottom else "",
        note="" if absent(row.get("note")) else plain(row["note"]),
        empty=why_empty(row.get("null_because")),
    )


def _spot(row: Record) -> Facts:
    return _named(
        of=plain(row["of"]),
        thing="" if absent(row["thing"]) else plain(row["thing"]),
        height=stated(row, "height_m", " above the datum"),
        depth=deep(row, "depth_m"),
        evidence="" if absent(row["evidence"]) else plain(row["evidence"]),
        empty=why_empty(row.get("null_because")),
    )


def _change(row: Record) -> Facts:
    return _named(
        change=str(row["change"]),
        between=f"{row['earlier']} and {row['later']}",
        area=stated(row, "area_m2", " on the ground"),
        mean=measured(row["mean_m"], row["mean_sd_m"], "m"),
        volume=measured(row["volume_m3"], row["volume_sd_m3"], "m3"),
        filled=f"{percent(row['filled_share'])} of it between soundings",
        chance="" if absent(row["p"]) else f"probability of such a mean: {percent(row['p'])}",
    )


def _happened(event: Record) -> str:
    """Return one event as a line.

    >>> split = {"season": "2031", "event": "split", "parents": "R1", "children": "R1;R2"}
    >>> _happened(split | {"why": ""})
    '2031: split, R1 → R1, R2'
    """
    text = f"{event['season']}: {event['event']}"
    if event["event"] in PASSED_ON:
        text += f", {spaced(event['parents'])} → {spaced(event['children'])}"
    return plain(text if absent(event["why"]) else f"{text} ({event['why']})")


def _reading(row: Record) -> str:
    """Return one reading as a line: what, how sure, who, when, whether it stands, and why."""
    told = [row[name] for name in ("certainty", "who", "when", "status") if not absent(row[name])]
    grounds = [row[name] for name in ("why", "evidence", "review") if not absent(row[name])]
    text = f"{row['reading']} ({', '.join(map(str, told))})"
    return plain(f"{text}: {'; '.join(map(str, grounds))}" if grounds else text)
