"""How likely a sea level stands above a floor: floors and thresholds alone, shared errors out."""

import numpy as np
import pytest
import shapely
from drawn import box, items, plan_of, site
from scipy.stats import binomtest, norm

from wrackline.contract import table_columns
from wrackline.model import Site
from wrackline.rooms.flooding import NO_FLOOR, flooding_table, flooding_words, probability_above
from wrackline.uncertainty import Budget, ErrorModel, NamedError

MODEL = ErrorModel("2031-items", 0.05, 0.04)
ODDS = 0.001


def place(*, gauge_sd=0.3, levels=None):
    """Return the drawn site with a low and a high level, the high one resting on a gauge."""
    levels = levels or [
        {"name": "low", "height_m": 0.10, "sd_m": 0.03},
        {"name": "high", "height_m": 0.50, "sd_m": 0.03, "error_sources": ["gauge"]},
    ]
    sources = {"gauge": {"kind": "shift", "height_sd_m": gauge_sd}}
    base = site().model_dump() | {"sea_levels": levels, "error_sources": sources}
    return Site.model_validate(base | {"depths_below": levels[0]["name"]})


def floor(height, *, at=(2.0, 2.0), evidence="excavated"):
    """Return a point at which a floor was met, by default inside the western room."""
    return {"evidence": evidence, "line": "F1", "geometry": shapely.Point(*at, height)}


def sill(height, *, at=(4.0, 1.0), origin="built"):
    """Return a threshold of one point."""
    return {"kind": "threshold", "origin": origin, "geometry": shapely.Point(*at, height)}


def rows(floors=(), features=(), *, where=None, model=MODEL, lines=None):
    """Return the table of a house of two rooms with floors and features, as dicts."""
    where = where or place()
    lines = lines or [*box(0, 0, 4, 4, 1.0), *box(4, 0, 8, 4, 1.0)[:3]]
    plan = plan_of(lines, features=features, floors=floors, where=where)
    table = flooding_table(plan, items(floors), [model], where)
    assert list(table.columns) == list(table_columns("flooding"))
    return table.astype(object).where(table.notna(), None).to_dict("records")


def test_a_floor_at_the_levels_height_is_as_likely_below_as_above():
    """Two things at one height: one half, whatever their sd."""
    found = rows([floor(0.10)])
    assert [row["probability"] for row in found if row["sea_level"] == "low"] == [0.5, 0.5]


@pytest.mark.parametrize("height", [-0.1, 0.05, 0.12, 0.3])
def test_the_probability_is_the_normal_one_of_the_difference(height):
    """P(level > floor) = Φ((L - F) / hypot(sd L, sd F)), by scipy's normal distribution."""
    first = rows([floor(height)])[0]
    sd = np.hypot(0.03, 0.04)
    assert first["level_above_floor_sd_m"] == pytest.approx(sd)
    assert first["probability"] == pytest.approx(norm.cdf(0.10 - height, scale=sd))
    assert (first["floor_height_m"], first["sea_level_m"]) == (pytest.approx(height), 0.10)


def test_an_error_that_level_and_floor_share_cancels():
    """A gauge off by 0.3 m moves both: a floor 0.2 m below the level is then surely below it."""
    gauge = (NamedError("gauge:height", "height", 0.3),)
    shared = rows([floor(0.3)], model=ErrorModel("2031-items", 0.05, 0.04, named=gauge))
    apart = rows([floor(0.3)])
    high = [next(r for r in one if r["sea_level"] == "high") for one in (shared, apart)]
    assert high[0]["level_above_floor_sd_m"] == pytest.approx(0.05)
    assert high[0]["probability"] == pytest.approx(norm.cdf(4.0))
    assert high[1]["probability"] == pytest.approx(norm.cdf(0.2 / np.sqrt(0.05**2 + 0.3**2)))


