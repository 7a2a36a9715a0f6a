"""Parts of a season's page told by other records: walls as seen, tracings, the seabed's change."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from wrackline.accuracy.markup import Markup, el, table
from wrackline.publish.change_table import registration_words
from wrackline.publish.pages import Part, image
from wrackline.publish.report_text import counted, listed
from wrackline.quantities import fixed, measured
from wrackline.seasons.judging import STATUSES
from wrackline.seasons.to_decide import Question

SEEN_WORDS = (
    "What this season's surveys say of the walls of the plan, by length on the ground. Not seen is "
    "not gone: the words are suggestions with their evidence in tables/sightings.csv, and no wall "
    "is taken off the plan by them."
)
CHANGE_WORDS = (
    "Later less earlier, over all bed that both seasons have, no cell left out; walls, plants and "
    "dug ground stand apart. The sd covers random, patchy and named errors of both; what both "
    "rest on cancels."
)
TRACED_WORDS = (
    "Lines of this season that lie further off a wall than their errors explain have no share in "
    "its place until somebody looks into it."
)
NEXT_VISIT = "a look on site"
CORRECTIONS = "config/corrections.csv"
_WAYS = ("came", "went")
MAP = "Map of how the seabed changed, with areas of change and ground dug by the team"


def seen_part(sightings: gpd.GeoDataFrame) -> Part:
    """Return what a season saw of the walls.

    Parameters
    ----------
    sightings : GeoDataFrame
        The contract's `sightings` of the season.
    """
    lengths = sightings.groupby("status")["length_m"].sum()
    told = [(status, float(lengths.get(status, 0.0))) for status in STATUSES]
    whole = sum(length for _, length in told)
    rows = [
        [status, f"{fixed(length, 0)} m", f"{length / whole:.0%}"]
        for status, length in reversed(told)
        if length > 0
    ]
    head = ["walls", "length", "of all recorded"]
    said = [table(head, rows)] if rows else [el("p", "There is no wall on the plan to look for.")]
    return Part("seen", "Walls as this season saw them", [el("p", SEEN_WORDS), *said])


def traced_part(tracings: gpd.GeoDataFrame, season: str) -> Part:
    """Return which of a season's lines disagree about a wall.

    Parameters
    ----------
    tracings : GeoDataFrame
        `work/walls/<view>/tracings.parquet`.
    season : str
    """
    mine = tracings[tracings["season"] == season]
    surveys = tracings.groupby("wall_line")["survey"].nunique()
    again = mine[mine["wall_line"].map(surveys) > 1]
    off = mine[mine["disagrees"].fillna(False).astype(bool)]
    words = (
        f"Of {counted(len(mine), 'line')} traced, {len(again)} are of walls that another survey "
        f"traced too; {len(off)} disagree."
    )
    rows = [
        [told["line"], told["survey"], measured(_real(told["off_m"]), _real(told["off_sd_m"]), "m"),
         told["why"]]
        for told in off.sort_values(["survey", "line"]).head(12).to_dict("records")
    ]  # fmt: skip
    listing = [table(["line", "survey", "off the wall", "why"], rows)] if rows else []
    return Part("traced", "Walls traced again", [el("p", words), el("p", TRACED_WORDS), *listing])


def _real(value: Any) -> float | None:
    return None if pd.isna(value) else float(value)


def change_part(figures: Sequence[Mapping[str, Any]], maps: Sequence[bytes]) -> list[Part]:
    """Return how the seabed changed since the season before that was sounded; none, no part.

    Parameters
    ----------
    figures : sequence of mapping
        Figures of one pair of seasons, see `seasons.seabed_change.measure_change`.
    maps : sequence of bytes
        Its map as PNG.
    """
    return [_change(pair, png) for pair, png in zip(figures, maps, strict=True)]


def _change(pair: Mapping[str, Any], png: bytes) -> Part:
    site, gross, dug = pair["site"], pair["gross"], pair["dug"]
    came, went = (measured(gross[f"{way}_m3"], gross["gross_sd_m3"], "m3") for way in _WAYS)
    rows = [
        ["ground compared", f"{fixed(site['area_m2'], 0)} m²"],
        ["net volume", measured(site["volume_m3"], site["volume_sd_m3"], "m3")],
        ["mean change", measured(site["mean_m"], site["mean_sd_m"], "m")],
        ["came, freed of the noise's share", came],
        ["went, freed of the noise's share", went],
        ["areas of change", str(pair["area_count"])],
        ["dug by the team", measured(dug["volume_m3"], dug["volume_sd_m3"], "m3")],
        ["stable ground", registration_words(pair["stable"]["registration"])],
    ]
    inside: list[Markup] = [
        el("p", CHANGE_WORDS),
        table(["", ""], rows),
        el("figure", image(png, MAP)),
        el("p", "By room, building and area: tables/seabed_change.csv."),
    ]
    return Part("bed", f"The seabed since {pair['earlier']}", inside)


def season_questions(
    states: Mapping[str, Any], rooms: gpd.GeoDataFrame, disagree: Sequence[str], season: str
) -> Iterator[Question]:
    """Yield what these records ask: rooms suggested as lost, tracings that disagree.

    Parameters
    ----------
    states : mapping
        The season's `states.json`.
    rooms : GeoDataFrame
        Its numbered rooms.
    disagree : sequence of str
        What the joining of walls says of tracings that disagree.
    season : str
    """
    place = dict(zip(rooms["room"], rooms.geometry, strict=True))
    area = dict(zip(rooms["room"], rooms["floor_area_m2"].fillna(0.0), strict=True))
    for event in states["events"]:
        if event["event"] in ("lost", "seen again") and event["number"] in place:
            room = str(event["number"])
            yield Question(
                f"{event['event']}, {season} suggests ({event['why']}): is it so?",
                room,
                shapely.point_on_surface(shapely.force_2d(place[room])),
                f"whether {listed([room])} still stands",
                float(area[room]),
                NEXT_VISIT,
            )
    for note in disagree:
        yield Question(note, "", None, "where that wall lies", 0.0, CORRECTIONS)
