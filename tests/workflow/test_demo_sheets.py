"""Sheets of the demo: labels clear of walls and each other, files whole, no secret place told.

The sheets are planned anew from what the steps handed on, since paper keeps no labels.
"""

import re
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest
import shapely
from matplotlib.text import Text

from sites import REPOSITORY
from wrackline.config import load_site
from wrackline.contract import PLAN_LAYERS
from wrackline.model import for_sheets, to_json
from wrackline.publish.sheets.paper import PAPERS
from wrackline.publish.sheets.place import gives_away, secrets_of
from wrackline.publish.sheets.sheet import draw_sheet, plan_set
from wrackline.publish.sheets.source import read_content
from wrackline.publish.sheets.things import edges_of
from wrackline.sources import (
    composite,
    language_json,
    picture_below,
    picture_survey,
    relief_below,
    sheet_surveys,
    standing_marks,
)

pytestmark = pytest.mark.slow
SETS = load_site(REPOSITORY).site.sheets


@pytest.fixture(scope="module")
def planned(demo):
    """Return the sheets of each set, planned from the demo's own files."""
    config = load_site(demo)
    season = list(config.seasons)[-1]
    work = demo / "work"

    def sheets(name):
        files = SimpleNamespace(
            plan=[work / "seasons" / season / f"{layer}.parquet" for layer in PLAN_LAYERS],
            team=work / "rooms" / f"upto-{season}" / "team.json",
            spots=work / "seasons" / season / "spot_heights.parquet",
            trenches=work / "trenches" / season / "trenches.parquet",
            contours=[work / "seabed" / "contours.parquet"],
            waterlines=[work / "seabed" / "waterlines.parquet"],
            surface=[work / "seabed" / f"{composite(config)}.tif"],
            relief=[demo / path for path in relief_below(config, name)],
            picture=[str(demo / path) for path in picture_below(config, name)],
        )
        said = SimpleNamespace(
            site=to_json(for_sheets(config.site)),
            settings=to_json(config.site.sheets[name]),
            language=language_json(config, config.site.sheets[name].language),
            surveys=sheet_surveys(config),
            survey=picture_survey(config, name),
            season=season,
            marks=standing_marks(config),
            contour_step_m=config.site.seabed.contour_step_m,
        )
        return plan_set(read_content(files, said), name)

    return {name: sheets(name) for name in config.site.sheets}


def test_the_demo_has_every_kind_of_sheet():
    """Site, tiles, buildings, trenches; for divers; without place; two languages; a picture."""
    assert {one.shows for one in SETS.values()} == {"site", "tiles", "buildings", "trenches"}
    assert {one.reader for one in SETS.values()} == {"desk", "diver"}
    assert {one.place for one in SETS.values()} == {"shown", "left_out"}
    assert {one.language for one in SETS.values()} == {"en", "uk"}
    assert any(one.picture for one in SETS.values())


@pytest.mark.parametrize("name", list(SETS))
def test_no_label_touches_a_wall_or_another(planned, name):
    """By geometry, lines and outlines, on every sheet; nearly all buildings have their number."""
    for one in planned[name]:
        boxes = np.array([label.box for label in one.labels], dtype=object)
        first, second = shapely.STRtree(boxes).query(boxes, predicate="intersects")
        touching = [
            (one.labels[a].text, one.labels[b].text)
            for a, b in zip(first, second, strict=True)
            if a < b
        ]
        assert touching == [], one.sheet.number
        if one.sheet.shows == "index":
            continue
        walls = [one.content.plan[part].geometry.to_numpy() for part in ("wall_lines", "features")]
        tree = shapely.STRtree(edges_of(np.concatenate(walls)))
        on_walls = {one.labels[k].text for k in tree.query(boxes, predicate="intersects")[0]}
        assert on_walls == set(), one.sheet.number
        assert len(one.unplaced) <= 0.02 * len(one.content.plan["buildings"]), one.sheet.number


def test_the_files_are_those_of_the_register(demo, planned):
    """One page a row, one SVG a sheet, on the paper that the register says."""
    table = pd.read_csv(demo / "results" / "tables" / "sheets.csv")
    assert len(table) == sum(len(sheets) for sheets in planned.values())
    for pdf, rows in table.groupby("pdf"):
        pages = re.findall(
            rb"/MediaBox \[ *0 0 ([\d.]+) ([\d.]+) *\]", (demo / "results" / pdf).read_bytes()
        )
        sizes = [sorted(float(side) * 25.4 / 72 for side in page) for page in pages]
        wanted = [sorted(map(float, PAPERS[paper])) for paper in rows["paper"]]
        assert np.allclose(sizes, wanted, atol=0.1)
    assert all((demo / "results" / svg).is_file() for svg in table["svg"])
    assert table["sheet"].is_unique


def test_every_sheet_is_to_the_scale_that_it_states(planned):
    """Map frame on paper against its ground: 1 : scale to a millionth."""
    for sheets in planned.values():
        for one in sheets:
            layout = one.sheet.layout
            west, south, east, north = layout.ground
            assert (east - west) * 1000 / layout.scale == pytest.approx(layout.map_mm[2], rel=1e-6)
            assert (north - south) * 1000 / layout.scale == pytest.approx(
                layout.map_mm[3], rel=1e-6
            )


def test_sheets_without_place_tell_no_place(demo, planned):
    """Names, codes and coordinates of the demo stand on no sheet whose place is left out."""
    config = load_site(demo)
    secrets = secrets_of(config.site, config.seasons.values())
    hidden = [name for name, one in config.site.sheets.items() if one.place == "left_out"]
    assert hidden
    for one in planned[hidden[0]]:
        said = [text.get_text() for text in draw_sheet(one).findobj(Text)]
        assert gives_away(" ".join(said), secrets, config.site.origin) == []
