"""A build runs what a change touches, and no more: by the list of steps, which is stated here.

The lists are derived from what each step reads, not from what was seen to run. A step's products
count as one: who reads one view of the seabed is made again when another changes.
"""

import json
import os
import shutil
import subprocess
import sys

import numpy as np
import pytest
import yaml
from run_helpers import REPOSITORY, files_in

from sites import CRS, ORIGIN, box, built, survey, write_rows, write_shapes, write_yaml

pytestmark = pytest.mark.slow

CHECK = {"cross_check", "report_check"}
ON_CHECK = {"publish_audits", "write_report", "list_products"}
SHEETS = {"draw_sheets plan", "list_sheets"}
ON_SITE_FILE = {"summarise_site", "draw_dxf", "write_report", "draw_viewer", "list_products"}
"""Whatever reads site.gpkg, or what is made from it."""
ON_LAST_PLAN = {
    *("publish_site", "summarise_site", "draw_pictures", "draw_orientation", "draw_buildings"),
    *("join_interpretations", "write_report", "publish_audits", "measure_deposit"),
    *("list_numbers", "follow_condition", "draw_condition", "draw_dxf", "list_products"),
    *("draw_text_pictures", "compare_seasons", "draw_viewer"),
    *SHEETS,
}
"""Whatever reads the plan as known after the last season, or what is made from it."""
ON_BED = {
    *("compare_overlaps", "audit_accuracy", "list_set_aside", "draw_relief", "draw_contours"),
    *("publish_rasters", "draw_uncertainty"),
}
"""Whatever reads the surveys of bed points, or the surface made of all of them."""
SITE_WIDE = CHECK | ON_LAST_PLAN | ON_BED


def of_plan(*seasons):
    """Return the steps of the plans as known after seasons, from rooms on."""
    return {f"find_rooms upto-{season}" for season in seasons} | of_numbers(*seasons)


def of_numbers(*seasons):
    """Return the steps of the plans as known after seasons, from numbers on."""
    rules = ("carry_numbers", "choose_spot_heights", "sight_walls", "tell_states")
    return {f"{rule} {season}" for season in seasons for rule in rules} | of_readings(*seasons)


def of_readings(*seasons):
    """Return the steps of the plans as known after seasons, from readings on."""
    rules = ("follow_readings", "publish_season", "report_season")
    return {f"{rule} {season}" for season in seasons for rule in rules}


def of_walls(*seasons):
    """Return the steps of the plans as known after seasons, from walls on."""
    return of_plan(*seasons) | {f"join_walls upto-{season}" for season in seasons}


def of_items(*surveys):
    """Return the steps of surveys of items alone."""
    return {f"{rule} {name}" for name in surveys for rule in ("read_items", "fit_items")}


def of_points(*surveys):
    """Return the steps of surveys of bed points alone."""
    rules = ("read_points", "fit_points", "grid_survey")
    return {f"{rule} {name}" for name in surveys for rule in rules}


def change_yaml(file, change):
    """Change a config file by a function of its content."""
    content = yaml.safe_load(file.read_text(encoding="utf-8"))
    change(content)
    write_yaml(content, file)


def site_key(block, key, value):
    """Return a change of one key of site.yaml."""
    return lambda site: change_yaml(
        site / "config" / "site.yaml",
        lambda content: content.setdefault(block, {}).update({key: value}),
    )


def survey_key(season, place, key, value):
    """Return a change of one key of a survey."""
    return lambda site: change_yaml(
        site / "config" / "seasons" / f"{season}.yaml",
        lambda content: content["surveys"][place].update({key: value}),
    )


def register(name, head, row):
    """Return a change that writes a register of one row."""
    return lambda site: (site / "config" / f"{name}.csv").write_text(f"{head}\n{row}\n")


def decision(day):
    """Return a change that writes a decision of a day: the place beside the hut is no room."""
    head = "decision,easting,northing,to_easting,to_northing,who,date,why"
    return register("decisions", head, f"open_ground,324405,4207605,,,me,{day},sand")


def later(file):
    """Return a change of a raw file's content: its last character once more."""
    return lambda site: (site / file).write_bytes((site / file).read_bytes() + b"\n")


