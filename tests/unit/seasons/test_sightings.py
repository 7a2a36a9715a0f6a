"""Not seen is not gone: what a season may say of a wall, by heights, by tracing, by plants.

No published rule tells a lost wall from a buried one; the cases are worked out by hand from the
ground that each test makes (common practice, no source).
"""

import numpy as np
import pytest
import shapely
from drawn import CRS
from sighted import (
    BED,
    PHOTO,
    POLE,
    THICK,
    TOP,
    WALL,
    faces,
    ground_height,
    metres,
    plan,
    season,
    seen,
    surface,
    traits,
)

from wrackline import contract, vectors
from wrackline.rasters import Band, RasterReader, write_raster
from wrackline.seasons.bits import cut_walls
from wrackline.seasons.judging import joint_sd
from wrackline.seasons.sightings import recorder
from wrackline.seasons.standing import covered_share, read_standing, straight_walls
from wrackline.uncertainty import ErrorModel, NamedError

LOW, HIGH = WALL[0] - 1, WALL[2] + 1
AROUND = shapely.box(LOW, -2, HIGH, 3)
LINES = [shapely.LineString([(2, 0), (14, 0)]), shapely.LineString([(2, THICK), (14, THICK)])]


def photo(tmp_path, name="photo", **more):
    """Return a surface of the ground, walls on it unless told otherwise."""
    ground = {key: more.pop(key) for key in ("walls", "top", "bed") if key in more}
    return surface(tmp_path / f"{name}.tif", ground_height(**ground), **more)


def again(**keys):
    """Return a survey that traces walls, with all that makes its silence count but what is told."""
    return {"2033-again": traits("wall_lines", **{"visibility_m": 5.0, **keys})}


def stated(plants=0.0, ground=AROUND):
    """Return where that survey says that it looked, and its plants where it says so."""
    rows = [("2033-again", "ground", ground, True, None)]
    return rows + ([] if plants is None else [("2033-again", "plants", ground, True, plants)])


def test_a_wall_that_stands_is_seen_with_its_height(tmp_path):
    """A wall 0.6 m above its bed is seen over its whole length, 0.6 m within 3 sd of it."""
    table = seen(plan(), season(photo(tmp_path)))
    assert metres(table) == {"seen": 24.0}
    off = (table["exposure_m"] - (TOP - BED)) / table["exposure_sd_m"]
    assert (np.abs(off) < 3).all()
    assert (table["exposure_sd_m"] < 0.1).all()
    assert table["surveys"].unique().tolist() == ["2033-photo"]
    assert "above the bed beside it in 2033-photo" in table["evidence"].iloc[0]


def test_sightings_keep_their_contract(tmp_path):
    """Rows have the declared fields; a missing figure has its reason."""
    table = seen(plan(), season(photo(tmp_path)))
    conformed = vectors.conform(table, contract.columns("sightings"))
    assert conformed["cover_m"].isna().all()
    assert conformed["null_because"].str.contains("cover_m: not buried").all()


def test_a_wall_under_sand_is_buried_with_its_cover(tmp_path):
    """Sand 0.25 m over the recorded top buries the wall; its cover is within 3 sd of that."""
    table = seen(plan(), season(photo(tmp_path, bed=TOP + 0.25)))
    assert metres(table) == {"buried": 24.0}
    assert (np.abs(table["cover_m"] - 0.25) < 3 * table["cover_sd_m"]).all()
    assert table["evidence"].str.contains("above the wall's recorded top").all()


def test_a_wall_level_with_the_sand_is_neither_buried_nor_lost(tmp_path):
    """Where top and bed lie within their sd of each other nothing is said."""
    table = seen(plan(), season(photo(tmp_path, bed=TOP)))
    assert metres(table) == {"could not be seen": 24.0}


def test_a_wall_that_is_gone_is_lost_as_a_suggestion(tmp_path):
    """Bare bed where 0.6 m should stand proud: lost, with what would stand and what is shown."""
    table = seen(plan(), season(photo(tmp_path, walls=())))
    assert metres(table) == {"lost": 24.0}
    assert (np.abs(table["loss_m"] - 0.6) < 3 * table["loss_sd_m"]).all()
    assert table["evidence"].str.endswith("suggested: lost").all()


def test_a_wall_that_lost_stones_is_seen_with_its_loss(tmp_path):
    """Half of its height is left: it is seen, 0.3 m short of what was recorded."""
    table = seen(plan(), season(photo(tmp_path, top=TOP - 0.3)))
    assert metres(table) == {"seen": 24.0}
    assert (np.abs(table["loss_m"] - 0.3) < 3 * table["loss_sd_m"]).all()


