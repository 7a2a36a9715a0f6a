"""Read a survey of bed points and say what was found in it.

Writes `points.parquet`: columns `x`, `y`, `v` (float64, easting-like, northing-like and vertical,
in the file's own numbers), `row` (int64), `time` (float64, UTC seconds since 1970) where a time
column is configured, `sd` (float64, m) where a grid states it; empty when there is a fault. Writes
`verdict.json`: see `wrackline.verdict.Verdict`.
"""

from pathlib import Path

from wrackline.intake.points import read_bed
from wrackline.model import Survey
from wrackline.step import step
from wrackline.verdict import Source, write_verdict


def main(job):
    survey = Survey.model_validate_json(job.params.survey)
    verdict = read_bed(
        Source(job.wildcards.survey, survey, Path()),
        job.output.points,
        crs=job.params.crs,
        origin=tuple(job.params.origin),
    )
    write_verdict(verdict, job.output.verdict)


step(main, snakemake)
