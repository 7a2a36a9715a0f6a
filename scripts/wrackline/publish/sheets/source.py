"""Reads what plan sheets are drawn from: layers, relief, picture, language and settings."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.model import SHEET_TRAITS, SheetSet, Site
from wrackline.publish.phases import as_last_stood
from wrackline.publish.sheets.backdrop import picture_of
from wrackline.publish.sheets.content import Content, marks_layer, with_round_depths
from wrackline.publish.sheets.language import Language
from wrackline.publish.shrinking import shrunk


def read_content(files: Any, said: Any) -> Content:
    """Return the content of a set of sheets.

    Parameters
    ----------
    files : object
        With the paths ``plan`` (one a layer of the plan), ``team``, ``spots`` and
        ``trenches``, and, in lists of one or none, ``contours``, ``waterlines``, ``surface``,
        ``relief`` and ``picture``.
    said : object
        What the config says, as JSON: ``site``, ``settings``, ``language``, ``survey``; and
        ``season``, ``marks``, ``contour_step_m`` and ``surveys`` (`wrackline.model.SHEET_TRAITS`).
    """
    site = Site.model_validate_json(said.site)
    settings = SheetSet.model_validate_json(said.settings)
    phases = read_json(files.team)["phases"]
    content = Content(
        plan=as_last_stood(vectors.read_layers(PLAN_LAYERS, files.plan), phases),
        surveys=pd.DataFrame(said.surveys, columns=["survey", *SHEET_TRAITS]),
        site=site,
        season=said.season,
        contours=_read(files.contours),
        waterlines=_read(files.waterlines),
        spots=vectors.read(files.spots),
        trenches=vectors.read(files.trenches),
        marks=marks_layer(said.marks, site.crs),
        relief=shrunk(files.relief[0], ["local_relief"], 2000) if files.relief else None,
        picture=picture_of(settings.picture, files.picture, said.survey, site.crs),
        phases=phases,
        settings=settings,
        words=Language.from_json(said.language),
    )
    if content.shows_depths and files.surface:
        return with_round_depths(content, files.surface[0], said.contour_step_m)
    return content


def _read(files: Sequence[str]) -> gpd.GeoDataFrame | None:
    return vectors.read(files[0]) if files else None