def test_a_wall_is_cut_where_it_is_gone(tmp_path):
    """Gone from 8 m on: the stretches change there within a metre, on both faces."""
    table = seen(plan(), season(photo(tmp_path, walls=[(2.0, 0.0, 8.0)])))
    for _, wall in table.groupby("wall"):
        lost = wall[wall["status"] == "lost"].total_bounds
        stands = wall[wall["status"] == "seen"].total_bounds
        assert 8 <= lost[0] < 9
        assert lost[2] == pytest.approx(14)
        assert 7 < stands[2] <= 8.5


def test_beyond_the_ground_a_wall_was_not_looked_for(tmp_path):
    """A surface over half of the wall says nothing of the other half."""
    table = seen(plan(), season(photo(tmp_path, bounds=(-1.0, -4.0, 8.0, 5.0))))
    found = metres(table)
    assert found["seen"] == pytest.approx(12, abs=1)
    assert found["not looked for"] == pytest.approx(12, abs=1)
    away = table.loc[table["status"] == "not looked for", "evidence"]
    assert away.unique().tolist() == ["no survey of the season looked for it there"]


@pytest.mark.parametrize(("walls", "status"), [((WALL,), "seen"), ((), "lost")])
def test_a_steep_bed_is_no_wall(tmp_path, walls, status):
    """On a bed that rises by 0.25 m per metre across and 0.1 along, both are told apart."""

    def slope(xy):
        return BED + 0.25 * (xy[:, 1] - THICK / 2) + 0.1 * (xy[:, 0] - 8)

    top = 0.6 + slope(np.array([[2.0, 0.3], [14.0, 0.3]]))
    lines = faces()
    ends = [shapely.LineString([(2, y, top[0]), (14, y, top[1])]) for y in (0.0, THICK)]
    what = plan()
    object.__setattr__(what, "walls", lines.set_geometry(ends, crs=CRS))

    def height(xy):
        level = slope(xy)
        for west, south, east in walls:
            on = (xy[:, 0] >= west) & (xy[:, 0] <= east)
            on &= (xy[:, 1] >= south) & (xy[:, 1] <= south + THICK)
            level[on] += 0.6
        return level

    table = seen(what, season(surface(tmp_path / "steep.tif", height)))
    assert metres(table) == {status: 24.0}


@pytest.mark.parametrize("level", [4.4, 5.5, 20.0])
def test_a_wall_awash_or_ashore_is_told_alike(tmp_path, level):
    """Heights above the sea are heights like all others."""
    what = plan(top=TOP + level)
    here = photo(tmp_path, top=TOP + level, bed=BED + level)
    gone = photo(tmp_path, "gone", walls=(), bed=BED + level)
    assert metres(seen(what, season(here))) == {"seen": 24.0}
    assert metres(seen(what, season(gone))) == {"lost": 24.0}


def test_a_wall_without_height_is_never_buried_or_lost_by_heights(tmp_path):
    """It is seen where it stands proud; where nothing does, loss and burial can't be told apart."""
    what = plan(top=np.nan)
    assert metres(seen(what, season(photo(tmp_path)))) == {"seen": 24.0}
    table = seen(what, season(photo(tmp_path, "gone", walls=())))
    assert metres(table) == {"could not be seen": 24.0}
    assert table["evidence"].str.contains("no height of the wall's top was recorded").all()


def test_a_wall_traced_at_its_base_has_no_recorded_top(tmp_path):
    """The height of a base is no top: it says nothing of loss."""
    table = seen(plan(traced_at="base"), season(photo(tmp_path, walls=())))
    assert metres(table) == {"could not be seen": 24.0}


def test_a_wall_of_one_course_is_beneath_a_coarse_survey(tmp_path):
    """A survey that shows nothing under 0.5 m neither sees nor misses a wall 0.3 m high."""
    what, coarse = plan(top=BED + 0.3), {"resolution_m": 0.5}
    for walls in ((WALL,), ()):
        raster = photo(tmp_path, f"coarse{len(walls)}", walls=walls, top=BED + 0.3)
        table = seen(what, season(raster, photo_keys=coarse))
        assert metres(table) == {"could not be seen": 24.0}
        assert table["evidence"].str.contains("shows nothing smaller than 0.5 m").all()


def test_a_wall_narrower_than_the_least_thing_shown_is_not_missed(tmp_path):
    """Its height alone doesn't show a wall of 0.6 m to a sonar of one metre."""
    raster = photo(tmp_path, walls=(), bed=BED - 2)
    table = seen(plan(), season(raster, photo_keys={"resolution_m": 1.0}))
    assert metres(table) == {"could not be seen": 24.0}


