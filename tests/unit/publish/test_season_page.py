"""The page and pictures of a season: all that it says is there, and hostile text stays text."""

import pandas as pd
import pytest
from drawn import CRS, box, line_table, plan_of
from matplotlib import image
from report_site import tree

from wrackline.publish.season_page import FIRST, SeasonPage
from wrackline.publish.season_pictures import draw_changes
from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.interpretations import reading_columns
from wrackline.seasons.moved import compared, moved
from wrackline.seasons.replay import replay
from wrackline.seasons.to_decide import questions

ABOUT = {
    "site": "Drawn <b>site</b>",
    "crs": CRS,
    "vertical_datum": "invented",
    "depths": "below msl",
    "units": "metres",
    "surveyed": "2031-06-01 to 2032-06-02",
    "credit": "nobody",
    "caution": "Not for navigation.",
}
SURVEYS = [
    {
        "name": "walls",
        "technique": "pole & <i>tape</i>",
        "holds": "wall_lines",
        "from_date": "2032-06-01",
        "to_date": "2032-06-02",
    }
]
NOBODY = pd.DataFrame(columns=list(reading_columns()))


@pytest.fixture(scope="module")
def seasons():
    """Return two seasons: a room, then that room split, another smaller, one gone, one new."""
    first = [*box(0, 0, 8, 4), *box(20, 0, 25, 4), *box(40, 0, 44, 4)]
    second = [*box(0, 0, 8, 4), [(5, 0), (5, 4)], *box(20, 0, 25, 2.4), *box(60, 0, 64, 4)]
    plans = [
        (name, plan_of(line_table(lines, survey=f"{name}-walls")))
        for name, lines in (("2031", first), ("2032", second))
    ]
    return replay(plans, None, (0.0, 0.0))


def page(seasons, k, picture=b"png"):
    now = seasons[k]
    before = seasons[k - 1].plan if k else None
    events = now.carried.records()
    return SeasonPage(
        season=now.season,
        before=seasons[k - 1].season if k else "",
        about=ABOUT,
        plan=now.plan,
        surveys=SURVEYS,
        events=pd.DataFrame(events, columns=list(EVENT_COLUMNS)),
        moved=moved(before, now.plan),
        decide=questions(now.plan, events, NOBODY, ["x <script>alert(1)</script>"]),
        compared=compared(before, now.plan),
        unprinted=7,
        picture=picture,
    ).html()


def test_the_page_tells_what_changed(seasons):
    """Each event of a room stands with its number; what was brought, and what is to be decided."""
    text = page(seasons, 1)
    rooms = seasons[0].plan["rooms"]["room"].tolist()
    assert "1 room split" in text
    assert "1 room gone" in text
    assert "1 room reshaped" in text
    assert all(number in text for number in rooms)
    assert "floor area" in text
    assert "make freeze SEASON=2032" in text
    assert ABOUT["caution"] in text


def test_the_first_season_has_nothing_before_it(seasons):
    """It says so, and lists no change."""
    text = page(seasons, 0)
    assert FIRST in text
    assert "gone" not in text.split("<main>")[1].split("What needs a decision")[0]


def test_text_from_outside_stays_text(seasons):
    """Marks in names, techniques and notes are shown, not followed."""
    text = page(seasons, 1)
    assert "<script>" not in text
    assert "<i>tape" not in text
    assert "Drawn &lt;b&gt;site" in text


def test_the_page_is_well_formed(seasons):
    """Every element is closed in its order."""
    assert tree(page(seasons, 1)).tag == "html"


def test_the_picture_shows_before_after_and_what_changed(seasons, tmp_path):
    """Three maps, drawn to the same bytes twice; what changed has other greys than what stayed."""
    about = {**ABOUT, "season": "2032", "season_before": "2031"}
    files = [tmp_path / "a.png", tmp_path / "b.png", tmp_path / "c.svg"]
    events = seasons[1].carried.records()
    for file in files:
        draw_changes(seasons[0].plan, seasons[1].plan, events, about, [file])
    assert files[0].read_bytes() == files[1].read_bytes()
    drawn = image.imread(files[0])[..., :3].mean(axis=2)
    drawn = drawn[: int(0.58 * len(drawn))]  # the maps, without the key below
    third = drawn.shape[1] // 3
    dark = [(drawn[:, k * third : (k + 1) * third] < 0.62).mean() for k in range(3)]
    assert dark[2] > 1.2 * dark[1]
    assert files[2].read_text().startswith("<?xml")


def test_the_first_seasons_picture_has_an_empty_map_before(seasons, tmp_path):
    """Nothing yet on the left, and all of it new on the right."""
    about = {**ABOUT, "season": "2031", "season_before": ""}
    events = seasons[0].carried.records()
    draw_changes(None, seasons[0].plan, events, about, [tmp_path / "a.png"])
    assert (tmp_path / "a.png").stat().st_size > 10_000
