"""Sites built once for all tests that look at what a whole run made. Puts `sites` on the path."""

import fcntl
import os
import shutil

import pytest

from sites import REPOSITORY, built, hut_site


@pytest.fixture(scope="session")
def hamlet(tmp_path_factory):
    """Build the hamlet of 14 buildings from its config alone, about 20 s; change nothing in it.

    Processes that share the tests share the hamlet: the first builds it, others wait.
    """
    alone = "PYTEST_XDIST_WORKER" not in os.environ
    folder = tmp_path_factory.getbasetemp() if alone else tmp_path_factory.getbasetemp().parent
    site, half_built = folder / "hamlet_site", folder / "hamlet_half_built"
    with (folder / "hamlet.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not site.exists():
            shutil.rmtree(half_built, ignore_errors=True)
            shutil.copytree(REPOSITORY / "tests" / "hamlet" / "config", half_built / "config")
            built(half_built, within_s=300).rename(site)
    return site


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Build the whole demo from its config alone, which takes minutes; change nothing in it."""
    folder = tmp_path_factory.mktemp("demo_site")
    shutil.copytree(REPOSITORY / "config", folder / "config")
    return built(folder, within_s=900)


@pytest.fixture(scope="session")
def hut(tmp_path_factory):
    """Build the small site of `sites.hut_site`; copy it before changing anything."""
    return built(hut_site(tmp_path_factory.mktemp("hut_site")))
