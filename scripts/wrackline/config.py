"""Reads a site's `config/` into the model, or names everything that is wrong with it at once.

Reads only files under `<site>/config/`; writes nothing. An unknown key is refused with the
nearest right one named, a key given twice likewise, and an older schema version is migrated.
"""

from __future__ import annotations

import difflib
import typing
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TypeVar

import yaml
from pydantic import BaseModel, ValidationError

from wrackline.baselines import with_baselines
from wrackline.errors import ConfigError, Fault
from wrackline.languages import FOLDER as LANGUAGES
from wrackline.languages import (
    english_notes,
    language_faults,
    language_notes,
    languages_written,
    sheet_faults,
    texts_of,
)
from wrackline.model import (
    OBSERVED,
    POINT_HOLDS,
    SCHEMA_VERSION,
    VECTOR_HOLDS,
    ControlValue,
    Correction,
    Decision,
    GivenNumber,
    Interpretation,
    LocalGrid,
    Phasing,
    Season,
    Site,
    Survey,
    Translation,
)
from wrackline.plan_registers import read_decisions, read_phases
from wrackline.registers import (
    read_control,
    read_corrections,
    read_interpretations,
    read_numbers,
)
from wrackline.sheet_pictures import picture_faults
from wrackline.sheet_places import place_notes
from wrackline.survey_names import season_of

MIGRATIONS: dict[int, Callable[[dict[str, Any]], dict[str, Any]]] = {}
"""From schema version -> function that returns the same content in the next version."""

Part = TypeVar("Part", bound=BaseModel)

NOT_BUILT = "nothing is built, so that no product rests on a guess"


@dataclass(frozen=True)
class SiteConfig:
    """All of a site's config, checked.

    Attributes
    ----------
    folder : Path
        The site's folder.
    site : Site
        Content of `config/site.yaml`.
    seasons : dict of str to Season
        Seasons in the order of their names.
    control : tuple of ControlValue
        Rows of `config/control.csv`.
    corrections : tuple of Correction
        Rows of `config/corrections.csv`.
    interpretations : tuple of Interpretation
        Rows of `config/interpretations.csv`.
    phases : tuple of Phasing
        Rows of `config/phases.csv`.
    decisions : tuple of Decision
        Rows of `config/decisions.csv`.
    numbers : tuple of GivenNumber
        Rows of `config/numbers.csv`.
    languages : dict of str to Translation
        Content of the files under `config/languages/`, by language code.
    notes : tuple of str
        What a run says once, and goes on.
    """

    folder: Path
    site: Site
    seasons: dict[str, Season]
    control: tuple[ControlValue, ...] = ()
    corrections: tuple[Correction, ...] = ()
    interpretations: tuple[Interpretation, ...] = ()
    phases: tuple[Phasing, ...] = ()
    decisions: tuple[Decision, ...] = ()
    numbers: tuple[GivenNumber, ...] = ()
    languages: dict[str, Translation] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    @property
    def surveys(self) -> dict[str, Survey]:
        """Surveys by identifier `<season>-<name>`, seasons in order, then as listed."""
        return {
            f"{season.season}-{survey.name}": survey
            for season in self.seasons.values()
            for survey in season.surveys
        }

    def holding(self, *holds: str, season: str | None = None) -> list[str]:
        """Return identifiers of the surveys that hold one of `holds`, of one season or all."""
        return [
            name
            for name, survey in self.surveys.items()
            if survey.holds in holds and season in (None, season_of(name))
        ]

    @property
    def vector_surveys(self) -> list[str]:
        """Identifiers of the surveys read as lines, points or polygons with attributes."""
        return self.holding(*VECTOR_HOLDS)

    @property
    def memory_mb(self) -> int:
        """What steps that say how much memory they need may use together [MB]."""
        return self.site.seabed.memory_mb

    @property
    def point_surveys(self) -> list[str]:
        """Identifiers of the surveys read as bed points, grids included."""
        return self.holding(*POINT_HOLDS)

    def intake_table(self, survey: str) -> str:
        """Return the table that intake makes of a survey's file, relative to the site's folder."""
        points = survey in self.point_surveys
        return f"work/intake/{survey}/{'points' if points else 'items'}.parquet"

    def control_for(self, survey: str) -> tuple[ControlValue, ...]:
        """Return the control values behind a survey of observations; behind others there are none.

        Values that begin after the survey's last day concern later surveys alone.
        """
        taken = self.surveys[survey]
        if taken.form not in OBSERVED:
            return ()
        return tuple(
            value
            for value in self.control
            if value.from_date is None or value.from_date <= taken.to_date
        )

    def corrections_to(self, survey: str) -> tuple[Correction, ...]:
        """Return the corrections to a survey's file."""
        file = self.surveys[survey].file
        return tuple(c for c in self.corrections if c.file == file)

    def up_to(self, season: str) -> list[str]:
        """Return identifiers of the surveys of `season` and all before it."""
        return [name for name in self.surveys if season_of(name) <= season]


