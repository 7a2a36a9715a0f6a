"""The plan viewer in a real Chromium: what a person does with it, and what it must never do."""

import base64
import io
import json
import math
import re

import numpy as np
import pytest
from PIL import Image
from report_site import WALLS
from viewer_site import EAST, HOSTILE, NORTH, SECOND, hostile_viewer, viewer

from browser import browser

MAP = "document.getElementById('map')"


@pytest.fixture(scope="module")
def screen(tmp_path_factory):
    """Start a browser for all tests of this file."""
    with browser(tmp_path_factory.mktemp("profile")) as started:
        yield started


@pytest.fixture(scope="module")
def pages(tmp_path_factory):
    """Write the pages that the tests open."""
    folder = tmp_path_factory.mktemp("pages")
    for name, made in (("plain", viewer()), ("hostile", hostile_viewer())):
        (folder / f"{name}.html").write_text(made.html(), encoding="utf-8")
    return folder


@pytest.fixture
def page(screen, pages):
    """Open the plain page on a laptop's screen; it must not complain and ask for nothing."""
    address = show(screen, pages / "plain.html")
    yield screen
    assert screen.complaints() == []
    assert screen.requests() == [address]


def show(screen, path, *more, mark="", **how):
    """Open a page, wait until it is drawn, and return its address."""
    screen.open(path.as_uri() + mark, *more, **how)
    screen.wait("performance.getEntriesByName('plan drawn').length > 0")
    return path.as_uri()


def text(screen, selector):
    """Return the text of an element."""
    return screen.run(f"document.querySelector({json.dumps(selector)}).innerText")


def press(screen, selector):
    """Click an element where it lies on the screen."""
    given = json.dumps(selector)
    box = screen.run(
        f"(e => {{ e.scrollIntoView({{block: 'nearest'}}); const b = e.getBoundingClientRect(); "
        f"return [b.x + b.width / 2, b.y + b.height / 2]; }})(document.querySelector({given}))"
    )
    screen.click(*box)


def spot(screen, x, y):
    """Return where a place of the site is on the screen, told from the coordinates shown there.

    Two places under the pointer give the scale, as a person would find it.
    """
    left, top, wide, tall = screen.run(
        f"(b => [b.x, b.y, b.width, b.height])({MAP}.getBoundingClientRect())"
    )
    ends = [(left + wide * share, top + tall * share) for share in (0.05, 0.95)]
    seen = []
    for end in ends:
        screen.mouse("Moved", *end)
        told = re.search(r"E ([\d.]+)\s+N ([\d.]+)", text(screen, "#where"))
        seen.append((float(told[1]) - EAST, float(told[2]) - NORTH))
    return [
        ends[0][k] + (place - seen[0][k]) / (seen[1][k] - seen[0][k]) * (ends[1][k] - ends[0][k])
        for k, place in enumerate((x, y))
    ]


def figures(screen):
    """Return what is told of the picked thing: its heading, and its facts by name."""
    names = screen.run("[...document.querySelectorAll('#part-figures dt')].map(e => e.innerText)")
    told = screen.run("[...document.querySelectorAll('#part-figures dd')].map(e => e.innerText)")
    return text(screen, "#picked"), dict(zip(names, told, strict=True))


def rows(screen):
    """Return the numbers in the table, in their order."""
    return screen.run("[...document.querySelectorAll('tr[data-at] th')].map(e => e.innerText)")


def ink(screen, x, y):
    """Return the colour of the screen at a place."""
    shot = screen.send("Page.captureScreenshot")["data"]
    return Image.open(io.BytesIO(base64.b64decode(shot))).convert("RGB").getpixel((x, y))


def choose(screen, name, value):
    """Choose an entry of a list by its text."""
    given = json.dumps(value)
    screen.run(
        f"(e => {{ e.value = [...e.options].find(o => o.text === {given}).value; "
        f"e.dispatchEvent(new Event('change')); }})(document.getElementById('{name}'))"
    )


