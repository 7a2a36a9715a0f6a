"""Which files and surveys a rule asks for. Only light modules: the Snakefile reads it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from itertools import pairwise

from wrackline.config import SiteConfig, season_of
from wrackline.fingerprint import stamp
from wrackline.model import POINT_HOLDS, HeightLink, list_to_json, to_json

MADE = "data/demo/"
"""Where a demo's files are made by a rule."""


def files_there(config: SiteConfig, *files: str | None) -> list[str]:
    """Return those raw files that are there, or that the demo makes.

    A missing file is no rule's missing input: intake names it as a fault, with all others.

    Parameters
    ----------
    config : SiteConfig
    *files : str or None
        Relative to the site's folder; None is passed over.
    """
    made = config.site.demo is not None
    return [
        file
        for file in files
        if file and ((made and file.startswith(MADE)) or (config.folder / file).is_file())
    ]


def raw_stamp(config: SiteConfig, *files: str | None) -> str:
    """Return size and date of raw files, for a rule's params: an older file in place is seen too.

    Files that the demo's rule makes are left out; Snakemake knows their dates.

    Parameters
    ----------
    config : SiteConfig
    *files : str or None
        Relative to the site's folder; None is passed over.
    """
    made = config.site.demo is not None
    raw = [file for file in files if file and not (made and file.startswith(MADE))]
    return stamp(*(config.folder / file for file in raw))


def printed_stamp(config: SiteConfig) -> str:
    """Return a digest of the numbers in print, which are too many to stand in a rule's params."""
    text = "\n".join(list_to_json(config.numbers))
    return hashlib.sha256(text.encode()).hexdigest()


def height_links(config: SiteConfig, survey: str) -> list[HeightLink]:
    """Return the links from the zero of a survey's heights to the site's datum."""
    return config.site.links_from(config.surveys[survey].vertical.zero)


LESS_DENSE = 8
"""Bytes of a point in other files over those in LAZ, about."""


def seabed_shares(config: SiteConfig, survey: str) -> int:
    """Return in how many jobs a survey's tiles are worked on, by the size of its raw file.

    Parameters
    ----------
    config : SiteConfig
    survey : str
        Of bed points.
    """
    file = config.folder / config.surveys[survey].file
    if not file.is_file() or config.site.demo is not None:
        return 1
    packed = 1 if file.suffix.lower() == ".laz" else LESS_DENSE
    return max(1, int(file.stat().st_size / 1e6 / packed / config.site.seabed.job_raw_mb))


def structure_max_m(config: SiteConfig, survey: str) -> float | None:
    """Return beyond what height nothing of the site stands [m].

    None where blunders aren't looked for: in grids, which others have cleaned, or by the config.
    """
    looked_for = config.site.seabed.reject_blunders and config.surveys[survey].holds == "bed_points"
    return config.site.seabed.structure_max_m if looked_for else None


def surface_surveys(config: SiteConfig, surface: str) -> list[str]:
    """Return the surveys of bed points behind a surface.

    Parameters
    ----------
    config : SiteConfig
    surface : str
        `season-<season>`: that season's surveys. `upto-<season>`: those of all seasons so far;
        that of the last season is the site's composite surface.
    """
    kind, season = surface.split("-", 1)
    if kind == "season":
        return config.holding(*POINT_HOLDS, season=season)
    return [name for name in config.up_to(season) if name in config.point_surveys]


def composite(config: SiteConfig) -> str:
    """Return the name of the site's composite surface."""
    return f"upto-{list(config.seasons)[-1]}"


def view_surveys(config: SiteConfig, view: str, *holds: str) -> list[str]:
    """Return the surveys of a view that hold certain things.

    Parameters
    ----------
    config : SiteConfig
    view : str
        `upto-<season>`, or `only-<survey>` for one survey's walls with all else of its season.
    *holds : str
        What they hold, e.g. ``wall_lines``.
    """
    kind, name = view.split("-", 1)
    if kind == "only" and holds == ("wall_lines",):
        return [name]
    season = season_of(name)
    return [survey for survey in config.up_to(season) if survey in config.holding(*holds)]


