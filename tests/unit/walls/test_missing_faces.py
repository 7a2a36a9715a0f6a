"""Faces that nobody recorded stand where they part wall from open ground, and nowhere else."""

import datetime as dt
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from drawn import CRS, box, doubled, line_table, models_of
from scipy.stats import binom

sys.path.insert(0, str(Path(__file__).parents[2] / "benchmarks"))
from broken_walls import MAKERS, make, table_of
from town_model import Damage

from wrackline.model import Decision, Phasing, WallSettings
from wrackline.rooms.faces import faces_of
from wrackline.rooms.kinds import told
from wrackline.walls.closings import close_gaps, weighed
from wrackline.walls.coverage import cover
from wrackline.walls.decided import FOLLOWED
from wrackline.walls.joining import Team, build_network, join_walls, tracing_of
from wrackline.walls.missing import lay, phase_of, sides_in
from wrackline.walls.network import load, save
from wrackline.walls.plausible import MISSING_STANDS, plausible
from wrackline.walls.solid import OPEN, UNKNOWN, WALL
from wrackline.walls.stretches import stretches_of

SETTINGS = WallSettings()
DAY = dt.date(2031, 9, 1)
# Two rooms of 6 by 4 m within walls of 0.6 m; both faces that meet where the party wall leaves the
# southern wall were lost: the last 1.4 m of the western room's, the first 2 m of the eastern one's.
OUTER = box(-0.6, -0.6, 13.2, 4.6)
WEST = [[(0, 0), (6, 0)], [(6, 1.4), (6, 4)], [(6, 4), (0, 4)], [(0, 4), (0, 0)]]
EAST = [[(8.6, 0), (12.6, 0)], [(12.6, 0), (12.6, 4)], [(12.6, 4), (6.6, 4)], [(6.6, 4), (6.6, 0)]]
HOUSE = [*OUTER, *WEST, *EAST]
BODY_M2 = 13.8 * 5.2 - 2 * 24
FORBIDDEN = Decision(
    decision="forbid", easting=7.7, northing=0.1, who="A. Diver", date=DAY, why="a passage"
)


def joined(lines, *, decisions=(), phases=(), order=(), **columns):
    """Return drawn faces, joined."""
    table = line_table(lines, **columns)
    models = {model.survey: model for model in models_of(table)}
    team = Team(phases=tuple(phases), order=tuple(order), decisions=tuple(decisions))
    return join_walls(table, models, SETTINGS, team)


def spaces(network, phase=0):
    """Return what each space of a phase is, and its area: the greatest last."""
    faces = faces_of(network)
    there = faces.standing[:, phase]
    kind, size = told(network, faces)[there].tolist(), shapely.area(faces.polygons[there])
    return sorted(zip(kind, size.round(3).tolist(), strict=True), key=lambda space: space[1])


def test_a_room_open_to_its_walls_inside_is_shut_off():
    """The lost inner faces of two rooms' corner are put back: two rooms, and the body around."""
    assert spaces(joined(HOUSE).network) == [
        (WALL, pytest.approx(BODY_M2, abs=0.01)),
        (OPEN, pytest.approx(24, abs=0.01)),
        (OPEN, pytest.approx(24, abs=0.01)),
    ]


def test_a_forbidden_closing_is_no_missing_face():
    """Where the team says that there was no wall, none comes back because it would be missing."""
    got = joined(HOUSE, decisions=[FORBIDDEN])
    assert [o.outcome for o in got.outcomes] == [FOLLOWED]
    assert [size for _, size in spaces(got.network)] == [
        pytest.approx(24, abs=0.01),
        pytest.approx(24 + BODY_M2, abs=0.01),
    ]
    lines = shapely.linestrings(got.network.edges)
    assert shapely.distance(lines, shapely.Point(FORBIDDEN.place)).min() > 0.5


