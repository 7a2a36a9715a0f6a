"""The report that a person opens first: one HTML page, with nothing fetched from anywhere."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import pandas as pd
from pyproj import CRS

from wrackline.accuracy.markup import Markup, el, join, table
from wrackline.drawn_marks import are_marks
from wrackline.publish.levels import level_words
from wrackline.publish.orientation import CAUTION as ROSE_CAUTION
from wrackline.publish.orientation import orientation_words
from wrackline.publish.pages import Part, image, whole_page
from wrackline.publish.report_plan import legend, site_plan, site_window, true_north
from wrackline.publish.report_rooms import INFERENCE, Houses
from wrackline.publish.report_set_aside import set_aside
from wrackline.publish.report_sources import (
    agreement,
    doubts,
    inferred,
    kinds_of,
    poles,
    survey_tables,
)
from wrackline.publish.report_support import support_words
from wrackline.publish.report_tables import (
    building_table,
    deposit_table,
    flooding_table,
    neighbours,
    reading_table,
    room_table,
    sea_table,
)
from wrackline.publish.report_team import NO_TEAM, team_words
from wrackline.publish.report_text import counted, dated, listed, pairs, percent, q
from wrackline.publish.report_words import (
    ERRORS,
    LIMITS,
    METHODS,
    READING,
    SORTING,
)
from wrackline.quantities import fixed

SECTIONS = (
    ("site", "The site"),
    ("plan", "Plan"),
    ("seabed", "Seabed"),
    ("figures", "The site in figures"),
    ("directions", "Directions of the walls"),
    ("tables", "Buildings and rooms, all at once"),
    ("sea", "What structures say of the sea level"),
    ("deposit", "Floors met, and the deposit over them"),
    ("buildings", "Building by building, room by room"),
    ("readings", "What people read it as"),
    ("surveys", "What went in"),
    ("agree", "How far the surveys agree"),
    ("doubts", "Suspicions"),
    ("inferred", "What is inferred"),
    ("support", "What support is worth"),
    ("team", "What the team decided about the plan"),
    ("methods", "How the figures are had"),
    ("limits", "Limits and cautions"),
)


PICTURES = [
    el("a", words, href=f"pictures/{name}.svg")
    for name, words in (
        ("orientation", "directions"),
        ("areas", "areas"),
        ("depths", "depths"),
        ("profile", "sections"),
        ("access", "ways into rooms"),
        ("seasons", "seasons side by side"),
    )
]
"""Ways to the pictures for a publication's text; each lies there as PNG and CSV too."""

UNCERTAINTY_WORDS = (
    "Total vertical uncertainty of the composite seabed: 1.96 sd of each cell, in 95 of 100 cases "
    "more than its error. Filled cells are those of the bed between soundings: what stands wholly "
    "in a gap is not in them."
)