def test_without_a_stated_resolution_a_surface_says_nothing_but_burial(tmp_path):
    """Sand over the recorded top buries a wall whatever the survey resolves."""
    unstated = {"resolution_m": None}
    table = seen(plan(), season(photo(tmp_path), photo_keys=unstated))
    assert metres(table) == {"could not be seen": 24.0}
    assert table["evidence"].str.contains("doesn't state the least thing").all()
    sand = photo(tmp_path, "sand", bed=TOP + 0.25)
    assert metres(seen(plan(), season(sand, photo_keys=unstated))) == {"buried": 24.0}


def test_soundings_that_were_set_aside_speak_for_a_wall(tmp_path):
    """Where points over a wall were taken for blunders, the surface doesn't say that it's gone."""
    path = photo(tmp_path, walls=())
    with RasterReader(path) as reader:
        grid, bands = reader.grid, reader.read(reader.grid)
    bands["rejected"][:] = 1.0
    write_raster(
        path, [Band(n, "", v) for n, v in bands.items()], grid=grid, crs=CRS, vertical_datum="x"
    )
    table = seen(plan(), season(path))
    assert metres(table) == {"could not be seen": 24.0}
    assert table["evidence"].str.contains("soundings over it were set aside").all()


def test_plants_hide_a_wall_and_lose_none(tmp_path):
    """Under plants that a survey states a wall is overgrown, where it doesn't show through."""
    plants = [
        ("2033-photo", "ground", AROUND, False, None),
        ("2033-photo", "plants", shapely.box(LOW, -2, 8, 3), True, 0.8),
    ]
    table = seen(plan(), season(photo(tmp_path, walls=()), grounds=plants))
    assert metres(table) == {"lost": 12.0, "overgrown": 12.0}
    assert table["evidence"].str.contains("plants over 80 % of the ground").any()
    here = seen(plan(), season(photo(tmp_path, "here"), grounds=plants))
    assert metres(here) == {"seen": 24.0}


def test_a_wall_that_was_traced_anew_is_seen_whatever_else_is_said(tmp_path):
    """A line of the season along one face shows the wall, and so its other face."""
    buried = photo(tmp_path, bed=TOP + 0.25)
    table = seen(plan(), season(buried, traced=[LINES[0]], surveys=again()))
    assert metres(table) == {"seen": 24.0}
    assert table["evidence"].str.startswith("traced: 2033-again/A0").all()


def test_a_line_across_a_wall_is_no_tracing_of_it():
    """Only what runs along a wall shows it."""
    across = shapely.LineString([(8, -3), (8, 4)])
    table = seen(plan(), season(traced=[across], surveys=again()))
    assert metres(table) == {"not looked for": 24.0}


def test_silence_counts_where_a_survey_states_ground_visibility_and_plants(tmp_path):
    """A bare bed below the top, clear water, no plants, and nothing traced: lost."""
    flat = photo(tmp_path, walls=())
    coarse = {"resolution_m": 2.0}  # knows the bed, shows no wall
    table = seen(plan(), season(flat, grounds=stated(), surveys=again(), photo_keys=coarse))
    assert metres(table) == {"lost": 24.0}
    assert table["evidence"].str.contains("2033-again looked there and didn't trace it").all()


@pytest.mark.parametrize(
    ("plants", "keys", "why"),
    [
        (0.0, {"visibility_m": None}, "states no visibility"),
        (0.0, {"visibility_m": 0.5}, "states no visibility"),
        (None, {}, "doesn't state its plants"),
        (0.3, {}, "plants grow there"),
        (0.0, {"resolution_m": None}, "doesn't state the least thing"),
        (0.0, {"resolution_m": 0.8}, "shows nothing smaller"),
    ],
)
def test_silence_is_no_loss_without_one_of_them(tmp_path, plants, keys, why):
    """Murky water, plants, or a word that is missing: it could not be seen."""
    flat, coarse = photo(tmp_path, walls=()), {"resolution_m": 2.0}
    parts = season(flat, grounds=stated(plants), surveys=again(**keys), photo_keys=coarse)
    table = seen(plan(), parts)
    assert metres(table) == {"could not be seen": 24.0}
    assert table["evidence"].str.contains(why).all()