def test_a_click_on_a_room_tells_its_figures(page):
    """A room picked on the plan tells area with sd, source, reading and history."""
    page.click(*spot(page, 6.5, 1.2))
    head, told = figures(page)
    assert head == "room R007-002"
    assert told["floor area"].startswith("16.5 ± 0.4 m²")
    assert told["empty because"] == "floor: no floor was met in it"
    assert f"data/{WALLS}.csv" in told[WALLS]
    assert "store (possible, A. Orr" in text(page, "#part-figures")
    assert "2032: merged, R006-001, R007-002 → R007-002" in text(page, "#part-figures")
    assert text(page, "#tab-figures[aria-selected=true]") == "Figures"


def test_what_lies_beneath_is_offered(page):
    """A click names the nearest thing, and lists what else lies there."""
    page.click(*spot(page, 2, 2))
    assert figures(page)[0] == "feature F002-002"
    press(page, "#part-figures .others button")
    assert figures(page)[0] == "room R002-002"
    page.click(*spot(page, 9, 2.2))
    assert figures(page)[0] in ("opening O009-002", "wall W009")


def test_numbers_in_figures_lead_to_their_things(page):
    """A room's neighbour, named among its figures, is a way to it."""
    page.click(*spot(page, 6.5, 1.2))
    assert figures(page)[1]["walls shared"] == "R002-002 (4.0 m)"
    links = page.run("[...document.querySelectorAll('button.link')].map(e => e.innerText)")
    assert links == ["B002-002", "O009-002", "R002-002"]
    page.run("document.querySelectorAll('button.link')[2].click()")
    assert figures(page)[0] == "room R002-002"


def test_table_and_plan_lead_to_each_other(page):
    """A row picked shows its thing on the plan; a thing picked on the plan has its row marked."""
    press(page, "#do-table")
    assert rows(page) == ["R002-002", "R007-002"]
    press(page, "tr[data-at='1']")
    assert figures(page)[0] == "room R007-002"
    assert spot(page, 7, 2) == pytest.approx(middle(page), abs=3)
    press(page, "#do-whole")
    page.click(*spot(page, 8, 3))
    assert figures(page)[0] == "feature F008-003"
    marked = "[...document.querySelectorAll('tr.picked th')].map(e => e.innerText)"
    assert page.run(marked) == ["F008-003"]
    assert page.run("document.getElementById('things').selectedOptions[0].text") == "features"


def middle(screen):
    """Return the middle of the plan on the screen."""
    return screen.run(
        f"(b => [b.x + b.width / 2, b.y + b.height / 2])({MAP}.getBoundingClientRect())"
    )


def test_the_table_filters_and_sorts(page):
    """Old numbers are found; numbers sort as numbers, what is not known comes last both ways."""
    press(page, "#do-table")
    press(page, "#filter")
    page.write("r006-001")
    assert rows(page) == ["R007-002"]
    assert text(page, "#count") == "1 of 2"
    page.run("document.getElementById('filter').select()")
    page.key("Backspace")
    assert text(page, "#count") == "2 of 2"
    heads = page.run("[...document.querySelectorAll('thead th')].map(e => e.innerText.trim())")
    area, floor = (heads.index(head) for head in ("floor area [m²]", "floor depth [m]"))
    button = "thead th:nth-child({}) button"
    for column, orders in ((area, ["R002-002", "R007-002"]), (floor, ["R002-002"] * 2)):
        for first in orders:
            press(page, button.format(column + 1))
            assert rows(page)[0] == first
    assert page.run("document.querySelectorAll('th[aria-sort=descending]').length") == 1


