"""A rehearsal tells what a build runs and what its data already fail, and touches nothing."""

import re
import shutil
import subprocess
import sys

import pytest
from run_helpers import Site, files_in
from test_incremental import add_season, later

from sites import built, rehearse, write_rows
from wrackline import lock


def everything(site):
    """Return the content, date and number on disk of every file of a site."""
    paths = [path for path in sorted(site.rglob("*")) if path.is_file()]
    return files_in(site), [(path.stat().st_mtime_ns, path.stat().st_ino) for path in paths]


def steps_in(text):
    """Return the steps that a rehearsal names, sorted."""
    part = re.search(r"A build would run .*? steps:\n(.*?)\n\n", text, re.DOTALL)
    lines = [re.split(r" {2,}", line[12:].strip())[0] for line in part[1].splitlines()]
    return sorted(lines)


@pytest.fixture
def site(hut, tmp_path):
    """Return a built site, with a season's data beside it and its file among drafts."""
    site = shutil.copytree(hut, tmp_path / "site")
    add_season(site)
    (tmp_path / "drafts").mkdir()
    (site / "config/seasons/2033.yaml").rename(tmp_path / "drafts/2033.yaml")
    return site


def test_a_season_with_a_blunder_is_refused_before_anything_is_built(site, tmp_path):
    """Its steps and its fault are told, with the exit code of a check; the site is as it was.

    A survey that is built is read anew as well, and what stands of it isn't written over.
    """
    write_rows(site / "data/2033/bed.csv", easting=["?"], northing=[4207610], height=[-3])
    later("data/floors.csv")(site)
    before = everything(site)
    ended = rehearse(site, season=tmp_path / "drafts/2033.yaml")
    assert ended.code == 3, ended.text
    assert "new      2033-bed" in ended.text
    assert "changed  2032-floors (changed file" in ended.text
    assert "read_points 2033-bed" in ended.text
    assert "data/2033/bed.csv" in ended.text[ended.text.index("FAULT") :]
    assert "all that is of 2031 alone" in ended.text.replace("\n", " ")
    assert everything(site) == before


def test_a_season_file_that_cannot_be_used_is_refused(site, tmp_path):
    """A misspelt key is named, a file that is nowhere as well; the site is as it was."""
    draft = tmp_path / "drafts" / "2033.yaml"
    draft.write_text(draft.read_text().replace("technique:", "tecnique:"))
    before = everything(site)
    ended = rehearse(site, season=draft)
    assert ended.code == 2
    assert "did you mean 'technique'" in ended.text
    assert rehearse(site, season=tmp_path / "drafts/2034.yaml").code == 2
    assert everything(site) == before


def test_a_rehearsal_waits_for_no_run_at_work(site):
    """While a run holds the site, what is there may change; so it says who is at work."""
    holder = "import sys, time; from pathlib import Path; from wrackline.lock import acquire; "
    holder += "acquire(Path(sys.argv[1])); print('held', flush=True); time.sleep(60)"
    command = [sys.executable, "-c", holder, site]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as run:
        assert run.stdout.readline() == "held\n"
        ended = rehearse(site)
        run.kill()
    assert (ended.code, str(run.pid) in ended.text) == (4, True)
    with lock.held_still(site):
        pass


@pytest.mark.slow
def test_a_build_runs_what_its_rehearsal_said(site, tmp_path):
    """Step by step; and after it there is nothing to do."""
    ended = rehearse(site, season=tmp_path / "drafts/2033.yaml", within_s=600)
    assert ended.code == 0, ended.text
    shutil.copy2(tmp_path / "drafts/2033.yaml", site / "config/seasons/2033.yaml")
    built(site, within_s=600)
    # the record of steps is of the whole run, its check included
    assert Site(site, site).steps() == steps_in(ended.text)
    assert "nothing to do" in rehearse(site).text
