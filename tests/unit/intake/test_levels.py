"""Level books: heights with their misclosure distributed, and every slip named."""

import csv

import numpy as np
import pytest
import shapely
from made_days import survey

from wrackline.fit.levelling import common_variance, distributed, reduce_run
from wrackline.intake.levels import read_levels
from wrackline.model import ControlValue
from wrackline.verdict import Problems, Source

HEAD = [
    "point",
    "back_sight_m",
    "intermediate_sight_m",
    "fore_sight_m",
    "easting",
    "northing",
    "distance_m",
    "reduced_level_m",
    "code",
]
CONTROL = (
    ControlValue(point="BM1", easting=324_400, northing=4_207_600, height=2.0, sd_m=0.003),
    ControlValue(point="BM2", easting=324_480, northing=4_207_640, height=1.4, sd_m=0.003),
    ControlValue(point="BM3", easting=324_440, northing=4_207_620, height=-1.0, sd_m=0.003),
    ControlValue(point="BM4", easting=324_450, northing=4_207_620, sd_m=0.003),
)
SD_M = 0.004


def book(seed=0, *, noise=1.0, setups=5, points=3):
    """Return a book from BM1 to BM2 with points sighted at every setup, and their true heights."""
    rng = np.random.default_rng(seed)
    read = noise * SD_M / np.sqrt(2)
    here, rows, truth = 2.0 + noise * rng.normal(0, 0.003), [], {}
    end = 1.4 + noise * rng.normal(0, 0.003)
    rows.append({"point": "BM1"})
    for k in range(setups):
        axis = max(here, end) + rng.uniform(1.0, 1.5)
        rows[-1]["back_sight_m"] = f"{axis - here + rng.normal(0, read):.4f}"
        for n in range(points):
            name, height = f"{k}{n}", axis - rng.uniform(1.0, 4.0)
            truth[name] = height
            sight = axis - height + rng.normal(0, read)
            place = {"easting": f"{324_400 + 10 * k + n}", "northing": f"{4_207_600 + n}"}
            rows.append({"point": name, "intermediate_sight_m": f"{sight:.4f}"} | place)
        here = end if k == setups - 1 else axis - rng.uniform(1.0, 2.5)
        name = "BM2" if k == setups - 1 else f"T{k}"
        rows.append({"point": name, "fore_sight_m": f"{axis - here + rng.normal(0, read):.4f}"})
    return rows, truth


def read(folder, rows, control=CONTROL):
    with (folder / "book.csv").open("w", newline="", encoding="utf-8") as out:
        writer = csv.DictWriter(out, HEAD, restval="")
        writer.writeheader()
        writer.writerows(rows)
    given = survey(form="levelling", file="book.csv", random_vertical_sd_m=SD_M)
    problems = Problems()
    found = read_levels(Source("2031-book", given, folder, control), problems)
    return found, problems.listed()


def only(problems, kind):
    """Return the one problem there is, of the kind that is expected, its four parts filled."""
    assert [fault.kind for fault in problems] == [kind]
    parts = (problems[0].found, problems[0].allowed, problems[0].consequence, problems[0].remedy)
    assert all(part.strip() for part in parts)
    return problems[0]


def heights_of(found):
    return dict(zip(found.cells["point"], shapely.get_z(found.geometry).tolist(), strict=True))


def test_a_book_without_noise_gives_the_true_heights(tmp_path):
    """Every point with a place comes out at its height; turning points are no items."""
    rows, truth = book(noise=0.0)
    found, problems = read(tmp_path, rows)
    assert problems == []
    assert heights_of(found) == pytest.approx(truth, abs=3e-4)
    assert found.adjustment["runs"][0]["page_check_m"] == pytest.approx(0.0, abs=1e-9)


def test_clean_books_are_not_accused_and_errors_are_as_stated(tmp_path):
    """Of 200 clean books at most 2 % get a suspicion; errors over sds have an rms near 1."""
    accused, ratio = 0, []
    for seed in range(200):
        rows, truth = book(seed)
        found, problems = read(tmp_path, rows)
        accused += bool(problems)
        error = np.array(list(heights_of(found).values())) - list(truth.values())
        shared = found.adjustment["errors"][0]["sd"]
        ratio.append(error / np.hypot(SD_M, shared))
    assert accused <= 4
    assert 0.9 < np.sqrt(np.mean(np.square(ratio))) < 1.1


@pytest.mark.parametrize(("slip", "word"), [(1.0, "near 1 m"), (0.1, "near 0.1 m"), (0.27, "")])
def test_a_misread_figure_shows_in_the_misclosure(tmp_path, slip, word):
    """A back-sight misread by a metre or a decimetre is named at the closing row, with its size."""
    rows, _ = book(1)
    rows[8]["back_sight_m"] = f"{float(rows[8]['back_sight_m']) + slip:.4f}"
    found, problems = read(tmp_path, rows)
    fault = only(problems, "levelling_misclosure")
    assert fault.row == len(rows) + 1
    assert word in fault.found
    misclosure = found.adjustment["runs"][0]["misclosure_m"]
    assert misclosure == pytest.approx(slip, abs=0.06)