def test_missing_faces_of_a_town_part_wall_from_open_ground_unless_forbidden():
    """A weighed closing stands where it does that; forbidden at its middle it no longer stands."""
    drawn = MAKERS["own towns"][1](
        make("own towns", 4, 3000), Damage(lost=0.25, faces="face"), 3000
    )
    table = table_of(drawn)
    models = {model.survey: model for model in models_of(table, random_horizontal=drawn.sd_m)}
    network = network_of_town(drawn)
    made = closings_of(network, models, beyond=2.0)[0]
    missing = ~np.isin(np.arange(len(network.edges)), lying_on(network, made)) & ~network.recorded
    left, right = network.lies[missing, 0].T
    assert (left != right).all()
    asked = np.flatnonzero(missing & (network.length > 0.3))
    assert len(asked) >= 3
    for edge in asked[:6].tolist():
        x, y = network.edges[edge].mean(axis=0).tolist()
        row = Decision(
            decision="forbid", easting=x, northing=y, who="A. Diver", date=DAY, why="a passage"
        )
        again = join_walls(table, models, SETTINGS, Team(decisions=(row,))).network
        off = shapely.distance(shapely.linestrings(again.edges), shapely.Point(x, y))
        assert off[~again.recorded].min() > 0.05


def test_pieces_of_a_phase_keep_their_sides_in_the_row():
    """Laid in a row, recorded pieces and closings have their sides, what was weighed has none."""
    table = line_table(HOUSE)
    models = {model.survey: model for model in models_of(table)}
    work = build_network(table, models, SETTINGS).work
    tracing = tracing_of(work.lines, models, SETTINGS)
    stretches = stretches_of(work, tracing.random_m)
    part = cover(work, stretches, tracing, SETTINGS.join_gap_m)
    sided = sides_in(work, part, tracing, SETTINGS.wall_max_thickness_m)
    closed = close_gaps(work, stretches, part, tracing, SETTINGS, beyond=2.0)
    phase = phase_of(work, part.pieces, sided, closed, SETTINGS, 2.0)
    stands = np.ones((len(part.pieces), 1), dtype=bool)
    laid = lay(part.pieces, [phase], stands, np.zeros(1, dtype=np.int64))
    assert phase.usual_m == pytest.approx(0.6)
    assert phase.side_closing.any()
    none = np.zeros(len(laid.pieces) - laid.firm, dtype=int)
    assert laid.sides(0).tolist() == [*phase.side, *phase.side_closing, *none]
    assert laid.in_line(0).tolist() == [*np.zeros(laid.firm, dtype=bool), *phase.in_line]
    assert laid.there().all()


def closings_of(network, models, beyond):
    """Return the closings chosen end by end, and what was weighed beside them: ends, (c, 2, 2)."""
    work = network.work
    tracing = tracing_of(work.lines, models, SETTINGS)
    stretches = stretches_of(work, tracing.random_m)
    part = cover(work, stretches, tracing, SETTINGS.join_gap_m)
    part = replace(part, jamb=sides_in(work, part, tracing, SETTINGS.wall_max_thickness_m).jamb)
    closed = close_gaps(work, stretches, part, tracing, SETTINGS, beyond=beyond)
    others, in_line = weighed(closed, work.xyz[:, :2], SETTINGS, beyond)
    assert len(others) == len(in_line)
    return [pieces.ends(work.xyz)[:, :, :2] for pieces in (closed.pieces, others)]


def lying_on(network, ends):
    """Return the edges whose piece is one of those with these ends."""
    own = network.pieces.ends(network.work.xyz)[network.piece][:, :, :2]
    keys = {tuple(np.ravel(e)) for e in ends.round(6)}
    return [k for k, e in enumerate(own.round(6)) if tuple(np.ravel(e)) in keys]


