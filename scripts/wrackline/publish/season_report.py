"""A season's report from the records behind it: page, figures that moved, questions left."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline.publish.season_page import Part, SeasonPage
from wrackline.publish.season_pictures import draw_changes
from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.moved import compared, moved
from wrackline.seasons.to_decide import Question, questions

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
        The season's events.
    readings : GeoDataFrame
        Interpretations followed to it.
    notes : sequence of str
        What the joining of walls leaves to the team.
    more : sequence of Question
        What other stages ask.
    parts : sequence of Part
        What other stages tell.
    """

    season: str
    earlier: str
    about: Mapping[str, str]
    surveys: Sequence[Mapping[str, Any]]
    plan: Plan
    before: Plan | None
    things: gpd.GeoDataFrame
    events: Sequence[Mapping[str, Any]]
    readings: gpd.GeoDataFrame
    notes: Sequence[str]
    more: Sequence[Question] = field(default_factory=tuple)
    parts: Sequence[Part] = field(default_factory=tuple)

    def figures(self) -> pd.DataFrame:
        """Return `contract.TABLES["figures_moved"]`."""
        return moved(self.before, self.plan)

    def questions(self) -> pd.DataFrame:
        """Return `contract.TABLES["to_decide"]`."""
        return questions(self.plan, self.events, self.readings, self.notes, self.more)

    def draw(self, paths: Sequence[Path]) -> None:
        """Draw the plan before, now, and what changed."""
        named = {**self.about, "season": self.season, "season_before": self.earlier}
        draw_changes(self.before, self.plan, self.events, named, paths)

    def page(self, picture: bytes) -> str:
        """Return the page, with the picture that `draw` made as PNG."""
        printed = self.things["printed"].fillna("") != ""
        return SeasonPage(
            season=self.season,
            before=self.earlier,
            about=self.about,
            plan=self.plan,
            surveys=self.surveys,
            events=pd.DataFrame(list(self.events), columns=list(EVENT_COLUMNS)),
            moved=self.figures(),
            decide=self.questions(),
            compared=compared(self.before, self.plan),
            unprinted=int((self.things["on_plan"] & ~printed).sum()),
            picture=picture,
            parts=self.parts,
        ).html()
