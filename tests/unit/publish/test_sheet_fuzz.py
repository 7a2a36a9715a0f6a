"""Plan sheets of invented sites, from fixed seeds: whatever is on them, they hold together."""

from dataclasses import replace

import matplotlib as mpl
import numpy as np
import pytest
import shapely
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from sheet_made import CRS, E, N, content, layer, site, surveys, three_d

from wrackline.model import SeaLevel, TitleBlock
from wrackline.publish.sheets.content import marks_layer
from wrackline.publish.sheets.paper import MARGIN_MM
from wrackline.publish.sheets.sheet import draw_sheet, plan_set
from wrackline.publish.sheets.style import SETTINGS

NAMES = ("T1", "T/1", "T_1", "Траншея 1", "$5$ and $6", "quay, " * 12, "x" * 120, "a\tb", "K<&>")
KINDS = ("hearth", "jar", "stone", "hachure", "section line", "kerb", "$wall_1$")
ORIGINS = ("built", "natural", "modern", "doubtful", None, "reef")
PHASES = ("early", "middle", "late")
LEVELS = ("wall top", "wall base", "floor", "seabed")


def shape_at(x, y, dice):
    """Return a shape of any kind near a place, some of them empty, flat or of no length."""
    long = float(dice.choice([0.0, 0.3, 2.0, 15.0]))
    line = shapely.LineString([(x, y), (x + long, y + long / 2)])
    area = shapely.box(x, y, x + 1.5, y + 1.0)
    kinds = (
        shapely.Point(x, y),
        line,
        area,
        shapely.MultiLineString([line, shapely.LineString([(x, y + 1), (x + 2, y + 1)])]),
        shapely.MultiPoint([(x, y), (x + 1, y)]),
        shapely.GeometryCollection([line, area, shapely.Point(x, y + 2)]),
        shapely.MultiPolygon([area, shapely.box(x + 3, y, x + 4, y + 1)]),
        shapely.Polygon(),
        None,
    )
    return kinds[int(dice.integers(len(kinds)))]


def houses_of(dice, wide):
    """Return walls, rooms, buildings and wall bodies of some houses, turned any way."""
    walls, rooms, houses, bodies = [], [], [], []
    for k in range(int(dice.integers(0, 12))):
        x, y = E + dice.uniform(0, wide), N + dice.uniform(0, wide)
        long, deep = dice.uniform(0.4, 12), dice.uniform(0.4, 9)
        turn = float(dice.choice([0, 30, 90, dice.uniform(0, 180)]))
        outer = shapely.affinity.rotate(shapely.box(x, y, x + long, y + deep), turn)
        inner = outer.buffer(-min(0.4, long / 4, deep / 4), join_style="mitre")
        walls += [three_d(outer.exterior), three_d(inner.exterior)]
        rooms.append((f"R{k:03d}-{k:03d}", inner))
        parts = [outer, shapely.affinity.translate(outer, 30, 0)] if k % 5 == 4 else [outer]
        houses.append((f"B{k:03d}-{k:03d}", shapely.MultiPolygon(parts)))
        stood = sorted(dice.integers(0, len(PHASES), 2).tolist())
        when = {"phase_from": PHASES[stood[0]], "phase_to": PHASES[stood[1]]} if k % 3 else {}
        bodies.append({"wall": f"W{k}", **when, "geometry": outer.difference(inner)})
    return walls, rooms, houses, bodies


def features_of(dice, wide):
    """Return the rows of features of any kind, origin and shape."""
    rows = []
    for k in range(int(dice.integers(0, 25))):
        shape = shape_at(E + dice.uniform(0, wide), N + dice.uniform(0, wide), dice)
        kind, origin = (str(dice.choice(KINDS)), ORIGINS[int(dice.integers(len(ORIGINS)))])
        name = str(dice.choice(["", "S1/A", "B", NAMES[5]]))
        rows.append(
            {"feature": f"F{k}", "kind": kind, "origin": origin, "line": name, "geometry": shape}
        )
    return rows


def spots_of(dice, wide):
    """Return the rows of spot heights, some without a height or an sd."""
    return [
        {
            "of": str(dice.choice(LEVELS)),
            "rank": int(dice.integers(1, 5)),
            "height_m": float(dice.choice([np.nan, 0.0, -0.004, dice.uniform(-30, 3)])),
            "height_sd_m": float(dice.choice([np.nan, 0.0, 0.02, 0.4, 12.0])),
            "geometry": shapely.Point(E + dice.uniform(0, wide), N + dice.uniform(0, wide), 0),
        }
        for _ in range(int(dice.integers(0, 40)))
    ]


def contours_of(dice, wide):
    """Return the rows of contours half a metre apart."""
    along = np.linspace(-5, wide + 5, 60)
    return [
        {
            "height_m": -k / 2,
            "depth_m": 0.12 + k / 2,
            "index": k % 5 == 0,
            "geometry": shapely.LineString(
                np.column_stack([E + along, N + k * wide / 12 + 2 * np.sin(along / 5)])
            ),
        }
        for k in range(int(dice.integers(0, 12)))
    ]


