"""Which files and surveys a rule asks for. Only light modules: the Snakefile reads it."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
from collections.abc import Sequence
from itertools import pairwise

from wrackline.config import SiteConfig
from wrackline.fingerprint import stamp
from wrackline.model import (
    POINT_HOLDS,
    SHEET_TRAITS,
    Decision,
    HeightLink,
    Phasing,
    Survey,
    for_fitting,
    for_placing,
    list_to_json,
    to_json,
)
from wrackline.publish.sheets.language import Language
from wrackline.publish.words import statement
from wrackline.survey_names import season_of

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


def placing_part(config: SiteConfig, survey: str) -> str:
    """Return what of the site places a survey's items and states their errors, as JSON.

    Sources of error and height links that the survey doesn't rest on are left out: a new season's
    benchmark concerns no survey of an earlier one.
    """
    links = height_links(config, survey)
    names = {*config.surveys[survey].resting_on, *(link.error_source for link in links)}
    sources = {name: part for name, part in config.site.error_sources.items() if name in names}
    part = for_placing(config.site)
    return to_json(part.model_copy(update={"error_sources": sources, "height_links": links}))


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


def team_words(config: SiteConfig, view: str) -> str:
    """Return what the team had said of walls and spaces by a view's season, as JSON.

    What is decided later leaves the plan as it was known then: phases and decisions of later
    seasons, see `season_on`, are left out.
    """
    last = _season_of_view(view)
    rows: dict[str, Sequence[Phasing | Decision]] = {
        "phases": config.phases,
        "decisions": config.decisions,
    }
    said = {
        key: [row.model_dump(mode="json") for row in found if season_on(config, row.date) <= last]
        for key, found in rows.items()
    }
    return json.dumps(said | {"order": list(config.site.phases)}, sort_keys=True)


def statement_json(config: SiteConfig, season: str) -> str:
    """Return the statement of a product that rests on all seasons up to one, as JSON."""
    seasons = {name: part for name, part in config.seasons.items() if name <= season}
    return json.dumps(statement(config.site, seasons), ensure_ascii=False)


def language_json(config: SiteConfig, code: str) -> str:
    """Return a language of the sheets as JSON: of its file, or the English that is built in."""
    file = config.languages.get(code)
    return (Language.english() if file is None else Language.of(code, file)).to_json()


def views(config: SiteConfig) -> list[str]:
    """Return all views of a site: after every season, and of every survey of walls alone."""
    seasons = [f"upto-{season}" for season in config.seasons]
    return seasons + [f"only-{survey}" for survey in config.holding("wall_lines")]


def view_surface(config: SiteConfig, view: str) -> list[str]:
    """Return the surface in which a view's depths are read, as a list of none or one."""
    surface = f"upto-{_season_of_view(view)}"
    return [surface] if surface_surveys(config, surface) else []


def _season_of_view(view: str) -> str:
    return season_of(view.split("-", 1)[1])


def readings_of(config: SiteConfig, season: str) -> list[list[object]]:
    """Return the interpretations made in a season: each its place in the register, and its row."""
    return [
        [place, to_json(row)]
        for place, row in enumerate(config.interpretations)
        if season_on(config, row.when) == season
    ]


def seasons_up_to(config: SiteConfig, season: str) -> list[str]:
    """Return the seasons up to one, itself the last."""
    return [name for name in config.seasons if name <= season]


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


def changed_since(config: SiteConfig, season: str, kind: str) -> list[str]:
    """Return the record (json) or the map (png) of the seabed's change since the season before.

    None or one: of seasons without bed points there is none.
    """
    files = {
        "json": "work/seasons/change/{}-{}.json",
        "png": "work/publish/seasons/{1}/seabed_change_since_{0}.png",
    }
    pairs = [pair for pair in change_pairs(config) if pair[1] == season]
    return [files[kind].format(*pair) for pair in pairs[:1]]


def dug_between(config: SiteConfig, earlier: str, later: str) -> list[str]:
    """Return the surveys of trenches of two seasons and of those between them."""
    dug = config.holding("trench_outlines")
    return [name for name in dug if earlier <= season_of(name) <= later]