def test_the_limit_goes_with_the_length_where_it_is_given(tmp_path):
    """Sight lengths that sum up to 9 km allow 36 mm, where five setups alone allow less."""
    rows, _ = book(noise=0.0)
    for row in rows:
        row["distance_m"] = f"{9000 / len(rows):.3f}"
    found, _ = read(tmp_path, rows)
    assert found.adjustment["runs"][0]["allowed_m"] == pytest.approx(0.036, abs=1e-4)


def test_a_book_with_wrong_sums_is_named(tmp_path):
    """The book's own heights are held against its readings; the row where they part is named."""
    rows, _ = book(noise=0.0)
    _, turning = (
        rows[0],
        reduce_run(
            2.0,
            *(
                np.array([float(row.get(name) or "nan") for row in rows])
                for name in ("back_sight_m", "intermediate_sight_m", "fore_sight_m")
            ),
        ),
    )
    for k, row in enumerate(rows):
        row["reduced_level_m"] = f"{turning.height[k] + (0.1 if k >= 6 else 0):.3f}"
    assert only(read(tmp_path, rows)[1], "book_sum_slip").row == 8


def test_a_mark_on_the_way_is_a_check(tmp_path):
    """An intermediate sight to a mark 0.2 m from its height is named; it is placed by it."""
    rows, truth = book(2)
    rows[2] = {"point": "BM3", "intermediate_sight_m": rows[2]["intermediate_sight_m"]}
    held = CONTROL[2].model_copy(update={"height": truth["01"] + 0.2})
    found, problems = read(tmp_path, rows, (*CONTROL[:2], held))
    assert only(problems, "check_sight_off").row == 4
    assert found.geometry[1].x == 324_440


def test_an_open_run_is_doubted(tmp_path):
    """A run that ends on a point without a height has no check."""
    rows, _ = book(2)
    rows[-1]["point"] = "T9"
    assert only(read(tmp_path, rows)[1], "levelling_open").row == len(rows) + 1


def test_a_second_run_may_start_from_a_turning_point(tmp_path):
    """Points levelled in one run are known to the next."""
    rows, _ = book(noise=0.0)
    first = float(rows[4]["fore_sight_m"])
    more = [
        {"point": "T0", "back_sight_m": f"{first:.4f}"},
        {"point": "BM1", "fore_sight_m": rows[0]["back_sight_m"]},
    ]
    found, problems = read(tmp_path, rows + more)
    assert problems == []
    assert found.adjustment["runs"][1]["misclosure_m"] == pytest.approx(0.0, abs=2e-4)


def put(k, **cells):
    def slip(rows):
        rows[k].update(cells)

    return slip


def millimetres(rows):
    for row in rows:
        for name in ("back_sight_m", "intermediate_sight_m", "fore_sight_m"):
            if row.get(name):
                row[name] = f"{1000 * float(row[name]):.0f}"


@pytest.mark.parametrize(
    ("slip", "kind", "row"),
    [
        (put(0, point="X1"), "unknown_mark", 2),
        (put(0, point="BM4"), "mark_without_height", 2),
        (put(0, back_sight_m=""), "sight_missing", 2),
        (put(2, intermediate_sight_m=""), "sight_missing", 4),
        (put(2, fore_sight_m="1.2"), "sights_mixed", 4),
        (put(2, intermediate_sight_m="12.34"), "staff_reading", 4),
        (put(4, back_sight_m=""), "sight_missing", 7),
        (put(2, easting=""), "half_place", 4),
        (millimetres, "staff_in_millimetres", 2),
    ],
)
def test_faults_are_named_with_their_row(tmp_path, slip, kind, row):
    """Each slip that leaves nothing to reduce stops the survey, by one message with its row."""
    rows, _ = book(3)
    slip(rows)
    found, problems = read(tmp_path, rows)
    assert found is None
    fault = only(problems, kind)
    assert (fault.severity, fault.row) == ("fault", row)


def test_a_point_without_a_place_is_left_out(tmp_path):
    """An intermediate sight without easting, northing or a mark's name is named and left out."""
    rows, truth = book(3)
    rows[2].update(easting="", northing="")
    found, problems = read(tmp_path, rows)
    assert only(problems, "place_missing").severity == "suspicion"
    assert len(found.rows) == len(truth) - 1


def test_misclosure_and_variance_vanish_at_known_ends():
    """Distributed heights meet the closing mark; shared variance is largest half-way."""
    back, fore = np.array([1.0, 1.0, 1.0, 1.0, np.nan]), np.array([np.nan, 1.0, 1.0, 1.0, 1.02])
    run = reduce_run(0.0, back, np.full(5, np.nan), fore)
    np.testing.assert_allclose(distributed(run, -0.02), [0, 0.005, 0.01, 0.015, 0], atol=1e-12)
    variance = common_variance(run, 0.002, (0.0, 0.0))
    np.testing.assert_allclose(variance, 4e-6 * np.array([0, 0.75, 1, 0.75, 0]))