def load_site(folder: Path, *, any_language: bool = False) -> SiteConfig:
    """Read and check `<folder>/config/`.

    Parameters
    ----------
    folder : Path
        The site's folder.
    any_language : bool
        Sheets may ask for languages that have no file yet, for whoever is about to write one.

    Returns
    -------
    SiteConfig

    Raises
    ------
    ConfigError
        With every fault of every file.
    """
    faults: list[Fault] = []
    site = _load_part(folder, Path("config/site.yaml"), Site, faults)
    seasons = _load_seasons(folder, site, faults)
    if not seasons and not faults:
        faults.append(_no_seasons())
    control = read_control(folder, faults)
    files = [survey.file for season in seasons.values() for survey in season.surveys]
    corrections = read_corrections(folder, faults, files=files)
    interpretations = read_interpretations(folder, faults)
    phases = read_phases(
        folder,
        faults,
        holds=_holds(seasons) if 0 < len(seasons) == len(_season_files(folder)) else None,
        order=None if site is None else site.phases,
    )
    decisions = read_decisions(folder, faults)
    numbers = read_numbers(folder, faults)
    languages, notes = _load_languages(folder, site, seasons, faults)
    if site is not None:
        faults += [] if any_language else sheet_faults(site, languages_written(folder))
        faults += picture_faults(site, seasons)
        notes += place_notes(site, seasons, languages)
    seasons = {name: _with_marks(season, control, faults) for name, season in seasons.items()}
    faults += _stable_ground_faults(site)
    if site is not None and not faults:
        seasons = with_baselines(seasons, site, faults)
    if faults or site is None:
        raise ConfigError(faults)
    return SiteConfig(
        folder,
        site,
        seasons,
        control,
        corrections,
        interpretations,
        phases,
        decisions,
        numbers,
        languages,
        tuple(notes),
    )


def _stable_ground_faults(site: Site | None) -> list[Fault]:
    stable = None if site is None else site.seabed.stable_ground
    outside = stable is not None and not _inside(stable)
    return [_outside(stable, Path("config/site.yaml"), "")] if stable and outside else []


def _load_languages(
    folder: Path, site: Site | None, seasons: Mapping[str, Season], faults: list[Fault]
) -> tuple[dict[str, Translation], list[str]]:
    """Return the languages of the sheets by code, and what is to be said of them."""
    texts = [] if site is None else texts_of(site, seasons.values())
    languages: dict[str, Translation] = {}
    notes: list[str] = []
    for path in sorted((folder / LANGUAGES).glob("*.y*ml")):
        name = path.relative_to(folder)
        found = _load_part(folder, name, Translation, faults)
        if found is not None:
            faults += language_faults(folder, name, found, texts)
            notes += language_notes(name, found, texts)
            languages[path.stem] = found
    if "en" not in languages:
        notes += english_notes(texts)
    return languages, notes


def _season_files(folder: Path) -> list[Path]:
    return sorted((folder / "config" / "seasons").glob("*.y*ml"))


