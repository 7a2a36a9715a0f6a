"""The register of the order of walls: read as it stands, or every slip of it named."""

from functools import partial

import pytest
import refusals
from pydantic import ValidationError
from refusals import kinds

from sites import survey, write_site
from wrackline.config import load_site
from wrackline.model import Phasing, Site, for_measuring, for_placing, for_summary

COLUMNS = (
    "line,easting,northing,phase_from,phase_to,joint,other_line,other_easting,other_northing,"
    "who,date,note"
)
PHASES = ["I", "II", "IIIa"]
SURVEYS = [
    survey("walls", "data/walls.gpkg", "wall_lines"),
    survey("things", "data/things.gpkg", "features"),
]


def row(**cells):
    """Return a row of the register, by column; who and date are filled in."""
    cells = {"who": "me", "date": "2031-06-09", **cells}
    return ",".join(str(cells.get(column, "")) for column in COLUMNS.split(","))


def site(folder, *rows, head=COLUMNS, phases=PHASES, surveys=SURVEYS):
    """Return the config of a site with the given rows."""
    write_site(folder, {"2031": surveys}, **({} if phases is None else {"phases": phases}))
    (folder / "config" / "phases.csv").write_text("\n".join([head, *rows]), encoding="utf-8")
    return load_site(folder)


refused = partial(refusals.refused, site)


def test_walls_are_read_by_line_and_by_place(tmp_path):
    """A span of a line, a joint of two places, and both in one row with one end unknown."""
    config = site(
        tmp_path,
        row(line="2031-walls:17", phase_from="I", phase_to="II"),
        row(easting=10, northing=20.5, joint="abuts", other_easting=11, other_northing=20),
        row(line="2031-walls:a:b", phase_to="IIIa", joint="blocks", other_line="2031-walls:17"),
    )
    first, second, third = config.phases
    assert (first.line, first.phase_from, first.phase_to) == ("2031-walls:17", "I", "II")
    assert (first.place, first.joint, first.note) == (None, None, "")
    assert (second.place, second.joint, second.other_place) == ((10, 20.5), "abuts", (11, 20))
    assert (third.phase_from, third.phase_to, third.other_line) == ("", "IIIa", "2031-walls:17")
    assert first.date.isoformat() == "2031-06-09"


def test_a_row_lasts_through_the_form_in_which_rules_hand_it_on(tmp_path):
    """Written as JSON and read again, a row is the same."""
    (given,) = site(tmp_path, row(easting=1, northing=2, phase_from="II")).phases
    assert Phasing.model_validate_json(given.model_dump_json()) == given


def test_a_site_without_the_register_has_no_rows(tmp_path):
    """No file, and no phases in site.yaml: nothing is known, and nothing is wrong."""
    write_site(tmp_path, {"2031": SURVEYS})
    config = load_site(tmp_path)
    assert (config.phases, config.site.phases) == ((), [])


def test_phases_may_be_whole_numbers(tmp_path):
    """Numbers in site.yaml are names as well; their order is the list's, so 10 follows 9."""
    line = {"line": "2031-walls:17"}
    config = site(tmp_path, row(**line, phase_from=9, phase_to=10), phases=[8, 9, 10])
    assert config.site.phases == ["8", "9", "10"]
    assert config.phases[0].phase_to == "10"


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ({"phase_from": "I"}, "no_wall"),
        ({"line": "2031-walls:1", "easting": 1, "northing": 2}, "wall_named_twice"),
        ({"line": "2031-walls:1", "northing": 2}, "wall_named_twice"),
        ({"easting": 1}, "half_a_place"),
        ({"line": "2031-walls"}, "wall_line"),
        ({"line": "2031-walls: "}, "wall_line"),
        ({"line": ":"}, "wall_line"),
        ({"line": "2032-walls:1"}, "unknown_survey"),
        ({"line": "2031-things:1"}, "survey_without_walls"),
        ({"line": "2031-walls:1", "phase_to": "IV"}, "unknown_phase"),
        ({"line": "2031-walls:1", "phase_from": "IIIa", "phase_to": "I"}, "phases_backwards"),
        ({"line": "2031-walls:1", "phase_from": ""}, "phasing_says_nothing"),
        ({"easting": "1,5", "northing": 2}, "register_row"),
        ({"easting": '"1,500"', "northing": 2}, "register_value"),
        ({"easting": "nan", "northing": 2}, "register_value"),
        ({"line": "2031-walls:1", "date": "9 June"}, "register_value"),
        ({"line": "2031-walls:1", "who": ""}, "register_value"),
    ],
)
def test_a_row_that_is_wrong_is_refused(tmp_path, cells, kind):
    """Each slip is named with its row, in four parts."""
    (fault,) = refused(tmp_path, row(**{"phase_from": "I", **cells}))
    assert (fault.kind, fault.row, fault.file) == (kind, 2, "config/phases.csv")
    assert all((fault.found, fault.allowed, fault.consequence, fault.remedy))


