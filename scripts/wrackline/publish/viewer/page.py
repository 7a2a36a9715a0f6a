"""The plan viewer: one page that holds the plan, its figures and its sources, and fetches nothing.

What the page says of things stands in it as JSON, which its script turns into text and lines; no
text ever becomes markup. The content security policy names the page's own style and script by
their hashes and allows nothing else, so no request can leave.
"""

from __future__ import annotations

import base64
import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from pyproj import CRS

from wrackline.accuracy.markup import Markup, el, plain, void
from wrackline.crs import grid_factors
from wrackline.publish.passages import passages
from wrackline.publish.phases import as_last_stood
from wrackline.publish.report_text import absent, records
from wrackline.publish.shrinking import Small
from wrackline.publish.viewer.facts import Told
from wrackline.publish.viewer.kinds import EARLIER, KINDS, Known, body_data, kind_data
from wrackline.publish.viewer.shapes import Zero, packed, relief_picture
from wrackline.publish.viewer.words import ABOUT, LAYERS, TONES, WORDS
from wrackline.publish.viewer.words import KINDS as KIND_WORDS
from wrackline.quantities import fixed

DATA_FILES = (
    "page.css",
    "shapes.js",
    "drawing.js",
    "figures.js",
    "table.js",
    "measure.js",
    "hands.js",
    "app.js",
)
"""The page's style, and its script in the order in which its parts are put together."""
PLACE = ("crs", "vertical_datum")
"""Topics of the statement that help to find the site."""
MARGIN_M = 4.0
CALM_M = 0.05
"""Contours lose bends smaller than this: no contour is known so well."""
RELIEF_PX = 1600
TABLE_OF = {"walls": "wall_lines"}
"""Layer of a kind of things whose name is another."""


