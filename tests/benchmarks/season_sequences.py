"""Simulated sequences of seasons: what the library says of rooms from season to season, and truth.

Every sequence is a town with 3 to 6 seasons of surveys (`season_surveys`); each season's plan is
made in process from the lines of all seasons so far, as the workflow makes it; the identities are
the matter of a function that is handed in; `season_score` holds what it says against the truth.
Each sequence is told three times: as it went, with its first file repaired after numbers were
frozen, and with an older plan put before it after numbers were frozen.

`season_sequences.py [sequences [first seed]] [nearest] [once]` prints failures and the table.
"""

from __future__ import annotations

import os
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, Protocol

import geopandas as gpd
import numpy as np
import pandas as pd
import season_score as scored
import shapely
from season_lines import score_openings, score_walls
from season_sightings import lost
from season_surveys import CRS, ORIGIN, Seasons, Traced, make_sequence, repaired, with_older

from wrackline import vectors
from wrackline.model import Decision, Interpretation, ReadingSettings, Site
from wrackline.rooms.bed import Bed
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.seasons.freezing import frozen_rows
from wrackline.seasons.interpretations import Record, follow
from wrackline.seasons.replay import Replayed, replay
from wrackline.walls.joining import Team, join_walls
from wrackline.walls.linework import ITEM_COLUMNS

FIRST_SEED = 1000
SEQUENCES = 200
FULL: Mapping[str, tuple[int, int]] = {}
SMALL = {"rooms": (3, 6), "seasons": (3, 4)}
"""Sizes of towns and sequences: those of the bars, and small ones that are soon told."""

Plan = Mapping[str, gpd.GeoDataFrame]


class Told(Protocol):
    """What is said of one season: its plan with lasting numbers, and what became of things."""

    season: str
    plan: Plan
    events: pd.DataFrame


Identify = Callable[
    [Sequence[tuple[str, Plan]], "gpd.GeoDataFrame | None", tuple[float, float]], Sequence[Told]
]
Freeze = Callable[[Plan, str], gpd.GeoDataFrame]
Follow = Callable[
    [list[dict[str, Any]], Sequence[Told]], Sequence[dict[int, tuple[str | None, bool]]]
]
Lost = Callable[[list[Traced], Told], set[str]]


@dataclass(frozen=True)
class Hooks:
    """What is put to the test.

    Attributes
    ----------
    identify : callable
        Plans of all seasons, frozen numbers and the site's origin in; what is told of each out.
    freeze : callable or None
        A finished season's plan and its name in, rows of frozen numbers out.
    follow : callable or None
        Interpretations in, and what is told of the seasons; out, for each season, the number that
        each row is tied to (None for none), and whether it is listed for review.
    lost : callable or None
        The surveys so far and what is told of a season in; the numbers of lost rooms out.
    """

    identify: Identify
    freeze: Freeze | None = None
    follow: Follow | None = None
    lost: Lost | None = None


def plan_of(surveys: Sequence[Traced], decisions: Sequence[Decision]) -> Plan:
    """Return the plan of a view of some surveys, numbered by place, without a seabed.

    No figure's uncertainty is asked for here, so patches are left out of them: they take long.
    """
    site = _site()
    lines = gpd.GeoDataFrame(pd.concat([s.lines for s in surveys], ignore_index=True), crs=CRS)
    models = [s.model for s in surveys]
    team = Team(decisions=tuple(decisions))
    joined = join_walls(lines, {m.survey: m for m in models}, site.walls, team)
    alone = [replace(m, patchy_horizontal=0.0, patchy_vertical=0.0) for m in models]
    view = prepare(joined.network, alone, site, (), decisions, joined.outcomes)
    empty = vectors.empty(ITEM_COLUMNS, CRS)
    return make_plan(view, Items(empty, empty, []), Bed())


def _site() -> Site:
    level = {"name": "msl", "height_m": 0.0, "sd_m": 0.02}
    return Site.model_validate(
        {
            "schema_version": 1,
            "name": "simulated",
            "crs": CRS,
            "vertical_datum": "invented",
            "origin": ORIGIN,
            "sea_levels": [level],
            "depths_below": "msl",
        }
    )


def plans_of(sequence: Seasons) -> list[tuple[str, Plan]]:
    """Return the plan as known after each season."""
    return [(n, plan_of(sequence.upto(n), sequence.decisions(n))) for n in sequence.names]


@dataclass(frozen=True)
class _Simple:
    season: str
    plan: Plan
    events: pd.DataFrame


def nearest_centre(
    plans: Sequence[tuple[str, Plan]], frozen: gpd.GeoDataFrame | None, origin: tuple[float, float]
) -> list[_Simple]:
    """Identify rooms by the nearest centre of the season before, within 2 m: the simplest way.

    It is here to show that the bars can be missed. It knows no events and freezes nothing.
    """
    told: list[_Simple] = []
    none = pd.DataFrame(columns=["season", "what", "event", "number", "parents", "children"])
    for season, plan in plans:
        rooms = plan["rooms"].copy()
        if told and len(rooms):
            before = told[-1].plan["rooms"]
            middles = shapely.centroid(before.geometry.to_numpy())
            for k, middle in enumerate(shapely.centroid(rooms.geometry.to_numpy())):
                away = shapely.distance(middles, middle)
                if len(away) and away.min() < 2.0:
                    number = before["room"].iloc[int(np.argmin(away))]
                    rooms.iloc[k, rooms.columns.get_loc("room")] = number
        told.append(_Simple(season, {**plan, "rooms": rooms}, none))
    return told


