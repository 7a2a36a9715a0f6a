"""The hamlet's plan viewer: everything on the plan is in it, and a browser opens it in peace."""

import json

import geopandas as gpd
import pytest

from browser import browser

LAYERS = {"rooms": "room", "buildings": "building", "openings": "opening", "features": "feature"}


@pytest.fixture(scope="module")
def page(hamlet):
    """Return where the viewer of the hamlet lies."""
    return hamlet / "results" / "viewer.html"


def data_of(page):
    """Return what the page holds."""
    text = page.read_text(encoding="utf-8")
    return json.loads(text.partition('id="data">')[2].partition("</script>")[0])


def test_all_that_is_on_the_plan_is_in_it(page, hamlet):
    """Numbers and outlines are those of the site's package, areas to a thousandth."""
    data = data_of(page)
    kinds = {kind["name"]: kind for kind in data["kinds"]}
    zero = data["place"]
    for name, number in LAYERS.items():
        layer = gpd.read_file(hamlet / "results" / "site.gpkg", layer=name)
        assert kinds[name]["numbers"] == layer[number].tolist()
        west, south = (layer.total_bounds[:2] - [zero["easting"], zero["northing"]]) * 100
        steps = kinds[name]["shapes"]["xy"]
        east = list(running(steps[::2]))
        assert min(east) == pytest.approx(west, abs=0.51)
        assert min(running(steps[1::2])) == pytest.approx(south, abs=0.51)
    walls = gpd.read_file(hamlet / "results" / "site.gpkg", layer="wall_lines")
    assert kinds["walls"]["numbers"] == walls["wall"].tolist()
    assert kinds["rooms"]["surveys"] != []


def running(steps):
    """Yield running sums."""
    total = 0
    for step in steps:
        total += step
        yield total


def test_a_browser_opens_it_in_peace(page, tmp_path):
    """It draws, complains of nothing, asks for nothing; few rows of a table are in the page."""
    with browser(tmp_path) as screen:
        screen.open(page.as_uri())
        screen.wait("performance.getEntriesByName('plan drawn').length > 0")
        screen.run("document.getElementById('do-table').click()")
        rows = screen.run("document.querySelector('[role=grid]').getAttribute('aria-rowcount')")
        assert int(rows) == len(data_of(page)["kinds"][0]["numbers"]) + 1
        walls = next(k["numbers"] for k in data_of(page)["kinds"] if k["name"] == "walls")
        screen.run("things.value = 2; things.dispatchEvent(new Event('change'))")
        screen.run("document.querySelector('tr[data-at]').focus()")
        screen.key("End")
        assert screen.run("document.activeElement.firstChild.innerText") == walls[-1]
        assert screen.run("document.querySelectorAll('tr[data-at]').length") < 60 < len(walls)
        assert (screen.complaints(), screen.requests()) == ([], [page.as_uri()])