def test_by_centre_lines_nothing_is_told_and_nothing_is_missing():
    """Where no face was traced, all that stands was recorded or chosen end by end."""
    drawn = MAKERS["own towns"][1](make("own towns", 4, 3000), Damage(lost=0.25), 3000)
    table = table_of(drawn)
    models = {model.survey: model for model in models_of(table, random_horizontal=drawn.sd_m)}
    plain = build_network(table, models, SETTINGS)
    shown = join_walls(table, models, SETTINGS).network
    assert (plain.lies == UNKNOWN).all()
    for name in ("edges", "piece", "fraction", "standing", "lies"):
        assert np.array_equal(getattr(plain, name), getattr(shown, name))
    made, others = closings_of(plain, models, beyond=2.0)
    assert len(others) > 0
    inferred = np.flatnonzero(~plain.recorded)
    assert len(inferred) > 0
    assert set(inferred.tolist()) <= set(lying_on(plain, made))


@pytest.mark.parametrize(
    "lines", [[], [[(0, 0), (5, 0)]], [[(1, 1), (1, 1)]]], ids=["nothing", "one line", "no length"]
)
def test_little_linework_has_nothing_beside_it(lines):
    """No lines, or one, tell nothing."""
    network = joined(lines).network
    assert network.lies.shape == (len(network.edges), len(network.phases), 2)
    assert (network.lies == UNKNOWN).all()


BAD = {
    "all in one line": [[(0, 0), (6, 0), (6, 4), (0, 4), (0, 0)]],
    "drawn twice": [*HOUSE, *HOUSE],
    "drawn twice, once the other way": [*HOUSE, *(line[::-1] for line in HOUSE)],
    "with places as lines": [*HOUSE, [(1, 1), (1, 1)], [(6, 4), (6, 4)]],
    "with vertices twice": [[p for p in line for _ in range(2)] for line in HOUSE],
    "without heights": [[(*p, np.nan) for p in line] for line in HOUSE],
}


@pytest.mark.parametrize("how", BAD)
@pytest.mark.parametrize(
    "far", [(0, 0), (512_345.0, 4_098_765.0)], ids=["near", "in a zone's grid"]
)
def test_odd_linework_is_told_too(how, far):
    """However a house was drawn, and wherever: its rooms have their areas, every figure a value."""
    lines = [[(p[0] + far[0], p[1] + far[1], *p[2:]) for p in line] for line in BAD[how]]
    network = joined(lines).network
    assert np.isfinite(network.fraction).all()
    areas = [size for _, size in spaces(network)]
    assert areas[-2:] == pytest.approx([24, 24][-len(areas) :], abs=0.02)


def test_a_crowd_of_lines_at_one_spot_changes_no_other_room():
    """A thousand lines crossing each other in one room's middle leave the other room as it was."""
    draw = np.random.default_rng(1)
    middle = draw.normal((3.0, 2.0), 0.1, (1000, 2))
    crowd = np.stack([middle, middle + draw.normal(0, 0.3, middle.shape)], axis=1)
    found = spaces(joined([*HOUSE, *crowd.tolist()]).network)
    assert (OPEN, pytest.approx(24, abs=0.01)) in found


def phase_rows(first, count, name):
    """Return rows of the register of phases: some lines stand in one phase alone."""
    return [
        Phasing(line=f"2031-walls:{k}", phase_from=name, phase_to=name, who="A. Diver", date=DAY)
        for k in range(first, first + count)
    ]


def beside(network, phase):
    """Return how much of the edges of a phase lies between what and what, lesser first [m]."""
    there = network.standing[:, phase]
    found = {}
    pairs = np.sort(network.lies[there, phase], axis=1).tolist()
    for pair, size in zip(pairs, network.length[there].tolist(), strict=True):
        found[tuple(pair)] = found.get(tuple(pair), 0.0) + size
    return found


