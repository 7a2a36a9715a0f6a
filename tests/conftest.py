"""Sites built once for all tests that look at what a whole run made. Puts `sites` on the path."""

import fcntl
import os
import shutil
from pathlib import Path

import pytest

from sites import REPOSITORY, built, hut_site


def shared(factory, name, make, within_s):
    """Return a site that `make` writes into a folder, built once for all processes of the tests.

    The first to ask builds it, others wait.
    """
    alone = "PYTEST_XDIST_WORKER" not in os.environ
    folder = factory.getbasetemp() if alone else factory.getbasetemp().parent
    site, half_built = folder / f"{name}_site", folder / f"{name}_half_built"
    with (folder / f"{name}.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not site.exists():
            shutil.rmtree(half_built, ignore_errors=True)
            make(half_built)
            built(half_built, within_s=within_s).rename(site)
    return site


def copy_config(config: Path):
    """Return what makes a site of nothing but a config."""
    return lambda folder: shutil.copytree(config, folder / "config")


@pytest.fixture(scope="session")
def hamlet(tmp_path_factory):
    """Build the hamlet of 14 buildings from its config alone, about 20 s; change nothing in it."""
    config = REPOSITORY / "tests" / "hamlet" / "config"
    return shared(tmp_path_factory, "hamlet", copy_config(config), 300)


@pytest.fixture(scope="session")
def demo(tmp_path_factory):
    """Build the whole demo from its config alone, which takes minutes; change nothing in it."""
    return shared(tmp_path_factory, "demo", copy_config(REPOSITORY / "config"), 900)


@pytest.fixture(scope="session")
def hut(tmp_path_factory):
    """Build the small site of `sites.hut_site`; copy it before changing anything."""
    return shared(tmp_path_factory, "hut", hut_site, 300)
