"""Audit every survey of bed points against S-44, against the others and against itself.

Writes `audit.json`: `depths_below` (name of the sea level), `surveys` (cells, median depth, sd and
95 % uncertainty [m], S-44 by order, check of the stated random sd, notes), `overlaps`, `notes`.
"""

from pathlib import Path

from wrackline.accuracy.audit import Audited, audit
from wrackline.io import read_json, write_json
from wrackline.model import SeaLevel
from wrackline.step import step


def main(job):
    files = zip(job.params.surveys, job.input.surfaces, job.input.errors, strict=True)
    surveys = [Audited(name, Path(surface), read_json(errors)) for name, surface, errors in files]
    overlaps = read_json(job.input.overlaps)
    level = SeaLevel.model_validate_json(job.params.level)
    write_json(audit(surveys, overlaps, level=level), job.output.audit)


step(main, snakemake)
