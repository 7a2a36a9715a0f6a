"""Condition over time: what seasons say at the same place is compared, never their totals."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import CRS
from matplotlib.colors import to_rgb

from wrackline import contract, vectors
from wrackline.publish import condition_picture
from wrackline.publish.condition_picture import draw_condition
from wrackline.seasons.condition import (
    ALL,
    NONE,
    condition_table,
    last_words,
    places_of,
    wall_condition,
)
from wrackline.seasons.judging import BURIED, HIDDEN, LOST, SEEN, STATUSES, UNSOUGHT
from wrackline.seasons.outlines import outline_states

HOUSE = gpd.GeoDataFrame({"building": ["B1"]}, geometry=[shapely.box(0, 0, 20, 10)], crs=CRS)
ABOUT = {"site": "Drawn", "crs": CRS, "surveyed": "2031", "caution": "Not for navigation."}


def sightings(*stretches, season="2031", wall="W1"):
    """Return what a season saw: stretches of (west, east, status) along a wall of the house.

    Further items of a stretch are its exposure and its loss, each with an sd of 0.02 m.
    """
    rows = []
    for west, east, status, *figures in stretches:
        exposure, loss = [*figures, np.nan, np.nan][:2]
        rows.append(
            {
                "wall": wall,
                "season": season,
                "status": status,
                "length_m": float(east - west),
                "exposure_m": exposure,
                "exposure_sd_m": 0.02,
                "loss_m": loss,
                "loss_sd_m": 0.02,
                "geometry": shapely.LineString([(west, 0), (east, 0)]),
            }
        )
    table = gpd.GeoDataFrame(pd.DataFrame(rows), geometry="geometry", crs=CRS)
    for name in contract.columns("sightings"):
        if name not in table:
            table[name] = None
    return table


def followed(*seasons, buildings=HOUSE):
    """Return the table and the walls after seasons named 2031, 2032 and so on."""
    named = {str(2031 + k): table for k, table in enumerate(seasons)}
    places = places_of(named, buildings)
    table = condition_table(places, list(named))
    return table, wall_condition(places, list(named.values())[-1], list(named))


def row(table, season, building="B1"):
    """Return one row of the table."""
    return table[(table["season"] == season) & (table["building"] == building)].iloc[0]


def test_what_was_seen_and_is_lost_is_a_loss():
    """Ten metres seen, then four lost: four newly lost, and the building is losing walls."""
    table, walls = followed(sightings((0, 10, "seen")), sightings((0, 6, "seen"), (6, 10, "lost")))
    later = row(table, "2032")
    assert later["trend"] == "losing walls"
    assert later["newly_lost_m"] == later["lost_so_far_m"] == pytest.approx(4)
    assert later["compared_m"] == pytest.approx(10)
    assert later["evidence"].startswith("4.0 m newly lost")
    lost = walls[walls["last_known"] == "lost"].iloc[0]
    assert (lost["length_m"], lost["last_seen"], lost["known_in"]) == (4.0, "2031", "2032")


def test_not_looked_for_is_not_gone():
    """A season that looked elsewhere takes nothing away, and says since when nothing is known."""
    table, walls = followed(sightings((0, 10, "seen")), sightings((0, 10, "not looked for")))
    later = row(table, "2032")
    assert later["trend"] == "not known since 2031"
    assert later["newly_lost_m"] == later["lost_so_far_m"] == 0
    assert later["last_seen"] == "2031"
    assert walls["last_known"].tolist() == ["seen"]
    assert walls["this_season"].tolist() == ["not looked for"]


def test_a_loss_is_told_once_and_stays():
    """Lost in 2032, not looked for in 2033: lost so far, but not newly."""
    table, _ = followed(
        sightings((0, 10, "seen")),
        sightings((0, 10, "lost")),
        sightings((0, 10, "not looked for")),
        sightings((0, 10, "lost")),
    )
    told = [row(table, season)[["newly_lost_m", "lost_so_far_m"]].tolist() for season in
            ("2031", "2032", "2033", "2034")]  # fmt: skip
    assert told == [[0, 0], [10, 10], [0, 10], [0, 10]]


def test_a_wall_said_to_be_lost_and_seen_again_was_not():
    """The later season sets the earlier word right, and says how much of it was wrong."""
    table, walls = followed(
        sightings((0, 10, "seen")), sightings((0, 10, "lost")), sightings((0, 10, "seen"))
    )
    later = row(table, "2033")
    assert later["found_again_m"] == pytest.approx(10)
    assert later["lost_so_far_m"] == 0
    assert walls["last_known"].tolist() == ["seen"]


@pytest.mark.parametrize(
    ("before", "after", "trend"),
    [
        ("seen", "buried", "being buried"),
        ("seen", "overgrown", "being overgrown"),
        ("buried", "seen", "being uncovered"),
        ("overgrown", "seen", "being uncovered"),
        ("seen", "seen", "stable"),
        ("buried", "buried", "stable"),
    ],
)
def test_trends_follow_from_two_words_at_one_place(before, after, trend):
    """Each change of word has its trend; none has none."""
    table, _ = followed(sightings((0, 10, before)), sightings((0, 10, after)))
    assert row(table, "2032")["trend"] == trend


def test_a_metre_makes_no_trend():
    """One metre of ten is said to be lost: a fact in the table, no trend."""
    table, _ = followed(sightings((0, 10, "seen")), sightings((0, 9, "seen"), (9, 10, "lost")))
    later = row(table, "2032")
    assert later["trend"] == "stable"
    assert later["newly_lost_m"] == pytest.approx(1)


def test_tops_that_fall_short_beyond_doubt_are_told():
    """Seen all over, 0.2 m (sd 0.02) short of what was recorded."""
    table, _ = followed(sightings((0, 10, "seen")), sightings((0, 10, "seen", 0.4, 0.2)))
    later = row(table, "2032")
    assert later["trend"] == "walls lower than recorded"
    assert later["mean_exposure_m"] == pytest.approx(0.4)
    assert (later["mean_loss_m"], later["mean_loss_sd_m"]) == pytest.approx((0.2, 0.02))


def test_one_season_has_nothing_to_compare():
    """The first record says so."""
    table, _ = followed(sightings((0, 10, "seen")))
    assert row(table, "2031")["trend"] == "first record"


def test_totals_of_seasons_that_looked_elsewhere_are_not_compared():
    """Half seen in each season, at different ends: nothing was compared, nothing lost."""
    table, _ = followed(
        sightings((0, 5, "seen"), (5, 10, "not looked for")),
        sightings((0, 5, "not looked for"), (5, 10, "seen")),
    )
    later = row(table, "2032")
    assert later["compared_m"] == later["newly_lost_m"] == 0
    assert later["trend"] == "first record"


def test_lengths_add_up_to_the_walls():
    """The six words share a season's walls out among them; all walls are the sum of the rest."""
    far = sightings((40, 52, "seen"), season="2032", wall="W2")
    near = sightings((0, 4, "seen"), (4, 7, "lost"), (7, 10, "could not be seen"))
    both = gpd.GeoDataFrame(pd.concat([near, far], ignore_index=True), crs=CRS)
    table, _ = followed(sightings((0, 10, "seen")), both)
    names = [f"{status.replace(' ', '_')}_m" for status in STATUSES]
    np.testing.assert_allclose(table[names].sum(axis=1), table["walls_m"])
    mine = table[table["season"] == "2032"].set_index("building")
    assert mine.loc[ALL, "walls_m"] == pytest.approx(22)
    assert mine.loc[NONE, "walls_m"] == pytest.approx(12)
    assert table["building"].iloc[0] == ALL
    assert table["season"].iloc[0] == "2032"