def _load_seasons(folder: Path, site: Site | None, faults: list[Fault]) -> dict[str, Season]:
    """Return the seasons whose files could be read, in the order of their names."""
    seasons: dict[str, Season] = {}
    for path in _season_files(folder):
        season = _load_part(folder, path.relative_to(folder), Season, faults)
        if season is not None:
            faults += _season_faults(season, path.relative_to(folder), site)
            seasons[season.season] = season
    return dict(sorted(seasons.items()))


def _holds(seasons: Mapping[str, Season]) -> dict[str, str]:
    """Return what each survey holds, by its identifier."""
    return {
        f"{season.season}-{survey.name}": survey.holds
        for season in seasons.values()
        for survey in season.surveys
    }


def _with_marks(season: Season, control: Sequence[ControlValue], faults: list[Fault]) -> Season:
    """Return a season with the places of local grids' marks filled in from the control."""
    surveys = [
        survey
        if survey.local_grid is None
        else survey.model_copy(
            update={"local_grid": _grid_with_marks(season.season, survey, control, faults)}
        )
        for survey in season.surveys
    ]
    return season.model_copy(update={"surveys": surveys})


def _grid_with_marks(
    season: str, survey: Survey, control: Sequence[ControlValue], faults: list[Fault]
) -> LocalGrid | None:
    grid = survey.local_grid
    if grid is None:
        return None
    marks = []
    for mark in grid.points:
        held = [
            value
            for value in control
            if value.point == mark.point and value.holds_on(survey.from_date, survey.to_date)
        ]
        if mark.site is None and len(held) != 1:
            faults.append(_no_mark(season, survey, mark.point, held, control))
        elif mark.site is None:
            place = (held[0].easting, held[0].northing)
            mark = mark.model_copy(update={"site": place})  # noqa: PLW2901
        marks.append(mark)
    return grid.model_copy(update={"points": marks})


def _no_mark(
    season: str,
    survey: Survey,
    point: str,
    held: Sequence[ControlValue],
    control: Sequence[ControlValue],
) -> Fault:
    names = sorted({value.point for value in control})
    near = difflib.get_close_matches(point, names, n=1, cutoff=0.5)
    hint = f"did you mean '{near[0]}'? " if near and near[0] != point else ""
    return Fault(
        kind="mark_unknown",
        found=f"mark '{point}' of the local grid, with {len(held)} values that hold on the "
        "survey's days",
        allowed="a mark with `site` beside it, or with one value in config/control.csv for those "
        f"days (marks: {', '.join(names) or 'none'})",
        consequence="the survey could not be placed",
        remedy=f"{hint}write the mark's row into config/control.csv, or its `site`",
        file=f"config/seasons/{season}.yaml",
        survey=f"{season}-{survey.name}",
    )


def _no_seasons() -> Fault:
    return Fault(
        kind="no_season",
        found="no file under config/seasons/",
        allowed="one YAML file a season, at least one",
        consequence="there is nothing to build from",
        remedy="write config/seasons/<season>.yaml; config/README.md explains every key",
        file="config/seasons/",
    )


def _load_part(folder: Path, name: Path, model: type[Part], faults: list[Fault]) -> Part | None:
    """Return one config file as `model`, or None with its faults appended."""
    try:
        text = (folder / name).read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as problem:
        faults.append(_unreadable(name, folder, problem))
        return None
    try:
        node = yaml.compose(text, Loader=yaml.SafeLoader)
        repeated = [] if node is None else list(_repeated_keys(node))
        content = yaml.safe_load(text)
    except yaml.YAMLError as problem:
        faults.append(_not_yaml(name, problem))
        return None
    faults += [_repeated(name, key, row) for key, row in repeated]
    faults += [_by_sixties(name, item) for item in _scalars(node) if _is_by_sixties(item)]
    if not isinstance(content, dict):
        faults.append(_not_a_mapping(name, content))
        return None
    content = _migrated(content, name, faults)
    if content is None:
        return None
    try:
        return model.model_validate(content)
    except ValidationError as problem:
        named = _surveys_by_name(content)
        faults += [_as_fault(error, name, model, node, named) for error in problem.errors()]
        return None