def frozen_as_numbered(plan: Plan, season: str) -> gpd.GeoDataFrame:
    """Freeze a plan's rooms by number and place, for trials without the library's own way."""
    rooms = plan["rooms"]
    data = {"number": rooms["room"], "season": season}
    return gpd.GeoDataFrame(data, geometry=rooms.geometry.to_numpy(), crs=CRS)


def one_sequence(
    seed: int, hooks: Hooks, size: Mapping[str, tuple[int, int]] = FULL
) -> tuple[Counter[str], list[str]]:
    """Return the counts of one sequence, and its failures in words."""
    sequence = make_sequence(seed, **size)
    told = hooks.identify(plans_of(sequence), None, ORIGIN)
    count, failures = scored.score_rooms(sequence, told)
    scored.score_buildings(sequence, told, count, failures)
    score_walls(sequence, told, count, failures)
    score_openings(sequence, told, count, failures)
    if hooks.follow:
        scored.score_notes(sequence, told, hooks.follow, count, failures)
    if hooks.lost:
        scored.score_losses(sequence, told, hooks.lost, count, failures)
    if hooks.freeze:
        _score_frozen(sequence, told, hooks, count, failures)
    return count, failures


def _score_frozen(
    sequence: Seasons,
    told: Sequence[Told],
    hooks: Hooks,
    count: Counter[str],
    failures: list[str],
) -> None:
    """Freeze a season's numbers, then tell the sequence again with changed early files."""
    assert hooks.freeze is not None
    rng = np.random.default_rng([sequence.seed, 11])
    at = int(rng.integers(0, len(sequence.names)))
    season = sequence.names[at]
    frozen = hooks.freeze(told[at].plan, season)
    marks = scored.marks_of(sequence, told[at])
    changed = [("older plan", with_older(sequence))]
    repair = repaired(sequence)
    changed += [] if repair is None else [(repair[1], repair[0])]
    for name, other in changed:
        plans = plans_of(other)
        again = hooks.identify(plans, frozen, ORIGIN)
        scored.score_frozen(other, again, marks, (name, season), (count, failures))
        anew = hooks.identify(plans, None, ORIGIN)
        counted, failed = scored.score_untouched(sequence, other, told, anew)
        count += counted
        failures += failed


def run(
    seeds: Iterable[int],
    hooks: Hooks,
    size: Mapping[str, tuple[int, int]] = FULL,
    *,
    cores: int = 2,
    say: Callable[[str], None] | None = None,
) -> tuple[Counter[str], list[str]]:
    """Return the counts of many sequences, and their failures, whatever the number of cores.

    Parameters
    ----------
    seeds : iterable of int
    hooks : Hooks
    size : mapping
        `FULL` or `SMALL`: of towns and sequences.
    cores : int
        With one, no other process is started.
    say : callable, optional
        Is given every failure as it comes.
    """
    total: Counter[str] = Counter()
    failures: list[str] = []
    work = partial(one_sequence, hooks=hooks, size=size)
    with ProcessPoolExecutor(cores) if cores > 1 else nullcontext() as pool:
        for count, failed in (pool.map if pool else map)(work, seeds):
            total += count
            failures += failed
            for failure in failed if say else ():
                say(failure)
    return total, failures


def library() -> Hooks:
    """Return the library's own ways."""
    return Hooks(replay, frozen_rows, followed, lost)


def followed(
    rows: Sequence[dict[str, Any]], told: Sequence[Replayed]
) -> list[dict[int, tuple[str | None, bool]]]:
    """Return what the library ties interpretations to in each season, and what is for review."""
    before: gpd.GeoDataFrame | None = None
    ties = []
    for one in told:
        events = one.events.to_dict("records")
        record = Record(one.season, one.plan, one.carried.things, events)
        made = [(k, row) for k, row in enumerate(rows) if row["when"].startswith(one.season)]
        read = [(k, Interpretation.model_validate(row)) for k, row in made]
        before = follow(before, read, record, ReadingSettings().review_change_share)
        numbers = before["number"].astype(object).where(before["number"].notna(), None)
        review = before["review"].fillna("").ne("")
        ties.append(dict(zip(before["row"], zip(numbers, review, strict=True), strict=True)))
    return ties


def main(words: Sequence[str]) -> None:
    """Print what many sequences gave.

    By the library's way or, with the word ``nearest``, by the nearest centre; with the word
    ``once``, nothing is frozen and told again, which takes a third of the time.
    """
    numbers = [int(word) for word in words if word.isdigit()]
    many, first = [*numbers, *[SEQUENCES, FIRST_SEED][len(numbers) :]][:2]
    hooks = Hooks(nearest_centre, frozen_as_numbered) if "nearest" in words else library()
    hooks = replace(hooks, freeze=None) if "once" in words else hooks
    start = time.perf_counter()
    count, _ = run(range(first, first + many), hooks, say=partial(print, flush=True))
    print(f"{many} sequences in {time.perf_counter() - start:.0f} s")
    for line in scored.table(count):
        print(line)


if __name__ == "__main__":
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    main(sys.argv[1:])
