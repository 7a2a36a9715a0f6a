"""Directions of a site's walls: stretches, the picture with its table, and what is said of it."""

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import box
from printed_page import by_gid, cut, drawn_texts, gids, touching
from report_site import ABOUT, cells, layer, report, section, tree

from wrackline import contract
from wrackline.publish.orientation import orientation_table, orientation_words, stretches
from wrackline.publish.tables import write_csv
from wrackline.publish.text_pictures.rose import draw_rose
from wrackline.publish.text_pictures.style import STROKES, save

TURNED = "EPSG:32625"


def walls(lines, *, evidence="recorded"):
    """Return wall lines of one evidence."""
    return layer(
        "wall_lines", [{"evidence": evidence}] * len(lines), map(shapely.LineString, lines)
    )


def turned(lines, bearing_deg):
    """Return lines turned clockwise about the origin."""
    angle = np.radians(bearing_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])
    return [np.asarray(line) @ turn for line in lines]


def houses(bearing_deg, number):
    """Return so many rectangular houses, all turned alike."""
    sides = [side for k in range(number) for side in box(20 * k, 0, 20 * k + 6, 4)]
    return turned(sides, bearing_deg)


def test_stretches_are_clockwise_from_north():
    """A wall that runs 3 m east and 4 m north has a length of 5 m and an axis of 36.87 degrees."""
    axis, length = stretches(walls([[(0, 0), (3, 4)]]))
    np.testing.assert_allclose(axis, np.degrees(np.arctan2(3, 4)), atol=1e-6)
    np.testing.assert_allclose(length, 5)


def test_stretches_count_from_true_north():
    """Grid bearing plus convergence: 0.6 x degrees west of the central meridian, by sin(lat).

    The convergence of a transverse Mercator grid is close to (longitude - central meridian) times
    sin(latitude) (Snyder 1987, Map Projections, p. 61, from memory).
    """
    found = walls([[(300_000, 4_200_000), (300_000, 4_200_010)]]).set_crs(
        TURNED, allow_override=True
    )
    place = found.to_crs("EPSG:4326").geometry.iloc[0].centroid
    about = (place.x + 33) * np.sin(np.radians(place.y))
    axis, _ = stretches(found)
    assert about < -1
    np.testing.assert_allclose(axis, 180 + about, atol=0.01)


def test_bent_lines_are_taken_apart_and_tracing_errors_left():
    """A line round a corner is two stretches; a vertex 5 cm off its wall makes none of its own."""
    axis, length = stretches(walls([[(0, 0), (4, 0.05), (8, 0), (8, 3)]]))
    np.testing.assert_allclose(axis, [90, 0], atol=1e-9)
    assert length.tolist() == [8, 3]


def test_what_was_not_recorded_has_no_say():
    """Closings and old plans are left out, and stretches under a metre."""
    assert len(stretches(walls([[(0, 0), (5, 0)]], evidence="inferred"))[0]) == 0
    assert len(stretches(walls([[(0, 0), (5, 0)]], evidence="old plan"))[0]) == 0
    assert len(stretches(walls([[(0, 0), (0.9, 0)]]))[0]) == 0


def test_two_directions_are_told():
    """Houses turned by 10 and by 40 degrees are two families, the more walls first."""
    lines = [*houses(10, 8), *houses(40, 4)]
    table = orientation_table(walls(lines))
    families = table[table["row"] != "class"]
    np.testing.assert_allclose(families["axis_deg"].to_numpy(float), [10, 40], atol=0.1)
    np.testing.assert_allclose(families["length_share"].to_numpy(float), [2 / 3, 1 / 3], atol=0.01)
    words = orientation_words(table)
    assert words.startswith("2 directions stand out among the walls: A 10.")
    assert "48 straight stretches" in words
    assert "least BIC" in words


def test_words_are_the_same_from_the_file(tmp_path):
    """The report reads the table as written; the sentence has the same axes."""
    table = orientation_table(walls(houses(10, 8)))
    write_csv(table, tmp_path / "orientation.csv")
    again = orientation_words(pd.read_csv(tmp_path / "orientation.csv"))
    assert again.split(" (spread")[0] == orientation_words(table).split(" (spread")[0]


def test_the_contracts_fields():
    """The table has the contract's fields; a class has no sd and says why, a family has one."""
    table = orientation_table(walls(houses(10, 2)))
    assert list(table.columns) == list(contract.table_columns("orientation"))
    classes = table["row"] == "class"
    assert table.loc[classes, "null_because"].str.len().gt(0).all()
    assert table.loc[~classes, "axis_sd_deg"].gt(0).all()
    assert table.loc[classes, "length_share"].sum() == pytest.approx(1)


