"""How fast the plan viewer opens and moves: a made site of 500 buildings and 5,000 rooms.

Writes the page, opens it in Chromium without a screen, and prints how long the first complete
drawing took and how long frames take while the plan is dragged. Run it with

    PYTHONPATH=scripts:tests python tests/benchmarks/viewer.py [buildings] [page to open instead]
"""

from __future__ import annotations

import sys
import tempfile
import time
from itertools import pairwise
from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from browser import Browser, browser
from wrackline import contract, vectors
from wrackline.publish.report_rooms import Houses
from wrackline.publish.shrinking import Small
from wrackline.publish.viewer.facts import Told
from wrackline.publish.viewer.page import Viewer
from wrackline.publish.words import CAUTION
from wrackline.uncertainty import Budget

CRS, EAST, NORTH = "EPSG:32625", 324400.0, 4207600.0
ROOMS, WIDE, DEEP, WALL = 10, 4.0, 5.0, 0.5
"""Rooms of a building, in two rows; their size and the walls between them [m]."""
PITCH = 40.0
SURVEYS = [f"{season}-walls" for season in ("2031", "2032", "2033")]
ABOUT = {
    "site": "Made for measuring (invented)",
    **{"crs": CRS, "units": "metres", "vertical_datum": "invented", "depths": "below msl"},
    **{"uncertainties": "sd", "surveyed": "2031 to 2033", "credit": "nobody", "caution": CAUTION},
}
FRAMES = """new Promise(done => { const times = []; let last = performance.now();
  const frame = now => { times.push(now - last); last = now;
    if (window.stopFrames) done(times); else requestAnimationFrame(frame); };
  requestAnimationFrame(frame); })"""


def layer(name, rows, shapes):
    """Return a layer of the contract; each row is a dict of some of its fields."""
    data = {
        field: pd.Series([row.get(field) for row in rows], dtype=vectors.DTYPES[kind])
        for field, kind in contract.columns(name).items()
    }
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)