@dataclass(frozen=True)
class Viewer:
    """What the page is made from.

    Attributes
    ----------
    about : mapping of str to str
        Statement beside the figures, see `wrackline.publish.words`.
    told : Told
        Plan, surveys, tables about rooms, events and the walls' condition.
    more : mapping of str to GeoDataFrame
        Layers beside the plan, each may be missing: `contours`, `waterlines`, `changes`,
        `trenches`, `spots`.
    phases : sequence of str
        Names of the phases, the earliest first.
    shade : Small or None
        The seabed lit from around; None where there is no seabed model.
    """

    about: Mapping[str, str]
    told: Told
    more: Mapping[str, gpd.GeoDataFrame] = field(default_factory=dict)
    phases: Sequence[str] = ("",)
    shade: Small | None = None

    def html(self) -> str:
        """Return the page: equal input gives equal bytes."""
        title = WORDS["title"].format(site=self.about["site"])
        style, script = _code("page.css"), _script()
        head = el(
            "head",
            void("meta", charset="utf-8"),
            void("meta", http_equiv="Content-Security-Policy", content=policy(style, script)),
            void("meta", name_="viewport", content="width=device-width, initial-scale=1"),
            void("meta", name_="robots", content="noindex"),
            void("meta", name_="referrer", content="no-referrer"),
            void("link", rel="icon", href="data:,"),
            el("title", title),
            el("style", Markup(style)),
        )
        held = el("script", Markup(as_json(self.data())), type="application/json", id="data")
        body = el("body", *_parts(self.about), held, el("script", Markup(script)))
        return "<!DOCTYPE html>\n" + el("html", head, body, lang="en") + "\n"

    def data(self) -> dict[str, Any]:
        """Return all that the page holds, as what JSON can hold."""
        tables = self._tables()
        bounds = _bounds([*tables.values(), *self._lines().values()])
        zero = Zero(*np.floor(bounds[:2]).tolist())
        known = self._known(zero)
        there = [kind for kind in KINDS if kind.name in tables]
        kinds = [kind_data(kind, tables[kind.name], self.told, known) for kind in there]
        ends = [round(100 * end) for end in (bounds - np.tile(bounds[:2] // 1, 2)).tolist()]
        return {
            "site": plain(self.about["site"]),
            "about": [[ABOUT[key], plain(self.about[key])] for key in ABOUT if key not in PLACE],
            "caution": plain(self.about["caution"]),
            "place": self._place(bounds, zero),
            "bounds": ends,
            "seasons": list(known.seasons),
            "surveys": [_survey(row) for row in records(self.told.houses.surveys)],
            "kinds": kinds,
            "bodies": body_data(self.told.houses.plan["wall_bodies"], known),
            "passages": packed(list(passages(self.told.houses.plan)), zero),
            "lines": {name: _drawn(t, zero) for name, t in self._lines().items()},
            "relief": relief_picture(self.shade, zero) if self.shade is not None else None,
            "words": WORDS,
            "layers": LAYERS,
            "tones": TONES,
            "kind_words": KIND_WORDS,
        }

    def _tables(self) -> dict[str, gpd.GeoDataFrame]:
        """Return the rows of every kind of things that is there."""
        plan = dict(self.told.houses.plan)
        stood = as_last_stood(plan, self.phases)
        for name in ("rooms", "wall_lines"):
            plan[name] = plan[name].assign(**{EARLIER: ~plan[name].index.isin(stood[name].index)})
        tables = plan | dict(self.more)
        layers = {kind.name: TABLE_OF.get(kind.name, kind.name) for kind in KINDS}
        return {name: tables[at] for name, at in layers.items() if at in tables and len(tables[at])}

    def _lines(self) -> dict[str, gpd.GeoDataFrame]:
        """Return what is drawn of the seabed and never picked."""
        return {name: self.more[name] for name in ("contours", "waterlines") if name in self.more}

    def _known(self, zero: Zero) -> Known:
        surveys = records(self.told.houses.surveys)
        names = sorted({str(row["season"]) for row in surveys})
        seasons = {name: place for place, name in enumerate(names)}
        places = {str(row["survey"]): place for place, row in enumerate(surveys)}
        return Known(seasons, places, [seasons[str(row["season"])] for row in surveys], zero)

    def _place(self, bounds: Any, zero: Zero) -> dict[str, Any]:
        """Return all that gives the site's place away, in one object that may be left out."""
        west, south, east, north = bounds
        middle = np.array([(west + east) / 2]), np.array([(south + north) / 2])
        turn, scale = grid_factors(self.about["crs"], *middle)
        return {
            "easting": zero.easting,
            "northing": zero.northing,
            "turn_deg": round(float(turn[0]), 4),
            "scale": round(float(scale[0]), 7),
            "about": [[ABOUT[key], plain(self.about[key])] for key in PLACE],
            "crs_name": CRS.from_user_input(self.about["crs"]).name,
        }


def as_json(data: Any) -> str:
    r"""Return data as JSON that may stand within a page: no text in it can end the script.

    Examples
    --------
    >>> as_json({"note": "</script><b>"})
    '{"note":"\\u003c/script>\\u003cb>"}'
    """
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return text.replace("<", "\\u003c")


def policy(style: str, script: str) -> str:
    """Return the content security policy: this style, this script, pictures in the page."""
    return "; ".join(
        [
            "default-src 'none'",
            "img-src data:",
            f"style-src '{_hash(style)}'",
            f"script-src '{_hash(script)}'",
            "base-uri 'none'",
            "form-action 'none'",
            "require-trusted-types-for 'script'",
            "trusted-types 'none'",
        ]
    )


def _hash(text: str) -> str:
    digest = hashlib.sha256(text.encode("utf-8")).digest()
    return "sha256-" + base64.b64encode(digest).decode("ascii")


def _code(name: str) -> str:
    return Path(__file__).with_name(name).read_text(encoding="utf-8")


def _script() -> str:
    """Return the page's script: its files one after the other, in a scope of their own."""
    files = [_code(name) for name in DATA_FILES if name.endswith(".js")]
    return '"use strict";\n{\n' + "".join(files) + "}\n"


def _bounds(tables: Sequence[gpd.GeoDataFrame]) -> Any:
    """Return the edges of all that is drawn, with a margin [m]."""
    shapes = [table.geometry.to_numpy() for table in tables if len(table)]
    edges = shapely.total_bounds(np.concatenate(shapes)) if shapes else np.zeros(4)
    edges = edges if np.isfinite(edges).all() else np.zeros(4)
    return edges + MARGIN_M * np.array([-1.0, -1.0, 1.0, 1.0])


def _survey(row: Mapping[str, Any]) -> dict[str, Any]:
    first, last = str(row["from_date"]), str(row["to_date"])
    return {
        "name": plain(row["survey"]),
        "season": str(row["season"]),
        "technique": plain(row["technique"]),
        "dates": first if first == last else f"{first} – {last}",
        "file": plain(row["file"]),
    }


def _drawn(table: gpd.GeoDataFrame, zero: Zero) -> dict[str, Any]:
    """Return contours or waterlines: shapes, which are bold, and what is written where."""
    calm = np.asarray(table.geometry.simplify(CALM_M))
    named = "sea_level" in table.columns
    names, places = _names(table, calm) if named else _heights(table)
    there = np.flatnonzero(np.isfinite(places).all(axis=1))
    ticks, long = zero.ticks(places[there]).tolist(), shapely.length(calm[there]) * 100
    texts = [
        [*tick, round(length), names[k]]
        for k, tick, length in zip(there.tolist(), ticks, long.tolist(), strict=True)
    ]
    bold = [] if named else [bool(flag) for flag in table["index"].fillna(False)]
    return {"shapes": packed(list(calm), zero), "bold": bold, "texts": texts}


def _names(table: gpd.GeoDataFrame, calm: Any) -> tuple[list[str], Any]:
    """Return names of sea levels and the middles of their lines, shape (n, 2) [m]."""
    middles = shapely.line_interpolate_point(calm, 0.5, normalized=True)
    return [plain(name) for name in table["sea_level"]], shapely.get_coordinates(middles)


def _heights(table: gpd.GeoDataFrame) -> tuple[list[str], Any]:
    """Return heights of contours and where they may be written, shape (n, 2) [m]."""
    names = ["" if absent(h) else f"{fixed(float(h), 2)} m" for h in table["height_m"]]
    return names, table[["label_easting_m", "label_northing_m"]].to_numpy(dtype=float)


def _parts(about: Mapping[str, str]) -> list[Markup]:
    """Return what stands in the page before its script fills it."""
    site = {"site": about["site"]}
    title = el("h1", WORDS["title"].format(**site))
    caution = el("p", about["caution"], class_="caution")
    skip = el("a", WORDS["to_table"], href="#list", class_="skip")
    without = el("noscript", el("p", WORDS["no_script"]))
    return [skip, el("header", title, caution), without, _main(site)]


def _main(site: Mapping[str, str]) -> Markup:
    look = {"tabindex": 0, "role": "application", "aria_describedby": "keys"}
    label = WORDS["plan_label"].format(**site)
    plan = el(
        "section",
        el(
            "div",
            el("div", id="tools", role="toolbar", aria_label=WORDS["tools"]),
            el("p", id="where", aria_hidden="true"),
            id="strip",
        ),
        el("div", el("canvas", id="map", aria_label=label, **look), id="ground"),
        el("p", WORDS["keys"], id="keys", class_="unseen"),
        el("p", id="said", class_="unseen", role="status", aria_live="polite"),
        el("canvas", id="paper", role="img", aria_label=label),
        id="plan",
        aria_label=WORDS["plan"],
    )
    measure = el("section", id="measure", aria_label=WORDS["measure"], hidden="")
    table = el("section", id="list", aria_label=WORDS["table"], tabindex=-1, hidden="")
    tabs = [
        el("button", WORDS[f"tab_{name}"], type="button", role="tab", id=f"tab-{name}", **given)
        for name in ("layers", "figures", "about")
        for given in [{"aria_controls": f"part-{name}"}]
    ]
    panels = [
        el("div", id=f"part-{name}", role="tabpanel", aria_labelledby=f"tab-{name}", tabindex=0)
        for name in ("layers", "figures", "about")
    ]
    row = el("div", *tabs, role="tablist", aria_label=WORDS["side"])
    side = el("aside", row, *panels, id="side", aria_label=WORDS["side"])
    return el("main", plan, measure, table, side)
