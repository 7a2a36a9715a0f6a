"""A season's report from the records behind it: page, figures that moved, questions left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.publish.season_page import SeasonPage
from wrackline.publish.season_parts import change_part, season_questions, seen_part, traced_part
from wrackline.publish.season_pictures import draw_changes
from wrackline.seasons.carry import INFERRED
from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.moved import compared, moved
from wrackline.seasons.to_decide import questions

Plan = Mapping[str, gpd.GeoDataFrame]


@dataclass(frozen=True)
class SeasonRecord:
    """What is known after a season, and before it.

    Attributes
    ----------
    season, earlier : str
        The season, and the one before; empty where it is the first.
    about : mapping of str to str
        Statement beside the figures.
    surveys : sequence of mapping
        The season's surveys, see `SeasonPage`.
    plan, before : mapping of str to GeoDataFrame
        Numbered plans of the two; no earlier one for the first season.
    things : GeoDataFrame
        All that was ever numbered.
    events : sequence of mapping
        The season's events of the plan.
    states : mapping
        What became of rooms as the season saw their walls, `room_states.RoomStates`.
    readings : GeoDataFrame
        Interpretations followed to it.
    team : mapping
        Content of the view's `team.json`: what the joining of walls leaves to the team.
    sightings, tracings : GeoDataFrame
        What the season saw of every wall; lines and the walls that they became part of.
    changed : sequence of mapping
        Figures of the seabed's change since the season before; none or one.
    maps : sequence of bytes
        Its map as PNG.
    """

    season: str
    earlier: str
    about: Mapping[str, str]
    surveys: Sequence[Mapping[str, Any]]
    plan: Plan
    before: Plan | None
    things: gpd.GeoDataFrame
    events: Sequence[Mapping[str, Any]]
    states: Mapping[str, Any]
    readings: gpd.GeoDataFrame
    team: Mapping[str, Any]
    sightings: gpd.GeoDataFrame
    tracings: gpd.GeoDataFrame
    changed: Sequence[Mapping[str, Any]]
    maps: Sequence[bytes]

    def all_events(self) -> list[Mapping[str, Any]]:
        """Return what changed on the plan, and what became of rooms as they were seen."""
        return [*self.events, *self.states["events"]]

    def figures(self) -> pd.DataFrame:
        """Return `contract.TABLES["figures_moved"]`."""
        return moved(self.before, self.plan)

    def questions(self) -> pd.DataFrame:
        """Return `contract.TABLES["to_decide"]`."""
        asked = season_questions(
            self.states, self.plan["rooms"], self.team["disagree"], self.season
        )
        return questions(self.plan, self.events, self.readings, self.team["notes"], asked)

    def draw(self, paths: Sequence[Path]) -> None:
        """Draw the plan before, now, and what changed."""
        named = {**self.about, "season": self.season, "season_before": self.earlier}
        draw_changes(self.before, self.plan, self.all_events(), named, paths)

    def page(self, picture: bytes) -> str:
        """Return the page, with the picture that `draw` made as PNG."""
        things = self.things[self.things["kind"] != INFERRED]
        printed = things["printed"].fillna("") != ""
        return SeasonPage(
            season=self.season,
            before=self.earlier,
            about=self.about,
            plan=self.plan,
            surveys=self.surveys,
            events=pd.DataFrame(self.all_events(), columns=list(EVENT_COLUMNS)),
            moved=self.figures(),
            decide=self.questions(),
            compared=compared(self.before, self.plan),
            unprinted=int((things["on_plan"] & ~printed).sum()),
            picture=picture,
            parts=[
                seen_part(self.sightings),
                traced_part(self.tracings, self.season),
                *change_part(self.changed, self.maps),
            ],
        ).html()