def test_a_wall_that_was_renumbered_is_the_same_place():
    """What lies there counts, whatever its number was."""
    table, _ = followed(
        sightings((0, 10, "seen"), wall="W9"), sightings((0, 10, "lost"), wall="W1")
    )
    assert row(table, "2032")["newly_lost_m"] == pytest.approx(10)


def test_words_that_say_nothing_leave_the_last_one():
    """Hidden and not looked for keep what was known; before any word nothing is."""
    last, since = last_words(np.array([[UNSOUGHT, SEEN, HIDDEN, BURIED, UNSOUGHT]]))
    assert last.tolist() == [[-1, SEEN, SEEN, BURIED, BURIED]]
    assert since.tolist() == [[-1, 1, 1, 3, 3]]
    assert last_words(np.array([[LOST]]))[0].tolist() == [[LOST]]


def test_tables_keep_their_contract():
    """Rows have the declared fields; every empty figure has its reason."""
    table, walls = followed(sightings((0, 10, "seen")))
    assert list(table.columns) == list(contract.table_columns("condition"))
    assert table["null_because"].str.contains("mean_loss_m: no surface shows").all()
    vectors.conform(walls, contract.columns("wall_condition"))


def test_a_site_without_walls_has_no_rows():
    """No walls, no rows, and a picture all the same."""
    none = sightings((0, 10, "seen")).iloc[:0]
    table, walls = followed(none, buildings=HOUSE.iloc[:0])
    assert len(table) == len(walls) == 0


