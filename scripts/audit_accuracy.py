"""Audit every survey of bed points against S-44, against the others and against itself.

Writes `audit.json`: `depths_below` (name of the sea level), `surveys` (cells, median depth, sd and
95 % uncertainty [m], S-44 by order and by its matrix, least thing shown, check of the stated random
sd, notes), `composite` (the same, null without a surface), `overlaps`, `notes`.
"""

from pathlib import Path

from wrackline.accuracy.audit import Audited, Composite, audit
from wrackline.io import read_json, write_json
from wrackline.model import SeaLevel
from wrackline.step import step


def main(job):
    files = zip(job.params.surveys, job.input.surfaces, job.input.errors, strict=True)
    surveys = [
        Audited(name, Path(surface), read_json(errors), job.params.resolutions[name])
        for name, surface, errors in files
    ]
    merged = zip(job.input.composite, job.input.record, strict=True)
    composites = [Composite(Path(path), read_json(record)["sources"]) for path, record in merged]
    overlaps = read_json(job.input.overlaps)
    level = SeaLevel.model_validate_json(job.params.level)
    found = audit(surveys, overlaps, level=level, composite=next(iter(composites), None))
    write_json(found, job.output.audit)


step(main, snakemake)