@pytest.mark.parametrize("number", [0, 1, 2])
def test_few_walls_get_a_plain_sentence(number):
    """No wall, or one or two: a picture without a family, and words that nothing can be told."""
    table = orientation_table(walls([[(0, 0), (5, 1)]] * number))
    assert set(table["row"]) == {"class"}
    assert f"there are {number} straight stretches" in orientation_words(table)
    assert "can't be told" in orientation_words(table)
    made = draw_rose(table, ABOUT)
    told = " ".join(text for text, _ in drawn_texts(made))
    assert f"{number} stretches: 3 are needed to tell a direction." in told
    assert touching(made) == []
    assert cut(made) == []


def test_walls_of_any_direction_have_none():
    """Walls spread evenly over all directions: no family, and the sentence says so."""
    fan = [turned([[(0, 0), (0, 5)]], bearing)[0] for bearing in np.arange(0, 180, 3.0)]
    table = orientation_table(walls(fan))
    assert orientation_words(table).startswith("No direction stands out")


def test_same_bytes(tmp_path):
    """The same walls in another order, and drawn the other way, give the same picture."""
    lines = [*houses(10, 4), *houses(40, 3)]
    back = [line[::-1] for line in lines[::-1]]
    for name, drawn in (("one", lines), ("two", back)):
        save(draw_rose(orientation_table(walls(drawn)), ABOUT), [tmp_path / f"{name}.svg"])
    assert (tmp_path / "one.svg").read_bytes() == (tmp_path / "two.svg").read_bytes()


def test_petals_are_the_tables_classes():
    """Each class is drawn both ways, from edge to edge, its area in proportion to its share.

    A sector's area goes with its radius squared (Fisher 1993, section 2.2, from memory).
    """
    table = orientation_table(walls([*houses(10, 8), *houses(37, 4)]))
    made = draw_rose(table, ABOUT)
    classes = table[table["row"] == "class"]
    shares = classes["length_share"].to_numpy(float)
    for way, turn in (("forth", 0), ("back", np.pi)):
        bars = [by_gid(made, f"class-{edge:g}-{way}") for edge in classes["from_deg"]]
        np.testing.assert_allclose([b.get_height() ** 2 for b in bars], shares / shares.max())
        edges = np.radians(classes[["from_deg", "to_deg"]].astype(float)) + turn
        drawn = [(bar.get_x(), bar.get_x() + bar.get_width()) for bar in bars]
        np.testing.assert_allclose(drawn, edges, atol=1e-12)


def test_families_are_drawn_at_their_axes():
    """Each family is drawn a quarter turn apart, through the centre, with dashes of its own."""
    table = orientation_table(walls([*houses(10, 8), *houses(40, 4)]))
    made = draw_rose(table, ABOUT)
    for k, (letter, axis) in enumerate(zip("AB", table["axis_deg"].iloc[-2:], strict=True)):
        lines = gids(made, f"family-{letter}-").values()
        drawn = sorted(np.degrees(line.get_xdata()[1]) for line in lines)
        np.testing.assert_allclose(drawn, float(axis) + np.array([0, 90, 180, 270]), atol=1e-6)
        assert {line.get_color() for line in lines} == {STROKES[k][0]}
    told = [text for text, _ in drawn_texts(made)]
    assert [told.count(letter) for letter in "AB"] == [4, 4]
    assert any("± " in text and text.startswith("A  ") for text in told)


@pytest.mark.parametrize("turns", [[10], [10, 40], [3, 20, 37, 62]])
def test_no_text_of_the_rose_touches_another(turns):
    """With one to four families no text overlaps another, and none is cut."""
    lines = [line for turn in turns for line in houses(turn, 6)]
    made = draw_rose(orientation_table(walls(lines)), ABOUT)
    assert touching(made) == []
    assert cut(made) == []


def test_the_report_says_it():
    """The report's section has the sentence, the cautions, and the rose where there is one."""
    page = tree(report(orientation=orientation_table(walls(houses(10, 8)))).html())
    told = cells(section(page, "directions"))
    assert told.startswith("Directions of the walls 1 direction stands out")
    assert "not a phase" in told
    assert section(page, "directions").find(".//img") is None
    shown = tree(report(rose=b"\x89PNG").html())
    assert section(shown, "directions").find(".//img") is not None
    assert "can't be told" in cells(section(shown, "directions"))
