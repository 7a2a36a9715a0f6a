"""A page for each building, to be printed and checked on site: picture, rooms, openings, key."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import geopandas as gpd

from wrackline.accuracy.markup import Markup, el, join, table, void
from wrackline.publish.report_building import building_key, building_plan, openings_of
from wrackline.publish.report_plan import STYLE as PLAN_STYLE
from wrackline.publish.report_text import absent, deep, pairs, percent, records, shown, spaced
from wrackline.quantities import MISSING, fixed

STYLE = (
    PLAN_STYLE
    + """
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 0.8rem 1rem; max-width: 62rem; background: #fff; color: #1b1b1b;
  font: 0.95rem/1.4 Arial, "Liberation Sans", "Noto Sans", sans-serif; }
h1 { font-size: 1.5rem; } h2 { font-size: 1.2rem; margin: 0 0 0.4rem; }
section { border-top: 3px solid #1b1b1b; padding: 0.5rem 0 1.6rem; }
a { color: #12507a; } .index { word-spacing: 0.5rem; font-size: 0.9rem; }
.facts, .caution { margin: 0.3rem 0; font-size: 0.8rem; } .caution { font-weight: bold; }
.wide { overflow-x: auto; } table { border-collapse: collapse; font-size: 0.84rem; }
caption { text-align: left; font-weight: bold; padding-top: 0.4rem; }
th, td { border-bottom: 1px solid #b5b5b5; padding: 0.1rem 0.7rem 0.1rem 0.2rem;
  text-align: left; vertical-align: top; } td.num { text-align: right; }
dl { display: grid; grid-template-columns: max-content minmax(0, 1fr); gap: 0.05rem 0.8rem;
  margin: 0.4rem 0; font-size: 0.88rem; } dt { color: #4a4a4a; } dd { margin: 0; }
.key { list-style: none; padding: 0; margin: 0.4rem 0; display: grid; gap: 0.05rem 1rem;
  grid-template-columns: repeat(auto-fill, minmax(min(100%, 19rem), 1fr)); font-size: 0.82rem; }
.key li { display: flex; align-items: center; gap: 0.5rem; }
.key svg.plan { flex: none; width: 2.6rem; border: 0; }
@page { size: A4; margin: 12mm; }
@media print { body { max-width: none; padding: 0; font-size: 8.5pt; } .index { display: none; }
  section { break-before: page; border: 0; padding: 0; } tr { break-inside: avoid; }
  a { color: inherit; text-decoration: none; } svg.plan { max-height: 112mm; }
  table, .facts { font-size: 7.6pt; } .key, .caution { font-size: 6.8pt; }
  .key { grid-template-columns: repeat(3, 1fr); } .key svg.plan { width: 9mm; }
  * { print-color-adjust: exact; -webkit-print-color-adjust: exact; } }
"""
)
READING = (
    "A page for each building, to check on site. Solid lines were recorded; broken ones are "
    "inferred: nobody saw them. rec. is the share of a room's outline that was recorded, support "
    "the share of plausible outlines in which the room stands. Discs are openings, listed below "
    "each picture. The plans are upright in the grid; the arrow is true north."
)


def building_pages(plan: Mapping[str, gpd.GeoDataFrame], about: Mapping[str, str]) -> str:
    """Return one HTML page with a sheet of paper for each building.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The numbered plan.
    about : mapping of str to str
        Statement beside the figures.

    Returns
    -------
    str
        Equal input gives equal bytes.
    """
    title = f"{about['site']}: buildings"
    head = el("head", void("meta", charset="utf-8"), el("title", title), el("style", Markup(STYLE)))
    numbers = list(plan["buildings"]["building"])
    links = join((el("a", number, href=f"#{number}") for number in numbers), " ")
    words = links if numbers else "No building is on the plan."
    facts = pairs([(name, about[key]) for name, key in (("grid", "crs"), ("depths", "depths"))])
    top = [el("h1", title), el("p", READING), facts, el("p", words, class_="index")]
    sheets = [_sheet(plan, row, about) for row in records(plan["buildings"])]
    return "<!DOCTYPE html>\n" + el("html", head, el("body", *top, *sheets), lang="en") + "\n"


def _sheet(
    plan: Mapping[str, gpd.GeoDataFrame], building: Mapping[str, Any], about: Mapping[str, str]
) -> Markup:
    number = building["building"]
    rooms = plan["rooms"][plan["rooms"]["building"] == number].sort_values("room")
    facts = [
        f"footprint {shown(building, 'footprint_m2')}",
        f"axis {shown(building, 'axis_deg', ' from true north')}",
        f"wall tops {deep(building, 'top_depth_m')}",
        f"support {_share(building['support'])}",
        f"surveys {spaced(building['surveys'])}",
        f"surveyed {about['surveyed']}",
    ]
    return el(
        "section",
        el("h2", f"Building {number}, {about['site']}", id=number),
        building_plan(plan, number),
        building_key(),
        el("p", about["caution"], class_="caution"),
        el("p", "; ".join(facts), class_="facts"),
        _rooms(rooms),
        _openings(openings_of(plan, number)),
    )


def _rooms(rooms: gpd.GeoDataFrame) -> Markup:
    head = ["room", "kind, suggested", "floor area", "recorded", "support", "seabed", "floor"]
    rows = [
        [
            el("span", row["room"], id=row["room"]),
            row["kind"],
            shown(row, "floor_area_m2"),
            percent(row["recorded_share"]),
            _share(row["support"]),
            deep(row, "bed_depth_m"),
            "none met" if absent(row["floor_depth_m"]) else deep(row, "floor_depth_m"),
        ]
        for row in records(rooms)
    ]
    return table(head, rows, caption="Rooms")


def _openings(openings: gpd.GeoDataFrame) -> Markup:
    if not len(openings):
        return el("p", "No opening is on the plan.")
    rows = [
        [key, row["opening"], row["evidence"], shown(row, "width_m"), spaced(row["joins"])]
        for key, row in enumerate(records(openings), start=1)
    ]
    return table(["disc", "opening", "evidence", "width", "joins"], rows, caption="Openings")


def _share(value: object) -> str:
    return MISSING if absent(value) else fixed(float(str(value)), 2)