def ground_data(config: SiteConfig, survey: str) -> str:
    """Return the file from which the ground that a survey looked at is had, if not stated."""
    if survey in config.point_surveys:
        return f"work/seabed/survey/{survey}.tif"
    return f"work/fit/{survey}/items.parquet"


def ground_files(config: SiteConfig, season: str) -> list[str]:
    """Return the files behind the grounds of a season's surveys: stated, or had from the data."""
    surveys = {name: config.surveys[name] for name in surveys_of_season(config, season)}
    stated = [file for survey in surveys.values() for file in survey.ground_files]
    data = [ground_data(config, name) for name, survey in surveys.items() if not _states(survey)]
    return [*files_there(config, *dict.fromkeys(stated)), *data]


def surveys_of_season(config: SiteConfig, season: str) -> list[str]:
    """Return the surveys of a season, in the order of the config."""
    return [name for name in config.surveys if season_of(name) == season]


def _states(survey: Survey) -> bool:
    """Tell whether a survey states where it looked."""
    return survey.looked_at is not None or survey.swim_lines is not None


GROUND_TRAITS = ("holds", "looked_at", "swim_lines", "swim_reach_m", "visibility_m", "plant_cover")
SIGHT_TRAITS = ("holds", "technique", "resolution_m", "visibility_m", "old_plan")


def ground_traits(config: SiteConfig, season: str) -> str:
    """Return what the config says of where a season's surveys looked, as JSON in their order."""
    traits = {
        name: {
            **{key: getattr(config.surveys[name], key) for key in GROUND_TRAITS},
            "data": ground_data(config, name),
        }
        for name in surveys_of_season(config, season)
    }
    return json.dumps(traits)


def sight_traits(config: SiteConfig, season: str) -> str:
    """Return what the config says of what a season's surveys would have shown, as JSON."""
    traits = {
        name: {key: getattr(config.surveys[name], key) for key in SIGHT_TRAITS}
        for name in surveys_of_season(config, season)
        if config.surveys[name].holds in ("wall_lines", *POINT_HOLDS)
    }
    return json.dumps(traits)


def relief_below(config: SiteConfig, sheets: str) -> list[str]:
    """Return the raster of relief under a set of sheets, where it is wanted and there."""
    wanted = config.site.sheets[sheets].relief and config.point_surveys
    return ["work/seabed/local_relief.tif"] if wanted else []


def picture_below(config: SiteConfig, sheets: str) -> list[str]:
    """Return the picture under a set of sheets, where one is wanted."""
    survey = config.site.sheets[sheets].picture
    return files_there(config, config.surveys[survey].file) if survey else []


def picture_survey(config: SiteConfig, sheets: str) -> list[str]:
    """Return what places the picture under a set of sheets, as JSON, and its file's stamp."""
    survey = config.site.sheets[sheets].picture
    if not survey:
        return []
    return [
        to_json(for_fitting(config.surveys[survey])),
        raw_stamp(config, config.surveys[survey].file),
    ]


def font_of(config: SiteConfig, sheets: str) -> list[str]:
    """Return the font file of the language of a set of sheets, where it has one of its own."""
    code = config.site.sheets[sheets].language
    if code not in config.languages:
        return []
    return files_there(config, Language.of(code, config.languages[code]).font)


def standing_marks(config: SiteConfig) -> list[list[str | float]]:
    """Return the control marks that stand: name, easting, northing, by name."""
    last = {row.point: row for row in config.control}
    return [
        [name, row.easting, row.northing]
        for name, row in sorted(last.items())
        if row.fate == "stands"
    ]


def sheet_surveys(config: SiteConfig) -> list[list[str | float]]:
    """Return each survey's name and what plan sheets print of it, see `SHEET_TRAITS`."""
    return [
        [name, *(told[trait] for trait in SHEET_TRAITS)]
        for name, survey in config.surveys.items()
        for told in [survey.model_dump(mode="json")]
    ]
