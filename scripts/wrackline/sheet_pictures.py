"""Faults of the pictures that a config wants under its sheets."""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping

from wrackline.errors import Fault
from wrackline.model import Season, Site


def picture_faults(site: Site, seasons: Mapping[str, Season]) -> Iterator[Fault]:
    """Yield a fault for each set of sheets that wants a picture which isn't there.

    Parameters
    ----------
    site : Site
    seasons : mapping of str to Season
    """
    holds = {
        f"{name}-{survey.name}": survey
        for name, season in seasons.items()
        for survey in season.surveys
    }
    pictures = [name for name, survey in holds.items() if survey.holds == "picture"]
    for name, sheets in site.sheets.items():
        if sheets.picture is not None and sheets.picture not in pictures:
            yield _no_picture(name, sheets.picture, pictures, known=sheets.picture in holds)


def _no_picture(name: str, picture: str, pictures: list[str], *, known: bool) -> Fault:
    near = difflib.get_close_matches(picture, pictures, 1, 0.0)
    what = "a survey that holds no picture" if known else "no survey"
    nearest = f"; the nearest is '{near[0]}'" if near else ""
    return Fault(
        kind="no_such_picture",
        found=f"sheets.{name}.picture names '{picture}', {what}",
        allowed=f"a survey with holds: picture, as season-name{nearest}",
        consequence="the sheets would be drawn without what was to lie under them",
        remedy="name one of these surveys, or leave the key out",
        file="config/site.yaml",
    )
