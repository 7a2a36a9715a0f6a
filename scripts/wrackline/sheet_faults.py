"""Faults of the sheets that a config asks for: languages and pictures that aren't there."""

from __future__ import annotations

import difflib
from collections.abc import Collection, Iterator, Mapping
from pathlib import Path

from wrackline.errors import Fault
from wrackline.model import Season, Site

SITE_FILE = "config/site.yaml"


def sheet_faults(
    site: Site, seasons: Mapping[str, Season], languages: Collection[str]
) -> Iterator[Fault]:
    """Yield the faults of a site's sets of sheets.

    Parameters
    ----------
    site : Site
    seasons : mapping of str to Season
    languages : collection of str
        Codes of the files under `config/languages/`.
    """
    holds = {
        f"{name}-{survey.name}": survey
        for name, season in seasons.items()
        for survey in season.surveys
    }
    pictures = [name for name, survey in holds.items() if survey.holds == "picture"]
    for name, sheets in site.sheets.items():
        if sheets.language not in {"en", *languages}:
            yield _no_language(name, sheets.language, sorted({"en", *languages}))
        if sheets.picture is not None and sheets.picture not in pictures:
            yield _no_picture(name, sheets.picture, pictures, known=sheets.picture in holds)


def _no_language(name: str, code: str, known: list[str]) -> Fault:
    path = Path("config", "languages", f"{code}.yaml")
    return Fault(
        kind="unknown_language",
        found=f"sheets.{name}.language is '{code}', but there is no {path}",
        allowed=f"one of {', '.join(known)}",
        consequence="a sheet would be drawn in a language that nobody asked for",
        remedy=f"write {path}, or mend the code",
        file=SITE_FILE,
    )


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
        file=SITE_FILE,
    )
