"""The report that a person opens first: one HTML page, with nothing fetched from anywhere."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.accuracy.markup import Markup, el, join, table, void
from wrackline.publish.report_plan import legend, site_plan
from wrackline.publish.report_rooms import Houses, building_table, pairs, room_table, spaced
from wrackline.publish.report_words import (
    ERRORS,
    LIMITS,
    METHODS,
    READING,
    SORTING,
    STYLE,
    WORDS,
)
from wrackline.quantities import MISSING, fixed, measured

SHORT_SUM = 12
SECTIONS = (
    ("site", "The site"),
    ("plan", "Plan"),
    ("seabed", "Seabed"),
    ("figures", "The site in figures"),
    ("tables", "Buildings and rooms, all at once"),
    ("sea", "What structures say of the sea level"),
    ("deposit", "Floors met, and the deposit over them"),
    ("buildings", "Building by building, room by room"),
    ("readings", "What people read it as"),
    ("surveys", "What went in"),
    ("agree", "How far the surveys agree"),
    ("doubts", "Suspicions"),
    ("inferred", "What is inferred"),
    ("methods", "How the figures are had"),
    ("limits", "Limits and cautions"),
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
    deposit : DataFrame
        Floors met, with the deposit over each.
    sources : mapping of str to str
        Named error sources: what each is.
    seabed : mapping
        Composite surface: `cell_m`, `fill_distance_m`, `cells`, `measured`, `sd_low`, `sd_high`,
        `sources`; empty where there is none.
    picture : bytes
        The seabed as PNG; empty where there is none.
    """

    about: Mapping[str, str]
    houses: Houses
    summary: Mapping[str, Any]
    checked: Mapping[str, Any]
    overlaps: Mapping[str, Any]
    audit: Mapping[str, Any]
    deposit: pd.DataFrame
    sources: Mapping[str, str]
    seabed: Mapping[str, Any]
    picture: bytes = b""

    def html(self) -> str:
        """Return the page: equal input gives equal bytes."""
        title = f"{self.about['site']}: the record as now known"
        head = el(
            "head",
            Markup('<meta charset="utf-8"><meta name="viewport" content="width=device-width">'),
            Markup('<meta name="robots" content="noindex">'),
            el("title", title),
            el("style", Markup(STYLE)),
        )
        made = {
            "site": self._site,
            "plan": self._plan,
            "seabed": self._seabed,
            "figures": self._figures,
            "tables": self._tables,
            "sea": self._sea,
            "deposit": self._deposit,
            "buildings": lambda: [self.houses.html()],
            "readings": self._readings,
            "surveys": self._surveys,
            "agree": self._agree,
            "doubts": self._doubts,
            "inferred": self._inferred,
            "methods": self._methods,
            "limits": self._limits,
        }
        parts = [
            el("section", el("h2", heading, id=name), *made[name]()) for name, heading in SECTIONS
        ]
        body = el("body", el("h1", title), _contents(), *parts, el("script", Markup(SORTING)))
        return "<!DOCTYPE html>\n" + el("html", head, body, lang="en") + "\n"

    def _site(self) -> list[Markup]:
        topics = ("crs", "vertical_datum", "depths", "units", "surveyed", "credit")
        facts = [(topic.replace("_", " "), self.about[topic]) for topic in topics]
        return [
            el("p", self.sentence()),
            el("p", self.about["caution"], class_="caution"),
            pairs(facts),
            el("p", READING),
        ]

    def sentence(self) -> str:
        """Return the site in a few sentences, from its own figures."""
        plan = self.houses.plan
        kinds = plan["rooms"]["kind"].value_counts()
        counted = [_count(int(n), str(kind)) for kind, n in kinds.items()]
        walls = plan["wall_lines"]
        recorded = walls.loc[walls["evidence"] == "recorded", "length_m"].sum()
        techniques = sorted({str(t["technique"]) for t in self.summary["techniques"]})
        words = [
            f"{_count(len(plan['buildings']), 'building')} with {', '.join(counted)}"
            if counted
            else "No enclosed space was found",
            f"{fixed(recorded, 0)} m of wall lines on record",
            f"{_count(len(plan['features']), 'feature')}",
        ]
        return (
            f"{'; '.join(words)}. {_count(len(self.houses.surveys), 'survey')} went in, "
            f"{self.about['surveyed']}: {', '.join(techniques)}."
        )

    def _plan(self) -> list[Markup]:
        picture = el("figure", site_plan(self.houses.plan, self.about["crs"]))
        words = "Numbers are those of buildings; every room leads to what is known of it. "
        words += "sheets/plan.pdf is the same to scale, with grid and legend."
        return [picture, el("p", words), legend()]

    def _seabed(self) -> list[Markup]:
        if not self.seabed:
            return [el("p", "No survey of the seabed went in: there is no seabed model.")]
        facts = [
            ("cells", f"{self.seabed['cells']} of {self.seabed['cell_m']:g} m"),
            (
                "measured",
                f"{fixed(100 * self.seabed['measured'], 0)} % of them; the others filled between "
                f"soundings no further than {self.seabed['fill_distance_m']:g} m away",
            ),
            (
                "sd of a cell",
                f"{fixed(self.seabed['sd_low'], 3)} to {fixed(self.seabed['sd_high'], 3)} m "
                "in nine of ten cells",
            ),
        ]
        rows = [[name, f"{fixed(100 * share, 1)} %"] for name, share in self.seabed["sources"]]
        data = base64.b64encode(self.picture).decode("ascii")
        parts = [pairs(facts), table(["survey", "share of the cells"], rows)]
        if data:
            words = "The seabed's height and its standard uncertainty"
            parts.insert(0, void("img", src=f"data:image/png;base64,{data}", alt=words))
        return parts

    def _figures(self) -> list[Markup]:
        rows = [[one["text"], one["shown"], one["basis"]] for one in self.summary["figures"]]
        return [table(["figure", "value", "what it rests on"], rows)]

    def _tables(self) -> list[Markup]:
        plan = self.houses.plan
        if not len(plan["rooms"]):
            return [el("p", "No enclosed space was found.")]
        return [building_table(plan["buildings"]), room_table(plan["rooms"])]

    def _sea(self) -> list[Markup]:
        rows = self.summary["sea_level"]
        words = (
            "A floor, a threshold, a hearth or a grave was kept dry, so the sea of its time stood "
            "at or below it: a limit, never a level. An index point gives a level only through the "
            "height at which such a part stood in use, as the site's config states it."
        )
        used = [row for row in rows if row["indication"] != "none"]
        head = [
            "structure",
            "what",
            "part measured",
            "height",
            "above high water",
            "it says",
            "age",
        ]
        body = [
            [
                row["structure"],
                row["what"],
                row["part_measured"],
                _pair(row, "height_m"),
                _pair(row, "clearance_above_high_water_m"),
                row["statement"],
                _age(row),
            ]
            for row in used
        ]
        left = len(rows) - len(used)
        after = f"{_count(left, 'more structure')} of kinds that say nothing of the sea, not used."
        if not rows:
            return [el("p", "No floor and no feature that could bear on the sea level was met.")]
        return [el("p", words), table(head, body), el("p", after)]

    def _deposit(self) -> list[Markup]:
        if not len(self.deposit):
            return [el("p", "No floor was met: how much deposit is left is not known.")]
        groups = self.deposit.fillna({"room": "in no room"}).groupby("room", sort=True)
        rows = []
        for room, part in groups:
            deposit = pd.to_numeric(part["deposit_m"], errors="coerce")
            sd = pd.to_numeric(part["deposit_sd_m"], errors="coerce")
            rows.append(
                [
                    el("a", room, href=f"#{room}") if room != "in no room" else room,
                    len(part),
                    spaced(";".join(sorted(set(part["evidence"].astype(str))))),
                    measured(float(deposit.mean()), float(sd.mean()), "m"),
                    f"{fixed(deposit.min(), 2)} to {fixed(deposit.max(), 2)} m",
                ]
            )
        words = "The seabed less the floor, where both are known; sd as of one point."
        head = ["room", "points", "met by", "deposit, mean", "least to most"]
        return [el("p", words), table(head, rows)]

    def _readings(self) -> list[Markup]:
        rows = self.houses.interpretations
        if not len(rows):
            return [el("p", "Nobody has written down an interpretation.")]
        head = ["thing", "read as", "certainty", "by", "on", "because", "status", "note"]
        names = ("reading", "certainty", "who", "when", "why", "status", "note")
        plan = self.houses.plan
        ids = {*plan["rooms"]["room"], *plan["buildings"]["building"]}
        body = [
            [
                el("a", row["number"], href=f"#{row['number']}")
                if row["number"] in ids
                else row["number"]
                if isinstance(row["number"], str)
                else MISSING,
                *("" if pd.isna(row[name]) else row[name] for name in names),
            ]
            for _, row in rows.iterrows()
        ]
        words = "People's words, not the program's. Where readers differ, all their readings stand."
        return [el("p", words), table(head, body)]

    def _surveys(self) -> list[Markup]:
        head = ["survey", "technique", "holds", "dates", "rows", "used", "file", "SHA-256"]
        head += ["random sd", "patchy sd", "named sources", "used for"]
        rows = [_survey_row(row) for _, row in self.houses.surveys.iterrows()]
        facts = list(self.sources.items())
        return [
            table(head, rows, caption="sd of position and height, as the season files state them"),
            el("h3", "Named sources of error"),
            pairs(facts) if facts else el("p", "None is named."),
            el("p", ERRORS),
        ]

    def _agree(self) -> list[Markup]:
        rows = [
            [
                pair["newer"],
                pair["older"],
                pair["cells"],
                measured(pair["median_m"], pair["sd_m"], "m"),
                "yes" if pair["beyond_95"] else "no",
            ]
            for pair in self.overlaps["pairs"]
        ]
        audits = [_audit_row(one) for one in self.audit["surveys"]]
        parts = []
        if rows:
            head = ["newer", "older", "cells in common", "newer above older", "beyond its 95 %"]
            parts.append(table(head, rows, caption="Seabed surveys against each other"))
        if audits:
            head = ["survey", "cells", "median depth", "95 %", "keeps the orders", "spread"]
            caption = (
                "Seabed surveys against the orders of total vertical uncertainty of S-44; "
                "spread: of points within cells, over the random sd stated"
            )
            parts.append(table(head, audits, caption=caption))
            words = (
                "An order kept says how well heights are known where something was measured, not "
                "what was missed: a survey may keep the strictest and not show a one-course wall."
            )
            parts.append(el("p", words))
        merged = self._traced_again()
        if merged:
            head = ["surveys of one wall", "wall lines"]
            parts.append(table(head, merged, caption="Walls that several surveys traced"))
        return parts or [el("p", "No two surveys cover the same ground.")]

    def _traced_again(self) -> list[list[object]]:
        walls = self.houses.plan["wall_lines"]
        kept = walls[walls["evidence"] != "inferred"]
        counts = kept.loc[kept["surveys"].str.contains(";", na=False), "surveys"].value_counts()
        return [[spaced(names), int(n)] for names, n in sorted(counts.items())]

    def _doubts(self) -> list[Markup]:
        parts = []
        for title, rows in (
            ("Open", self.checked["suspicions"]),
            ("Looked into by a person, and accepted", self.checked["accepted"]),
        ):
            if rows:
                head = ["survey", "kind", "found", "what it would do", "accepted because"]
                body = [_doubt_row(row) for row in rows]
                parts.append(table(head, body, caption=title))
        return parts or [el("p", "The check of the survey files found nothing to doubt.")]

    def _inferred(self) -> list[Markup]:
        plan = self.houses.plan
        closings = self.houses.closings
        rows = [
            [kind, len(part), f"{fixed(part['length_m'].sum(), 1)} m"]
            for kind, part in closings.groupby("closing", sort=True)
        ]
        openings = plan["openings"]["evidence"].value_counts()
        facts = [
            ("kinds of spaces", "all are suggestions: " + _counted(plan["rooms"]["kind"])),
            (
                "openings",
                ", ".join(f"{n} {kind}" for kind, n in sorted(openings.items())) or "none",
            ),
            ("walls from an old plan alone", _old_plan(plan["wall_lines"])),
        ]
        if self.seabed:
            share = fixed(100 * (1 - self.seabed["measured"]), 0)
            facts.append(("seabed", f"{share} % of the cells are filled, not measured"))
        words = [(name, meaning) for name, meaning in WORDS]
        caption = "Closings of the wall lines"
        return [
            table(["closing", "how many", "length"], rows, caption=caption),
            pairs(facts),
            el("h3", "The words"),
            pairs(words),
        ]

    def _methods(self) -> list[Markup]:
        parts = [join([el("h3", name), el("p", text)]) for name, text in METHODS]
        return [*parts, el("h3", "Uncertainty"), el("p", ERRORS)]

    def _limits(self) -> list[Markup]:
        return [el("p", LIMITS), el("p", self.about["caution"], class_="caution")]


