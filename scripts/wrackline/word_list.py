"""A language file to fill in: every phrase of the sheets, and the site's own texts, as comments."""

from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

import yaml

from wrackline.config import SiteConfig
from wrackline.errors import ConfigError, Fault
from wrackline.languages import CODE, FOLDER, texts_of
from wrackline.publish.sheets.words import WORDS

HEAD = """\
# What the sheets say in another language; config/README.md explains it. Take the # off a line once
# it is translated, and leave names in braces as they are. What isn't translated stays English.

language: {code}   # the language's own name for itself
decimal_mark: "."
date_pattern: YYYY-MM-DD
"""


def word_list(config: SiteConfig, code: str) -> tuple[Path | None, list[str]]:
    """Write the file of a new language; of one that is there, tell what it lacks.

    Parameters
    ----------
    config : SiteConfig
    code : str
        Tag of the language, e.g. ``uk``.

    Returns
    -------
    path or None
        The file written; none where there was one, which is never touched.
    list of str
        Lines to put into the file that was there.

    Raises
    ------
    ConfigError
        When the code is no language's tag.
    """
    if not CODE.fullmatch(code):
        raise ConfigError(_no_code(code))
    known = config.languages.get(code)
    texts = [*texts_of(config.site, config.seasons.values()), *_kinds(config.folder)]
    own = dict.fromkeys(text for text in texts if known is None or text not in known.own)
    words = {key: text for key, text in WORDS.items() if known is None or key not in known.words}
    blocks = [*_block("words", words), *_block("own", {text: text for text in own})]
    if known is not None:
        return None, blocks
    path = config.folder / FOLDER / f"{code}.yaml"
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_text(HEAD.format(code=code) + "\n".join(["", *blocks, ""]), encoding="utf-8")
    return path, []


def _block(name: str, texts: Mapping[str, str]) -> Iterator[str]:
    """Yield one block of a language file, its lines turned into comments."""
    if not texts:
        return
    yield f"{name}:"
    for key, text in texts.items():
        line = yaml.safe_dump({key: text}, allow_unicode=True, width=float("inf"))
        yield f"  # {line.strip()}"


def _kinds(folder: Path) -> Sequence[str]:
    """Return the kinds of features of the record last built, which no config names."""
    package = folder / "results" / "site.gpkg"
    if not package.is_file():
        return []
    with contextlib.closing(
        sqlite3.connect(f"{package.resolve().as_uri()}?mode=ro", uri=True)
    ) as db:
        found = db.execute("SELECT DISTINCT kind FROM features WHERE kind <> '' ORDER BY kind")
        return [str(kind) for (kind,) in found]


def _no_code(code: str) -> Fault:
    return Fault(
        kind="language_misnamed",
        found=f"the language '{code}'",
        allowed="a language's tag, as uk or pt-BR",
        consequence="nothing was written",
        remedy="look the tag up (IANA language subtag registry)",
    )