def add_season(site, season="2033"):
    """Add an annex, its walls traced and its bed sounded, on a benchmark and a mark of its own."""
    folder = site / "data" / season
    write_shapes([box(18.5, 10, 21, 13, -2.0)], folder / "walls.gpkg", CRS)
    x, y = (axis.ravel() for axis in np.meshgrid(np.arange(15, 25, 0.5), np.arange(8, 22, 0.5)))
    write_rows(
        folder / "bed.csv",
        easting=x + ORIGIN[0],
        northing=y + ORIGIN[1],
        height=np.full(len(x), -3.0),
    )
    days = {"from_date": f"{season}-06-09", "to_date": f"{season}-06-10"}
    new = {**days, "error_sources": [f"benchmark_{season}"]}
    surveys = [
        survey("walls", f"data/{season}/walls.gpkg", "wall_lines", **new),
        survey("bed", f"data/{season}/bed.csv", "bed_points", **new),
    ]
    content = {"schema_version": 1, "season": season, "surveys": surveys}
    write_yaml(content, site / "config" / "seasons" / f"{season}.yaml")
    source = {"kind": "shift", "about": "a new benchmark", "height_sd_m": 0.01}
    site_key("error_sources", f"benchmark_{season}", source)(site)
    mark = f"M9,324410,4207610,1.0,0.01,{season}-06-01"
    register("control", "point,easting,northing,height,sd_m,from_date", mark)(site)


def of_season(season):
    """Return the steps of what `add_season` adds, by itself and in the plan known after it."""
    alone = of_items(f"{season}-walls") | of_points(f"{season}-bed")
    surfaces = {f"merge_surfaces {kind}-{season}" for kind in ("upto", "season")}
    beside = {f"find_ground {season}", f"outline_trenches {season}"}
    return alone | of_walls(season) | surfaces | beside


CHANGED_BED = {"measure_change 2032 2033", "publish_change 2033 2032", "tabulate_change"}
FIRST_PAIR = {"merge_surfaces season-2032"}
"""How the bed changed since the season before, which nobody asked of its surface until then."""


READING = (
    "easting,northing,what,reading,certainty,who,when,why",
    "324412,4207612,room,store,possible,me,2033-01-01,jars",
)
ON_FLOORS = of_items("2032-floors") | {"find_ground 2032"} | of_plan("2032") | CHECK | ON_LAST_PLAN
CHANGES = {
    "nothing": (lambda site: None, set()),
    "a season": (add_season, of_season("2033") | CHANGED_BED | FIRST_PAIR | SITE_WIDE),
    "the last season is gone": (
        lambda site: (site / "config/seasons/2032.yaml").unlink(),
        CHECK | ON_LAST_PLAN | {"compare_overlaps", "audit_accuracy", "list_set_aside"},
    ),
    "a file of things": (
        later("data/things.geojson"),
        of_items("2031-things")
        | {"find_ground 2031"}
        | of_plan("2031", "2032")
        | CHECK
        | ON_LAST_PLAN,
    ),
    "a file of soundings": (
        later("data/bed.csv"),
        of_points("2032-bed")
        | {"merge_surfaces upto-2032", "find_ground 2032"}
        | of_plan("2032")
        | CHECK
        | ON_LAST_PLAN
        | ON_BED,
    ),
    "a file of floors": (
        later("data/floors.csv"),
        ON_FLOORS,
    ),
    "a survey's note": (
        survey_key("2031", 0, "note", "traced twice"),
        ON_SITE_FILE | {"publish_site"},
    ),
    "a survey's accepted suspicion": (
        survey_key("2032", 1, "accepted", {"few_rows": "one was met"}),
        ON_FLOORS,
    ),
    "how wide a pole was": (
        survey_key("2031", 0, "pole_width_m", 0.05),
        of_walls("2031", "2032") | CHECK | ON_LAST_PLAN,
    ),
    "the contours' step": (
        site_key("seabed", "contour_step_m", 0.5),
        {"draw_contours", "draw_pictures", "publish_site"} | SHEETS | ON_SITE_FILE,
    ),
    "openness in more directions": (
        site_key("seabed", "openness_directions", 24),
        {"draw_relief", "publish_rasters", "draw_pictures", "write_report"}
        | {"draw_viewer", "list_products"}
        | SHEETS,
    ),
    "the sheet's scale": (
        site_key("sheets", "plan", {"scale": 200}),
        SHEETS | {"list_products"},
    ),
    "the phases' names": (
        lambda site: change_yaml(
            site / "config" / "site.yaml", lambda content: content.update(phases=["one", "two"])
        ),
        of_walls("2031", "2032") | ON_LAST_PLAN | {"write_styles"},
    ),
    "the least room": (
        site_key("rooms", "room_min_area_m2", 1.5),
        of_plan("2031", "2032") | ON_LAST_PLAN,
    ),
    "how far ends are joined": (
        site_key("walls", "join_gap_m", 0.4),
        of_walls("2031", "2032") | ON_LAST_PLAN,
    ),
    "an interpretation": (
        register("interpretations", *READING),
        of_readings("2032") | {"join_interpretations", "publish_site"} | ON_SITE_FILE,
    ),
    "a mark": (
        register("control", "point,easting,northing,sd_m", "M1,324410,4207610,0.01"),
        {"report_check"} | ON_CHECK | SHEETS,
    ),
    "a decision of the first season": (
        decision("2031-07-01"),
        of_walls("2031", "2032") | ON_LAST_PLAN,
    ),
    "a decision of the last season": (decision("2034-07-01"), of_walls("2032") | ON_LAST_PLAN),
    "a correction": (
        register(
            "corrections",
            "file,row,column,was,is,why,who,when",
            "data/floors.csv,2,evidence,excavated,probe,book,me,2032-07-01",
        ),
        ON_FLOORS,
    ),
    "a source of error that no survey has yet": (
        site_key("error_sources", "spare", {"kind": "shift", "height_sd_m": 0.01}),
        CHECK | ON_CHECK,
    ),
}
CODE = {
    "walls/joining.py": of_walls("2031", "2032") | ON_LAST_PLAN,
    "rooms/openings.py": of_plan("2031", "2032") | ON_LAST_PLAN,
    "seabed/openness.py": CHANGES["openness in more directions"][1],
    "seabed/contours.py": CHANGES["the contours' step"][1],
    "publish/sheets/sheet.py": SHEETS | {"list_products"},
    "publish/dxf.py": {"draw_dxf", "list_products"},
    "publish/style_rules.py": {"write_styles", "list_products"},
    "publish/viewer/words.py": {"draw_viewer", "list_products"},
    "intake/clouds.py": CHANGES["a file of soundings"][1],
    "fit/overlaps.py": {"compare_overlaps", "audit_accuracy"} | ON_CHECK,
    "registers.py": of_numbers("2031", "2032") | ON_LAST_PLAN,  # which read numbers in print
    "config.py": set(),
}