def building_places(count):
    """Return where buildings stand, in rows of 25 [m]."""
    return [(EAST + k % 25 * PITCH, NORTH + k // 25 * PITCH) for k in range(count)]


def room_shapes(x, y):
    """Return the rooms of a building."""
    sides = [(k % 5 * (WIDE + WALL), k // 5 * (DEEP + WALL)) for k in range(ROOMS)]
    return [shapely.box(x + a, y + b, x + a + WIDE, y + b + DEEP) for a, b in sides]


def wall_pieces(room):
    """Return thirteen lines of a room as broken walls have them: recorded and inferred."""
    corners = shapely.get_coordinates(room)
    pieces = []
    for a, b in pairwise(corners):
        at = [a + share * (b - a) for share in (0.01, 0.35, 0.55, 1.0)]
        pieces += [("recorded", [a, at[1]]), ("recorded", [at[2], at[3]])]
        pieces.append(("inferred", [at[1], at[2]]))
    return [*pieces, ("inferred", [corners[0], corners[0] + 0.05])]


def plan(buildings):
    """Return the plan of so many buildings."""
    rows = {name: ([], []) for name in contract.PLAN_LAYERS}

    def add(name, shape, **fields):
        rows[name][0].append(fields)
        rows[name][1].append(shape)

    for b, (x, y) in enumerate(building_places(buildings)):
        survey = SURVEYS[b % 3]
        seen = {"surveys": survey, "first_season": survey[:4], "last_season": survey[:4]}
        outer = shapely.box(x - WALL, y - WALL, x + 5 * (WIDE + WALL), y + 2 * (DEEP + WALL))
        rooms = room_shapes(x, y)
        area = {"footprint_m2": outer.area, "footprint_sd_m2": 0.6, "room_count": ROOMS}
        depth = {"bed_depth_m": 4.0 + b % 30 / 10, "bed_depth_sd_m": 0.05}
        add("buildings", outer, building=f"B{b:03d}", support=0.9, **area, **depth, **seen)
        body = outer - shapely.union_all(rooms)
        add("wall_bodies", body, wall=f"W{b:03d}-00-00", thickness_m=0.5, **seen)
        for r, room in enumerate(rooms):
            number = f"R{b:03d}-{r:03d}"
            figures = {"floor_area_m2": room.area, "floor_area_sd_m2": 0.2, "axis_deg": 90.0}
            figures |= {"axis_sd_deg": 0.4, "recorded_share": 0.8, "support": 0.95, "kind": "room"}
            figures |= {"building": f"B{b:03d}", "lines": f"{survey}/W{r}"}
            add("rooms", room, room=number, **figures, **depth, **seen)
            for k, (evidence, ends) in enumerate(wall_pieces(room)):
                line = shapely.LineString(ends)
                told = {"wall": f"W{b:03d}-{r:02d}-{k:02d}", "evidence": evidence}
                told |= {"length_m": line.length, "axis_deg": 90.0, "lines": f"{survey}/W{r}"}
                add("wall_lines", line, axis_sd_deg=0.8, **told, **seen)
            door = shapely.LineString(shapely.get_coordinates(room)[:2])
            width = {"width_m": 1.1, "width_sd_m": 0.04, "joins": f"{number};outside"}
            add("openings", door, opening=f"O{b:03d}-{r:03d}", evidence="possible", **width, **seen)
            jar = {"feature": f"F{b:03d}-{r:03d}", "kind": "jar", "origin": "built"}
            add("features", room.centroid, room=number, survey=survey, season=survey[:4], **jar)
    return {name: layer(name, *both) for name, both in rows.items()}


def contours(buildings):
    """Return wavy contours over the whole ground, a corner every metre."""
    x = np.arange(0, 25 * PITCH)
    tall = PITCH * (-(-buildings // 25))
    lines = [
        shapely.LineString(np.column_stack([EAST + x, NORTH + y + 4 * np.sin(x / 9 + y)]))
        for y in np.arange(0, tall, 8.0)
    ]
    rows = [{"height_m": -k / 2, "index": k % 5 == 0} for k in range(len(lines))]
    return layer("contours", rows, lines)


def page(buildings):
    """Return the viewer's page of a made site."""
    made = plan(buildings)
    surveys = [
        {"survey": name, "season": name[:4], "technique": f"technique {k}", "holds": "wall_lines"}
        | {"from_date": f"{name[:4]}-06-01", "to_date": f"{name[:4]}-06-09", "file": f"{name}.gpkg"}
        for k, name in enumerate(SURVEYS)
    ]
    beds = pd.DataFrame(
        [{"cells": 40, "filled_share": 0.2, "surveys": [], "budget": Budget(0.01, 0.03, {})}]
    ).loc[np.zeros(len(made["rooms"]), dtype=int)]
    tables = [
        pd.DataFrame(columns=list(contract.table_columns(name)))
        for name in ("adjacency", "interpretations", "access")
    ]
    deposit = pd.DataFrame(columns=["room", "deposit_m", "deposit_sd_m", "survey", "line"])
    houses = Houses(made, pd.DataFrame(surveys), *tables[:2], deposit, beds, tables[2])
    events = [
        {"season": first, "what": "room", "event": "new", "number": number, "why": "first seen now"}
        | {"parents": "", "children": number, "share": None}
        for number, first in zip(made["rooms"]["room"], made["rooms"]["first_season"], strict=True)
    ]
    grey = np.random.default_rng(1).uniform(1, 255, (1000, 1250))
    tall = PITCH * (-(-buildings // 25))
    shade = Small({"shade_around": grey}, (EAST, EAST + 25 * PITCH, NORTH, NORTH + tall))
    more = {"contours": contours(buildings)}
    told = Told(
        houses, events, pd.DataFrame(columns=["wall", "last_known", "known_in", "length_m"])
    )
    return Viewer(ABOUT, told, more, shade=shade).html()


def dragged(screen: Browser, steps=120):
    """Drag the plan to and fro and return the times of all frames meanwhile [ms]."""
    screen.run("window.stopFrames = false")
    screen.run(f"window.frames_ = {FRAMES}; 0")
    screen.mouse("Pressed", 500, 450, button="left", clickCount=1)
    for k in range(steps):
        turn = 2 * np.pi * k / 60
        screen.mouse("Moved", 500 + 250 * np.sin(turn), 450 + 150 * np.sin(2 * turn), buttons=1)
    screen.mouse("Released", 500, 450, button="left", clickCount=1)
    return np.array(screen.run("(window.stopFrames = true, window.frames_)")[1:])


def measured(path: Path, screen: Browser):
    """Print how long a page takes to open and to move, at three scales."""
    began = time.perf_counter()
    screen.open(path.as_uri())
    screen.wait("performance.getEntriesByName('plan drawn').length > 0")
    seen = time.perf_counter() - began
    drawn = screen.run("performance.getEntriesByName('plan drawn')[0].startTime")
    print(f"{path.stat().st_size / 1e6:.1f} MB; first complete drawing {drawn / 1000:.2f} s after")
    print(f"navigation began, {seen:.2f} s on the clock of the one who asked for it")
    for scale, closer in (("whole site", 4), ("5 times closer", 4), ("26 times closer", 0)):
        frames = dragged(screen)
        middle, high, most = np.percentile(frames, [50, 95, 100])
        print(f"  {scale}: {len(frames)} frames, median {middle:.1f} ms,", end=" ")
        print(f"95 % up to {high:.1f} ms, the longest {most:.1f} ms")
        for _ in range(closer):
            screen.run("document.getElementById('do-closer').click()")
        time.sleep(1.0)
    for what, act in (
        ("table opened", "document.getElementById('do-table').click()"),
        (
            "walls listed",
            "(e => { e.value = 2; e.dispatchEvent(new Event('change')); })"
            "(document.getElementById('things'))",
        ),
        (
            "filtered",
            "(e => { e.value = '250-'; e.dispatchEvent(new Event('input')); })"
            "(document.getElementById('filter'))",
        ),
        ("sorted", "document.querySelectorAll('thead button')[3].click()"),
    ):
        took = screen.run(
            f"(() => {{ const t = performance.now(); {act}; return performance.now() - t; }})()"
        )
        print(f"  {what}: {took:.0f} ms")
    print("  complaints:", screen.complaints() or "none")


def main():
    """Write the page, or take the one named, and measure it."""
    buildings = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    with tempfile.TemporaryDirectory() as folder, browser(Path(folder) / "profile") as screen:
        path = Path(sys.argv[2]).resolve() if len(sys.argv) > 2 else Path(folder) / "viewer.html"
        if len(sys.argv) < 3:
            began = time.perf_counter()
            path.write_text(page(buildings), encoding="utf-8")
            print(f"{buildings} buildings made and written in {time.perf_counter() - began:.0f} s")
        measured(path, screen)


if __name__ == "__main__":
    main()