def test_layers_seasons_and_techniques_are_switched(page):
    """What is switched off is neither drawn nor picked nor listed, and says so where it is told."""
    there = spot(page, 6.0, 3.3)
    before = ink(page, *there)
    press(page, "li[data-layer=rooms] input")
    settle(page)
    assert ink(page, *there) != before
    press(page, "li[data-layer=rooms] input")
    settle(page)
    assert ink(page, *there) == before
    choose(page, "after", "2031")
    press(page, "#do-table")
    choose(page, "things", "features")
    assert (rows(page), text(page, "#count")) == (["F002-002"], "1 of 2")
    choose(page, "after", "2032")
    assert rows(page) == ["F002-002", "F008-003"]
    page.run("document.getElementById('tab-layers').click()")
    ticks = page.run("[...document.querySelectorAll('fieldset label')].map(e => e.innerText)")
    at = ticks.index("total station")
    page.run(f"document.querySelectorAll('fieldset input')[{at}].click()")
    assert rows(page) == ["F008-003"]
    page.click(*spot(page, 2, 1))
    assert "Nothing is picked" in text(page, "#part-figures")


def settle(screen):
    """Wait until the screen was renewed a few times."""
    frame = "new Promise(done => requestAnimationFrame(() => done(1)))"
    for _ in range(8):
        screen.run(frame)


def test_a_distance_is_measured_to_the_centimetre(page):
    """Two legs between corners of the plan have their lengths in the grid and on the ground.

    The rooms' corners are known: 4 m east, then 4 m north. The scale of UTM is PROJ's, and on the
    ground a length is that of the grid over it; azimuths add the meridian convergence.
    """
    place = page.run("JSON.parse(document.getElementById('data').textContent).place")
    press(page, "#do-measure")
    for x, y in ((0, 0), (4, 0), (4, 4)):
        page.click(*spot(page, x, y))
    cells = page.run("[...document.querySelectorAll('#measure td')].map(e => Number(e.innerText))")
    legs = np.reshape(cells, (3, 3))
    assert legs[:, 0].tolist() == [4.0, 4.0, 8.0]
    assert legs[:, 1] == pytest.approx(legs[:, 0] / place["scale"], abs=0.0051)
    assert legs[:2, 2] == pytest.approx(
        [90 + place["turn_deg"], place["turn_deg"] % 360], abs=0.051
    )
    note = text(page, "#measure")
    assert "Not for navigation" in note
    assert f"{place['scale']:.6f}" in note


def test_convergence_and_scale_are_those_of_the_projection(page):
    """True north and ground lengths of UTM: convergence from its first term, scale from its own.

    Meridian convergence about (longitude - central meridian) sin(latitude), and scale 0.9996 (1 +
    x^2 / (2 R^2)), x the easting from the central meridian over 0.9996 (Snyder, Map Projections: A
    Working Manual, 1987, 8-11 and 8-13 to first terms; R about 6,370 km): from memory.
    """
    place = page.run("JSON.parse(document.getElementById('data').textContent).place")
    x = (EAST - 500_000) / 0.9996
    assert place["scale"] == pytest.approx(0.9996 * (1 + x**2 / (2 * 6_370_000**2)), abs=3e-6)
    latitude = math.radians(38.0)
    turn = math.degrees(x / (6_370_000 * math.cos(latitude))) * math.sin(latitude)
    assert place["turn_deg"] == pytest.approx(turn, abs=0.01)


def test_all_is_done_by_keyboard(screen, pages):
    """From the first Tab on: skip, zoom, move, pick, measure, table, tabs, with a visible focus."""
    show(screen, pages / "plain.html")
    met = []
    for _ in range(40):
        screen.key("Tab")
        here = "document.activeElement"
        met.append(screen.run(f"{here}.id || {here}.className || {here}.tagName"))
        outline = screen.run(f"getComputedStyle({here}).outlineStyle")
        assert outline != "none" or met[-1] == "BODY", met[-1]
    for wanted in ("skip", "do-closer", "do-measure", "do-table", "map", "tab-layers", "after"):
        assert wanted in met
    screen.run(f"{MAP}.focus()")
    screen.key("+")
    screen.key("ArrowRight")
    screen.key("ArrowUp")
    screen.key("0")
    screen.key("Enter")
    assert text(screen, "#said") != ""
    screen.key("m")
    screen.key("Enter")
    for _ in range(3):
        screen.key("ArrowRight")
    screen.key("Enter")
    assert screen.run("document.querySelectorAll('#measure tbody tr').length") == 1
    screen.key("Backspace")
    assert screen.run("document.querySelectorAll('#measure tbody tr').length") == 0
    screen.key("Escape")
    assert screen.run("document.getElementById('measure').hidden")
    screen.run("document.getElementById('do-table').focus()")
    screen.key("Enter")
    choose(screen, "things", "rooms")
    screen.run("document.querySelector('tr[data-at]').focus()")
    screen.key("Home")
    screen.key("ArrowDown")
    screen.key("Enter")
    assert figures(screen)[0] == "room R007-002"
    screen.run("document.getElementById('tab-figures').focus()")
    screen.key("ArrowRight")
    assert screen.run("document.activeElement.id") == "tab-about"
    assert screen.complaints() == []


