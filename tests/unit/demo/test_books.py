"""The demo's field books, reduced by intake, against the places that they were taken at.

Bounds are chi-square quantiles (scipy) of the sds that the season file states and the reader's own
account of its adjustment; the random numbers are fixed.
"""

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
import shapely
import yaml
from scipy.stats import chi2

from wrackline.config import load_site
from wrackline.declination import declination_deg, geodetic
from wrackline.demo import books, make
from wrackline.demo.dives import staff_record
from wrackline.demo.fieldwork import Fieldwork, soundings, water_height
from wrackline.demo.hamlet import Hamlet
from wrackline.demo.made import Staff
from wrackline.demo.town import settled
from wrackline.demo.truth import parse
from wrackline.errors import ConfigError
from wrackline.fit.items import errors_of, fit_items
from wrackline.intake.items import read_items
from wrackline.intake.points import read_bed
from wrackline.verdict import Source

ROOT = Path(__file__).parents[3]
CONFIG = load_site(ROOT)
BOOKS = ("walls_coded", "walls_day", "walls_tape", "levels")
ENDS_M = 0.2
"""Nearer to the end of a face than this, a point may be past its corner."""


@pytest.fixture(scope="module")
def truth():
    return yaml.safe_load((ROOT / "config" / "demo.yaml").read_text(encoding="utf-8"))


@pytest.fixture(scope="module")
def hamlet(truth):
    return Hamlet(settled(truth))


@pytest.fixture(scope="module")
def folder(truth, tmp_path_factory):
    made = tmp_path_factory.mktemp("books")
    make(truth, made, wanted=[truth["surveys"][name]["file"] for name in BOOKS])
    return made


def read(folder, name, control=None):
    """Return a book's items in the site's CRS and datum, its verdict and its errors."""
    key = f"2032-{name}"
    survey = CONFIG.surveys[key]
    marks = CONFIG.control_for(key) if control is None else control
    source = Source(key, survey, folder, tuple(marks))
    items, verdict = read_items(source, crs=CONFIG.site.crs, origin=CONFIG.site.origin)
    if verdict.faults:
        return items, verdict, None
    model, _ = errors_of(key, survey, CONFIG.site, verdict.adjustment)
    return fit_items(items, key, survey, CONFIG.site), verdict, model


def kinds(verdict):
    return [fault.kind for fault in verdict.faults], [fault.kind for fault in verdict.suspicions]


def shared(model, xyz):
    """Return variances of what moves all points of a survey together, shape (n, 3) [m²]."""
    parts = [part.displacement(xyz) ** 2 for part in model.named]
    return np.sum(parts, axis=0) if parts else np.zeros_like(xyz)


def across_and_up(work, items):
    """Return how far strings' points lie across their true faces and above their tops [m].

    And the points themselves; those near the ends of their face, and curves, are left out.
    """
    across, up, kept = [], [], []
    runs = books.faces(work)
    true = {f"F{number:03d}": run for number, run in enumerate(runs, start=1)}
    for line, shape in zip(items["line"], items.geometry, strict=True):
        run, top = true[line]
        if len(run.line.coords) > 2:
            continue
        (x0, y0), (x1, y1) = run.line.coords
        way = np.array([x1 - x0, y1 - y0]) / run.line.length
        xyz = shapely.get_coordinates(shape, include_z=True)
        along = (xyz[:, :2] - (x0, y0)) @ way
        xyz = xyz[(along > ENDS_M) & (along < run.line.length - ENDS_M)]
        across.append((xyz[:, :2] - (x0, y0)) @ (way[1], -way[0]))
        up.append(xyz[:, 2] - top)
        kept.append(xyz)
    return np.concatenate(across), np.concatenate(up), np.concatenate(kept)


def within(values, sd, *, alike=1.0, level=1e-3):
    """Tell whether the mean square of values over their sd is neither too small nor too large.

    A mean of its own is allowed: what moves all together is held against its own sd. Where
    neighbours err alike, so many of them count as one.
    """
    share = np.sum(((values - values.mean()) / sd) ** 2) / alike
    low, high = chi2.ppf([level, 1 - level], (len(values) - 1) / alike)
    return bool(low < share < high)


def test_walls_of_a_days_shots_scatter_as_stated(hamlet, folder):
    """Across the faces and in height, shots scatter by the pole's sd, neither more nor less."""
    items, verdict, model = read(folder, "walls_day")
    assert kinds(verdict) == ([], [])
    off, up, _ = across_and_up(Fieldwork(hamlet, "walls_day"), items)
    assert len(off) > 150
    assert within(off, model.random_horizontal)
    assert within(up, model.random_vertical)


