"""The hamlet of tests/hamlet, made once for the tests of this folder."""

from pathlib import Path

import pytest
import yaml

from wrackline.demo import make

ROOT = Path(__file__).parents[3]


@pytest.fixture(scope="module")
def truth():
    return yaml.safe_load(
        (ROOT / "tests" / "hamlet" / "config" / "demo.yaml").read_text(encoding="utf-8")
    )


@pytest.fixture(scope="module")
def made(truth, tmp_path_factory):
    folder = tmp_path_factory.mktemp("demo")
    make(truth, folder)
    return folder
