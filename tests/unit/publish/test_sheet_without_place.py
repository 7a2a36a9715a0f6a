"""Whole sheets that leave the place out, looked through for anything that tells it."""

from pathlib import Path

import pytest
import shapely
from sheet_made import E, N, content, layer, site, three_d, words_of

from wrackline.config import load_site
from wrackline.model import SeaLevel, TitleBlock
from wrackline.publish.sheets.content import marks_layer
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.place import gives_away, secrets_of

ROOT = Path(__file__).parents[3]
UKRAINIAN = Language.of("uk", load_site(ROOT).languages["uk"])
SITE = site(
    name="Stannick Quay",
    vertical_datum="Ness levelling network",
    credit="Harbour museum of Stannick",
    sea_levels=[SeaLevel(name="mean tide at Stannick 2031", height_m=0.12, sd_m=0.01)],
    depths_below="mean tide at Stannick 2031",
    title_block=TitleBlock(permit="Ness 7/2031"),
)
WATERLINE = {
    "sea_level": "mean tide at Stannick 2031",
    "height_m": 0.12,
    "geometry": shapely.LineString([(E + 1, N + 25), (E + 38, N + 25)]),
}


def words(language, **keys):
    """Return all words of the sheet of one wall, a waterline and a mark."""
    wall = three_d(shapely.LineString([(E + 5, N + 10), (E + 30, N + 10)]))
    made = content(
        [wall],
        site=SITE,
        words=language,
        waterlines=layer("waterlines", [WATERLINE]),
        marks=marks_layer([("NESS1", E + 20, N + 20)], SITE.crs),
        scale=200,
        **keys,
    )
    return words_of(made)


@pytest.mark.parametrize("vertical", ["heights", "depths"])
@pytest.mark.parametrize("language", [Language.english(), UKRAINIAN])
def test_nothing_on_a_sheet_tells_where_it_is(language, vertical):
    """Names, codes and coordinates are on the sheet that shows the place, none on the other."""
    secrets = secrets_of(SITE, (), [language])
    shown = gives_away(words(language, vertical=vertical), secrets, SITE.origin)
    assert {"stannick quay", "ness", "epsg:32625", "mean tide at stannick 2031"} <= set(shown)
    assert any(number.startswith("32440") for number in shown)
    hidden = words(language, vertical=vertical, place="left_out")
    assert gives_away(hidden, secrets, SITE.origin) == []
    assert "°" not in hidden
    assert language.say("hidden_level") in hidden
