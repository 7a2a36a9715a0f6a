"""Sites built once for all tests that look at what a whole run made. Puts `sites` on the path."""

import shutil

import pytest

from sites import REPOSITORY, built, hut_site


@pytest.fixture(scope="session")
def hamlet(tmp_path_factory):
    """Build the hamlet of 14 buildings from its config alone, about 20 s; change nothing in it."""
    folder = tmp_path_factory.mktemp("hamlet_site")
    shutil.copytree(REPOSITORY / "tests" / "hamlet" / "config", folder / "config")
    return built(folder, within_s=300)


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
