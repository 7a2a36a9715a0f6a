"""Sheets that leave the place out say nothing that tells it."""

import re
from pathlib import Path

import pytest

from wrackline.config import load_site
from wrackline.publish.language import Language
from wrackline.publish.place import gives_away, secrets_of, site_without_place, without_place
from wrackline.publish.sheet_words import WORDS
from wrackline.publish.words import statement

ROOT = Path(__file__).parents[3]
DEMO = load_site(ROOT)
SITE, SEASONS = DEMO.site, DEMO.seasons
ENGLISH = Language.english()
UKRAINIAN = Language.of("uk", DEMO.languages["uk"])
SECRETS = secrets_of(SITE, SEASONS.values(), [UKRAINIAN])

TELLING = ("Ebbrune", "Callowmer", "32625", "324400", "4207600", "0.120", "invented", "2021-2030")
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
def test_a_site_without_its_place_prints_none_of_its_names(language):
    """Names, datum, levels and credit are neutral words; grid and heights stay to draw by."""
    hidden = site_without_place(SITE, language)
    printed = [hidden.name, hidden.vertical_datum, hidden.credit, hidden.depths_below]
    printed += [level.name for level in hidden.sea_levels]
    assert gives_away(" ".join(printed), SECRETS) == []
    assert hidden.crs == SITE.crs
    assert hidden.depth_level.height_m == SITE.depth_level.height_m
    assert hidden.high_water_level.height_m == SITE.high_water_level.height_m
    names = [level.name for level in hidden.sea_levels]
    assert len(set(names)) == len(names) == 2


def test_a_public_name_stands_in_for_the_name():
    """The team's word for the site in public is printed, and is no secret."""
    site = SITE.model_copy(update={"public_name": "The drowned quarter of Ebbrune"})
    assert site_without_place(site, ENGLISH).name == "The drowned quarter of Ebbrune"
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
        "mean sea level 2021-2030",
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
