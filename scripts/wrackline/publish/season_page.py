"""What a season brought, on one page: what is new, what moved, what a person should decide."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.accuracy.markup import Markup, el, table
from wrackline.publish.pages import Part, image, whole_page
from wrackline.publish.report_text import absent, counted, listed, pairs, records, spaced
from wrackline.quantities import measured

SHOWN = 25
"""Rows of a table on the page; the CSV beside it has all."""
ASKED = 12
"""Questions on the page that are answered in one file."""
PEOPLE = ("room", "building", "feature")
"""What is told one by one; walls and openings are counted."""

MOVED_WORDS = (
    "Listed is what differs from the plan before by more than one sd of the figure then. Figures "
    "of two plans share surveys, so that nothing is said of how likely that is by chance; a "
    "seabed depth also moves because the bed does."
)
FIRST = "It is the first season on record: there is no plan before it to compare with."
DECIDE_WORDS = (
    "What settles most comes first: floor area of the rooms that hang on it, as far as it is in "
    "doubt. An answer is written into the file named; nothing is decided by itself."
)
UNPRINTED = (
    "{} of this season's plan are not yet in print, and may change when an early file is mended. "
    "Once its plans and finds are labelled: make freeze SEASON={}."
)


@dataclass(frozen=True)
class SeasonPage:
    """What the page is made from.

    Attributes
    ----------
    season, before : str
        The season, and the one before; empty where it is the first.
    about : mapping of str to str
        Statement beside the figures.
    plan : mapping of str to GeoDataFrame
        The season's numbered plan.
    surveys : sequence of mapping
        The season's surveys: `name`, `technique`, `holds`, `from_date`, `to_date`.
    events : DataFrame
        The season's events, `contract.TABLES["changes"]`.
    moved, decide : DataFrame
        `contract.TABLES["figures_moved"]` and `["to_decide"]`.
    compared : (int, int)
        Figures on both plans, and figures that are there for the first time.
    unprinted : int
        Numbers on the plan that are not yet in print.
    picture : bytes
        The plan before, now, and what changed, as PNG.
    parts : sequence of Part
        Further parts.
    """

    season: str
    before: str
    about: Mapping[str, str]
    plan: Mapping[str, gpd.GeoDataFrame]
    surveys: Sequence[Mapping[str, Any]]
    events: pd.DataFrame
    moved: pd.DataFrame
    decide: pd.DataFrame
    compared: tuple[int, int]
    unprinted: int
    picture: bytes
    parts: Sequence[Part] = field(default_factory=tuple)

    def html(self) -> str:
        """Return the page: equal input gives equal bytes."""
        parts = [
            Part("season", "The season in short", self._short()),
            Part("decide", "What needs a decision", self._decide()),
            Part("changes", "What is new, changed or gone", self._changes()),
            *self.parts,
            Part("moved", "Figures that moved", self._moved()),
        ]
        return whole_page(f"{self.about['site']}: season {self.season}", parts)

    def _short(self) -> list[Markup]:
        brought = [
            el("li", f"{one['name']}: {one['technique']}, {one['from_date']} to {one['to_date']}")
            for one in self.surveys
        ]
        now = {what: len(self.plan[layer]) for what, layer in _LAYERS.items()}
        on_plan = listed([counted(count, what) for what, count in now.items()])
        facts: list[tuple[str, object]] = [
            ("brought", el("ul", *brought, class_="columns")),
            ("on the plan now", on_plan),
            ("against", self.before or "nothing"),
            *[(topic.replace("_", " "), self.about[topic]) for topic in _TOPICS],
        ]
        said = [el("p", self._sentence()), el("p", self.about["caution"], class_="caution")]
        if self.unprinted:
            words = UNPRINTED.format(counted(self.unprinted, "number"), self.season)
            said.append(el("p", words))
        return [*said, pairs(facts)]

    def _sentence(self) -> str:
        """Return the season's changes in one sentence."""
        if not self.before:
            return FIRST
        counts = self.events.groupby(["what", "event"], sort=True).size()
        told = [
            f"{counts[what, event]} {what}{'' if counts[what, event] == 1 else 's'} {event}"
            for what in ("room", "building", "wall", "opening", "feature")
            for event in _ORDER
            if (what, event) in counts.index
        ]
        return f"Against {self.before}: {listed(told) or 'nothing on the plan changed'}."

    def _decide(self) -> list[Markup]:
        if not len(self.decide):
            return [el("p", "Nothing is left open by this season.")]
        by_file = [
            part
            for file in dict.fromkeys(self.decide["answer_in"])
            for part in _asked(self.decide[self.decide["answer_in"] == file], file)
        ]
        return [el("p", DECIDE_WORDS), *by_file]

    def _changes(self) -> list[Markup]:
        made = [
            el("figure", image(self.picture, f"Plan before, plan of {self.season}, what changed"))
        ]
        if not self.before:
            return [el("p", FIRST), *made]
        told = self.events[self.events["what"].isin(PEOPLE) & (self.events["event"] != "new")]
        rows = [
            [
                one["what"],
                one["number"],
                one["event"],
                spaced(one["parents"]),
                spaced(one["children"]),
                one["why"],
            ]
            for one in records(told.head(SHOWN))
        ]
        fresh = self.events[(self.events["event"] == "new") & self.events["what"].isin(PEOPLE)]
        words = [
            el("p", f"New {what}s: ", ", ".join(mine["number"]))
            for what, mine in fresh.groupby("what", sort=True)
        ]
        words += [
            el("p", f"Surveyed again and still there, {layer}: ", ", ".join(numbers))
            for layer, numbers in self._again()
            if numbers
        ]
        head = ["what", "number", "event", "from", "to", "why"]
        listing = [table(head, rows), *_rest(told, "tables/changes.csv")] if rows else []
        return [*made, *listing, *words]

    def _again(self) -> list[tuple[str, list[str]]]:
        """Return the buildings and rooms known before that rest on this season's surveys too."""
        found = []
        for layer, what in (("buildings", "building"), ("rooms", "room")):
            table = self.plan[layer]
            mine = table["surveys"].fillna("").str.contains(f"(?:^|;){self.season}-", regex=True)
            known = table["first_season"].fillna(self.season) < self.season
            found.append((layer, sorted(table.loc[(mine & known).to_numpy(bool), what])))
        return found

    def _moved(self) -> list[Markup]:
        common, fresh = self.compared
        counts = (
            f"Of {counted(common, 'figure')} on both plans {len(self.moved)} moved by more than "
            f"their sd; {fresh} are there for the first time on things that were known."
        )
        if not self.before:
            return [el("p", FIRST)]
        rows = [
            [
                one["what"],
                one["number"],
                one["figure"].rpartition("_")[0].replace("_", " "),
                _said(one, "before"),
                _said(one, "now"),
                f"{one['times_sd']:.1f}",
            ]
            for one in records(self.moved.head(SHOWN))
        ]
        head = ["what", "number", "figure", "before", "now", "moved, in sds of before"]
        listing = [table(head, rows), *_rest(self.moved, "figures_moved.csv")] if rows else []
        return [el("p", counts), el("p", MOVED_WORDS), *listing]