@pytest.mark.parametrize(
    ("cells", "kind"),
    [
        ({"joint": "abuts"}, "joint_without_other"),
        ({"other_line": "2031-walls:2"}, "other_without_joint"),
        ({"other_easting": 1, "other_northing": 2}, "other_without_joint"),
        ({"joint": "abuts", "other_easting": 1}, "half_a_place"),
        (
            {"joint": "abuts", "other_line": "2031-walls:2", "other_easting": 1},
            "wall_named_twice",
        ),
        ({"joint": "abuts", "other_line": "2031-wals:2"}, "unknown_survey"),
        ({"joint": "abuts", "other_line": "2031-walls:1"}, "wall_meets_itself"),
        ({"joint": "abuts", "other_line": "2031-walls: 1"}, "wall_meets_itself"),
        ({"joint": "leans", "other_line": "2031-walls:2"}, "register_value"),
    ],
)
def test_a_joint_is_between_two_walls(tmp_path, cells, kind):
    """A joint needs the other wall, the other wall a joint, and neither is the wall itself."""
    assert kinds(refused(tmp_path, row(line="2031-walls:1", **cells))) == [(kind, 2)]


def test_two_places_a_tenth_of_a_metre_apart_are_two_walls(tmp_path):
    """At 0.1 m a joint is between two walls, wherever on the grid; nearer, a wall meets itself."""
    joint = {"easting": 324400.1, "northing": 20, "joint": "bonded", "other_northing": 20}
    assert len(site(tmp_path, row(**joint, other_easting=324400.0)).phases) == 1
    faults = refused(tmp_path, row(**joint, other_easting=324400.01))
    assert kinds(faults) == [("wall_meets_itself", 2)]


def test_all_slips_are_named_at_once(tmp_path):
    """Six slips in one row and one in the next: none hides another."""
    rows = (
        row(line="2031-wall:1", easting="x", joint="abut", phase_from="IV"),
        row(line="2031-walls:1", phase_from="II", phase_to="I"),
    )
    assert sorted(kinds(refused(tmp_path, *rows))) == [
        ("joint_without_other", 2),
        ("phases_backwards", 3),
        ("register_value", 2),
        ("register_value", 2),
        ("unknown_phase", 2),
        ("unknown_survey", 2),
        ("wall_named_twice", 2),
    ]


@pytest.mark.parametrize(
    ("cells", "hint"),
    [
        ({"line": "walls:1", "phase_from": "I"}, "did you mean '2031-walls'?"),
        (
            {"line": "2031-walls:1", "phase_from": "iiiA"},
            "did you mean 'IIIa'? Else list it under phases there",
        ),
        (
            {"line": "2031-walls:1", "phase_from": "III"},
            "did you mean 'IIIa'? Else list it under phases there",
        ),
        (
            {"line": "2031-walls:1", "joint": "Abut", "other_line": "2031-walls:2"},
            "did you mean 'abuts'?",
        ),
        ({"line": "2031-walls:1", "phase_from": "late"}, "list it under phases there"),
    ],
)
def test_the_nearest_right_word_is_suggested(tmp_path, cells, hint):
    """Of surveys, phases and joints, capitals aside; where none is near, what else to do."""
    (fault,) = refused(tmp_path, row(**cells))
    assert fault.remedy == hint


