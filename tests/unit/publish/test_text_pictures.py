"""The pictures for the text, each of any site: from nothing at all to many buildings."""

import numpy as np
import pandas as pd
import pytest
import shapely
from defusedxml import ElementTree
from drawn import site
from printed_page import cut, drawn_texts, touching
from report_site import ABOUT, bare_plan, layer, plan

from wrackline import contract
from wrackline.publish.tables import write_csv
from wrackline.publish.text_pictures.drawn import DRAWN, picture_tables
from wrackline.publish.text_pictures.style import PAGE_MM, save

NAMES = list(DRAWN)


def town(number=40, seed=3):
    """Return a plan of so many houses of three rooms each, with doors, floors and depths."""
    rng = np.random.default_rng(seed)
    rows = {name: [] for name in ("rooms", "buildings", "openings", "wall_lines", "features")}
    for k in range(number):
        east, north = 20.0 * (k % 8), 15.0 * (k // 8)
        house, depth = f"B{east:03.0f}-{north:03.0f}", 1 + north / 20
        names = [f"R{east + 4 * j:03.0f}-{north:03.0f}" for j in range(3)]
        for j, name in enumerate(names):
            row = {"room": name, "building": house, "kind": "court" if k % 9 == j == 0 else "room"}
            row |= {"floor_area_m2": float(rng.uniform(8, 30)), "floor_area_sd_m2": 0.4}
            row |= {"floor_depth_m": depth + 0.8, "floor_depth_sd_m": 0.05} if j == k % 4 else {}
            rows["rooms"].append(
                (row, shapely.box(east + 4 * j, north, east + 4 * j + 3.5, north + 5))
            )
        told = {"building": house, "footprint_m2": 70.0 + k, "footprint_sd_m2": 1.0}
        told |= {"bed_depth_m": depth, "bed_depth_sd_m": 0.05, "top_depth_m": depth - 0.6}
        told |= {"top_depth_sd_m": 0.04, "floor_depth_m": depth + 0.8, "floor_depth_sd_m": 0.05}
        rows["buildings"].append(
            (told, shapely.box(east - 0.5, north - 0.5, east + 12, north + 5.5))
        )
        wall = {"wall": f"W{k:03}", "evidence": "recorded", "length_m": 12.0}
        wall |= {"top_depth_m": depth - 0.6, "top_depth_sd_m": 0.04}
        rows["wall_lines"].append((wall, shapely.LineString([(east, north), (east + 12, north)])))
        ways = [f"{names[0]};outside", f"{names[0]};{names[1]}", f"{names[1]};{names[2]}"]
        for j, joins in enumerate(ways):
            way = {"opening": f"O{k:03}-{j}", "joins": joins}
            way["evidence"] = "seen" if (k + j) % 3 else "possible"
            rows["openings"].append((way, shapely.LineString([(east, north), (east + 1, north)])))
    return bare_plan(**{n: layer(n, *zip(*r, strict=True)) for n, r in rows.items() if r})


PLANS = {
    "nothing": bare_plan,
    "one room without depths": plan,
    "a town": town,
    "a town of many houses": lambda: town(150),
}


@pytest.fixture(scope="module")
def drawn():
    """Draw all pictures of all plans, without a seabed."""
    made = {}
    for name, give in PLANS.items():
        tables = picture_tables(give(), site(), [])
        made[name] = {p: (t, DRAWN[p](t, ABOUT)) for p, t in tables.items()}
    return made


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("picture", NAMES)
def test_no_text_touches_another(drawn, name, picture):
    """On any plan no text of a picture overlaps another, and none reaches beyond the page."""
    _, made = drawn[name][picture]
    assert touching(made) == []
    assert cut(made) == []


@pytest.mark.parametrize("name", PLANS)
@pytest.mark.parametrize("picture", NAMES)
def test_tables_have_the_contracts_fields(drawn, tmp_path, name, picture):
    """The table beside a picture has its declared fields; what is empty says why, once a row."""
    table, _ = drawn[name][picture]
    declared = [field.name for field in contract.PICTURES[picture]]
    assert list(table.columns) == declared
    write_csv(table, tmp_path / "t.csv")
    assert list(pd.read_csv(tmp_path / "t.csv").columns) == declared


@pytest.mark.parametrize("picture", NAMES)
def test_files_are_the_same_twice_and_well_formed(drawn, tmp_path, picture):
    """A picture drawn anew from its table has the same bytes, as SVG and as PNG."""
    table, made = drawn["a town"][picture]
    again = DRAWN[picture](table.copy(), ABOUT)
    for kind in ("svg", "png"):
        save(made, [tmp_path / f"a.{kind}"])
        save(again, [tmp_path / f"b.{kind}"])
        assert (tmp_path / f"a.{kind}").read_bytes() == (tmp_path / f"b.{kind}").read_bytes()
    tree = ElementTree.parse(tmp_path / "a.svg").getroot()
    assert tree[1].text == made.description
    assert len(made.description) > 60


def test_the_order_of_rows_changes_nothing():
    """Layers whose rows stand in another order give the same tables."""
    one = town()
    other = {name: rows.iloc[::-1].reset_index(drop=True) for name, rows in one.items()}
    for (name, table), turned in zip(
        picture_tables(one, site(), []).items(),
        picture_tables(other, site(), []).values(),
        strict=True,
    ):
        pd.testing.assert_frame_equal(table, turned, obj=name)


@pytest.mark.parametrize(
    ("picture", "words"),
    [
        ("areas", "none with an area"),
        ("depths", "No building is on the plan"),
        ("profile", "No wall is on the plan and no section line was recorded."),
        ("access", "No building of 3 rooms or more has 25 % of its doors known."),
    ],
)
def test_an_empty_plan_says_so(drawn, picture, words):
    """A picture of nothing says what is missing, and keeps its width."""
    _, made = drawn["nothing"][picture]
    assert words in " ".join(text for text, _ in drawn_texts(made))
    assert made.width_mm == PAGE_MM


def test_what_was_not_measured_is_told(drawn):
    """The one building without depths: each of the four heights is named as missing, none drawn."""
    table, made = drawn["one room without depths"]["depths"]
    told = " ".join(text for text, _ in drawn_texts(made))
    assert "wall tops of 1, wall bases of 1, seabed of 1, floors of 1" in told
    assert table.loc[table["of"] != "sea level", "depth_m"].isna().all()


def test_names_are_text_and_nothing_else(tmp_path):
    """Signs of formulas and of markup in a site's name are drawn, and stand in the SVG, as such."""
    name = "Site $x_1$ & <b>co</b> \\frac"
    for picture, table in picture_tables(town(12), site(), []).items():
        made = DRAWN[picture](table, ABOUT | {"site": name, "credit": "$5"})
        assert any(text.startswith(name) for text, _ in drawn_texts(made)), picture
        save(made, [tmp_path / "a.svg"])
        assert ElementTree.parse(tmp_path / "a.svg").getroot()[0].text.startswith(name)


def test_nothing_tells_the_place():
    """Of a site far from its grid's zero no easting, northing or CRS stands in any file."""
    far = {
        name: rows.set_geometry(rows.geometry.translate(400_000, 700_000)) if len(rows) else rows
        for name, rows in town().items()
    }
    for name, table in picture_tables(far, site(origin=(399_900, 699_900)), []).items():
        made = DRAWN[name](table, ABOUT)
        told = " ".join([made.description, *(text for text, _ in drawn_texts(made))])
        numbers = table.drop(columns="null_because").map(pd.to_numeric, errors="coerce")
        assert not (numbers.abs() > 10_000).any(axis=None), name
        assert "tmerc" not in told
        assert "4000" not in told