@dataclass(frozen=True)
class Report:
    """What the page is made from.

    Attributes
    ----------
    about : mapping of str to str
        Statement beside the figures, see `wrackline.publish.words`.
    houses : Houses
        Plan, surveys and tables about rooms.
    summary : mapping
        Content of `summary.json`.
    checked : mapping
        Content of the check's report.
    overlaps, audit : mapping
        Content of `overlaps.json` and `audit.json`.
    sources : mapping of str to str
        Named error sources: what each is.
    seabed : mapping
        Composite surface: `cell_m`, `fill_distance_m`, `cells`, `measured`, `sd_low`, `sd_high`,
        `sources`, `apart` (see `seabed_words`); empty where there is none.
    orientation : DataFrame
        The table of the rose of the walls' directions.
    set_aside : DataFrame
        The table of soundings that were set aside.
    picture, uncertainty, rose : bytes
        The seabed, how well it is known, and that rose, as PNG; empty where there is none.
    team : mapping
        What became of the team's decisions, and the phases: content of the view's `team.json`.
    """

    about: Mapping[str, str]
    houses: Houses
    summary: Mapping[str, Any]
    checked: Mapping[str, Any]
    overlaps: Mapping[str, Any]
    audit: Mapping[str, Any]
    sources: Mapping[str, str]
    seabed: Mapping[str, Any]
    orientation: pd.DataFrame
    set_aside: pd.DataFrame
    picture: bytes = b""
    uncertainty: bytes = b""
    rose: bytes = b""
    team: Mapping[str, Any] = field(default_factory=lambda: NO_TEAM)

    def html(self) -> str:
        """Return the page: equal input gives equal bytes."""
        title = f"{self.about['site']}: the record as now known"
        parts = [Part(name, heading, self._made[name]()) for name, heading in SECTIONS]
        return whole_page(title, parts, SORTING)

    @property
    def _made(self) -> dict[str, Callable[[], list[Markup]]]:
        """What makes each section."""
        houses, known = self.houses, self.houses.numbers
        walls = houses.plan["wall_lines"]
        return {
            "site": self._site,
            "plan": self._plan,
            "seabed": self._seabed,
            "figures": self._figures,
            "directions": self._directions,
            "tables": self._tables,
            "sea": lambda: [
                *level_words(self.summary.get("levels", [])),
                *sea_table(self.summary["sea_level"], known),
                *flooding_table(self.summary["flooding"], known),
            ],
            "deposit": lambda: deposit_table(houses.deposit, known),
            "buildings": lambda: [houses.html()],
            "readings": lambda: reading_table(houses.interpretations, known),
            "surveys": lambda: survey_tables(houses.surveys, self.sources),
            "agree": lambda: [*agreement(self.overlaps, self.audit, walls), *self._known()],
            "doubts": lambda: [*doubts(self.checked), *set_aside(self.set_aside)],
            "inferred": lambda: inferred(houses.plan, self.seabed, INFERENCE),
            "support": support_words,
            "team": lambda: team_words(self.team),
            "methods": _methods,
            "limits": self._limits,
        }

    @cached_property
    def _figure(self) -> dict[str, str]:
        """Figures of the summary as printed, by name."""
        return {one["figure"]: one["shown"] for one in self.summary["figures"]}

    def _site(self) -> list[Markup]:
        techniques = [
            el("li", one["technique"], ": ", dated(one["from_date"], one["to_date"]))
            for one in self.summary["techniques"]
        ]
        return [
            el("p", self.sentences()),
            el("p", self.about["caution"], class_="caution"),
            pairs(
                [
                    ("where", self._place()),
                    *self._statement(),
                    ("measured by", el("ul", *techniques, class_="columns")),
                    ("season by season", join(self._seasons(), ", ")),
                    ("condition", el("a", "what became of the walls", href="condition.png")),
                    ("pictures for the text", join(PICTURES, ", ")),
                ]
            ),
            el("p", READING),
        ]

    def _seasons(self) -> list[Markup]:
        """Return ways to the pages of the seasons."""
        names = sorted(set(self.houses.surveys["season"].astype(str)))
        return [el("a", name, href=f"seasons/{name}/report.html") for name in names]

    def _statement(self) -> list[tuple[str, str]]:
        """Return what must stand beside figures: datum, sea level, units, dates."""
        topics = ("vertical_datum", "depths", "units", "surveyed", "credit")
        return [(topic.replace("_", " "), self.about[topic]) for topic in topics]

    def _place(self) -> str:
        """Return where the site lies and how far what is on the plan reaches."""
        crs = self.about["crs"]
        shapes = [len(layer) for layer in self.houses.plan.values()]
        if not sum(shapes):
            return f"{crs}; nothing is on the plan"
        drawn = site_window(self.houses.plan, 0.0)
        return (
            f"{crs} ({CRS.from_user_input(crs).name}), eastings {fixed(drawn.west, 0)} to "
            f"{fixed(drawn.east, 0)}, northings {fixed(drawn.south, 0)} to "
            f"{fixed(drawn.north, 0)}: {fixed(drawn.east - drawn.west, 0)} m by "
            f"{fixed(drawn.north - drawn.south, 0)} m hold all that is on the plan"
        )

    def sentences(self) -> str:
        """Return the site in a few plain sentences, from its own figures."""
        features, surveys = self.houses.plan["features"], self.houses.surveys
        things = int((~are_marks(features["kind"])).sum())
        seasons = counted(surveys["season"].nunique(), "season")
        open_ = len(self.checked["suspicions"])
        doubted = counted(open_, "suspicion") if open_ else "no suspicion"
        told = [
            self._built(),
            self._met(),
            self._walled(),
            f"Features put on the plan: {things or 'none'}.",
            f"{counted(len(surveys), 'survey')} of {seasons} went in; "
            f"days of work: {self.about['surveyed']}.",
            f"The check of their files left {doubted} open.",
        ]
        return " ".join(filter(None, told))

    def _met(self) -> str:
        """Return in how many spaces a floor was met; nothing where there is no space."""
        depths = self.houses.plan["rooms"]["floor_depth_m"]
        met = int(depths.notna().sum())
        if not len(depths):
            return ""
        if not met:
            return "No floor was met, so the depth of the floors is not known."
        rest = "; the depth of the other floors is not known" if met < len(depths) else ""
        return f"A floor was met in {met} of these {len(depths)} spaces{rest}."

    def _built(self) -> str:
        plan = self.houses.plan
        if not len(plan["rooms"]):
            return "No enclosed space was found: no room and no building is on the plan."
        buildings = counted(len(plan["buildings"]), "building")
        return f"On record are {buildings} with {kinds_of(plan['rooms'])}."

    def _walled(self) -> str:
        figures, words = self._figure, []
        if not len(self.houses.plan["wall_lines"]):
            return "No wall line is on record."
        for name, what in (
            ("wall_recorded_m", "were recorded"),
            ("wall_inferred_m", "were inferred to close gaps"),
            ("wall_old_plan_m", "are known from an old plan alone"),
        ):
            if name in figures:
                words.append(f"{figures[name]} {what}")
        return f"Of the wall lines {listed(words)}."

    def _plan(self) -> list[Markup]:
        plan, crs = self.houses.plan, self.about["crs"]
        if not sum(len(layer) for layer in plan.values()):
            return [el("p", "Nothing is on the plan.")]
        skip = el("a", "past the plan", href="#seabed", class_="skip")
        picture = el("figure", el("div", site_plan(plan, crs), class_="map"))
        words = (
            "Numbers are those of buildings and lead to them; every room leads to what is known "
            f"of it. The plan is upright in the grid; {true_north(site_window(plan), crs)}. "
            "The same to scale are the sheets in sheets/, listed in tables/sheets.csv."
        )
        return [skip, picture, legend(), el("p", words)]

    def _seabed(self) -> list[Markup]:
        if not self.seabed:
            return [el("p", "No survey of the seabed went in: there is no seabed model.")]
        seabed = self.seabed
        facts = [
            ("cells", f"{seabed['cells']} of {seabed['cell_m']:g} m by {seabed['cell_m']:g} m"),
            (
                "measured",
                f"{percent(seabed['measured'])} of them; the others are filled between soundings "
                f"no further than {seabed['fill_distance_m']:g} m away, and say so",
            ),
            (
                "sd of a cell",
                f"{fixed(seabed['sd_low'], 3)} to {fixed(seabed['sd_high'], 3)} m "
                "in nine of ten cells",
            ),
            ("datum", self.about["vertical_datum"]),
        ]
        for newer, older, cells, share, mean_m in seabed["apart"]:
            apart = (
                f"{newer} and {older} differ by more than their errors explain in "
                f"{percent(share)} of {cells} cells that both measured; on average "
                f"{newer} lies {mean_m:+.3f} m from the other"
            )
            facts.append(("surveys apart", apart))
        by_name = {row["survey"]: row for row in self.houses.surveys.to_dict("records")}
        rows = [
            [
                el("a", name, href=f"#survey-{name}"),
                by_name[name]["technique"],
                dated(by_name[name]["from_date"], by_name[name]["to_date"]),
                percent(share),
            ]
            for name, share in seabed["sources"]
        ]
        head = ["survey", "technique", "dates", "share by weight"]
        return [*self._picture(), pairs(facts), table(head, rows, caption="What it rests on")]

    def _picture(self) -> list[Markup]:
        if not self.picture:
            return []
        words = (
            "Three maps of the seabed: its local relief, its height, and the height's uncertainty"
        )
        drawn = image(self.picture, words)
        below = (
            "Above: local relief, what stands above the ground around is light. Below: height of "
            "the seabed above the datum, and its standard uncertainty."
        )
        return [el("figure", el("div", drawn, class_="map"), el("figcaption", below))]

    def _known(self) -> list[Markup]:
        if not self.uncertainty:
            return []
        words = "Map of the seabed's total vertical uncertainty, with its key in metres"
        drawn = image(self.uncertainty, words)
        return [el("figure", el("div", drawn, class_="map"), el("figcaption", UNCERTAINTY_WORDS))]

    def _figures(self) -> list[Markup]:
        rows = [[one["text"], q(one["shown"]), one["basis"]] for one in self.summary["figures"]]
        return [pairs(self._statement()[:3]), table(["figure", "value", "what it rests on"], rows)]

    def _directions(self) -> list[Markup]:
        words = [el("p", orientation_words(self.orientation)), el("p", ROSE_CAUTION)]
        if not self.rose:
            return words
        drawn = image(self.rose, "Rose of the directions of the walls, with their families")
        return [*words, el("figure", drawn, class_="small")]

    def _tables(self) -> list[Markup]:
        plan = self.houses.plan
        if not len(plan["rooms"]):
            return [el("p", "No enclosed space was found.")]
        return [
            pairs(self._statement()[:4]),
            building_table(plan["buildings"]),
            room_table(plan["rooms"]),
            neighbours(self.houses.adjacency, list(plan["rooms"]["room"])),
        ]

    def _limits(self) -> list[Markup]:
        limits = el("ul", *(el("li", text) for text in (*LIMITS, *poles(self.checked))))
        return [limits, el("p", self.about["caution"], class_="caution")]


def _methods() -> list[Markup]:
    parts = [join([el("h3", name), el("p", text)]) for name, text in METHODS]
    return [*parts, el("h3", "Uncertainty"), el("p", ERRORS)]
