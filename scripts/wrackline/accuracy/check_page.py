"""The check's report as one HTML page: no network, no script, pictures of every survey within."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from wrackline.accuracy import check_report, sketch_pictures
from wrackline.accuracy.markup import Markup, el, figure, join, table
from wrackline.accuracy.remeasure import as_html, standing_marks
from wrackline.accuracy.sketch_pictures import Frame, Mark, definitions, frame_of, picture
from wrackline.accuracy.sketches import Sketch
from wrackline.errors import Fault
from wrackline.model import ControlValue, Site, Survey

SHORT_SUM = 12
MOST_ROWS = 200
"""Rows of a table of an adjustment that are shown; the rest stands in report.json."""

CAUTIONS = (
    "Not for navigation, and not for planning a dive.",
    "The position of a site can be a secret, and this page carries it: ask before passing it on.",
    "Local codes for diving and for heritage, and people licensed to work there, decide what may "
    "be done on site.",
    "The sides of a trench collapse without warning.",
)
STYLE = """
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 0.75rem; max-width: 62rem; background: #fff; color: #1b1b1b;
  font: 1rem/1.45 sans-serif; overflow-wrap: anywhere; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.2rem; margin: 2rem 0 0.5rem; }
h3 { font-size: 1rem; margin: 1.2rem 0 0.3rem; }
.verdict { border: 2px solid #1b1b1b; padding: 0.6rem; font-weight: bold; }
.wide { overflow-x: auto; margin: 0.5rem 0; }
table { border-collapse: collapse; font-size: 0.85rem; overflow-wrap: normal; }
caption { text-align: left; padding: 0.2rem 0; }
th, td { border: 1px solid #8a8a8a; padding: 0.2rem 0.4rem; text-align: left;
  vertical-align: top; }
thead th { background: #ececec; } .num { text-align: right; white-space: nowrap; }
section { border-top: 3px solid #1b1b1b; margin-top: 2rem; }
ol.found { list-style: none; padding: 0; }
ol.found > li { margin: 0.6rem 0; padding-left: 0.6rem; border-left: 5px solid #7d1414; }
ol.found > li.suspicion { border-left: 5px double #1b1b1b; }
.no { display: inline-block; min-width: 1.7em; padding: 0 0.3em; text-align: center;
  font-weight: bold; border: 2px solid #1b1b1b; }
.fault .no { background: #7d1414; color: #fff; } .suspicion .no { border-radius: 0.8em; }
dl { display: grid; grid-template-columns: max-content 1fr; gap: 0 0.7rem; margin: 0.3rem 0; }
dt { font-weight: bold; } dd { margin: 0; }
.note { font-size: 0.85rem; }
@media print { body { font-size: 9.5pt; max-width: none; } a { color: inherit; }
  figure, li, tr { break-inside: avoid; } h2, h3 { break-after: avoid; }
  thead th { background: none; } .wide { overflow: visible; } .pic { max-width: 11cm; }
  * { print-color-adjust: exact; } }
"""


@dataclass(frozen=True)
class Page:
    """What a page is made from.

    Attributes
    ----------
    found : mapping
        The content of `report.json`.
    sketches : sequence of Sketch
        Of all surveys.
    surveys : mapping of str to Survey
        By identifier.
    site : Site
    control : sequence of ControlValue
    """

    found: Mapping[str, Any]
    sketches: Sequence[Sketch]
    surveys: Mapping[str, Survey]
    site: Site
    control: Sequence[ControlValue] = ()

    @property
    def frame(self) -> Frame:
        """The ground that all pictures show."""
        places = [f.place for f in check_report.numbered(self.found) if f.place is not None]
        marks = [(mark.easting, mark.northing) for mark in standing_marks(self.control)]
        return frame_of(self.sketches, places or marks or [self.site.origin])

    def html(self) -> str:
        """Return the page: equal input gives equal bytes."""
        title = f"{self.site.name}: check of the survey files"
        head = el(
            "head",
            Markup('<meta charset="utf-8"><meta name="viewport" content="width=device-width">'),
            Markup('<meta name="robots" content="noindex">'),
            el("title", title),
            el("style", Markup(sketch_pictures.STYLE + STYLE)),
        )
        frame = self.frame
        body = el(
            "body",
            definitions(self.sketches, frame),
            el("h1", title),
            el("p", check_report.sentence(self.found), class_="verdict"),
            _surveys(self.found),
            *(_survey(self, k, frame) for k in range(len(self.found["surveys"]))),
            *_homeless(self.found),
            *_pairs(self.found["pairs"]),
            *_accepted(self.found),
            *_stops(self, frame),
            _cautions(self.site),
        )
        page = el("html", head, body, lang="en")
        return "<!DOCTYPE html>\n" + page + "\n"


def _surveys(found: Mapping[str, Any]) -> Markup:
    """Return the table of all surveys, each with the way to its own part of the page."""
    head = ["survey", "holds", "file", "rows", "used", "faults", "suspicions", "verdict"]
    rows = [
        [
            el("a", one["survey"], href=f"#survey-{k}"),
            one["holds"],
            one["file"],
            one["rows"],
            one["used"],
            one["faults"],
            one["suspicions"],
            check_report.word(one),
        ]
        for k, one in enumerate(found["surveys"])
    ]
    return join([el("h2", "All surveys"), table(head, rows)])


def _survey(page: Page, at: int, frame: Frame) -> Markup:
    """Return the part of the page about one survey."""
    one = page.found["surveys"][at]
    name = one["survey"]
    mine = [(k, f) for k, f in _numbered(page.found) if f.survey == name]
    own = next((k for k, sketch in enumerate(page.sketches) if sketch.name == name), None)
    marks = [Mark(str(k), f.place, f.severity) for k, f in mine if f.place is not None]
    drawn = picture(
        frame,
        count=len(page.sketches),
        own=own,
        marks=marks,
        title=f"{name} on the site, with the places of its faults and suspicions",
    )
    caption = el("figcaption", _beside(page, own, frame, marks), class_="note")
    return el(
        "section",
        el("h2", name),
        el("figure", drawn, caption, style="margin:0"),
        _figures(one, page.surveys.get(name)),
        _list(mine),
        *_account(one["adjustment"]),
        id=f"survey-{at}",
    )


def _numbered(found: Mapping[str, Any]) -> list[tuple[int, Fault]]:
    return list(enumerate(check_report.numbered(found), start=1))


def _beside(page: Page, own: int | None, frame: Frame, marks: Sequence[Mark]) -> str:
    """Return what a reader of a survey's picture has to know."""
    words = ["This survey dark, all others pale."]
    places = page.sketches[own].places if own is not None else np.empty((0, 2))
    if not len(places):
        words = ["Nothing could be read of this survey; all others pale."]
    outside = places[~frame.shows(places)]
    if len(outside):
        words.append(_away(outside, frame, whole=len(outside) == len(places)))
    if marks:
        words.append(
            "Numbers are those of the list: on dark squares faults, in light rounds suspicions; "
            "an arrow at the edge points to a place outside."
        )
    return " ".join([*words, f"Coordinates: {page.site.crs}, in metres."])


def _away(outside: np.ndarray, frame: Frame, *, whole: bool) -> str:
    """Return how far outside the picture a survey reaches, and where to."""
    middle = np.array([frame.west + frame.east, frame.south + frame.north]) / 2
    step = outside - middle
    far = step[int(np.argmax(np.hypot(step[:, 0], step[:, 1])))]
    winds = ("north", "north-east", "east", "south-east", "south", "south-west", "west")
    sector = round(float(np.degrees(np.arctan2(far[0], far[1]))) % 360 / 45) % 8
    wind = (*winds, "north-west")[sector]
    size = float(np.hypot(*far))
    length = f"{size:.0f} m" if size < 2000 else f"{size / 1000:.1f} km"
    who = "It lies outside the picture, as far as" if whole else "It reaches out of the picture, to"
    return f"{who} {length} {wind} of its middle."


def _figures(one: Mapping[str, Any], survey: Survey | None) -> Markup:
    """Return a survey's figures."""
    dates = "" if survey is None else f"{survey.from_date} to {survey.to_date}"
    pairs = [
        ("verdict", check_report.word(one)),
        ("technique", one["technique"]),
        ("holds", one["holds"]),
        ("file", one["file"]),
        ("dates", dates),
        ("rows", f"{one['rows']}, of which {one['used']} are used"),
        ("bounds", _bounds(one["bounds"])),
        ("vertical", _span(one["vertical"])),
        ("size", f"{one['bytes']} bytes"),
        ("SHA-256", f"{one['sha256'][:SHORT_SUM]}…" if one["sha256"] else "–"),
    ]
    return el("dl", *(join([el("dt", key), el("dd", value)]) for key, value in pairs if value))


def _bounds(bounds: Sequence[float] | None) -> str:
    if bounds is None:
        return "–"
    west, south, east, north = (figure(float(v)) for v in bounds)
    return f"x {west} to {east}, y {south} to {north}, in the file's own numbers"


def _span(vertical: Sequence[float] | None) -> str:
    if vertical is None:
        return "–"
    return f"{figure(float(vertical[0]))} to {figure(float(vertical[1]))}, in the file's own sense"


def _list(faults: Sequence[tuple[int, Fault]]) -> Markup:
    """Return faults and suspicions, each in its four parts."""
    if not faults:
        return el("p", "No fault and no suspicion.")
    return el("ol", *(_item(k, fault) for k, fault in faults), class_="found")


def _item(number: int, fault: Fault) -> Markup:
    row = "" if fault.row is None else f", row {fault.row}"
    head = el("div", el("span", number, class_="no"), f" {fault.severity}: {fault.kind}")
    parts = [
        ("in", f"{fault.file or 'the site'}{row}"),
        ("found", fault.found),
        ("allowed", fault.allowed),
        ("effect", fault.consequence),
        ("to do", fault.remedy),
    ]
    if fault.place is not None:
        depth = "" if fault.depth_m is None else f", depth {fault.depth_m:.2f} m"
        parts.append(("place", f"E {fault.place[0]:.2f}, N {fault.place[1]:.2f}{depth}"))
    lines = (join([el("dt", key), el("dd", value)]) for key, value in parts)
    return el("li", head, el("dl", *lines), class_=fault.severity)


def _homeless(found: Mapping[str, Any]) -> list[Markup]:
    """Return faults and suspicions that are of no listed survey."""
    names = {one["survey"] for one in found["surveys"]}
    left = [(k, fault) for k, fault in _numbered(found) if fault.survey not in names]
    return [el("section", el("h2", "Of the whole site"), _list(left))] if left else []


def _account(adjustment: Mapping[str, Any] | None) -> list[Markup]:
    """Return what an adjustment found, as tables, whatever it holds."""
    if not adjustment:
        return []
    return [el("h3", "Adjustment of the observations"), *_parts(adjustment)]


def _parts(record: Mapping[str, Any]) -> list[Markup]:
    """Return a record's single values as a list, and its lists of records as tables."""
    lists = {k: v for k, v in record.items() if _is_records(v)}
    inner = {k: v for k, v in record.items() if isinstance(v, Mapping) and v}
    single = [(k, v) for k, v in record.items() if k not in lists and k not in inner]
    out = []
    if single:
        pairs = (join([el("dt", _words(k)), el("dd", _value(v))]) for k, v in single)
        out.append(el("dl", *pairs))
    for key, records in lists.items():
        out += _records(key, records)
    for key, part in inner.items():
        out += [el("p", _words(key)), *_parts(part)]
    return out


def _records(key: str, records: Sequence[Mapping[str, Any]]) -> list[Markup]:
    """Return records as a table; what each holds as a table of its own follows."""
    names = list(dict.fromkeys(name for record in records for name in record))
    nested = [n for n in names if any(_is_records(r.get(n)) for r in records)]
    plain = [name for name in names if name not in nested]
    rows = [[_value(record.get(name)) for name in plain] for record in records[:MOST_ROWS]]
    more = len(records) - len(rows)
    caption = _words(key) + (
        f" (the first {len(rows)}; {more} more in report.json)" if more else ""
    )
    out = [table(map(_words, plain), rows, caption=caption)]
    for name in nested:
        for number, record in enumerate(records[:MOST_ROWS], start=1):
            if _is_records(record.get(name)):
                out += _records(f"{name} of {key} {number}", record[name])
    return out


def _is_records(value: object) -> bool:
    whole = isinstance(value, list) and bool(value)
    return whole and all(isinstance(part, Mapping) for part in value)  # type: ignore[attr-defined]


def _value(value: object) -> object:
    """Return a value as a cell; of a list, its values."""
    if isinstance(value, list):
        return ", ".join(str(figure(part)) for part in value) or "–"
    return value


def _words(key: str) -> str:
    """Return a key as people read it.

    >>> _words("along_m"), _words("set_aside"), _words("orientation_sd_deg")
    ('along [m]', 'set aside', 'orientation sd [°]')
    """
    for ending, unit in (("_mm", "mm"), ("_m", "m"), ("_deg", "°"), ("_ppm", "ppm")):
        if key.endswith(ending):
            return f"{key.removesuffix(ending).replace('_', ' ')} [{unit}]"
    return key.replace("_", " ")


def _pairs(pairs: Sequence[Mapping[str, Any]]) -> list[Markup]:
    """Return the figures of surveys that were held against each other."""
    if not pairs:
        return []
    head = ["newer", "older", "figure", "newer − older", "sd", "cells or stretches"]
    rows = [
        [
            pair["newer"],
            pair["older"],
            _words(str(pair["figure"])),
            ", ".join(_signed(value, pair["figure"]) for value in pair["values"]),
            ", ".join(_signed(sd, pair["figure"]).lstrip("+") for sd in pair["sds"]),
            pair["count"],
        ]
        for pair in pairs
    ]
    units = "Offsets and shifts in metres; tilts in mm per metre; turns in degrees."
    note = el("p", units, class_="note")
    return [el("section", el("h2", "Surveys held against each other"), table(head, rows), note)]


def _signed(value: float, what: str) -> str:
    """Return a figure of a pair with its sign.

    >>> _signed(0.0314, "survey_offset"), _signed(0.0012, "survey_tilt")
    ('+0.031', '+1.20')
    """
    if what == "survey_tilt":
        return f"{1000 * value:+.2f}"
    return f"{np.degrees(value):+.3f}" if what == "survey_turn" else f"{value:+.3f}"


def _accepted(found: Mapping[str, Any]) -> list[Markup]:
    """Return suspicions that the config accepts, with its reasons."""
    faults = check_report.found_by(found, "accepted")
    if not faults:
        return []
    rows = [[f.survey, f.kind, f.file, f.row, f.found, f.remedy] for f in faults]
    head = ["survey", "kind", "file", "row", "found", "reason"]
    return [el("section", el("h2", "Suspicions that are accepted"), table(head, rows))]


def _stops(page: Page, frame: Frame) -> list[Markup]:
    """Return tomorrow's list with a picture of the way."""
    rows = page.found["remeasure"]
    if not rows:
        return []
    places = [(row["easting"], row["northing"]) for row in rows]
    control = standing_marks(page.control)
    marks = [Mark(f"S{row['stop']}", at, "stop") for row, at in zip(rows, places, strict=True)]
    marks += [Mark(mark.point, (mark.easting, mark.northing), "control") for mark in control]
    start = [(control[0].easting, control[0].northing)] if control else []
    drawn = picture(
        frame,
        count=len(page.sketches),
        own=None,
        marks=marks,
        route=[*start, *places],
        title="Places to measure again, in order",
    )
    words = "Stops in order, joined by a dashed line; triangles are marks that stand."
    level = page.site.depths_below
    inside = [
        el("h2", "To measure again"),
        el("figure", drawn, el("figcaption", words, class_="note"), style="margin:0"),
        as_html(rows, level),
    ]
    return [el("section", *inside)]


def _cautions(site: Site) -> Markup:
    level = site.depth_level
    about = (
        f"Heights are metres above {site.vertical_datum}; depths are metres below {level.name}, "
        f"{level.height_m:+.3f} m from it. Grid: {site.crs}."
    )
    items = el("ul", *(el("li", caution) for caution in CAUTIONS))
    return el("section", el("h2", "Cautions"), items, el("p", about, class_="note"))