def made_by(seed):
    """Return the content of a set of sheets drawn by lot."""
    dice = np.random.default_rng(seed)
    wide = float(dice.choice([4.0, 30.0, 120.0, 3000.0]))
    walls, rooms, houses, bodies = houses_of(dice, wide)
    trenches = [
        {"trench": str(name), "geometry": shapely.box(E + 5 * k, N - 8, E + 5 * k + 3, N - 6)}
        for k, name in enumerate(dice.permutation(NAMES)[: int(dice.integers(0, 6))])
    ]
    shows = str(dice.choice(["site", "tiles", "buildings", "trenches"]))
    levels = [SeaLevel(name=name, height_m=at) for name, at in (("mean sea level", 0.1), ("b", -2))]
    told = {
        "name": str(dice.choice(["A quay", "Long " * 40, "x" * 200])),
        "title_block": TitleBlock(permit=str(dice.choice([*NAMES, "permit " * 40]))),
        "phases": list(PHASES[: int(dice.choice([0, 3]))]),
        "sea_levels": levels,
    }
    made = content(
        walls,
        rooms,
        houses,
        layers={"features": features_of(dice, wide), "wall_bodies": bodies},
        site=site(**told),
        surveys=surveys(**{"2031-walls": float(dice.choice([0.0, 0.004, 0.3]))}),
        shows=shows,
        paper=str(dice.choice(["A4", "A3", "A1"])),
        scale=dice.choice([None, 100, 500]) if wide < 3000 or shows != "tiles" else 2000,
        reader=str(dice.choice(["desk", "diver"])),
        place=str(dice.choice(["shown", "left_out"])),
        depths_below=dice.choice([None, "b"]),
        vertical=dice.choice([None, "depths", "heights"]),
    )
    return replace(
        made,
        spots=layer("spot_heights", spots_of(dice, wide)),
        trenches=layer("trenches", trenches),
        contours=layer("contours", contours_of(dice, wide)),
        marks=marks_layer([("M1", E + 1, N + 1)], CRS),
    )


def pairs_touching(boxes):
    """Return how many pairs of boxes touch."""
    first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
    return int((first < second).sum())


def texts_drawn(figure):
    """Return every text that is drawn, with its ground on paper [mm]."""
    FigureCanvasAgg(figure).draw()
    texts = [one for one in figure.findobj(Text) if one.get_visible() and one.get_text().strip()]
    extents = [text.get_window_extent() for text in texts]
    mm = 25.4 / figure.dpi
    return texts, [shapely.box(*(mm * np.array(box.extents)).tolist()) for box in extents]


def slips_of(figure):
    """Return texts that leave the paper's margins, run over another, or can't be read."""
    texts, boxes = texts_drawn(figure)
    page = shapely.box(0, 0, *(25.4 * figure.get_size_inches())).buffer(-MARGIN_MM + 1.0)
    slips = [text.get_text() for text in texts if text.get_fontsize() < 4.4]
    slips += [t.get_text() for t, box in zip(texts, boxes, strict=True) if not page.contains(box)]
    plan, columns = figure.axes[0], figure.axes[1:]
    outside = {*plan.get_xticklabels(), *plan.get_yticklabels()}
    beside = [k for k, t in enumerate(texts) if t in outside or t.axes in columns]
    inner = [shapely.box(b[0], b[1] + 0.25, b[2], b[3] - 0.25) for b in shapely.bounds(boxes)]
    near = [inner[k] for k in beside]
    pairs = shapely.STRtree(near).query(near, predicate="intersects").T.tolist()
    said = [texts[k].get_text() for k in beside]
    runs = [f"{said[a]} / {said[b]}" for a, b in pairs if a < b]
    return slips + runs


@pytest.mark.parametrize("seed", range(16))
def test_whatever_is_on_a_site_its_sheets_hold_together(seed):
    """No label on another or outside the frame, no text off the paper, no name twice."""
    planned = plan_set(made_by(seed), "plan")
    numbers = [one.sheet.number.casefold() for one in planned]
    assert len(set(numbers)) == len(numbers)
    for one in planned:
        boxes = np.array([label.box for label in one.labels], dtype=object)
        assert pairs_touching(boxes) == 0
        assert shapely.contains(shapely.box(*one.sheet.layout.ground), boxes).all()
        # a level leader before a figure would read as a minus
        assert not any(
            label.box.bounds[1] < label.of[1] < label.box.bounds[3]
            for label in one.labels
            if label.of is not None
        )
    with mpl.rc_context({**SETTINGS, "figure.dpi": 72, "text.hinting": "none"}):
        for one in (planned[0], planned[-1]):
            assert slips_of(draw_sheet(one)) == []
