"""Soundings as a whole: each blunder planted by hand, and honest seabeds left alone."""

import datetime as dt

import numpy as np
import pytest

from wrackline.intake.bed_checks import BedChecks
from wrackline.intake.readings import Reading
from wrackline.model import Survey, Vertical
from wrackline.verdict import Problems, Source

COUNT = 600
RNG = np.random.default_rng(11)


def source(meaning="depth_below_datum", unit="metre"):
    survey = Survey(
        name="echo",
        technique="echo sounder",
        holds="bed_points",
        file="echo.csv",
        crs="EPSG:32625",
        from_date=dt.date(2031, 6, 9),
        to_date=dt.date(2031, 6, 9),
        vertical=Vertical(meaning=meaning, unit=unit),
        random_horizontal_sd_m=0.1,
        random_vertical_sd_m=0.05,
    )
    return Source("2031-echo", survey)


def track(noise=0.05, step=0.01):
    """Return x, y, v, time of a boat's way over a sloping seabed, shown in steps of depth."""
    k = np.arange(COUNT)
    depth = 3 + 1.5 * np.sin(k / 60) + RNG.normal(0, noise, COUNT)
    shown = np.round(np.round(depth / step) * step, 6)
    return 324_400 + 0.5 * (k % 200), 4_207_600 + 4.0 * (k // 200), shown, 1.0 * k


def check(x, y, v, time, *, given=None, chunk=COUNT, single=True):
    """Return the findings and the bounds without far points."""
    checks = BedChecks(given or source(), metre=1.0, in_order=single, single=single)
    row = np.arange(2, len(x) + 2)
    for start in range(0, len(x), chunk):
        part = slice(start, start + chunk)
        checks.take(Reading(x[part], y[part], v[part], row[part], chunk, time[part]))
    problems = Problems()
    bounds = checks.close(problems)
    return problems.listed(), bounds


def kinds(findings):
    return [(f.kind, f.severity, f.row) for f in findings]


@pytest.mark.parametrize("step", [0.01, 0.1, 0.3, 1.0])
@pytest.mark.parametrize("noise", [0.0, 0.02, 0.15])
def test_an_honest_seabed_is_not_accused(step, noise):
    """Fine or coarse displays, calm or noisy sounders over a slope give no finding."""
    assert check(*track(noise, step)) == ([], None)


def test_a_flat_seabed_on_a_coarse_display_is_honest():
    """A calm sounder over mud shows one depth for minutes, and its neighbours too hardly move."""
    x, y, v, time = track(noise=0.0, step=0.1)
    v[200:400] = 3.2
    assert check(x, y, v, time) == ([], None)


def test_zeros_among_depths_of_metres_are_missing_ones():
    """Five exact zeros far from all other depths are a fault with the first one's row and place."""
    x, y, v, time = track()
    v[[40, 90, 91, 200, 333]] = 0.0
    ((fault,), _) = check(x, y, v, time, chunk=77)
    assert kinds([fault]) == [("zero_height", "fault", 42)]
    assert fault.place == (x[40], y[40])
    assert "5 rows" in fault.found


@pytest.mark.parametrize("count", [1, 3])
def test_a_few_true_zeros_are_honest(count):
    """Up to three exact zeros say nothing."""
    x, y, v, time = track()
    v[:count] = 0.0
    assert check(x, y, v, time)[0] == []


def test_zeros_of_a_shore_that_passes_through_zero_are_honest():
    """On a beach shown in centimetres exact zeros have neighbours near zero."""
    x, y, _, time = track()
    v = np.round(np.linspace(-2, 3, COUNT), 2)
    v[100:110] = 0.0
    assert check(x, y, v, time)[0] == []


@pytest.mark.parametrize("value", [-9999.0, 9999.0, -32768.0, 99999.0, -999.0])
def test_marks_of_missing_values_are_named_with_their_key(value):
    """A sentinel far from all depths is one fault that names columns.no_value."""
    x, y, v, time = track()
    v[[5, 6]] = value
    ((fault,), _) = check(x, y, v, time)
    assert kinds([fault]) == [("sentinel_height", "fault", 7)]
    assert "columns.no_value" in fault.remedy


def test_999_millimetres_are_a_depth_among_others():
    """A number from the list of sentinels is honest where the others are of its size."""
    x, y, v, time = track()
    v = np.round(v * 1000)
    v[5] = 999.0
    given = source(unit="millimetre")
    assert check(x, y, v, time, given=given)[0] == []


def test_depths_that_are_negative_have_the_wrong_sign():
    """More than nine tenths of depths below zero is a suspicion; as heights they are right."""
    x, y, v, time = track()
    assert [f.kind for f in check(x, y, -v, time)[0]] == ["wrong_sign"]
    assert check(x, y, -v, time, given=source("height"))[0] == []


def test_depths_of_thousands_are_in_another_unit():
    """3000 as metres of depth is doubted, as millimetres not."""
    x, y, v, time = track()
    assert [f.kind for f in check(x, y, 1000 * v, time)[0]] == ["depth_scale"]
    assert check(x, y, 1000 * v, time, given=source(unit="millimetre"))[0] == []


@pytest.mark.parametrize("chunk", [50, COUNT])
def test_single_points_far_off_are_named_and_left_out_of_the_bounds(chunk):
    """Two points kilometres away, one on either side, are faults; the rest keeps its bounds."""
    x, y, v, time = track()
    x[17] += 12_000
    y[400] -= 3_000
    findings, bounds = check(x, y, v, time, chunk=chunk)
    assert kinds(findings) == [("far_point", "fault", 19), ("far_point", "fault", 402)]
    assert findings[0].place == (x[17], y[17])
    others = np.delete(np.arange(COUNT), [17, 400])
    expected = [x[others].min(), y[others].min(), x[others].max(), y[others].max()]
    assert bounds == expected


def test_a_second_part_of_the_survey_is_not_far_off():
    """A hundred points at another cove are a part of the survey, not strays."""
    x, y, v, time = track()
    x[500:] += 12_000
    assert check(x, y, v, time) == ([], None)


def test_the_chunks_change_nothing():
    """The same findings come out of chunks of 37 rows."""
    x, y, v, time = track()
    v[300:400], x[17], v[7] = 3.3, 0.0, -9999.0
    assert kinds(check(x, y, v, time, chunk=37)[0]) == kinds(check(x, y, v, time)[0])


def test_rows_equal_to_the_one_before_are_counted():
    """Ten repeats in six hundred rows are shown, four not; an anchored boat's times differ."""
    x, y, v, time = track()
    again = np.sort(np.concatenate([np.arange(COUNT), np.arange(100, 110)]))
    findings, _ = check(x[again], y[again], v[again], time[again])
    assert kinds(findings) == [("repeated_rows", "suspicion", 103)]
    assert findings[0].found.startswith("10 rows")
    few = np.sort(np.concatenate([np.arange(COUNT), np.arange(100, 104)]))
    assert check(x[few], y[few], v[few], time[few])[0] == []
    x[:], y[:] = x[0], y[0]
    assert check(x, y, v, time)[0] == []


def test_a_block_that_stands_twice_is_named_by_its_rows():
    """Rows 102 to 151 copied to the end are found across chunks."""
    x, y, v, time = track()
    twice = np.concatenate([np.arange(COUNT), np.arange(100, 150)])
    findings, _ = check(x[twice], y[twice], v[twice], time[twice], chunk=110)
    assert kinds(findings) == [("repeated_rows", "suspicion", 602)]
    assert "rows 102 to 151 once more as rows 602 to 651" in findings[0].found


def test_a_block_is_found_in_a_sample_of_many_rows(monkeypatch):
    """With room for 500 rows a block of 4000 among 20 000 is still found."""
    monkeypatch.setattr("wrackline.intake.bed_checks.CAP", 500)
    count = 20_000
    x, y = 324_400 + RNG.uniform(0, 90, count), 4_207_600 + RNG.uniform(0, 90, count)
    v, time = RNG.normal(4, 0.3, count), np.arange(count) * 1.0
    twice = np.concatenate([np.arange(count), np.arange(5000, 9000)])
    findings, _ = check(x[twice], y[twice], v[twice], time[twice], chunk=3000)
    assert [f.kind for f in findings] == ["repeated_rows"]
    assert check(x, y, v, time, chunk=3000)[0] == []


@pytest.mark.parametrize("chunk", [COUNT, 330, 61])
def test_a_sounder_that_hung_is_named_where_it_began(chunk):
    """Eighty equal depths under way, between unsteady ones, are one suspicion with its place."""
    x, y, v, time = track()
    v[300:380] = v[300]
    v[299], v[380] = v[300] + 0.02, v[300] - 0.03
    findings, _ = check(x, y, v, time, chunk=chunk)
    assert kinds(findings) == [("stuck_value", "suspicion", 302)]
    assert findings[0].place == (x[300], y[300])


def test_an_anchored_boat_is_no_stuck_sounder():
    """One depth at one place is as it should be."""
    x, y, v, time = track()
    v[300:380], x[300:380], y[300:380] = v[300], x[300], y[300]
    assert check(x, y, v, time)[0] == []


def test_cells_of_a_grid_may_repeat():
    """Flat cells in rows are no stuck sounder and no repeats; their zeros are looked at."""
    x, y, v, time = track()
    v[:] = 3.5
    assert check(x, y, v, time, single=False)[0] == []
    v[:50] = 0.0
    assert [f.kind for f in check(x, y, v, time, single=False)[0]] == ["zero_height"]
