"""Same input, same bytes: whatever the cores, the folder, the dates, the place of the clock."""

import os
import shutil

import pytest
from run_helpers import files_in

from sites import REPOSITORY, built

LONG_AGO = 1_000_000_000


def differing(one, other):
    """Return the names of files that are missing or not alike in two sites' results."""
    left, right = files_in(one / "results"), files_in(other / "results")
    return sorted(name for name in left.keys() | right.keys() if left.get(name) != right.get(name))


def grow_old(folder):
    """Give every file under a folder a date of long ago."""
    for path in folder.rglob("*"):
        os.utime(path, (LONG_AGO, LONG_AGO))


@pytest.mark.slow
def test_rebuilt_elsewhere_on_one_core(hut, tmp_path):
    """A site copied without `work/`, dated anew, built on one core in another zone is the same."""
    site = tmp_path / "a folder with blanks" / "site"
    for part in ("config", "data"):
        shutil.copytree(hut / part, site / part)
    grow_old(site)
    built(site, cores=1, TZ="ABC+11", LC_ALL="C", PYTHONHASHSEED="7")
    assert len(files_in(site / "results")) > 25
    assert differing(hut, site) == []


@pytest.mark.slow
def test_gridded_in_many_jobs_the_record_is_the_same(hut, tmp_path):
    """Surveys sorted into tiles and gridded in shares, as large ones are, give the same results."""
    for part in ("config", "data"):
        shutil.copytree(hut / part, tmp_path / part)
    settings = tmp_path / "config" / "site.yaml"
    with settings.open("a", encoding="utf-8") as stream:
        stream.write("seabed:\n  job_raw_mb: 0.0005\n  tile_m: 5\n")
    built(tmp_path)
    records = (tmp_path / "logs" / "steps.jsonl").read_text(encoding="utf-8")
    assert records.count('"grid_tiles"') > 1
    assert differing(hut, tmp_path) == []
    assert not list((tmp_path / "work" / "seabed").glob("spill/*"))


@pytest.mark.slow
@pytest.mark.parametrize("cores", [1, 2])
def test_hamlet_on_one_core_and_on_two(hamlet, tmp_path, cores):
    """The hamlet, its survey files made anew as well, has the same bytes on one core and on two."""
    shutil.copytree(REPOSITORY / "tests" / "hamlet" / "config", tmp_path / "config")
    built(tmp_path, cores=cores, within_s=300)
    assert differing(hamlet, tmp_path) == []
    assert files_in(hamlet / "data") == files_in(tmp_path / "data")