def _unreadable(name: Path, folder: Path, problem: Exception) -> Fault:
    missing = isinstance(problem, FileNotFoundError)
    return Fault(
        kind="config_missing" if missing else "config_unreadable",
        found=f"no such file in the folder {folder}"
        if missing
        else f"{type(problem).__name__}: {problem}",
        allowed="a YAML text in UTF-8",
        consequence=NOT_BUILT,
        remedy="start a site with `make new SITE=folder`, or save the file as UTF-8",
        file=str(name),
    )


def _not_yaml(name: Path, problem: yaml.YAMLError) -> Fault:
    mark = getattr(problem, "problem_mark", None)
    what = getattr(problem, "problem", None) or str(problem).splitlines()[0]
    return Fault(
        kind="not_yaml",
        found=str(what),
        allowed="YAML: `key: value`, blanks instead of tabs, indented alike within a block",
        consequence=NOT_BUILT,
        remedy="mend the line named here or the one above it; quote texts that hold ': ' or '#'",
        file=str(name),
        row=None if mark is None else mark.line + 1,
    )


def _not_a_mapping(name: Path, content: Any) -> Fault:
    return Fault(
        kind="empty_config" if content is None else "not_a_mapping",
        found="an empty file" if content is None else f"a {type(content).__name__}",
        allowed="keys with values, as config/README.md lists them",
        consequence=NOT_BUILT,
        remedy="fill the file in, or remove it",
        file=str(name),
    )


def _repeated_keys(node: yaml.Node, above: tuple[yaml.Node, ...] = ()) -> Iterator[tuple[str, int]]:
    """Yield keys that stand twice in one block, with the line of the second."""
    if any(node is other for other in above):
        return  # an alias to a block that it stands in
    above = (*above, node)
    if isinstance(node, yaml.SequenceNode):
        for item in node.value:
            yield from _repeated_keys(item, above)
    if isinstance(node, yaml.MappingNode):
        seen: set[str] = set()
        for key, value in node.value:
            name = str(key.value)
            if name in seen:
                yield name, key.start_mark.line + 1
            seen.add(name)
            yield from _repeated_keys(value, above)


def _repeated(name: Path, key: str, row: int) -> Fault:
    return Fault(
        kind="repeated_key",
        found=f"the key '{key}' a second time in one block",
        allowed="each key once",
        consequence="YAML would silently keep the last and drop the first",
        remedy="delete one of the two",
        file=str(name),
        row=row,
    )


def _scalars(node: yaml.Node | None) -> Iterator[yaml.ScalarNode]:
    """Yield the single values of a file, each once."""
    seen: set[int] = set()
    waiting = [node]
    while waiting:
        found = waiting.pop()
        if isinstance(found, yaml.ScalarNode):
            yield found
        elif isinstance(found, yaml.CollectionNode) and id(found) not in seen:
            seen.add(id(found))
            pairs = isinstance(found, yaml.MappingNode)
            waiting += [part for pair in found.value for part in pair] if pairs else found.value


def _is_by_sixties(item: yaml.ScalarNode) -> bool:
    return ":" in item.value and item.tag.endswith((":int", ":float"))


def _by_sixties(name: Path, item: yaml.ScalarNode) -> Fault:
    read = yaml.safe_load(item.value)
    return Fault(
        kind="number_by_sixties",
        found=f"{item.value}, which YAML counts by sixties: {read}",
        allowed="a plain number; of a scale the figure after 1: alone",
        consequence=f"{read} would be taken for what was meant, unseen",
        remedy=f"write scale: {item.value.rpartition(':')[2]} where a scale is meant; put a text "
        "in quotes",
        file=str(name),
        row=item.start_mark.line + 1,
    )