def test_a_day_as_a_whole_is_off_by_no_more_than_its_setup(hamlet, folder):
    """Heights in the mean, and the setup's place, lie within three sds of the account."""
    items, verdict, model = read(folder, "walls_day")
    work = Fieldwork(hamlet, "walls_day")
    _, up, at = across_and_up(work, items)
    assert abs(up.mean()) < 3 * np.sqrt(shared(model, at)[:, 2].mean())
    (setup,) = verdict.adjustment["setups"]
    true = books.place_of(work, work.made.marks[0])[:2] + books.STATION_M
    off = np.array([setup["easting"], setup["northing"]]) - true
    assert np.all(np.abs(off) < 3 * np.array([setup["easting_sd_m"], setup["northing_sd_m"]]))
    assert {error["kind"] for error in verdict.adjustment["errors"]} >= {"rotation", "height"}


def test_the_day_is_checked_at_its_end(hamlet):
    """Its last sight goes to the mark that it began with; at least three marks were sighted."""
    day = books.station_day(Fieldwork(hamlet, "walls_day"))
    backs = day[day["kind"] == "back_sight"]
    assert backs["point"].nunique() >= 3
    assert day.iloc[-1]["kind"] == "back_sight"
    assert day.iloc[-1]["point"] == backs["point"].iloc[0]
    assert (day["kind"] == "shot").sum() == len(day) - len(backs) - 1


def test_garden_walls_are_in_the_day_too(hamlet):
    """Who traces faces traces those of the walls that stand alone in the same part."""
    work = Fieldwork(hamlet, "walls_day")
    alone = [shape for shape in hamlet.free_walls.values() if work.covers(shape)]
    said = {run.what for run, _ in books.faces(work)}
    assert alone
    assert sum(what.split("_")[-1] == "wall face" for what in said) == len(alone)


def test_a_day_on_a_lost_mark_is_refused(truth, tmp_path):
    """M4 was lost in the winter before: a setup that still sights it can't be right."""
    changed = {**truth["surveys"]["walls_day"], "marks": ["M3", "M2", "M4"]}
    make({**truth, "surveys": {"walls_day": changed}}, tmp_path, wanted=[changed["file"]])
    _, verdict, _ = read(tmp_path, "walls_day")
    assert kinds(verdict)[0] == ["mark_not_valid"]
    assert "lost" in verdict.faults[0].found


def test_the_day_rests_on_the_new_level_of_a_mark(folder):
    """With M5 at its height before the re-levelling, the mark's own back-sight stands out."""
    rows = CONFIG.control_for("2032-walls_day")
    new = next(row for row in rows if row.point == "M5" and row.fate == "stands")
    old = next(row for row in CONFIG.control if row.point == "M5" and row.fate == "re-levelled")
    assert new.height > old.height + 3 * old.height_sd_m
    control = [row.model_copy(update={"height": old.height}) if row is new else row for row in rows]
    heights = [
        next(s for s in verdict.adjustment["setups"][0]["back_sights"] if s["mark"] == "M5")
        for _, verdict, _ in (read(folder, "walls_day"), read(folder, "walls_day", control))
    ]
    assert abs(heights[0]["height_m"]) < 0.03 < abs(heights[1]["height_m"])


def test_coded_strings_come_back_as_walls(hamlet, folder):
    """Each string is one face from end to end, though two stand mixed in the file; no bed."""
    items, verdict, _ = read(folder, "walls_coded")
    assert kinds(verdict) == ([], [])
    runs = books.faces(Fieldwork(hamlet, "walls_coded"))
    assert len(items) == len(runs)
    true = {f"F{n:03d}": run.line for n, (run, _) in enumerate(runs, start=1)}
    for line, shape in zip(items["line"], items.geometry, strict=True):
        assert shapely.hausdorff_distance(shapely.force_2d(shape), true[line]) < 0.35
        assert shape.length == pytest.approx(true[line].length, abs=0.4)
    assert set(items["kind"]) == {"wall"}


def test_coded_points_have_semicolons_and_decimal_commas(folder):
    """The file is one of a receiver set to commas; heights count from the ellipsoid."""
    path = folder / CONFIG.surveys["2032-walls_coded"].file
    head, first = path.read_text(encoding="utf-8").splitlines()[:2]
    assert head == "point;easting;northing;height;line;sequence;code"
    assert "." not in first
    table = pd.read_csv(path, sep=";", decimal=",")
    assert table["height"].between(40, 48).all()
    assert table["point"].is_monotonic_increasing
    assert set(table["code"]) == {"wall", "bed"}


def test_coded_points_scatter_as_stated(hamlet, folder):
    """Across faces and in height by random and patchy together; in the mean by the ellipsoid's."""
    items, _, model = read(folder, "walls_coded")
    off, up, at = across_and_up(Fieldwork(hamlet, "walls_coded"), items)
    assert len(off) > 50
    flat = np.hypot(model.random_horizontal, model.patchy_horizontal)
    high = np.hypot(model.random_vertical, model.patchy_vertical)
    assert within(off, flat, alike=2.0)
    assert within(up, high, alike=2.0)
    assert abs(up.mean()) < 3 * np.sqrt(shared(model, at)[:, 2].mean())
    assert {part.name.split(":")[0] for part in model.named} == {"ellipsoid_1"}


