"""The registers of a site: control marks and corrections, with every slip named."""

import datetime as dt
from pathlib import Path

import pytest

from sites import survey, write_site
from wrackline.config import load_site
from wrackline.errors import ConfigError

HEAD = "point,easting,northing,height,sd_m,height_sd_m,from_date,to_date,method,fate,note\n"
FIXES = "file,row,column,was,is,why,who,when\n"


def site(folder, *, control="", corrections="", **keys):
    """Return the config of a site with the given registers."""
    write_site(folder, {"2031": [survey("walls", "data/walls.csv", "features", **keys)]})
    for name, text in (("control", control), ("corrections", corrections)):
        if text:
            (Path(folder) / "config" / f"{name}.csv").write_text(text, encoding="utf-8")
    return load_site(folder)


def refused(folder, **keys):
    """Return the faults with which a site's config is refused."""
    with pytest.raises(ConfigError, match="found") as refusal:
        site(folder, **keys)
    return refusal.value.faults


def test_a_mark_is_taken_as_it_held_on_the_surveys_days(tmp_path):
    """Of a mark that moved in the spring, the later row holds in June."""
    rows = "A,10,20,1.5,0.01,,,2031-04-01,,moved,\nA,10.2,20,1.4,0.01,,2031-04-02,,,stands,\n"
    config = site(tmp_path, control=HEAD + rows)
    day = dt.date(2031, 6, 9)
    held = [value for value in config.control if value.holds_on(day, day)]
    assert [(value.easting, value.height) for value in held] == [(10.2, 1.4)]
    assert held[0].holds_on(dt.date(2031, 4, 2), dt.date(2031, 4, 2))


def test_every_slip_of_a_register_is_named_with_its_row(tmp_path):
    """A text for a number, a lost mark without its day and two values for one day: three faults."""
    good = "C,1,2,,0.01,,,,,,\nC,1,3,,0.01,,,,,,\n"
    rows = "A,ten,20,1,0.01,,,,,stands,\nB,1,2,3,0.01,,,,,lost,\n" + good
    faults = refused(tmp_path, control=HEAD + rows.replace(",,\n", ",stands,\n"))
    assert [(fault.kind, fault.row) for fault in faults] == [
        ("register_value", 2),
        ("register_value", 3),
        ("control_twice", 5),
    ]


def test_a_misspelt_column_is_named_with_the_right_one(tmp_path):
    """`heigth` is refused, and `height` proposed."""
    faults = refused(tmp_path, control=HEAD.replace(",height,", ",heigth,"))
    assert faults[0].kind == "register_column"
    assert "did you mean 'height" in faults[0].remedy


@pytest.mark.parametrize(
    ("row", "kind"),
    [
        ("data/wals.csv,2,x,1,2,book,me,2031-06-09\n", "correction_without_file"),
        ("data/walls.csv,0,x,1,2,book,me,2031-06-09\n", "register_value"),
        ("data/walls.csv,2,x,1,2,,me,2031-06-09\n", "register_value"),
        ("data/walls.csv,2,x,1,2,a,b,c,2031-06-09\n", "register_row"),
    ],
)
def test_a_correction_that_can_do_nothing_is_refused(tmp_path, row, kind):
    """A file that no survey has, row 0, no reason, or a cell too many."""
    assert [fault.kind for fault in refused(tmp_path, corrections=FIXES + row)] == [kind]


def test_one_cell_is_corrected_once(tmp_path):
    """Two corrections of the same cell are refused."""
    row = "data/walls.csv,2,x,1,2,book,me,2031-06-09\n"
    faults = refused(tmp_path, corrections=FIXES + row + row)
    assert [fault.kind for fault in faults] == ["corrected_twice"]


def test_marks_of_a_local_grid_come_from_the_control(tmp_path):
    """A grid's mark without `site` takes its place from control.csv; one without row is a fault."""
    marks = [{"point": "A", "local": [0, 0]}, {"point": "B", "local": [10, 0]}]
    grid = {"crs": None, "local_grid": {"points": marks, "control_sd_m": 0.02}}
    rows = "A,100,200,,0.01,,,,,stands,\nB,110,200,,0.01,,,,,stands,\n"
    config = site(tmp_path, control=HEAD + rows, **grid)
    points = config.surveys["2031-walls"].local_grid.points
    assert [point.site for point in points] == [(100, 200), (110, 200)]
    faults = refused(tmp_path, control=HEAD + rows.replace("B,", "D,"), **grid)
    assert [fault.kind for fault in faults] == ["mark_unknown"]


def test_a_zero_that_nothing_ties_to_the_site_is_refused(tmp_path):
    """`vertical.zero` must lead to the site's datum by links, each with an error source."""
    faults = refused(tmp_path, vertical={"meaning": "height", "zero": "ellipsoid"})
    assert [fault.kind for fault in faults] == ["unknown_zero"]
