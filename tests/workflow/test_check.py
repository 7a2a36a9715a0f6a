"""The evening check of a whole site: what it says, what it leaves, and how a person answers it."""

import json
import math
import shutil

import geopandas as gpd
import numpy as np
import pytest

from sites import ORIGIN, build, check, survey, write_rows, write_site

CONTROL = "point,easting,northing,height,sd_m\n"
MARKS = {"A": (5.0, 5.0, 1.2), "B": (22.0, 6.0, 0.9), "C": (20.0, 20.0, 1.5), "D": (6.0, 19.0, 1.1)}
CORNERS = {"1": (10, 10), "2": (14, 10), "3": (14, 15), "4": (10, 15), "5": (10, 10)}


def report_of(site):
    return json.loads((site / "work" / "check" / "report.json").read_text(encoding="utf-8"))


def copy_of(hut, folder):
    shutil.copytree(hut, folder / "site")
    return folder / "site"


def bed(easting, northing, lift):
    """Return a rippled seabed near -3 m, in places told to be measured anew."""
    return -3.0 + 0.1 * np.sin(easting / 3) * np.cos(northing / 4) + lift


def two_beds(folder, *, lift, **keys):
    """Write a site of three surveys of one seabed, the last of them lifted."""
    rng = np.random.default_rng(3)
    surveys = []
    for name, up in (("first", 0.0), ("second", 0.0), ("third", lift)):
        x, y = rng.uniform(2, 42, (2, 2500))
        heights = bed(x, y, up) + rng.normal(0, 0.02, len(x))
        rows = {"easting": x + ORIGIN[0], "northing": y + ORIGIN[1], "height": heights}
        write_rows(folder / "data" / f"{name}.csv", **{k: v.round(3) for k, v in rows.items()})
        more = keys if name == "third" else {}
        surveys.append(survey(name, f"data/{name}.csv", "bed_points", **more))
    return write_site(folder, {"2031": surveys})


def test_a_fault_stops_the_run_and_leaves_the_record(hut, tmp_path):
    """A depth that is no number: named with its row, exit code 3, results as they were."""
    site = copy_of(hut, tmp_path)
    before = {p: p.read_bytes() for p in (site / "results").rglob("*") if p.is_file()}
    file = site / "data" / "bed.csv"
    file.write_text(file.read_text().replace("-3.0\n", "deep\n", 1))
    ended = build(site)
    assert ended.code == 3
    assert "FAULT no_number in data/bed.csv, row 2 (survey 2032-bed)" in ended.text
    assert "Nothing was built; results/ is as it was." in ended.text
    assert "work/check/report.html" in ended.text
    assert {p: p.read_bytes() for p in (site / "results").rglob("*") if p.is_file()} == before
    assert "no_number" in (site / "work" / "check" / "report.html").read_text(encoding="utf-8")


def test_a_correction_mends_the_fault_and_not_the_file(hut, tmp_path):
    """The cell is read as corrected; once the file changes, the correction is refused."""
    site = copy_of(hut, tmp_path)
    file = site / "data" / "bed.csv"
    file.write_text(file.read_text().replace("-3.0\n", "deep\n", 1))
    register = site / "config" / "corrections.csv"
    register.write_text(
        "file,row,column,was,is,why,who,when\n"
        "data/bed.csv,2,height,deep,-3.0,book p. 4,invented,2032-06-11\n"
    )
    assert check(site).code == 0
    file.write_text(file.read_text().replace("deep\n", "deeper\n", 1))
    ended = check(site)
    assert ended.code == 3
    assert "correction_refused" in ended.text


def test_a_survey_that_is_too_high_is_named_with_its_size(tmp_path):
    """Of three surveys of a seabed, the one that was lifted by 0.2 m; its list names a place."""
    ended = check(two_beds(tmp_path, lift=0.2))
    assert ended.code == 0
    report = report_of(tmp_path)
    assert {doubt["survey"] for doubt in report["suspicions"]} == {"2031-third"}
    assert {doubt["kind"] for doubt in report["suspicions"]} <= {"survey_offset", "pole_section"}
    assert "0.2" in report["suspicions"][0]["found"]
    assert report["remeasure"][0]["depth_m"] == pytest.approx(3.1, abs=0.4)
    assert "To measure again" in ended.text


