"""The report's part on what went in: surveys, how far they agree, suspicions, what is inferred."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.accuracy.cross_words import POLE_UNSTATED
from wrackline.accuracy.markup import Markup, el, table
from wrackline.publish.audits import audited
from wrackline.publish.report_text import (
    absent,
    counted,
    dated,
    listed,
    pairs,
    percent,
    q,
    spaced,
)
from wrackline.publish.report_words import ERRORS, WORDS
from wrackline.quantities import MISSING, fixed, measured

SHORT_SUM = 12
Record = Mapping[str, Any]


def survey_tables(surveys: pd.DataFrame, sources: Mapping[str, str]) -> list[Markup]:
    """Return the surveys with their files, then what they state of their errors.

    Parameters
    ----------
    surveys : DataFrame
        The layer `surveys`.
    sources : mapping of str to str
        Named error sources: what each is.
    """
    rows = [{str(k): v for k, v in row.items()} for row in surveys.to_dict("records")]
    head = ["survey", "technique", "holds", "dates", "rows", "used", "used for"]
    files = [
        [
            row["survey"],
            row["file"],
            MISSING if absent(row["sha256"]) else f"{row['sha256'][:SHORT_SUM]}…",
            MISSING if absent(row["ground_looked_at"]) else row["ground_looked_at"],
        ]
        for row in rows
    ]
    return [
        table(head, map(_survey_row, rows), caption="Surveys"),
        table(
            ["survey", "random", "patchy", "over", "named sources", "least thing shown"],
            map(_error_row, rows),
            caption="Standard uncertainties that the season files state: of position per axis, "
            "of height",
        ),
        el("p", ERRORS),
        el("h3", "Named sources of error"),
        pairs(sources.items()) if sources else el("p", "None is named."),
        table(["survey", "file", "SHA-256, its start", "ground looked at"], files, caption="Files"),
    ]


def _survey_row(row: Record) -> list[object]:
    return [
        el("span", row["survey"], id=f"survey-{row['survey']}"),
        row["technique"],
        str(row["holds"]).replace("_", " "),
        dated(row["from_date"], row["to_date"]),
        int(row["rows"]),
        int(row["used"]),
        MISSING if absent(row["used_for"]) else spaced(row["used_for"]),
    ]


def _error_row(row: Record) -> list[object]:
    pairs_ = [
        q(", ".join(_stated(row[f"{kind}_{way}_sd_m"]) for way in ("horizontal", "vertical")))
        for kind in ("random", "patchy")
    ]
    reach = row["patchy_distance_m"]
    return [
        row["survey"],
        *pairs_,
        MISSING if absent(reach) or not reach else f"{float(reach):g} m",
        spaced(row["error_sources"]) or "none",
        MISSING if absent(row["resolution_m"]) else f"{float(row['resolution_m']):g} m",
    ]


def _stated(value: Any) -> str:
    """Return a stated sd as the season file has it."""
    return MISSING if absent(value) else f"{float(value):g} m"


def agreement(
    overlaps: Mapping[str, Any], audit: Mapping[str, Any], walls: gpd.GeoDataFrame
) -> list[Markup]:
    """Return how far surveys of one ground, or of one wall, agree.

    Parameters
    ----------
    overlaps, audit : mapping
        Content of `overlaps.json` and `audit.json`.
    walls : GeoDataFrame
        The layer `wall_lines`.
    """
    parts = []
    if overlaps["pairs"]:
        head = ["newer", "older", "cells in common", "newer above older", "spread", "beyond 95 %"]
        rows = map(_overlap_row, overlaps["pairs"])
        caption = "Seabed surveys against each other; spread: of the cells' differences (nmad)"
        parts.append(table(head, rows, caption=caption))
    if audit["surveys"]:
        head = ["survey", "cells", "median depth", "95 %", "keeps the orders", "finest a, b"]
        head += ["shows from", "spread"]
        caption = (
            "Seabed surveys against S-44: orders of total vertical uncertainty, and the finest "
            "cell of its matrix; spread: of points within cells, over the random sd stated"
        )
        parts.append(table(head, map(_audit_row, audited(audit)), caption=caption))
        parts += [el("p", words) for words in S44_WORDS]
        parts += [el("p", note) for note in audit["notes"]]
    merged = _traced_again(walls)
    if merged:
        caption = "Walls that several surveys traced: the better tracing stays"
        parts.append(table(["surveys of one wall", "wall lines"], merged, caption=caption))
    return parts or [el("p", "No two surveys cover the same ground.")]


def _overlap_row(pair: Record) -> list[object]:
    return [
        pair["newer"],
        pair["older"],
        pair["cells"],
        q(measured(pair["median_m"], pair["sd_m"], "m")),
        f"{fixed(pair['nmad_m'], 2)} m",
        "yes" if pair["beyond_95"] else "no",
    ]


S44_WORDS = (
    "An order or a cell of the matrix kept says how well heights are known where something was "
    "measured, not what was missed: even the strictest order, which allows ± 0.15 m and asks for "
    "cubes of over 0.5 m to be shown, passes a survey that misses a wall one course high.",
    "Finest a, b: the least a that 95 % of the cells keep, 1.96 sd being no more than "
    "√(a² + (b · depth)²), with the strictest order's b, and the least b with that a. Shows from: "
    "the least thing that the survey says it would have shown, or twice its cell, whichever is "
    "larger; smaller things may lie there unseen.",
)


def _audit_row(one: Record) -> list[object]:
    """Return how a seabed survey stands beside the orders of S-44, at its median depth."""
    kept = [order["order"] for order in one["s44"] if order["kept"]]
    ratio = one["random"]["ratio"] if "random" in one else None
    return [
        one["survey"],
        one["cells"],
        f"{fixed(one['depth_m'], 1)} m",
        q(f"± {fixed(one['u95_m'], 2)} m"),
        ", ".join(kept) or "none",
        _cell(one, ("matrix_a_m", "matrix_b"), one["matrix_cell"]),
        _cell(one, ("feature_m",), one["feature_cell"]),
        MISSING if ratio is None else fixed(ratio, 2),
    ]


def _cell(one: Record, names: Sequence[str], cell: str | None) -> str:
    """Return figures and the cell of the matrix that they stand in."""
    if any(absent(one[name]) for name in names):
        return MISSING
    figures = ", ".join(f"{one[name]:g}{' m' if name.endswith('_m') else ''}" for name in names)
    return f"{figures} ({cell})" if cell else figures


def _traced_again(walls: gpd.GeoDataFrame) -> list[list[object]]:
    kept = walls[walls["evidence"] != "inferred"]
    several = kept["surveys"].fillna("").astype(str).str.contains(";")
    counts = kept.loc[several, "surveys"].value_counts()
    return [[spaced(names), int(n)] for names, n in sorted(counts.items())]


def doubts(checked: Mapping[str, Any]) -> list[Markup]:
    """Return suspicions that stand open, and those that a person accepted, with the reasons.

    Parameters
    ----------
    checked : mapping
        Content of the check's report.
    """
    parts = []
    for title, rows, last in (
        ("Open", checked["suspicions"], "what can be done"),
        ("Looked into by a person, and accepted", checked["accepted"], "why it stands"),
    ):
        if rows:
            head = ["survey", "row", "kind", "found", "what it would do", last]
            body = [_doubt_row(row) for row in rows]
            parts.append(table(head, body, caption=f"{title}: {len(rows)}"))
    return parts or [el("p", "The check of the survey files found nothing to doubt.")]


def _doubt_row(row: Record) -> Sequence[object]:
    names = ("found", "consequence", "remedy")
    kind = str(row["kind"]).replace("_", " ")
    where = MISSING if absent(row.get("row")) else str(row["row"])
    return [row["survey"], where, kind, *(row.get(name) for name in names)]


def poles(checked: Mapping[str, Any]) -> list[str]:
    """Return what to say of faces that were traced with poles of unstated width: one line or none.

    Parameters
    ----------
    checked : mapping
        Content of the check's report.
    """
    rows = [*checked["suspicions"], *checked["accepted"]]
    names = sorted({row["survey"] for row in rows if row["kind"] == POLE_UNSTATED})
    if not names:
        return []
    return [
        f"The pole that traced the faces of {listed(names)} is of unstated width: there floors "
        "come out too small, walls too thick and footprints too large, by half that width along "
        "each face. No sd covers it."
    ]


def inferred(
    plan: Mapping[str, gpd.GeoDataFrame], seabed: Mapping[str, Any], words: Mapping[str, str]
) -> list[Markup]:
    """Return what nobody measured: closings, suggestions, possible openings, filled cells.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
    seabed : mapping
        As `Report.seabed`.
    words : mapping of str to str
        What each kind of closing is, in words.
    """
    walls = plan["wall_lines"]
    closings = walls[walls["evidence"] == "inferred"]
    openings = plan["openings"]["evidence"].value_counts()
    facts = [
        ("kinds of spaces", f"all are suggestions: {kinds_of(plan['rooms']) or 'none found'}"),
        (
            "openings",
            listed([f"{n} {kind}" for kind, n in sorted(openings.items())]) or "none on the plan",
        ),
        ("walls from an old plan alone", _old_plan(walls)),
    ]
    if seabed:
        cells = round((1 - seabed["measured"]) * seabed["cells"])
        share = percent(1 - seabed["measured"])
        facts.append(("seabed", f"{cells} cells, {share}, are filled, not measured"))
    return [
        *_closings(closings, words),
        pairs(facts),
        el("h3", "The words"),
        pairs(WORDS),
    ]


def _closings(closings: gpd.GeoDataFrame, words: Mapping[str, str]) -> list[Markup]:
    """Return closings by kind, then each of them."""
    if not len(closings):
        return [el("p", "No wall line was closed: all that is drawn was recorded.")]
    rows = [
        [
            kind,
            words.get(str(kind), ""),
            len(part),
            f"{fixed(part['gap_m'].min(), 2)} to {fixed(part['gap_m'].max(), 2)} m",
            f"{fixed(part['length_m'].sum(), 1)} m",
        ]
        for kind, part in closings.groupby("closing", sort=True)
    ]
    rows.append(["all", "", len(closings), "", f"{fixed(closings['length_m'].sum(), 1)} m"])
    head = ["closing", "what it is", "how many", "gaps", "length"]
    names = ["wall", "closing", "gap_m", "length_m", "lines"]
    each = [
        [wall, kind, f"{fixed(gap, 2)} m", f"{fixed(long, 2)} m", spaced(lines)]
        for wall, kind, gap, long, lines in closings[names].sort_values("wall").to_numpy()
    ]
    listing = table(["number", "closing", "gap", "length", "between the survey lines"], each)
    summary = el("summary", f"Each of the {counted(len(closings), 'closing')}")
    return [
        table(head, rows, caption="Closings of the wall lines"),
        el("details", summary, listing),
    ]


def kinds_of(rooms: gpd.GeoDataFrame) -> str:
    """Return how many spaces there are of each kind, in words."""
    counts = rooms["kind"].value_counts().items()
    order = ("room", "court", "lane", "unknown")
    ranked = sorted(
        (order.index(str(kind)) if kind in order else len(order), str(kind), int(n))
        for kind, n in counts
    )
    return listed([counted(n, kind) for _, kind, n in ranked])


def _old_plan(walls: gpd.GeoDataFrame) -> str:
    old = walls[walls["evidence"] == "old plan"]
    return f"{len(old)}, {fixed(old['length_m'].sum(), 1)} m in all" if len(old) else "none"