def _contents() -> Markup:
    items = (el("li", el("a", heading, href=f"#{name}")) for name, heading in SECTIONS)
    return el("nav", el("ol", *items), aria_label="contents")


def _count(number: int, word: str) -> str:
    """Return a number and its word.

    >>> _count(1, "room"), _count(3, "room"), _count(2, "unknown")
    ('1 room', '3 rooms', '2 small enclosed spaces')
    """
    if word == "unknown":
        word = "small enclosed space"
    return f"{number} {word}" + ("" if number == 1 else "s")


def _counted(column: pd.Series) -> str:
    counts = column.value_counts()
    return ", ".join(_count(int(n), str(kind)) for kind, n in sorted(counts.items())) or "none"


def _old_plan(walls: gpd.GeoDataFrame) -> str:
    old = walls[walls["evidence"] == "old plan"]
    return f"{len(old)}, {fixed(old['length_m'].sum(), 1)} m in all" if len(old) else "none"


def _pair(row: Mapping[str, Any], name: str) -> str:
    stem = name.removesuffix("_m")
    return measured(row[name], row[f"{stem}_sd_m"], "m")


def _age(row: Mapping[str, Any]) -> str:
    texts = [row["age_from"], row["age_to"]]
    if any(text in (None, "") for text in texts):
        return MISSING
    return " to ".join(texts)