def _migrated(content: dict[str, Any], name: Path, faults: list[Fault]) -> dict[str, Any] | None:
    """Return the content in the present schema version, or None with a fault appended."""
    version = content.get("schema_version", SCHEMA_VERSION)
    while version in MIGRATIONS and version < SCHEMA_VERSION:
        content = MIGRATIONS[version](content)
        version = content["schema_version"]
    if version == SCHEMA_VERSION or not isinstance(version, int):
        return content
    newer = version > SCHEMA_VERSION
    faults.append(
        Fault(
            kind="schema_version",
            found=f"schema_version {version}",
            allowed=f"{', '.join(map(str, [*MIGRATIONS, SCHEMA_VERSION]))}",
            consequence="keys could be read in another sense than they were written in",
            remedy="install the newer release that wrote it"
            if newer
            else f"bring the file to version {SCHEMA_VERSION} by CHANGELOG.md",
            file=str(name),
        )
    )
    return None


def _surveys_by_name(content: dict[str, Any]) -> dict[int, str]:
    """Return how surveys are called in messages, by their place in the list."""
    surveys = content.get("surveys")
    if not isinstance(surveys, list):
        return {}
    named = enumerate(surveys)
    return {k: str(s["name"]) for k, s in named if isinstance(s, dict) and "name" in s}


def _as_fault(
    error: Any,
    name: Path,
    model: type[BaseModel],
    node: yaml.Node | None,
    named: dict[int, str],
) -> Fault:
    """Turn one of pydantic's errors into the four-part message."""
    where = [part for part in error["loc"] if part not in ("str", "int")]
    shown = [named.get(part, part) if where[0] == "surveys" else part for part in where[:2]]
    path = ".".join(str(part) for part in [*shown, *where[2:]]) or "the file as a whole"
    row = _row_of(node, where)
    if error["type"] == "extra_forbidden":
        return _unknown_key(str(where[-1]), name, row, _keys_at(model, where[:-1]), path)
    if error["type"] == "missing":
        found, allowed = f"no key '{path}'", f"this key is required: {_meaning(model, where)}"
    else:
        value = error.get("input")
        given = "" if isinstance(value, dict | list | BaseModel) else f" {value!r}"
        found, allowed = f"{path}:{given or ' not consistent'}", str(error["msg"])
    return Fault(
        kind="missing_key" if error["type"] == "missing" else "bad_value",
        found=found,
        allowed=allowed.removeprefix("Value error, "),
        consequence=NOT_BUILT,
        remedy=f"write {path} as config/README.md says"
        + (" (a decimal point, no comma; no unit)" if "float" in error["type"] else ""),
        file=str(name),
        row=row,
    )


def _unknown_key(key: str, name: Path, row: int | None, right: list[str], path: str) -> Fault:
    near = difflib.get_close_matches(key, right, n=1, cutoff=0.5)
    return Fault(
        kind="unknown_key",
        found=f"the key '{path}'",
        allowed=f"here: {', '.join(right)}",
        consequence="what it was meant to set would stay at its default, unseen",
        remedy=f"did you mean '{near[0]}'?" if near else "remove it, or see config/README.md",
        file=str(name),
        row=row,
    )