@pytest.fixture(scope="module")
def plans(hut, tmp_path_factory):
    """Return the steps that a build would run after each change, by its name."""
    folder = tmp_path_factory.mktemp("changed")
    root = folder / "workflow"
    for part in ("scripts", "workflow"):
        shutil.copytree(REPOSITORY / part, root / part)
    shutil.copy2(REPOSITORY / "Snakefile", root / "Snakefile")
    cases = {}
    for name, (change, _) in CHANGES.items():
        site = folder / name.replace(" ", "_")
        change(shutil.copytree(hut, site))
        cases[name] = {"site": str(site)}
    for module in CODE:
        file = f"scripts/wrackline/{module}"
        cases[module] = {"site": cases["nothing"]["site"], "module": file}
    command = [sys.executable, REPOSITORY / "tests" / "workflow" / "plan_sites.py", root]
    environment = {**os.environ, "PYTHONPATH": str(root / "scripts")}
    done = subprocess.run(
        command,
        env=environment,
        input=json.dumps(cases),
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.parametrize("name", CHANGES)
def test_a_change_runs_what_it_touches(plans, name):
    """Exactly the steps that read what was changed, and those that read what these make."""
    assert plans[name] == sorted(CHANGES[name][1])


@pytest.mark.parametrize("module", CODE)
def test_changed_code_runs_the_steps_that_use_it(plans, module):
    """A module of one stage touches the steps that import it, and what follows them."""
    assert plans[module] == sorted(CODE[module])


def test_a_season_runs_nothing_of_earlier_ones(plans):
    """No step that is for a survey, a season or a view of an earlier season."""
    steps = set(plans["a season"]) - CHANGED_BED - FIRST_PAIR
    assert [step for step in steps if "2031" in step or "2032" in step] == []


def test_a_season_added_and_taken_out_again(hut, tmp_path):
    """Added, it gives the bytes of a build from nothing; taken out, nothing of it is left."""
    grown = shutil.copytree(hut, tmp_path / "grown")
    add_season(grown)
    built(grown, within_s=600)
    whole = tmp_path / "whole"
    for part in ("config", "data"):
        shutil.copytree(grown / part, whole / part)
    built(whole, within_s=600)
    assert files_in(grown / "results") == files_in(whole / "results")
    (grown / "config" / "seasons" / "2033.yaml").unlink()
    built(grown, within_s=600)
    left = [*files_in(grown / "work"), *files_in(grown / "logs"), *files_in(grown / "results")]
    assert [name for name in left if "2033" in name] == []