def test_taped_corners_lie_within_their_account(hamlet, folder):
    """The corners' distances from the true ones are those of a plane error of the stated size."""
    items, verdict, model = read(folder, "walls_tape")
    assert kinds(verdict) == ([], [])
    house = books._nearest_house(Fieldwork(hamlet, "walls_tape"))
    true = np.array(shapely.simplify(house.footprint, 0.05).exterior.coords)[:-1]
    xyz = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)[:-1]
    xy = xyz[:, :2]
    assert len(xy) == len(true)
    variance = model.random_horizontal**2 + shared(model, xyz)[:, :2]
    share = np.sum((xy - true) ** 2 / variance)
    assert share < chi2.ppf(0.999, 2 * len(true))
    assert np.abs(xyz[:, 2] - house.truth.wall_top_m).max() < 0.15


def test_compass_bearings_are_magnetic(truth, hamlet):
    """The truth's declination is that of the field's model here in June 2032, to 0.1 degrees."""
    survey = CONFIG.surveys["2032-walls_tape"]
    place = np.add(CONFIG.site.origin, (46.0, 24.0))
    declination = declination_deg(*geodetic(CONFIG.site.crs, *place), [survey.from_date])[0]
    assert truth["surveys"]["walls_tape"]["declination_deg"] == pytest.approx(declination, abs=0.1)
    book = books.tape_book(Fieldwork(hamlet, "walls_tape"))
    read = book[book["measure"] == "bearing"]
    assert len(read) >= 4
    assert read["value_m"].astype(int).between(0, 359).all()


def test_levelled_floors_are_good_to_millimetres(hamlet, folder):
    """Heights of floors scatter by the staff's sd; together they are off no more than the marks."""
    items, verdict, model = read(folder, "levels")
    assert kinds(verdict) == ([], [])
    levels = {
        f"{name} {room}": content.floor_m
        for name, house in hamlet.truth.buildings.items()
        for room, content in house.rooms.items()
    }
    z = shapely.get_coordinates(items.geometry.to_numpy(), include_z=True)[:, 2]
    off = z - np.array([levels[note] for note in items["note"]])
    assert len(off) > 50
    assert within(off, model.random_vertical)
    assert abs(off.mean()) < 3 * 0.008


def test_a_staff_gives_the_water_of_the_dive(hamlet):
    """Its readings follow the tide to a few centimetres, from before the first depth to after."""
    made = hamlet.truth.surveys["dive_depths"]
    table = staff_record(hamlet, "dive_depths")
    time = pd.to_datetime(table["time"])
    taken = pd.to_datetime(soundings(Fieldwork(hamlet, "dive_depths"))["time"])
    assert time.min() <= taken.min() - pd.Timedelta(minutes=30)
    assert time.max() >= taken.max() + pd.Timedelta(minutes=30)
    hours = (time - pd.Timestamp(hamlet.truth.water.high_water)) / pd.Timedelta(hours=1)
    off = table["level_m"].astype(float) + made.staff.zero_m
    off -= water_height(hamlet.truth.water, hours.to_numpy())
    assert 0 < np.abs(off).max() < 4 * np.hypot(made.staff.random_m, 0.003)


def test_a_divers_depths_come_back_to_the_bed(truth, hamlet, tmp_path):
    """Displayed depths and the staff's record are sound, and dated within their own season."""
    name = "2032-dive_depths"
    survey = CONFIG.surveys[name]
    make(truth, tmp_path, wanted=[survey.file, survey.vertical.water_level])
    source = Source(name, survey, tmp_path)
    out = tmp_path / "points.parquet"
    verdict = read_bed(source, out, crs=CONFIG.site.crs, origin=CONFIG.site.origin)
    assert kinds(verdict) == ([], [])
    assert survey.from_date.year == survey.to_date.year == 2032
    shown = pd.read_csv(tmp_path / survey.file)["depth"].to_numpy()
    assert np.allclose(shown * 10, np.round(shown * 10))


def test_a_staff_belongs_to_soundings(truth):
    """A staff beside anything else is refused with its key."""
    staff = Staff(file="s.csv", zero_m=-1.0, random_m=0.01).model_dump()
    changed = {**truth["surveys"], "shore": {**truth["surveys"]["shore"], "staff": staff}}
    with pytest.raises(ConfigError, match=r"surveys\.shore\.staff"):
        parse({**truth, "surveys": changed})


@pytest.mark.parametrize("hectares", [0.3, 0.5, 1.0, 2.0])
def test_books_of_a_small_corner_are_sound(truth, hectares, tmp_path):
    """On a corner with few buildings intake still takes every book, and accuses none."""
    small = {**truth, "hectares": hectares}
    make(small, tmp_path, wanted=[small["surveys"][name]["file"] for name in BOOKS])
    for name in BOOKS:
        items, verdict, _ = read(tmp_path, name)
        assert kinds(verdict) == ([], []), name
        assert len(items) > 0, name