def test_parts_have_roles_and_names(page):
    """What a screen reader meets has a role and a name (WCAG 2.2, 4.1.2)."""
    page.send("Accessibility.enable")
    press(page, "#do-table")
    nodes = page.send("Accessibility.getFullAXTree")["nodes"]
    named = [
        (one["role"]["value"], one.get("name", {}).get("value", ""))
        for one in nodes
        if not one["ignored"] and "role" in one
    ]
    wanting = {"button", "checkbox", "combobox", "searchbox", "tab", "grid", "application"}
    assert [role for role, name in named if role in wanting and not name.strip()] == []
    assert wanting <= {role for role, _ in named}
    page.send("Accessibility.disable")


def test_hostile_texts_are_only_text(screen, pages):
    """Markup, script and steering signs in every text of people show as text and do nothing."""
    address = show(screen, pages / "hostile.html", mark="#F1")
    screen.run("document.getElementById('do-table').click()")
    assert screen.run("document.querySelectorAll('img, iframe, object').length") == 0
    assert screen.run("document.querySelectorAll('script').length") == 2
    shown = HOSTILE.replace("\u202e", "�")
    assert figures(screen)[1]["note"] == shown
    assert shown in text(screen, "#part-figures")
    assert shown.split("\n")[0] in screen.run("document.title")
    assert (screen.complaints(), screen.requests()) == ([], [address])


def test_the_policy_stops_what_would_leave(page):
    """Were a script to ask for something, or to make markup, the browser would refuse."""
    asked = "fetch('https://example.invalid/').then(() => 'left', () => 'refused')"
    assert page.run(asked) == "refused"
    sink = "(() => { try { document.body.innerHTML = '<b>x</b>'; return 'made'; } "
    assert page.run(sink + "catch (error) { return 'refused'; } })()") == "refused"
    assert any("Content Security Policy" in one for one in page.complaints())
    page.events[:] = [one for one in page.events if "example.invalid" not in json.dumps(one)]
    page.events[:] = [one for one in page.events if one["method"] != "Log.entryAdded"]


@pytest.mark.parametrize("mark", ["", "#R007-002"])
def test_a_phone_shows_plan_and_figures_without_scrolling_sideways(screen, pages, mark):
    """At 360 px no part is wider than the screen, with table and measuring open as well."""
    show(screen, pages / "plain.html", 360, 740, mark=mark, dense=3, mobile=True)
    for act in ("do-table", "do-measure"):
        screen.run(f"document.getElementById('{act}').click()")
        assert screen.run("document.documentElement.scrollWidth") == 360
        wide = "[...document.querySelectorAll('header, main > *, #tools button')]"
        assert screen.run(f"Math.max(...{wide}.map(e => e.getBoundingClientRect().right))") <= 360
    assert screen.run(f"{MAP}.getBoundingClientRect().height") > 100
    screen.screen(1280, 800)


