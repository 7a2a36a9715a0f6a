"""Compare every pair of surveys of bed points where they overlap.

Writes `overlaps.json`: `cell_m` of comparison [m], `baseline`, `pairs` with mean, median and NMAD
of height differences newer − older, the sd of the mean by cause [m], the plane through them (offset
and tilt) and what to write into the config to apply it, and `apart`, pairs without overlap.
"""

from pathlib import Path

from wrackline.fit.overlaps import Fitted, compare_overlaps
from wrackline.io import read_json, write_json
from wrackline.step import step


def main(job):
    files = zip(job.params.surveys, job.input.points, job.input.errors, strict=True)
    surveys = [Fitted(name, Path(points), read_json(errors)) for name, points, errors in files]
    write_json(
        compare_overlaps(
            surveys,
            origin=tuple(job.params.origin),
            cell_m=job.params.cell_m,
            baseline=job.params.baseline,
        ),
        job.output.overlaps,
    )


step(main, snakemake)
