"""The outline of the ground that was looked at is asked for where the config names one."""

from test_places import source

from wrackline.verdict import Problems, file_there


def test_a_missing_outline_is_a_fault_beside_the_files_own(tmp_path):
    """A survey whose file and whose outline are both missing has both named at once."""
    named = source(looked_at="data/ground.gpkg")
    problems = Problems()
    assert not file_there(type(named)(named.name, named.survey, tmp_path), problems)
    assert [fault.kind for fault in problems.listed()] == ["looked_at_missing", "file_missing"]
    assert problems.listed()[0].file == "data/ground.gpkg"


def test_an_outline_that_is_there_is_no_fault(tmp_path):
    """With both files in place nothing is said."""
    named = source(looked_at="ground.gpkg")
    for name in ("ground.gpkg", "walls.gpkg"):
        (tmp_path / name).write_bytes(b"x")
    problems = Problems()
    assert file_there(type(named)(named.name, named.survey, tmp_path), problems)
    assert problems.listed() == []
