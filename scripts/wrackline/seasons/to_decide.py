"""What needs a person's decision after a season, ranked by what it would settle."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import geopandas as gpd
import pandas as pd
import shapely

from wrackline import contract
from wrackline.seasons.freezing import LAYER_OF

IN_DOUBT = (0.1, 0.9)
"""A closing in this share of the plausible outlines is no foregone matter (no source)."""
TOUCHES_M = 0.05
"""A room this near a closing is parted by it."""

READINGS, DECISIONS, NUMBERS, PHASES = (
    f"config/{name}.csv" for name in ("interpretations", "decisions", "numbers", "phases")
)


@dataclass(frozen=True)
class Question:
    """One thing to decide.

    Attributes
    ----------
    question : str
        What to decide, in words.
    number : str
        The thing that it is about; several separated by semicolons.
    place : Point or None
        Where it is.
    settles : str
        What is settled by it, in words.
    floor_m2 : float
        Floor area of the rooms of which it settles something, as far as it is in doubt [m²].
    where : str
        File in which the answer is written.
    """

    question: str
    number: str
    place: shapely.Point | None
    settles: str
    floor_m2: float
    where: str


def questions(
    plan: Mapping[str, gpd.GeoDataFrame],
    events: Sequence[Mapping[str, Any]],
    readings: pd.DataFrame,
    notes: Sequence[str],
    more: Iterable[Question] = (),
) -> pd.DataFrame:
    """Return what needs a person's decision, what settles most floor first.

    Parameters
    ----------
    plan : mapping of str to GeoDataFrame
        The season's numbered plan.
    events : sequence of mapping
        The season's events.
    readings : DataFrame
        Interpretations followed to the season.
    notes : sequence of str
        What the joining of walls leaves to the register of phases.
    more : iterable of Question
        What other parts of the record ask.

    Returns
    -------
    DataFrame
        The fields of `contract.TABLES["to_decide"]`.
    """
    areas = _areas(plan)
    asked = [
        *_closings(plan, areas),
        *_readings(plan, readings, areas),
        *_printed(plan, events, areas),
        *(
            Question(note, "", None, "which of two walls is the later", 0.0, PHASES)
            for note in notes
        ),
        *more,
    ]
    asked.sort(key=lambda q: (-q.floor_m2, q.where, q.number, q.question))
    rows = [
        {
            "rank": rank,
            "question": q.question,
            "number": q.number,
            "easting": None if q.place is None else q.place.x,
            "northing": None if q.place is None else q.place.y,
            "settles": q.settles,
            "floor_m2": q.floor_m2,
            "answer_in": q.where,
        }
        for rank, q in enumerate(asked, start=1)
    ]
    return pd.DataFrame(rows, columns=list(contract.table_columns("to_decide")))


def _areas(plan: Mapping[str, gpd.GeoDataFrame]) -> dict[tuple[str, str], float]:
    """Return the floor area behind each room and building, 0 where it isn't known [m²]."""
    rooms = plan["rooms"]
    floors = rooms["floor_area_m2"].fillna(0.0).to_numpy(float)
    areas = {("room", str(n)): float(a) for n, a in zip(rooms["room"], floors, strict=True)}
    for number, area in zip(rooms["building"], floors, strict=True):
        if isinstance(number, str):
            key = ("building", number)
            areas[key] = areas.get(key, 0.0) + float(area)
    return areas


def _closings(
    plan: Mapping[str, gpd.GeoDataFrame], areas: Mapping[tuple[str, str], float]
) -> Iterator[Question]:
    """Yield inferred closings that some plausible outlines have and others lack."""
    walls, rooms = plan["wall_lines"], plan["rooms"]
    doubtful = walls["support"].between(*IN_DOUBT).fillna(False).to_numpy(bool)
    lines = walls[doubtful]
    tree = shapely.STRtree(rooms.geometry.to_numpy())
    i, j = tree.query(lines.geometry.to_numpy(), predicate="dwithin", distance=TOUCHES_M)
    beside: dict[int, list[str]] = {}
    for row, room in zip(i.tolist(), j.tolist(), strict=True):
        beside.setdefault(row, []).append(str(rooms["room"].iloc[room]))
    for row, told in enumerate(lines.to_dict("records")):
        names = sorted(beside.get(row, ()))
        if names:
            middle = shapely.line_interpolate_point(told["geometry"], 0.5, normalized=True)
            yield Question(
                f"is there a wall or a door across this gap of {told['gap_m']:.2f} m "
                f"({told['closing']}, in {told['support']:.0%} of the plausible outlines)?",
                str(told["wall"]),
                shapely.force_2d(middle),
                f"outline of {', '.join(names)}",
                in_doubt(told["support"]) * sum(areas[("room", name)] for name in names),
                DECISIONS,
            )


def in_doubt(share: float) -> float:
    """Return how much is left to settle of what is so in a share of cases: 1 at a half, 0 at none.

    >>> in_doubt(0.5), in_doubt(1.0)
    (1.0, 0.0)
    """
    return 4 * share * (1 - share)


def _readings(
    plan: Mapping[str, gpd.GeoDataFrame],
    readings: pd.DataFrame,
    areas: Mapping[tuple[str, str], float],
) -> Iterator[Question]:
    """Yield readings whose thing changed since, and readings that dispute each other."""
    for told in readings.to_dict("records"):
        if told["review"] and told["status"] != "superseded":
            number = told["number"] if isinstance(told["number"], str) else ""
            yield Question(
                f"{told['who']} read it as {told['reading']} on {told['when']}: {told['review']}; "
                "does that still hold?",
                number,
                _place(plan, str(told["what"]), number),
                f"what {number or told['given'] or 'nothing on the plan'} is read as",
                areas.get((str(told["what"]), number), 0.0),
                READINGS,
            )
    disputed = readings[readings["status"] == "disputed"]
    for key, mine in disputed.groupby(["what", "number"], sort=True):
        what, number = map(str, key)
        words = sorted(f"{t['reading']} ({t['who']})" for t in mine.to_dict("records"))
        yield Question(
            f"readers differ: {' or '.join(words)}?",
            number,
            _place(plan, what, number),
            f"what {number} is read as",
            areas.get((what, number), 0.0),
            READINGS,
        )


def _printed(
    plan: Mapping[str, gpd.GeoDataFrame],
    events: Sequence[Mapping[str, Any]],
    areas: Mapping[tuple[str, str], float],
) -> Iterator[Question]:
    """Yield numbers in print of which the plan has the thing no longer, or drawn otherwise."""
    for event in events:
        if event["event"] in ("gone", "redrawn") and "in print" in str(event["why"]):
            children = [child for child in str(event["children"]).split(";") if child]
            what = str(event["what"])
            yield Question(
                f"{what} {event['number']} is in print and no longer on the plan: is it given up?",
                str(event["number"]),
                _place(plan, what, children[0] if children else ""),
                f"the number, and {', '.join(children) or 'nothing'} in its place",
                sum(areas.get((what, child), 0.0) for child in children),
                NUMBERS,
            )


def _place(plan: Mapping[str, gpd.GeoDataFrame], what: str, number: str) -> shapely.Point | None:
    table = plan[LAYER_OF[what]]
    shapes = table.geometry.to_numpy()[(table[what] == number).to_numpy(bool)]
    return shapely.force_2d(shapely.point_on_surface(shapes[0])) if len(shapes) else None