def line_traits(config: SiteConfig, view: str) -> str:
    """Return what the config says of the wall lines of a view's surveys, as JSON."""
    surveys = {name: config.surveys[name] for name in view_surveys(config, view, "wall_lines")}
    traits = {
        name: {
            "line_follows": survey.line_follows,
            "traced_at": survey.traced_at,
            "evidence": "old plan" if survey.old_plan else "recorded",
            "from_date": str(survey.from_date),
            "to_date": str(survey.to_date),
            "pole_width_m": survey.pole_width_m,
            "pole_width_sd_m": survey.pole_width_sd_m,
        }
        for name, survey in surveys.items()
    }
    return json.dumps(traits, sort_keys=True)


def team_words(config: SiteConfig) -> str:
    """Return what the team says of walls and spaces: phases and decisions, as JSON."""
    said = {
        "order": list(config.site.phases),
        "phases": [row.model_dump(mode="json") for row in config.phases],
        "decisions": [row.model_dump(mode="json") for row in config.decisions],
    }
    return json.dumps(said, sort_keys=True)


def views(config: SiteConfig) -> list[str]:
    """Return all views of a site: after every season, and of every survey of walls alone."""
    seasons = [f"upto-{season}" for season in config.seasons]
    return seasons + [f"only-{survey}" for survey in config.holding("wall_lines")]


def view_surface(config: SiteConfig, view: str) -> list[str]:
    """Return the surface in which a view's depths are read, as a list of none or one."""
    surface = f"upto-{season_of(view.split('-', 1)[1])}"
    return [surface] if surface_surveys(config, surface) else []


def season_on(config: SiteConfig, day: dt.date) -> str:
    """Return the season that what was said on a day belongs to.

    It is the last whose first day of survey has come: what is said between two seasons is of the
    earlier one. Before all seasons it is the first.
    """
    began = {
        name: min(survey.from_date for survey in season.surveys)
        for name, season in config.seasons.items()
    }
    return next((name for name in reversed(began) if began[name] <= day), next(iter(began)))


def readings_of(config: SiteConfig, season: str) -> list[list[object]]:
    """Return the interpretations made in a season: each its place in the register, and its row."""
    return [
        [place, to_json(row)]
        for place, row in enumerate(config.interpretations)
        if season_on(config, row.when) == season
    ]


def season_surveys(config: SiteConfig, season: str) -> str:
    """Return what a season's surveys were, for its report, as JSON."""
    told = [
        {
            "name": survey.name,
            "technique": survey.technique,
            "holds": survey.holds,
            "from_date": str(survey.from_date),
            "to_date": str(survey.to_date),
        }
        for survey in config.seasons[season].surveys
    ]
    return json.dumps(told, ensure_ascii=False)


def season_before(config: SiteConfig, season: str) -> list[str]:
    """Return the season before one, as a list of none or one."""
    order = list(config.seasons)
    at = order.index(season)
    return order[at - 1 : at] if at else []


def change_pairs(config: SiteConfig) -> list[tuple[str, str]]:
    """Return the pairs of seasons between which the seabed's change is measured.

    Each season with bed points against the last one before it that has some, and the first of them
    against the last.

    Parameters
    ----------
    config : SiteConfig
    """
    sounded = [name for name in config.seasons if surface_surveys(config, f"season-{name}")]
    pairs = list(pairwise(sounded))
    if len(sounded) > 2:
        pairs.append((sounded[0], sounded[-1]))
    return pairs


def dug_between(config: SiteConfig, earlier: str, later: str) -> list[str]:
    """Return the surveys of trenches of two seasons and of those between them."""
    dug = config.holding("trench_outlines")
    return [name for name in dug if earlier <= season_of(name) <= later]


def ground_of(config: SiteConfig, survey: str) -> str:
    """Return the file from which the ground that a survey looked at is had."""
    stated = config.surveys[survey].looked_at
    if stated is not None and files_there(config, stated):
        return stated  # where it is missing, intake has stopped the run
    if survey in config.point_surveys:
        return f"work/seabed/survey/{survey}.tif"
    return f"work/fit/{survey}/items.parquet"