def test_outlines_of_rooms_are_told_by_the_walls_along_them():
    """A room of 4 by 3 m: its south side lost, its north seen half a wall off, no more recorded."""
    rooms = gpd.GeoDataFrame({"room": ["R1"]}, geometry=[shapely.box(0, 0, 4, 3)], crs=CRS)
    lines = [shapely.LineString([(0, 0), (4, 0)]), shapely.LineString([(-1, 3.3), (9, 3.3)])]
    walls = gpd.GeoDataFrame({"status": ["lost", "seen"]}, geometry=lines, crs=CRS)
    told = outline_states(rooms, walls)
    assert told.to_numpy().tolist() == [["R1", "lost", 4.0], ["R1", "seen", 4.0]]
    assert len(outline_states(rooms, walls.iloc[:0])) == 0
    assert len(outline_states(rooms.iloc[:0], walls)) == 0


def picture(tmp_path, monkeypatch, name="a.svg"):
    """Return the figure of a building that lost walls, drawn into a file."""
    table, walls = followed(
        sightings((0, 10, "seen")), sightings((0, 5, "seen"), (5, 8, "lost"), (8, 10, "buried"))
    )
    kept = []
    made = condition_picture.Figure
    monkeypatch.setattr(
        condition_picture, "Figure", lambda **how: kept.append(made(**how)) or kept[-1]
    )
    draw_condition(walls, HOUSE, table, ABOUT, [tmp_path / name])
    return kept[0]


def test_the_picture_names_what_wants_looking_after(tmp_path, monkeypatch):
    """The building with its loss is in the list and on the map; the caution stands below."""
    figure = picture(tmp_path, monkeypatch)
    words = "\n".join(text.get_text() for text in figure.texts)
    assert "B1: losing walls; being buried (3.0 m lost, 2.0 m buried" in words
    assert "All walls: 3.0 m lost, 2.0 m buried" in words
    assert "Not for navigation." in words
    assert "B1" in [text.get_text() for text in figure.axes[0].texts]


def test_the_picture_is_the_same_to_the_byte(tmp_path, monkeypatch):
    """Equal input, equal bytes."""
    picture(tmp_path, monkeypatch, "a.svg")
    picture(tmp_path, monkeypatch, "b.svg")
    assert (tmp_path / "a.svg").read_bytes() == (tmp_path / "b.svg").read_bytes()


def test_signs_of_the_picture_differ_without_colour():
    """No two kinds of wall have the same width and dashes; no two bars the same tone and hatch."""
    lines = [(s["linewidths"], str(s.get("linestyles"))) for s in condition_picture.LINES.values()]
    assert len(set(lines)) == len(lines)

    def tone(style):
        rgb = to_rgb(style["facecolor"])
        return round(float(np.dot(rgb, [0.299, 0.587, 0.114])), 1), style.get("hatch")

    bars = [tone(style) for style in condition_picture.BARS.values()]
    assert len(set(bars)) == len(bars)
