"""Make the demo's survey files from its truth, with the errors of real surveys.

Writes the survey files that the demo's seasons name, and the right answers beside them:
`truth.json` (figures, see `wrackline.demo.facts.answers`) and `truth.gpkg` (layers buildings,
rooms, wall_bodies, doorways and, where there are some, free_walls and features).
"""

from pathlib import Path
from typing import Any

import yaml

from wrackline.demo import make
from wrackline.step import step


def main(job: Any) -> None:
    truth = yaml.safe_load(Path(job.input.truth).read_text(encoding="utf-8"))
    make(truth, Path(), wanted=list(job.output))


step(main, snakemake)