def test_a_building_is_flooded_by_its_lowest_floor_or_threshold():
    """Of two floors and a sill, the building's row is about the lowest; rooms keep their own."""
    found = rows([floor(0.3), floor(0.2, at=(6.0, 2.0))], [sill(0.15)])
    low = [row for row in found if row["sea_level"] == "low"]
    whole, *rooms = low
    assert whole["room"] is None
    assert whole["rests_on"].startswith("threshold ")
    assert whole["floors_measured"] == 3
    assert sorted(row["floor_height_m"] for row in rooms) == pytest.approx([0.2, 0.3])
    assert whole["probability"] >= max(row["probability"] for row in rooms)
    assert all(row["rests_on"].startswith(f"floor of {row['room']}") for row in rooms)


def test_points_of_one_floor_are_averaged():
    """A floor met at four points, each 0.04 m at random, is known to 0.02 m."""
    four = [floor(0.1 + h, at=(x, 2.0)) for x, h in ((1, 0), (1.5, 0.02), (2, -0.02), (2.5, 0))]
    first = rows(four)[0]
    assert first["floor_height_m"] == pytest.approx(0.1)
    assert first["floor_height_sd_m"] == pytest.approx(0.02)


def test_a_building_without_a_measured_floor_has_no_probability_and_says_why():
    """Neither wall tops nor the seabed stand for a floor: null with its reason."""
    found = rows()
    assert len(found) == 2
    for row in found:
        assert row["null_because"] == NO_FLOOR
        assert row["probability"] is row["floor_height_m"] is row["rests_on"] is None
        assert row["floors_measured"] == 0


@pytest.mark.parametrize("origin", ["natural", "modern", "doubtful"])
def test_what_nobody_built_is_no_threshold(origin):
    """A natural step, a modern sill or a doubtful one says nothing of a building's floor."""
    assert rows(features=[sill(0.1, origin=origin)])[0]["null_because"] == NO_FLOOR


def test_other_features_and_sills_without_a_height_count_for_nothing():
    """A hearth is no floor, and a threshold without heights has none to give."""
    hearth = {**sill(0.1), "kind": "hearth"}
    flat = {**sill(0.1), "geometry": shapely.Point(4.0, 1.0, np.nan)}
    assert rows(features=[hearth, flat])[0]["null_because"] == NO_FLOOR


def test_the_order_of_floors_is_of_no_matter():
    """The same floors in another order give the same rows."""
    two = [floor(0.3), floor(0.2, at=(6.0, 2.0))]
    assert rows(two) == rows(two[::-1])


@pytest.mark.parametrize(("above", "expected"), [(0.1, 1.0), (-0.1, 0.0), (0.0, 0.5)])
def test_figures_without_an_error_are_plainly_above_or_below(above, expected):
    """With no uncertainty at all it is one, none, or a half."""
    assert probability_above(above, 0.0) == expected


def test_probabilities_come_true_as_often_as_they_say():
    """Of simulated levels and floors with a shared error, those given p are flooded p of the time.

    True differences are spread evenly, so that what was measured is all that is known (fixed seed,
    binomial test in ten classes).
    """
    random = np.random.default_rng(20310612)
    n, shared, level_sd, floor_sd = 20_000, 0.2, 0.03, 0.05
    true = random.uniform(-0.6, 0.6, n)
    both = random.normal(0, shared, n)
    level = true + both + random.normal(0, level_sd, n)
    bottom = both + random.normal(0, floor_sd, n)
    tide = Budget(named={"level": level_sd, "gauge": shared})
    sd = tide.minus(Budget(random=floor_sd, named={"gauge": shared})).sd
    said = np.array([probability_above(above, sd) for above in level - bottom])
    for low in np.arange(0.0, 1.0, 0.1):
        mine = (said >= low) & (said < low + 0.1) & (np.abs(level - bottom) < 0.4)
        told = binomtest(int((true[mine] > 0).sum()), int(mine.sum()), said[mine].mean())
        assert told.pvalue > ODDS


def test_words_count_what_is_sure_and_claim_no_cause():
    """A sentence a level, with counts; still water, and nothing on why a floor lies below it."""
    words = " ".join(flooding_words(rows([floor(-1.0)])))
    assert "low: of the 1 building in which" in words
    assert "below the sea in 1 and above it in 0" in words
    assert "without waves and surge" in words
    assert "says nothing of why" in words
    assert flooding_words(rows()) == [
        "No floor and no threshold was measured: whether the sea covers any isn't known."
    ]