def _survey_row(row: pd.Series) -> list[object]:
    ways = ("horizontal", "vertical")
    random = [_plain(row[f"random_{way}_sd_m"]) for way in ways]
    patchy = [_plain(row[f"patchy_{way}_sd_m"]) for way in ways]
    reach = _none(row["patchy_distance_m"])
    over = f" over {reach:g} m" if reach else ""
    return [
        row["survey"],
        row["technique"],
        str(row["holds"]).replace("_", " "),
        f"{row['from_date']} to {row['to_date']}",
        int(row["rows"]),
        int(row["used"]),
        row["file"],
        f"{row['sha256'][:SHORT_SUM]}…" if isinstance(row["sha256"], str) else MISSING,
        f"{random[0]}, {random[1]} m",
        f"{patchy[0]}, {patchy[1]} m{over}",
        spaced(row["error_sources"]) if isinstance(row["error_sources"], str) else "",
        spaced(row["used_for"]) if isinstance(row["used_for"], str) else "",
    ]


def _plain(value: Any) -> str:
    """Return a stated sd as the season file has it."""
    return MISSING if pd.isna(value) else f"{float(value):g}"


def _none(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)


def _audit_row(one: Mapping[str, Any]) -> list[object]:
    """Return how a seabed survey stands beside the orders of S-44, at its median depth."""
    kept = [order["order"] for order in one["s44"] if order["kept"]]
    ratio = one["random"]["ratio"]
    return [
        one["survey"],
        one["cells"],
        f"{fixed(one['depth_m'], 1)} m",
        f"± {fixed(one['u95_m'], 2)} m",
        ", ".join(kept) or "none",
        MISSING if ratio is None else f"{fixed(ratio, 2)}",
    ]


def _doubt_row(row: Mapping[str, Any]) -> Sequence[object]:
    names = ("survey", "kind", "found", "consequence")
    because = row["remedy"].partition("accepted: ")[2]
    return [*(row.get(name) for name in names), because]
