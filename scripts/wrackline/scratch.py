"""A site's stand-in for a rehearsal: its config, with a season added, beside links to its files.

Nothing is written in the site itself. The stand-in lies in the system's folder for temporary files
and is gone afterwards. What steps may make anew is linked file by file, with its date, since
Snakemake takes a link away before a step writes; so the site's own file is never written to.
"""

from __future__ import annotations

import contextlib
import os
import re
import shutil
import tempfile
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import yaml

from wrackline import lock
from wrackline.errors import ConfigError, Fault

if TYPE_CHECKING:
    from wrackline.config import SiteConfig

SEASONS = Path("config/seasons")
MADE = "data/demo/"
"""Where a demo's files are made by a rule."""
_RECORDS = ("metadata", "incomplete")
_BOND = "belongs-to.txt"


def season_file(site: Path, season: Path) -> Path:
    """Return where a season file lies: as given, in the site, or among its seasons.

    Raises
    ------
    ConfigError
        When it lies nowhere, or isn't YAML by its name.
    """
    found = next(
        (file for file in (season, site / season, site / SEASONS / season) if file.is_file()), None
    )
    if found is not None and found.suffix in (".yaml", ".yml"):
        return found
    what = "no such file" if found is None else f"a file that ends in '{found.suffix}'"
    raise ConfigError(
        Fault(
            kind="no_season_file",
            found=f"{what}: {season}",
            allowed="a season's YAML file, in config/seasons/ or anywhere else",
            consequence="there is nothing to rehearse",
            remedy="give the file's path, as in SEASON=drafts/2034.yaml",
        )
    )


@contextlib.contextmanager
def stand_in(
    site: Path, season: Path | None, *, read_config: Callable[[Path], SiteConfig]
) -> Iterator[tuple[Path, SiteConfig]]:
    """Make a stand-in for a site, and take it away again.

    Parameters
    ----------
    site : Path
        Folder of the site.
    season : Path or None
        A season file that is taken as if it were among the site's.
    read_config : callable
        Reads a site's config.

    Yields
    ------
    tuple
        The stand-in's folder, and its config.

    Raises
    ------
    ConfigError
        When the config, the season included, can't be used.
    BusyError
        When a run is at work on the site.
    """
    with tempfile.TemporaryDirectory(prefix="wrackline-rehearsal-") as name:
        folder = Path(name)
        if not (site / "config" / "site.yaml").is_file():
            read_config(site)  # says what is missing, and where
        shutil.copytree(site / "config", folder / "config")
        if season is not None:
            (folder / SEASONS).mkdir(parents=True, exist_ok=True)
            shutil.copy2(season, folder / SEASONS / _name_of(season))
        config = read_config(folder)
        with lock.held_still(site):
            _link_data(site, folder, config)
            _link_work(site, folder)
        yield folder, config


def _name_of(season: Path) -> str:
    """Return what a season's file is called among the others: a draft may have any name."""
    try:
        content = yaml.safe_load(season.read_text(encoding="utf-8-sig"))
    except (yaml.YAMLError, UnicodeDecodeError):
        return season.name  # the reading of the config says what is wrong with it
    name = str(content.get("season", "")) if isinstance(content, dict) else ""
    return f"{name}.yaml" if re.fullmatch(r"[a-z0-9][a-z0-9_]*", name) else season.name


def _link_data(site: Path, folder: Path, config: SiteConfig) -> None:
    """Link raw files, and all that lies beside them; what the demo makes is copied."""
    made = MADE if config.site.demo else "\0"
    named = {Path(file) for file in _named(config)}
    for within in sorted({file.parent for file in named}):
        for entry in sorted((site / within).glob("[!.]*")):
            target = folder / within / entry.name
            if target.exists() or (entry.is_dir() and within / entry.name not in named):
                continue
            target.parent.mkdir(parents=True, exist_ok=True)
            if f"{within.as_posix()}/".startswith(made):
                shutil.copy2(entry, target)
            else:
                _link(entry, target)


def _named(config: SiteConfig) -> Iterable[str]:
    """Yield the raw files that a config names."""
    for survey in config.surveys.values():
        yield from filter(None, (survey.file, survey.vertical.water_level, survey.looked_at))
    yield from filter(None, (link.geoid_grid for link in config.site.height_links))
    yield from [f"{MADE}truth.json", config.site.demo] if config.site.demo else []


def _link_work(site: Path, folder: Path) -> None:
    """Link what was made, and copy Snakemake's records of it."""
    for root, _, names in os.walk(site / "work"):
        within = folder / Path(root).relative_to(site)
        within.mkdir(parents=True, exist_ok=True)
        for name in names:
            _link(Path(root, name), within / name)
    hidden = Path(".snakemake")
    for part in _RECORDS:
        if (site / hidden / part).is_dir():
            shutil.copytree(site / hidden / part, folder / hidden / part)
    if (site / hidden / _BOND).is_file():
        (folder / hidden).mkdir(exist_ok=True)
        shutil.copy2(site / hidden / _BOND, folder / hidden / _BOND)


def _link(file: Path, target: Path) -> None:
    """Link a file under a new name, with its date."""
    target.symlink_to(file.resolve(), target_is_directory=file.is_dir())
    if file.exists():
        status = file.stat()
        dates = (status.st_atime_ns, status.st_mtime_ns)
        os.utime(target, ns=dates, follow_symlinks=False)