def test_what_lies_beside_faces_is_told_phase_by_phase():
    """A later house with walls of 0.9 m, 0.4 m off and across the earlier, changes nothing of it.

    Each phase is what it is when its lines alone were drawn.
    """
    later = doubled(0.4, 0.4, 8, 7, 0.9)
    lines = [*HOUSE, *later]
    rows = [*phase_rows(1, len(HOUSE), "I"), *phase_rows(len(HOUSE) + 1, len(later), "II")]
    numbers = [str(k + 1) for k in range(len(lines))]
    both = joined(lines, phases=rows, order=("I", "II"), line=numbers).network
    for phase, alone in enumerate([HOUSE, later]):
        one = joined(alone).network
        assert beside(both, phase) == pytest.approx(beside(one, 0), abs=0.01)
        assert spaces(both, phase) == [(k, pytest.approx(a, abs=0.01)) for k, a in spaces(one)]
    assert {(OPEN, WALL)} == set(beside(both, 1))


def test_what_lies_beside_edges_lasts_in_files(tmp_path):
    """Written and read again, a network of two phases says the same of both sides of its edges."""
    lines = [*HOUSE, *doubled(20, 0, 24, 3, 0.5)]
    rows = phase_rows(len(HOUSE) + 1, 8, "II")
    numbers = [str(k + 1) for k in range(len(lines))]
    network = joined(lines, phases=rows, order=("I", "II"), line=numbers).network
    save(network, tmp_path, CRS)
    again = load(tmp_path, ("I", "II"))
    np.testing.assert_array_equal(again.lies, network.lies)
    assert set(np.unique(network.lies)) == {UNKNOWN, OPEN, WALL}
    assert (network.lies[network.standing] != UNKNOWN).all()


def network_of_town(drawn):
    """Return the network of a survey of a town."""
    table = table_of(drawn)
    models = {model.survey: model for model in models_of(table, random_horizontal=drawn.sd_m)}
    return build_network(table, models, SETTINGS)


@pytest.mark.parametrize("faces", ["face", "mix", "centre"])
@pytest.mark.parametrize("maker", MAKERS)
def test_order_and_direction_of_lines_leave_no_trace_in_the_network(maker, faces):
    """Shuffled, half of them turned round: the same edges to a mm, and the same beside them."""
    drawn = MAKERS[maker][1](make(maker, 5, 3000), Damage(lost=0.25, faces=faces), 3000)
    draw = np.random.default_rng(5)
    order = draw.permutation(len(drawn.lines))
    turned = draw.random(len(order)) < 0.5
    lines = np.where(turned, shapely.reverse(drawn.lines[order]), drawn.lines[order])
    other = replace(drawn, lines=lines, follows=drawn.follows[order], code=drawn.code[order])
    network, again = network_of_town(drawn), network_of_town(other)
    np.testing.assert_array_equal(again.edges, network.edges)
    np.testing.assert_array_equal(again.lies, network.lies)
    np.testing.assert_array_equal(again.recorded, network.recorded)


def test_a_missing_face_stands_in_most_outlines():
    """A room whose fourth side is a missing face stands in as many outlines as such faces do.

    The number of a hundred lies in the middle 99.9 % of the binomial law.
    """
    table = line_table(box(0, 0, 6, 4)[:3])
    models = {model.survey: model for model in models_of(table)}
    settings = WallSettings(doorway_max_m=0, lost_stretch_max_m=0)
    network = build_network(table, models, settings)
    tracing = tracing_of(network.work.lines, models, settings)
    stretches = stretches_of(network.work, tracing.random_m)
    part = cover(network.work, stretches, tracing, settings.join_gap_m)
    closed = close_gaps(network.work, stretches, part, tracing, settings, beyond=2.0)
    side = np.array([[[0.0, 0.0], [0.0, 4.0]]])
    shown = plausible(network.work, part.pieces, closed, settings.join_gap_m, missing=side)
    support = shown.support(np.array([shapely.box(0, 0, 6, 4)]))
    low, high = binom.interval(0.999, len(shown.space), MISSING_STANDS)
    assert low <= len(shown.space) * support[0] <= high
    without = plausible(network.work, part.pieces, closed, settings.join_gap_m)
    assert len(without.cells) == 0