def test_one_file_is_checked_by_itself(hut, tmp_path):
    """Only that file's survey is read and told of; a file that no season names is refused."""
    site = copy_of(hut, tmp_path)
    shutil.rmtree(site / "work")
    ended = check(site, file="data/floors.csv")
    assert (ended.code, "No faults in the file itself." in ended.text) == (0, True)
    assert [path.name for path in (site / "work" / "intake").iterdir()] == ["2032-floors"]
    (site / "data" / "floors.csv").write_text("easting,northing,height\n1,2,deep\n")
    ended = check(site, file="data/floors.csv")
    assert (ended.code, "FAULT no_number" in ended.text) == (3, True)
    ended = check(site, file="data/flors.csv")
    assert (ended.code, "did you mean 'data/floors.csv'?" in ended.text) == (2, True)


def test_surveys_that_agree_are_not_accused(tmp_path):
    """Three surveys of one seabed, none lifted: no fault, no suspicion, nothing to measure."""
    ended = check(two_beds(tmp_path, lift=0.0))
    report = report_of(tmp_path)
    assert (ended.code, report["suspicions"], report["remeasure"]) == (0, [], [])


def test_an_accepted_suspicion_is_on_record_and_not_counted(tmp_path):
    """The reason that a person gives stands beside what was found."""
    reason = {"survey_offset": "sand came in over the winter, seen by divers"}
    assert check(two_beds(tmp_path, lift=0.2, accepted=reason)).code == 0
    report = report_of(tmp_path)
    assert report["suspicions"] == []
    assert [doubt["kind"] for doubt in report["accepted"]] == ["survey_offset"]
    assert "sand came in" in report["accepted"][0]["remedy"]


def polar(kind, point, place, pole):
    """Return a total station's row to a place, from (12, 2, 1.8), its circle at grid north."""
    east, north, up = np.subtract(place, (12.0, 2.0, 1.8 - pole))
    level = math.hypot(east, north)
    return [kind, point, "", pole, math.degrees(math.atan2(east, north)) % 360,
            math.degrees(math.atan2(level, up)), math.hypot(level, up)]  # fmt: skip


@pytest.mark.slow
def test_a_total_stations_day_becomes_walls(tmp_path):
    """Four back-sights and five shots on the corners of a room give its walls on the plan."""
    marks = [f"{k},{ORIGIN[0] + e},{ORIGIN[1] + n},{h},0.005\n" for k, (e, n, h) in MARKS.items()]
    rows = [["station", "", 1.5, "", "", "", "", "", ""]]
    rows += [[*polar("back_sight", name, place, 1.0), "", ""] for name, place in MARKS.items()]
    rows += [
        [*polar("shot", name, (*place, -2.0), 4.0), "room", name] for name, place in CORNERS.items()
    ]
    head = "kind,point,instrument_height_m,target_height_m,circle_deg,zenith_deg,slope_m"
    names = [*head.split(","), "line", "sequence"]
    write_rows(
        tmp_path / "data" / "day.csv", **dict(zip(names, zip(*rows, strict=True), strict=True))
    )
    site = write_site(
        tmp_path, {"2031": [survey("walls", "data/day.csv", "wall_lines", form="station_day")]}
    )
    (site / "config" / "control.csv").write_text(CONTROL + "".join(marks))
    ended = build(site)
    assert ended.code == 0, ended.text
    rooms = gpd.read_file(site / "results" / "site.gpkg", layer="rooms")
    assert rooms["floor_area_m2"].tolist() == [pytest.approx(20.0, abs=0.05)]
    account = report_of(site)["surveys"][0]["adjustment"]
    assert len(account["setups"][0]["back_sights"]) == 4
