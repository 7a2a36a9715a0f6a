"""What gives a site's place away, and words without it, for sheets that leave the place out.

Names, grids and datums name a region; coordinates tell the spot; the angles between the norths tell
the way from a zone's middle, and to the pole. Credits and permits name those who know. Rooms keep
their numbers, which count from the site's origin, wherever that is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from wrackline.model import Season, Site
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.words import WORDS
from wrackline.publish.words import CAUTION

LEAST_LETTERS = 4
"""Shorter words of a name (bay, the) stand in too many others to tell anything."""

REACH_M = 100_000.0
"""A number as near to the origin's easting or northing is taken for a coordinate."""

LEAST_COORDINATE = 10_000.0
"""Smaller numbers are those of a sheet's own grid."""

TIDES = (
    "high",
    "low",
    "higher",
    "lower",
    "highest",
    "lowest",
    "spring",
    "springs",
    "neap",
    "neaps",
)
SEAS = ("mean", "sea", "level", "water", "tide", "tidal", "astronomical", "ancient", "today", "of")
SEA_WORDS = frozenset({*TIDES, *SEAS})
"""A sea level whose name has no other words tells no place, and keeps it."""

LETTER = r"[^\W\d_]"
NUMBER = re.compile(r"(?<![\w.,])\d{5,}(?:[.,]\d+)?(?!\w)")


def words_without_place(language: Language, site: Site) -> Language:
    """Return a language in which the site's own names don't tell where it lies.

    Whatever a sheet prints of the site by `Language.own` is neutral then: the site's public name,
    or that its place is left out; a datum and sea levels of the record's own; no credit, no permit.

    Parameters
    ----------
    language : Language
    site : Site
    """
    neutral = {site.name: language.own(site.public_name) or language.say("place_left_out")}
    neutral[site.vertical_datum] = language.say("hidden_datum")
    told = [level.name for level in site.sea_levels if not _is_plain(level.name)]
    for number, name in enumerate(told, start=1):
        count = f" {number}" if len(told) > 1 else ""
        neutral[name] = language.say("hidden_level") + count
    neutral |= dict.fromkeys(filter(None, [site.credit, *_told_in(site)]), "")
    return replace(language, own_texts={**language.own_texts, **neutral})


def without_place(about: Mapping[str, str], site: Site, language: Language) -> dict[str, str]:
    """Return a statement (`words.statement`) without what tells where the site lies.

    Parameters
    ----------
    about : mapping of str to str
        Texts by topic. Topics that this doesn't know stay, unless they give the place away.
    site : Site
    language : Language
        The neutral words are in it.
    """
    words = words_without_place(language, site)
    left_out = language.say("place_left_out")
    known = {
        "site": words.own(site.name),
        "crs": language.say("local_grid"),
        "vertical_datum": words.own(site.vertical_datum),
        "depths": language.say("depth_below", level=words.own(site.depth_level.name)),
        "credit": left_out,
    }
    secrets = secrets_of(site, (), [language])
    return {
        topic: known.get(topic) or (left_out if gives_away(text, secrets, site.origin) else text)
        for topic, text in about.items()
    }


def secrets_of(
    site: Site, seasons: Iterable[Season], languages: Iterable[Language] = ()
) -> tuple[str, ...]:
    """Return texts and words that tell where a site lies, the longest first.

    Parameters
    ----------
    site : Site
    seasons : iterable of Season
        Their files' names count too.
    languages : iterable of Language
        What they call the site's own names counts too.
    """
    files = [survey.file for season in seasons for survey in season.surveys]
    levels = [level.name for level in site.sea_levels if not _is_plain(level.name)]
    names = [site.name, site.vertical_datum, *levels]
    names += [level.gauge for level in site.sea_levels]
    whole = [*names, site.credit, *_told_in(site)]
    said = [*WORDS.values(), CAUTION, site.public_name, " ".join(SEA_WORDS)]
    for language in languages:
        whole += [language.own(text) for text in whole]
        names += [language.own(text) for text in names]
        said += [*language.words.values(), language.own(site.public_name)]
    codes = [site.crs, *re.findall(r"\d{4,}", site.crs)]
    words = {word for text in names for word in _words(text)}
    common = {word for text in said for word in _words(text)}
    found = {text.casefold() for text in [*whole, *codes, *files, *(words - common)] if text}
    return tuple(sorted(found, key=lambda text: (-len(text), text)))


def gives_away(
    text: str, secrets: Sequence[str], origin: tuple[float, float] | None = None
) -> list[str]:
    """Return what in a text tells where the site lies.

    Parameters
    ----------
    text : str
    secrets : sequence of str
        Of `secrets_of`.
    origin : (float, float), optional
        Easting and northing of the site's origin; with it, numbers that may be coordinates count.

    Examples
    --------
    >>> gives_away("Ebbrune, R051-038 at 324451.2 E", ["ebbrune"], (324400.0, 4207600.0))
    ['ebbrune', '324451.2']
    """
    plain = text.casefold()
    told = [
        secret
        for secret in secrets
        if re.search(rf"(?<!{LETTER}){re.escape(secret)}(?!{LETTER})", plain)
    ]
    if origin is None:
        return told
    return told + [number for number in NUMBER.findall(text) if _is_coordinate(number, origin)]


def _is_coordinate(number: str, origin: tuple[float, float]) -> bool:
    value = float(number.replace(",", "."))
    return value >= LEAST_COORDINATE and any(abs(value - zero) <= REACH_M for zero in origin)


def _told_in(site: Site) -> list[str]:
    """Return the texts of a title block, where the config has one."""
    block = getattr(site, "title_block", None)
    return [] if block is None else [block.permit or ""]


def _is_plain(name: str) -> bool:
    """Tell whether a sea level's name has words of tides alone."""
    return set(re.findall(rf"{LETTER}+", name.casefold())) <= SEA_WORDS


def _words(text: str) -> set[str]:
    return {word for word in re.findall(rf"{LETTER}{{{LEAST_LETTERS},}}", text.casefold())}
