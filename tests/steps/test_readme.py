"""What the README shows is run, so that it stays true."""

import os
import re
import subprocess
import sys

import numpy as np
import pytest
from PIL import Image

from sites import REPOSITORY

SNIPPETS = re.findall(
    r"```python\n(.*?)```", (REPOSITORY / "README.md").read_text(encoding="utf-8"), flags=re.DOTALL
)


@pytest.mark.parametrize("snippet", SNIPPETS)
def test_the_plan_is_drawn_from_the_package_alone(hamlet, tmp_path, snippet):
    """The README's lines, run beside `results/`, need nothing of the project and draw a plan."""
    (tmp_path / "results").symlink_to(hamlet / "results")
    environment = {**os.environ, "MPLBACKEND": "Agg", "PYTHONPATH": ""}
    command = [sys.executable, "-c", snippet]
    done = subprocess.run(
        command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert "wrackline" not in snippet
    with Image.open(tmp_path / "plan.png") as picture:
        tones = np.asarray(picture.convert("L"))
    assert 0.5 < (tones > 250).mean() < 0.999