_LAYERS = {"room": "rooms", "building": "buildings", "wall line": "wall_lines"}
_TOPICS = ("vertical_datum", "depths", "units", "surveyed", "credit")
_ORDER = (
    *("new", "split", "merged", "redrawn", "reshaped", "renumbered", "re-read", "found again"),
    *("gone", "lost", "buried", "overgrown", "uncovered", "seen again"),
)


def _asked(asked: pd.DataFrame, file: str) -> list[Markup]:
    """Return the questions that are answered in one file, the first ranks alone."""
    rows = [
        [
            one["rank"],
            one["question"],
            "" if absent(one["number"]) else one["number"],
            "" if absent(one["easting"]) else f"{one['easting']:.1f} {one['northing']:.1f}",
            one["settles"],
        ]
        for one in records(asked.head(ASKED))
    ]
    head = ["rank", "what to decide", "about", "at (E N)", "what it settles"]
    named = table(head, rows, caption=f"To be answered in {file}")
    return [named, *_rest(asked, "to_decide.csv", ASKED)]


def _said(one: Mapping[str, Any], when: str) -> str:
    unit = str(one["figure"]).rpartition("_")[2]
    sd = one[f"{when}_sd"]
    return measured(float(one[when]), None if absent(sd) else float(sd), unit)


def _rest(rows: pd.DataFrame, file: str, shown: int = SHOWN) -> list[Markup]:
    left = len(rows) - shown
    return [el("p", f"{left} more in {file}.")] if left > 0 else []