def test_silence_without_the_seasons_bed_tells_no_loss_from_burial():
    """Nobody measured the bed that season: the wall may lie under sand."""
    table = seen(plan(), season(grounds=stated(), surveys=again()))
    assert metres(table) == {"could not be seen": 24.0}
    assert table["evidence"].str.contains("loss can't be told from burial").all()


def test_silence_in_ground_that_was_only_recorded_means_nothing():
    """The corridor along what a survey recorded isn't where it looked."""
    rows = [("2033-again", "ground", AROUND, False, None)]
    table = seen(plan(), season(grounds=rows, surveys=again()))
    assert metres(table) == {"not looked for": 24.0}


def test_an_old_plans_silence_means_nothing():
    """Who drew an old plan looked for what its paper is about."""
    parts = season(grounds=stated(), surveys=again(old_plan=True))
    assert metres(seen(plan(), parts)) == {"not looked for": 24.0}


def test_ground_without_a_sounding_on_the_wall_was_looked_at(tmp_path):
    """Within a survey's ground, but with no cell over the wall: it could not be seen."""
    rows = [("2033-photo", "ground", AROUND, False, None)]
    half = photo(tmp_path, bounds=(-1.0, -4.0, 8.0, 5.0))
    found = metres(seen(plan(), season(half, grounds=rows)))
    assert found["could not be seen"] == pytest.approx(12, abs=1)
    assert "not looked for" not in found


def test_a_scrap_is_not_lost(tmp_path):
    """Half a metre without a wall between stretches that stand is no loss."""
    gap = [(2.0, 0.0, 7.75), (8.25, 0.0, 14.0)]
    table = seen(plan(), season(photo(tmp_path, walls=gap)))
    assert "lost" not in metres(table)


def test_an_empty_season_looked_for_nothing():
    """With no survey of walls or bed every wall was not looked for."""
    assert metres(seen(plan(), season())) == {"not looked for": 24.0}


def test_a_plan_without_walls_has_no_sightings(tmp_path):
    """No rows, with the declared fields."""
    none = plan(walls=())
    table = seen(none, season(photo(tmp_path)))
    assert len(table) == 0
    vectors.conform(table, contract.columns("sightings"))


def test_a_cause_common_to_wall_and_bed_cancels():
    """Both hang on one benchmark: its height says nothing of the wall above its bed.

    JCGM 100:2008, 5.2.2: with full correlation the effects subtract.
    """
    mark = (NamedError("benchmark:height", "height", 0.10),)
    wall, other = (ErrorModel(name, 0, 0.03, named=mark) for name in ("a", "b"))
    xyz, first = np.zeros((2, 3)), np.zeros(2, dtype=int)
    total, common = joint_sd([wall], first, other, xyz)
    np.testing.assert_allclose(total, 0.03)
    np.testing.assert_allclose(common, 0.0, atol=1e-12)
    total, _ = joint_sd([wall], first, PHOTO, xyz)
    np.testing.assert_allclose(total, np.hypot(0.03, 0.10))


def test_estimates_are_those_of_least_squares(tmp_path):
    """Bed and exposure of a bit are those of numpy's own solver on the same cells."""
    path = photo(tmp_path, noise=0.03)
    what = plan()
    bits = cut_walls(what.walls, what.bodies, what.thickness, 1.0)
    lines = straight_walls(shapely.force_2d(what.walls.geometry.to_numpy()))
    with RasterReader(path) as reader:
        found = read_standing(reader, bits, lines, np.zeros(len(bits)))[0]
        east, north = np.meshgrid(*reader.grid.centres())
        height = reader.read(reader.grid)["height"].ravel()
    x, y = east.ravel(), north.ravel()
    bit = 10  # of the southern face, far from its ends: the wall lies north of it
    low, high = bits.along[bit - 1, 0] + 2, bits.along[bit + 1, 1] + 2
    mine = (x >= low) & (x < high) & (y >= -1.75) & (y <= THICK + 1.75)
    over = covered_share(y[mine], np.tile([0.0, THICK], (mine.sum(), 1)), np.full(mine.sum(), 0.25))
    columns = [np.ones(mine.sum()), y[mine] - 0.3, x[mine] - bits.xy[bit, 0], over]
    fit = np.linalg.lstsq(np.column_stack(columns), height[mine], rcond=None)[0]
    np.testing.assert_allclose([found.bed[bit], found.exposure[bit]], fit[[0, 3]], atol=1e-6)


def test_the_newest_survey_of_a_wall_has_its_heights():
    """Tops lose stones: what was measured last counts."""
    assert recorder("2031-walls/W1;2033-again/#4;2032-east/W9") == "2033-again"
    assert recorder("2031-walls/W1") == POLE.survey
