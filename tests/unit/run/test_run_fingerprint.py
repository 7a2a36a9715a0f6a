"""The name of a step's code changes with what the step does, and with nothing else."""

import importlib.metadata
import os
import sys
import time

import pytest

from wrackline import fingerprint as module
from wrackline.fingerprint import fingerprint, package_versions, stamp

STEP = '''"""Say something."""

import json

from parts.sums import total


class Step:
    """Hold a number."""

    number = 3


def main(snakemake):
    """Write the sum."""
    words = {"a", "b", "c"}
    return total([1, 2]), "a" in words, json.dumps(Step.number)
'''


@pytest.fixture
def scripts(tmp_path):
    """Return a folder with a step and a package of two modules, one of which imports the other."""
    parts = tmp_path / "parts"
    parts.mkdir()
    (tmp_path / "make.py").write_text(STEP)
    (parts / "__init__.py").write_text('__version__ = "1"\n')
    (parts / "sums.py").write_text("from .deep import ONE\n\n\ndef total(n):\n    return sum(n)\n")
    (parts / "deep.py").write_text("ONE = 1\n")
    (parts / "unused.py").write_text("TWO = 2\n")
    return tmp_path


def change(file, old, new):
    """Change a file's text."""
    text = file.read_text()
    assert old in text
    file.write_text(text.replace(old, new))


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('"""Say something."""\n', ""),
        ('"""Write the sum."""', '"""Write\n    the total."""'),
        ("class Step", "# a comment\n\n\n\nclass Step"),
        ("    number = 3", "    number = (\n        3\n    )"),
        ('{"a", "b", "c"}', "{'a', 'b', 'c'}"),
    ],
)
def test_comments_docstrings_and_layout_do_not_count(scripts, old, new):
    """What a reader sees and Python doesn't leaves the fingerprint as it is."""
    before = fingerprint("make", scripts=scripts)
    change(scripts / "make.py", old, new)
    assert fingerprint("make", scripts=scripts) == before


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        ("make.py", "[1, 2]", "[1, 3]"),
        ("make.py", "number = 3", "number = 3.0"),
        ("make.py", "def main(snakemake)", "def main(snakemake, extra=1)"),
        ("make.py", '{"a", "b", "c"}', '{"a", "b", "d"}'),
        ("parts/sums.py", "sum(n)", "max(n)"),
        ("parts/deep.py", "ONE = 1", "ONE = 2"),
    ],
)
def test_code_of_the_step_and_of_what_it_imports_counts(scripts, file, old, new):
    """A change in the step, or in a module that it imports at any depth, changes it."""
    before = fingerprint("make", scripts=scripts)
    change(scripts / file, old, new)
    assert fingerprint("make", scripts=scripts) != before


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [("parts/unused.py", "2", "3"), ("parts/__init__.py", '"1"', '"2"')],
)
def test_code_that_the_step_does_not_ask_for_does_not_count(scripts, file, old, new):
    """A module that isn't imported, and the project's version, leave it as it is."""
    before = fingerprint("make", scripts=scripts)
    change(scripts / file, old, new)
    assert fingerprint("make", scripts=scripts) == before


def test_version_of_the_project_counts_where_a_step_reads_it(scripts):
    """A step that writes the project's version is run again when that changes."""
    change(scripts / "make.py", "import json", "import json\nfrom parts import __version__")
    before = fingerprint("make", scripts=scripts)
    change(scripts / "parts" / "__init__.py", '"1"', '"2"')
    assert fingerprint("make", scripts=scripts) != before


def test_import_inside_a_function_counts(scripts):
    """An import that runs late, or only sometimes, is found as well."""
    late = "def main(snakemake):\n    if snakemake:\n        from parts import unused\n"
    change(scripts / "make.py", "def main(snakemake):\n", late)
    before = fingerprint("make", scripts=scripts)
    change(scripts / "parts" / "unused.py", "2", "3")
    assert fingerprint("make", scripts=scripts) != before


def test_declared_data_file_counts(scripts):
    """The content of a file that a module names in DATA_FILES changes it."""
    (scripts / "parts" / "table.csv").write_text("a\n1\n")
    change(scripts / "parts" / "deep.py", "ONE = 1", 'ONE = 1\nDATA_FILES = ("table.csv",)')
    before = fingerprint("make", scripts=scripts)
    (scripts / "parts" / "table.csv").write_text("a\n2\n")
    assert fingerprint("make", scripts=scripts) != before


def test_version_of_an_imported_package_counts(scripts, monkeypatch):
    """A new version of a package that the step imports, or that this requires, changes it."""
    change(scripts / "make.py", "import json", "import json\nimport top_package")
    versions = {"top-package": ("1", ("low_package",)), "low-package": ("1", ())}
    monkeypatch.setattr(
        module, "distribution_facts", lambda name: versions.get(name, ("absent", ()))
    )
    module._distribution_name.cache_clear()
    before = fingerprint("make", scripts=scripts)
    versions["low-package"] = ("2", ())
    assert fingerprint("make", scripts=scripts) != before
    module._distribution_name.cache_clear()


def test_versions_are_those_installed_under_the_names_of_distributions():
    """An import name that differs from its distribution's name is looked up by the latter."""
    lines = package_versions(frozenset({"yaml", "pyproj"}))
    assert f"pyyaml {importlib.metadata.version('PyYAML')}" in lines
    assert f"certifi {importlib.metadata.version('certifi')}" in lines, "pyproj requires it"


def test_pythons_minor_version_counts(scripts, monkeypatch):
    """Another Python may compute otherwise."""
    before = fingerprint("make", scripts=scripts)
    other = type("Version", (), {"major": 3, "minor": 99})
    monkeypatch.setattr(sys, "version_info", other)
    assert fingerprint("make", scripts=scripts) != before


def test_how_a_step_is_run_does_not_count_but_its_environment_does(scripts):
    """The module that runs steps is left out; the one that fixes their environment isn't."""
    change(scripts / "make.py", "import json", "import json\nfrom wrackline.step import step")
    files, _ = module._closure(scripts / "make.py", roots=(scripts, module.SCRIPTS))
    assert "wrackline.step" not in files
    assert "wrackline.environment" in files


def test_unknown_step_is_refused(scripts):
    """A rule that names a step that isn't there fails."""
    with pytest.raises(FileNotFoundError, match=r"absent\.py"):
        fingerprint("absent", scripts=scripts)


def test_stamp_sees_an_older_file_and_a_missing_one(tmp_path):
    """A replacement with an earlier date, and a removal, change the stamp of a file."""
    file = tmp_path / "points.xyz"
    file.write_text("1 2 3\n")
    first = stamp(file)
    assert stamp(file) == first
    os.utime(file, (time.time() - 1000, time.time() - 1000))
    second = stamp(file)
    file.unlink()
    assert len({first, second, stamp(file)}) == 3


def test_stamp_sees_companions_and_what_is_in_a_folder(tmp_path):
    """A table beside a shapefile, and a file in a data set that is a folder, count with it."""
    shapes, folder = tmp_path / "walls.shp", tmp_path / "walls.gdb"
    shapes.touch()
    folder.mkdir()
    stamps = [stamp(shapes, folder)]
    for name in ("walls.dbf", "walls.gdb/a.table"):
        (tmp_path / name).write_text("1")
        stamps.append(stamp(shapes, folder))
    (tmp_path / "walls.qgz").write_text("a project of whoever looked at it")
    assert len(set(stamps)) == 3
    assert stamp(shapes, folder) == stamps[-1]