def _models_in(annotation: Any) -> Iterator[type[BaseModel]]:
    """Yield the config parts named anywhere in a type annotation."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        yield annotation
    for inner in typing.get_args(annotation):
        yield from _models_in(inner)


def _keys_at(model: type[BaseModel], where: list[Any]) -> list[str]:
    """Return the right keys of the block that a path leads to."""
    for part in where:
        if isinstance(part, str) and part in model.model_fields:
            inner = next(_models_in(model.model_fields[part].annotation), None)
            if inner is not None:
                model = inner
    return list(model.model_fields)


def _meaning(model: type[BaseModel], where: list[Any]) -> str:
    """Return the description of a key, for the message that it is missing."""
    for part in where[:-1]:
        if isinstance(part, str) and part in model.model_fields:
            model = next(_models_in(model.model_fields[part].annotation), model)
    field = model.model_fields.get(str(where[-1]))
    return (field.description or str(where[-1])).rstrip(".") if field else str(where[-1])


def _row_of(node: yaml.Node | None, where: list[Any]) -> int | None:
    """Return the line in the YAML text to which a path leads, or of its nearest parent."""
    row = None
    for part in where:
        if isinstance(node, yaml.MappingNode):
            pairs = {key.value: (key, value) for key, value in node.value}
            if str(part) not in pairs:
                return row
            key, node = pairs[str(part)]
            row = key.start_mark.line + 1
        elif isinstance(node, yaml.SequenceNode) and isinstance(part, int):
            node = node.value[part]
            row = node.start_mark.line + 1
    return row


def _season_faults(season: Season, name: Path, site: Site | None) -> list[Fault]:
    """Return what a season file holds against its own name, the site and the site's folder."""
    faults = []
    if season.season != name.stem:
        faults.append(_misnamed(season.season, name))
    for survey in season.surveys:
        where = f"{season.season}-{survey.name}"
        known = set() if site is None else set(site.error_sources)
        for source in sorted(set(survey.resting_on) - known) if site else []:
            faults.append(_unknown_source(source, sorted(known), name, where))
        faults += _zero_faults(survey, name, where, site)
        if site is not None and survey.form in OBSERVED and survey.crs != site.crs:
            faults.append(_foreign_crs(survey, name, where, site))
        paths = [survey.file, *survey.ground_files, survey.vertical.water_level]
        faults += [_outside(p, name, where) for p in paths if p and not _inside(p)]
    return faults


def _zero_faults(survey: Survey, name: Path, where: str, site: Site | None) -> list[Fault]:
    """Return a fault when a survey's heights count from a zero that nothing ties to the site."""
    if site is None:
        return []
    try:
        site.links_from(survey.vertical.zero)
    except ValueError as slip:
        return [
            Fault(
                kind="unknown_zero",
                found=f"vertical.zero: {slip}",
                allowed="'site', or a zero that height_links in site.yaml lead to the site's datum",
                consequence="the survey's heights could not be brought to the site's datum",
                remedy="mend vertical.zero, or add the link with its error source",
                file=str(name),
                survey=where,
            )
        ]
    return []


def _foreign_crs(survey: Survey, name: Path, where: str, site: Site) -> Fault:
    return Fault(
        kind="observed_crs",
        found=f"crs {survey.crs} for observations (form: {survey.form})",
        allowed=f"the site's own, {site.crs}: they are tied to the marks of config/control.csv",
        consequence="the survey would be placed as if the marks were in another CRS",
        remedy=f"write crs: {site.crs}",
        file=str(name),
        survey=where,
    )


def _misnamed(season: str, name: Path) -> Fault:
    return Fault(
        kind="season_misnamed",
        found=f"season: {season}",
        allowed=f"the file's own name, {name.stem}",
        consequence="the order of seasons, and so first and last seen, would be in doubt",
        remedy="rename the file or mend the key",
        file=str(name),
    )


def _unknown_source(source: str, known: list[str], name: Path, survey: str) -> Fault:
    near = difflib.get_close_matches(source, known, n=1, cutoff=0.5)
    return Fault(
        kind="unknown_error_source",
        found=f"error source '{source}'",
        allowed=f"those listed in site.yaml: {', '.join(known) or 'none yet'}",
        consequence="an error that moves whole surveys would be left out of every figure",
        remedy=f"did you mean '{near[0]}'?" if near else "list it under error_sources in site.yaml",
        file=str(name),
        survey=survey,
    )


def _inside(path: str) -> bool:
    """Tell whether a path given in the config stays inside the site's folder."""
    given = Path(path)
    return not given.is_absolute() and ".." not in given.parts and "\x00" not in path


def _outside(path: str, name: Path, survey: str) -> Fault:
    return Fault(
        kind="outside_the_site",
        found=f"the path '{path}'",
        allowed="a path relative to the site's folder and inside it",
        consequence="the record could not be rebuilt from the site's folder alone",
        remedy="copy the file into the site, for instance under data/",
        file=str(name),
        survey=survey,
    )
