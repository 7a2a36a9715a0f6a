"""The register of decisions about the joined plan: read as it stands, or every slip named."""

from functools import partial

import pytest
import refusals
from refusals import kinds

from sites import ORIGIN, survey, write_site
from wrackline.config import load_site
from wrackline.model import Decision

COLUMNS = "decision,easting,northing,to_easting,to_northing,who,date,why"
ONE, TWO = ("confirm", "forbid", "open_ground"), ("draw", "split", "merge")


def row(decision, place, to=(None, None), **cells):
    """Return a row of the register, places in metres from `ORIGIN`; other cells are filled in."""
    pairs = zip(COLUMNS.split(",")[1:5], (*place, *to), ORIGIN * 2, strict=True)
    placed = {column: value + start for column, value, start in pairs if value is not None}
    filled = {"who": "me", "date": "2031-06-09", "why": "seen", "decision": decision}
    cells = {**filled, **placed, **cells}
    return ",".join(str(cells.get(column, "")) for column in COLUMNS.split(","))


def site(folder, *rows, head=COLUMNS):
    """Return the config of a site with the given rows."""
    write_site(folder, {"2031": [survey("walls", "data/walls.gpkg", "wall_lines")]})
    (folder / "config" / "decisions.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    return load_site(folder)


refused = partial(refusals.refused, site)


def test_every_decision_is_read_with_its_places(tmp_path):
    """Three with one place, three with two, in the order of the file."""
    rows = [row(decision, (k, 10)) for k, decision in enumerate(ONE)]
    rows += [row(decision, (k, 20), (k, 25)) for k, decision in enumerate(TWO)]
    config = site(tmp_path, *rows)
    assert [one.decision for one in config.decisions] == [*ONE, *TWO]
    west, south = ORIGIN
    assert [one.place for one in config.decisions[:3]] == [(west + k, south + 10) for k in range(3)]
    assert [one.to_place for one in config.decisions[:3]] == [None] * 3
    assert [one.to_place for one in config.decisions[3:]] == [
        (west + k, south + 25) for k in range(3)
    ]
    assert {(one.who, one.why, one.date.isoformat()) for one in config.decisions} == {
        ("me", "seen", "2031-06-09")
    }


def test_a_row_lasts_through_the_form_in_which_rules_hand_it_on(tmp_path):
    """Written as JSON and read again, a row is the same."""
    (given,) = site(tmp_path, row("draw", (1, 2), (3, 4))).decisions
    assert Decision.model_validate_json(given.model_dump_json()) == given


def test_a_site_without_the_register_has_no_decisions(tmp_path):
    """No file, nothing decided, and nothing wrong."""
    write_site(tmp_path, {"2031": [survey("walls", "data/walls.gpkg", "wall_lines")]})
    assert load_site(tmp_path).decisions == ()


@pytest.mark.parametrize(
    ("text", "kind"),
    [
        *((row(decision, (1, 2), (3, 4)), "surplus_place") for decision in ONE),
        *((row(decision, (1, 2)), "no_second_place") for decision in TWO),
        *((row(decision, (1, 2), (1, 2.09)), "places_too_near") for decision in TWO),
        (row("confirm", (1, 2), (3, None)), "surplus_place"),
        (row("draw", (1, 2), (3, None)), "half_a_place"),
        (row("merge", (1, 2), (None, 3)), "half_a_place"),
        (row("join", (1, 2)), "register_value"),
        (row("confirm", (1, None)), "register_value"),
        (row("confirm", (1, 2), easting="east"), "register_value"),
        (row("confirm", (1, 2), easting="inf"), "register_value"),
        (row("", (1, 2)), "register_value"),
        (row("confirm", (1, 2), who=""), "register_value"),
        (row("confirm", (1, 2), date=""), "register_value"),
        (row("confirm", (1, 2), date="2031-06-31"), "register_value"),
        (row("confirm", (1, 2), why=""), "register_value"),
        (row("confirm", (1, 2), why="door, seen"), "register_row"),
    ],
)
def test_a_row_that_is_wrong_is_refused(tmp_path, text, kind):
    """Each slip is named with its row, in four parts."""
    (fault,) = refused(tmp_path, text)
    assert (fault.kind, fault.row, fault.file) == (kind, 2, "config/decisions.csv")
    assert all((fault.found, fault.allowed, fault.consequence, fault.remedy))


@pytest.mark.parametrize(
    ("word", "hint"),
    [
        ("merg", "did you mean 'merge'?"),
        ("draws", "did you mean 'draw'?"),
        ("open ground", "did you mean 'open_ground'?"),
        ("confirmed", "did you mean 'confirm'?"),
    ],
)
def test_the_nearest_decision_is_suggested(tmp_path, word, hint):
    """An unknown decision is refused with the right ones, the nearest by name."""
    (fault,) = refused(tmp_path, row(word, (1, 2)))
    assert fault.remedy == hint
    assert all(f"'{right}'" in fault.allowed for right in (*ONE, *TWO))


def test_all_slips_are_named_at_once(tmp_path):
    """Slips of one row and of several, of numbers and of sense, come together."""
    rows = (
        row("draw", (1, 2), (3, None), who="", date="soon"),
        row("confirm", (5, 5)),
        row("forbid", (5, 5.2)),
        row("split", (7, 7)),
    )
    assert sorted(kinds(refused(tmp_path, *rows))) == [
        ("decided_against", 4),
        ("half_a_place", 2),
        ("no_second_place", 5),
        ("register_value", 2),
        ("register_value", 2),
    ]


@pytest.mark.parametrize("north_m", [0.0, 0.25])
def test_one_closing_is_confirmed_or_forbidden(tmp_path, north_m):
    """Within 0.25 m, the limit included, whichever of the two comes first."""
    pair = [row("confirm", (10, 10)), row("forbid", (10, 10 + north_m))]
    for rows in (pair, pair[::-1]):
        faults = refused(tmp_path, *rows)
        assert kinds(faults) == [("decided_against", 3)]
        assert "in row 2" in faults[0].found


def test_neighbouring_closings_are_decided_each_for_itself(tmp_path):
    """Beyond 0.25 m, one may be confirmed and the next forbidden, or confirmed as well."""
    rows = [row("confirm", (10, 10)), row("forbid", (10, 10.26)), row("confirm", (10.26, 10))]
    assert len(site(tmp_path, *rows).decisions) == 3


@pytest.mark.parametrize(
    ("one", "other"),
    [
        *((row(decision, (1, 2)), row(decision, (1.2, 2.1))) for decision in ONE),
        *((row(decision, (1, 2), (5, 2)), row(decision, (1, 2.2), (5, 2))) for decision in TWO),
        *((row(decision, (1, 2), (5, 2)), row(decision, (5, 2.2), (1, 2))) for decision in TWO),
    ],
)
def test_a_decision_stands_once(tmp_path, one, other):
    """The same decision of the same place or places, in either order, is refused."""
    assert kinds(refused(tmp_path, one, other)) == [("decided_twice", 3)]


def test_lines_that_share_an_end_are_two_decisions(tmp_path):
    """Closings drawn from one corner, and a room merged with two others, are no repetition."""
    rows = [row(decision, (1, 2), to) for decision in TWO for to in ((5, 2), (1, 6), (1.5, 2))]
    assert len(site(tmp_path, *rows).decisions) == 9


def test_a_forbidden_closing_may_be_drawn_anew(tmp_path):
    """To draw a closing beside one that is forbidden is how a wrong one is put right."""
    rows = [row("forbid", (1, 2)), row("draw", (1, 2), (3, 2)), row("open_ground", (1, 2))]
    assert len(site(tmp_path, *rows).decisions) == 3


def test_ends_a_tenth_of_a_metre_apart_are_taken(tmp_path):
    """0.1 m is allowed, wherever on the grid it is measured."""
    rows = [row("draw", (1, 2), (1, 2), easting=324400.1, to_easting=324400.0)]
    assert len(site(tmp_path, *rows).decisions) == 1


def test_a_misspelt_or_missing_column_is_named(tmp_path):
    """`to_east` is refused, and `to_easting` proposed; all but the second place must be there."""
    faults = refused(tmp_path, head=COLUMNS.replace("to_easting", "to_east"))
    assert "did you mean 'to_easting'" in faults[0].remedy
    faults = refused(tmp_path, head="decision,easting,northing,who")
    assert [fault.found for fault in faults] == ["no column 'date'", "no column 'why'"]
