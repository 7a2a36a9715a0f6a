"""What gives a site's place away, and a site told without it, for sheets that leave the place out.

Names, grids and datums name a region; coordinates tell the spot; the angles between the norths tell
the way from a zone's middle, and to the pole. Credits and permits name those who know. Rooms keep
their numbers, which count from the site's origin, wherever that is.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from wrackline.model import Season, Site
from wrackline.publish.language import Language
from wrackline.publish.sheet_words import WORDS
from wrackline.publish.words import CAUTION

LEAST_LETTERS = 4
"""Shorter words of a name (bay, the) stand in too many others to tell anything."""

REACH_M = 100_000.0
"""A number as near to the origin's easting or northing is taken for a coordinate."""

LEAST_COORDINATE = 10_000.0
"""Smaller numbers are those of a sheet's own grid."""

LETTER = r"[^\W\d_]"
NUMBER = re.compile(r"(?<![\w.,])\d{5,}(?:[.,]\d+)?(?!\w)")


def site_without_place(site: Site, language: Language) -> Site:
    """Return a site whose printed texts don't tell where it lies.

    Its name is its public name, or says that the place is left out. The grid stays, to draw in:
    a sheet that leaves the place out prints neither it nor true or magnetic north.

    Parameters
    ----------
    site : Site
    language : Language
        The neutral words are in it.
    """
    level = site.depth_level
    name = site.public_name or language.say("place_left_out")
    names = {other.name: language.say("hidden_level") for other in site.sea_levels}
    if len(names) > 1:
        numbered = enumerate(names, start=1)
        names = {one: f"{language.say('hidden_level')} {k}" for k, one in numbered}
    levels = [
        other.model_copy(update={"name": names[other.name], "gauge": "", "basis": ""})
        for other in site.sea_levels
    ]
    neutral = {
        "name": name,
        "vertical_datum": language.say("hidden_datum"),
        "sea_levels": levels,
        "depths_below": names[level.name],
        "high_water": None if site.high_water is None else names[site.high_water],
        "credit": "",
    }
    return site.model_copy(update=neutral)


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
    hidden = site_without_place(site, language)
    known = {
        "site": hidden.name,
        "crs": language.say("local_grid"),
        "vertical_datum": hidden.vertical_datum,
        "depths": language.say("depth_below", level=hidden.depth_level.name),
        "credit": language.say("place_left_out"),
    }
    secrets = secrets_of(site, (), [language])
    return {
        topic: known.get(topic)
        or (language.say("place_left_out") if gives_away(text, secrets, site.origin) else text)
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
    whole = [site.name, site.vertical_datum, site.credit, *_told_in(site)]
    whole += [text for level in site.sea_levels for text in (level.name, level.gauge)]
    names = [site.name, site.vertical_datum]
    said = [*WORDS.values(), CAUTION, site.public_name]
    for language in languages:
        whole += [language.own(text) for text in whole]
        names += [language.own(text) for text in names]
        said += language.words.values()
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


def _words(text: str) -> set[str]:
    return {word for word in re.findall(rf"{LETTER}{{{LEAST_LETTERS},}}", text.casefold())}