def test_two_fingers_bring_the_plan_closer(screen, pages):
    """Fingers that part by a factor of two show half the ground; one finger picks."""
    show(screen, pages / "plain.html", 360, 740, mobile=True)
    screen.send("Emulation.setTouchEmulationEnabled", enabled=True)
    x, y = middle(screen)
    wide = metres_across(screen)
    for apart in (40, 60, 80):
        points = [{"x": x - apart, "y": y, "id": 0}, {"x": x + apart, "y": y, "id": 1}]
        kind = "touchStart" if apart == 40 else "touchMove"
        screen.send("Input.dispatchTouchEvent", type=kind, touchPoints=points)
    screen.send("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])
    assert metres_across(screen) == pytest.approx(wide / 2, rel=0.35)
    screen.send("Emulation.setTouchEmulationEnabled", enabled=False)


def metres_across(screen):
    """Return how much ground the plan shows from west to east [m]."""
    (x, _), (far, _) = spot(screen, 0, 0), spot(screen, 1, 0)
    return screen.run(f"{MAP}.getBoundingClientRect().width") / (far - x)


def test_it_prints_plan_legend_caution_and_figures(screen, pages, tmp_path):
    """On paper stand the plan, the signs of what is drawn, the caution and the picked figures."""
    show(screen, pages / "plain.html", mark="#R007-002")
    paper = screen.paper()
    assert paper.startswith(b"%PDF")
    screen.send("Emulation.setEmulatedMedia", media="print")
    seen = screen.run("document.body.innerText")
    for wanted in ("Not for navigation", "wall lines, recorded", "room R007-002", "16.5 ± 0.4 m²"):
        assert wanted in seen
    for unwanted in ("whole site", "techniques", "show on the plan"):
        assert unwanted not in seen
    grid = screen.run("document.querySelector('li[data-layer=grid]').offsetHeight")
    assert grid == 0
    inked = "(c => c.getContext('2d').getImageData(0, 0, c.width, c.height).data)(paper)"
    assert screen.run(f"{inked}.some((v, k) => k % 4 === 0 && v < 60)")
    screen.send("Emulation.setEmulatedMedia", media="")
    assert screen.complaints() == []


def test_signs_differ_in_grey(page):
    """No two samples of the legend are alike when colours are taken out of them."""
    grey = (
        "[...document.querySelectorAll('li[data-layer]:not([data-layer=numbers]) canvas')]"
        ".map(c => { const d = c.getContext('2d').getImageData(0, 0, c.width, c.height).data; "
        "const g = []; for (let k = 0; k < d.length; k += 4) { const a = d[k + 3] / 255; "
        "g.push(255 * (1 - a) + a * (0.2126 * d[k] + 0.7152 * d[k + 1] + 0.0722 * d[k + 2])); } "
        "return g; })"
    )
    samples = np.array(page.run(grey))
    assert len(samples) > 9
    for k, one in enumerate(samples):
        others = np.delete(samples, k, axis=0)
        assert np.sqrt(((others - one) ** 2).mean(axis=1)).min() > 4.0


def test_an_edition_without_its_place_works(screen, pages):
    """With `place` left out coordinates count from the viewer's zero, and the page says so."""
    page = (pages / "plain.html").read_text(encoding="utf-8")
    bare = pages / "bare.html"
    bare.write_text(re.sub(r'"place":\{[^}]*\}', '"place":null', page), encoding="utf-8")
    show(screen, bare, mark="#R007-002")
    assert figures(screen)[0] == "room R007-002"
    press(screen, "#tab-about")
    assert "left out of this edition" in text(screen, "#part-about")
    assert "EPSG" not in screen.run("document.body.innerText")
    press(screen, "#do-measure")
    screen.run(f"{MAP}.focus()")
    for key in ("Enter", "ArrowRight", "Enter"):
        screen.key(key)
    assert "plan's upright" in text(screen, "#measure")
    assert float(re.search(r"E ([\d.]+)", text(screen, "#where"))[1]) < 100
    assert screen.complaints() == []


def test_seasons_are_those_of_the_surveys(page):
    """Each season that a survey was made in can be chosen."""
    assert page.run("[...document.getElementById('after').options].map(o => o.value)") == [
        WALLS[:4],
        SECOND[:4],
    ]