def test_a_site_without_phases_is_told_where_to_list_them(tmp_path):
    """A phase needs its place in the order of site.yaml."""
    (fault,) = refused(tmp_path, row(line="2031-walls:1", phase_from="I"), phases=None)
    assert fault.allowed == "the phases of site.yaml: none yet"
    assert fault.remedy == "list it under phases there"


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({"line": "2031-walls:1"}, {"line": "2031-walls: 1"}),
        ({"easting": 10.0, "northing": 20}, {"easting": 10.05, "northing": 20}),
        ({"easting": 10.05, "northing": 20}, {"easting": 10.0, "northing": 20}),
    ],
)
def test_one_wall_has_one_span_of_phases(tmp_path, one, other):
    """A line, or places nearer than 0.1 m, with two spans is refused; one span said twice isn't."""
    first, between = row(**one, phase_from="I"), row(line="2031-walls:9", phase_from="II")
    assert len(site(tmp_path, first, between, row(**other, phase_from="I")).phases) == 3
    faults = refused(tmp_path, first, between, row(**other, phase_from="I", phase_to="II"))
    assert kinds(faults) == [("phased_twice", 4)]
    assert "from I to II, and in row 2 from I to unknown" in faults[0].found


def test_a_wall_may_have_many_joints(tmp_path):
    """Rows without phases say nothing against a wall's span."""
    wall = {"line": "2031-walls:1"}
    joints = [row(**wall, joint="abuts", other_line=f"2031-walls:{k}") for k in (2, 3)]
    assert len(site(tmp_path, row(**wall, phase_from="I"), *joints).phases) == 3


def test_a_season_that_cannot_be_read_brings_no_false_faults(tmp_path):
    """While a season's file is wrong, or site.yaml, what the register names there is not judged."""
    surveys = [survey("walls", "data/walls.gpkg", "wall_line")]
    faults = refused(tmp_path, row(line="2031-walls:1", phase_from="I"), surveys=surveys)
    assert [fault.file for fault in faults] == ["config/seasons/2031.yaml"]
    faults = refused(tmp_path, row(line="2031-walls:1", phase_from="I"), phases=["I", "i"])
    assert [fault.file for fault in faults] == ["config/site.yaml"]


def test_a_misspelt_column_is_named_with_the_right_one(tmp_path):
    """`phase_form` is refused, and `phase_from` proposed; who and date must be there."""
    faults = refused(tmp_path, head=COLUMNS.replace("phase_from", "phase_form"))
    assert "did you mean 'phase_from'" in faults[0].remedy
    faults = refused(tmp_path, head="line,phase_from,who")
    assert [fault.found for fault in faults] == ["no column 'date'"]


def test_a_phase_is_listed_once():
    """Two phases that differ by capitals alone would be mistaken for each other."""
    keys = {"schema_version": 1, "name": "x", "crs": "EPSG:32625", "vertical_datum": "x"}
    levels = {"sea_levels": [{"name": "msl", "height_m": 0}], "depths_below": "msl"}
    with pytest.raises(ValidationError, match="phases has 'IIIa' twice"):
        Site(**keys, **levels, origin=(0, 0), phases=["IIIa", "II", "iiia"])


@pytest.mark.parametrize("cut", [for_placing, for_measuring, for_summary])
def test_naming_phases_runs_no_earlier_step_again(tmp_path, cut):
    """Steps that don't read the phases are handed a site without them."""
    without = load_site(write_site(tmp_path, {"2031": SURVEYS})).site
    assert cut(without.model_copy(update={"phases": PHASES})) == cut(without)


def test_many_places_are_read_in_a_moment(tmp_path):
    """Rows of 4000 walls on a grid of 1 m, two of them at one place: one fault."""
    rows = [row(easting=k % 64, northing=k // 64, phase_from="I") for k in range(4000)]
    twice = row(easting=63, northing=9, phase_from="II")
    assert kinds(refused(tmp_path, *rows, twice)) == [("phased_twice", 4002)]
