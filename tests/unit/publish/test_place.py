"""Sheets that leave the place out say nothing that tells it."""

import re
from dataclasses import replace
from pathlib import Path

import pytest

from wrackline.config import load_site
from wrackline.model import SeaLevel
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.place import (
    gives_away,
    secrets_of,
    without_place,
    words_without_place,
)
from wrackline.publish.sheets.words import WORDS
from wrackline.publish.words import statement

ROOT = Path(__file__).parents[3]
DEMO = load_site(ROOT)
SITE, SEASONS = DEMO.site, DEMO.seasons
ENGLISH = Language.english()
UKRAINIAN = Language.of("uk", DEMO.languages["uk"])
SECRETS = secrets_of(SITE, SEASONS.values(), [UKRAINIAN])

TELLING = ("Ebbrune", "Callowmer", "32625", "324400", "4207600", "0.120")
"""What of the demo's statement tells its place, written down by hand."""


@pytest.mark.parametrize("language", [ENGLISH, UKRAINIAN])
def test_nothing_of_the_demos_place_is_left_in_its_statement(language):
    """None of the demo's telling words stands in any topic, in either language."""
    about = statement(SITE, SEASONS)
    told = " ".join(about.values())
    assert {text for text in TELLING if text in told} >= {"Ebbrune", "Callowmer", "32625", "0.120"}
    left = without_place(about, SITE, language)
    assert list(left) == list(about)
    assert all(left.values())
    said = " ".join(left.values())
    assert [text for text in TELLING if text.casefold() in said.casefold()] == []
    assert gives_away(said, SECRETS, SITE.origin) == []
    assert left["caution"] == about["caution"]


def test_topics_that_nobody_knows_are_looked_into():
    """A topic added later is left out when it tells the place, and stays when it doesn't."""
    about = {"gauge": "staff at Callowmer quay", "units": "metres", "corner": "324512.4 E"}
    left = without_place(about, SITE, ENGLISH)
    assert left == {"gauge": "place left out", "units": "metres", "corner": "place left out"}


@pytest.mark.parametrize("language", [ENGLISH, UKRAINIAN])
def test_words_without_the_place_tell_none_of_its_names(language):
    """What a sheet prints of the site is neutral, and what tells nothing stays as it was."""
    words = words_without_place(language, SITE)
    names = [SITE.name, SITE.vertical_datum, SITE.credit]
    names += [level.name for level in SITE.sea_levels]
    assert gives_away(" ".join(map(language.own, names)), SECRETS)
    assert gives_away(" ".join(map(words.own, names)), SECRETS) == []
    assert words.own(SITE.name) == language.own(SITE.public_name)
    nameless = SITE.model_copy(update={"public_name": ""})
    said = words_without_place(language, nameless).own(SITE.name)
    assert said == language.say("place_left_out")
    assert words.own(SITE.credit) == ""
    for text in ("total station", "hearth", "early", "mean sea level 2021-2030"):
        assert words.own(text) == language.own(text)


def test_sea_levels_named_after_a_place_are_hidden():
    """Words of tides tell nothing; a gauge's town in a level's name does, and so does its datum."""
    levels = [
        {"name": "mean sea level 2021-2030", "height_m": 0.1},
        {"name": "mean high water Port Callow", "height_m": 0.4},
        {"name": "chart datum of Ness Roads", "height_m": -0.6, "gauge": "Quay of Stannick"},
    ]
    update = {"sea_levels": [SeaLevel.model_validate(level) for level in levels]}
    site = SITE.model_copy(update=update)
    words = words_without_place(ENGLISH, site)
    assert [words.own(level.name) for level in site.sea_levels] == [
        "mean sea level 2021-2030",
        "the record's own sea level 1",
        "the record's own sea level 2",
    ]
    secrets = secrets_of(site, ())
    assert gives_away("Callow and Stannick, mean high water", secrets) == ["stannick", "callow"]


def test_a_public_name_stands_in_for_the_name():
    """The team's word for the site in public is printed, and is no secret."""
    site = SITE.model_copy(update={"public_name": "The drowned quarter of Ebbrune"})
    words = words_without_place(UKRAINIAN, site)
    assert words.own(site.name) == "The drowned quarter of Ebbrune"
    own = {**UKRAINIAN.own_texts, site.public_name: "Затоплений квартал"}
    translated = words_without_place(replace(UKRAINIAN, own_texts=own), site)
    assert translated.own(site.name) == "Затоплений квартал"
    assert gives_away("The drowned quarter of Ebbrune", secrets_of(site, ())) == []
    assert gives_away("Callowmer", secrets_of(site, ())) == ["callowmer"]


@pytest.mark.parametrize(
    "text",
    [
        SITE.name,
        "walls of EBBRUNE, north side",
        "ebbrune_walls.gpkg",
        "levelling datum of Callowmer Bay (invented)",
        "план: Еббрун",
        "EPSG:32625",
        "UTM, code 32625",
        SITE.credit,
        DEMO.surveys["2033-photo_mosaic"].file
        if "2033-photo_mosaic" in DEMO.surveys
        else SITE.name,
    ],
)
def test_telling_texts_are_found(text):
    """Whole names, their words, grids, levels, credits and files are found in a text."""
    assert gives_away(f"seen: {text}.", SECRETS)


def test_phrases_of_the_sheets_tell_nothing():
    """No phrase of either language is taken for a secret, so whole sheets can be looked at."""
    for language in (ENGLISH, UKRAINIAN):
        for key in WORDS:
            names = dict.fromkeys(re.findall(r"\{(\w+)\}", WORDS[key]), "7")
            assert gives_away(language.say(key, **names), SECRETS, SITE.origin) == []


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("324451.25", ["324451.25"]),
        ("E 324440,87  N 4207613,60", ["324440,87", "4207613,60"]),
        ("R051-038, 1:500, 2033-06-09, 0.25 m", []),
        ("checksum 0324440fe, page 12000", []),
        ("120 m from the origin, 99999 m away", []),
    ],
)
def test_coordinates_are_told_from_other_numbers(text, found):
    """Numbers within 100 km of the origin's are coordinates; rooms, scales and dates are none."""
    assert gives_away(text, (), SITE.origin) == found


def test_a_title_block_without_a_permit_is_no_secret():
    """Empty texts never count: else every sheet would give everything away."""
    assert "" not in SECRETS
    assert gives_away("", SECRETS, SITE.origin) == []
