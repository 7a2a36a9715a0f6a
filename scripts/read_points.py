"""Read a survey of bed points and say what was found in it.

Writes `points.parquet`: columns `x`, `y`, `v` (float64, easting-like, northing-like and vertical,
in the file's own numbers), `row` (int64), `time` (float64, UTC seconds since 1970) where a time
column is configured, `sd` (float64, m) where a grid states it; empty when there is a fault. Writes
`verdict.json`: see `wrackline.verdict.Verdict`.
"""

from wrackline.intake.points import read_bed
from wrackline.model import Correction, Survey
from wrackline.step import step
from wrackline.verdict import Source, write_verdict


def main(job):
    source = Source(
        job.wildcards.survey,
        Survey.model_validate_json(job.params.survey),
        corrections=tuple(map(Correction.model_validate_json, job.params.corrections)),
    )
    verdict = read_bed(
        source,
        job.output.points,
        crs=job.params.crs,
        origin=tuple(job.params.origin),
    )
    write_verdict(verdict, job.output.verdict)


step(main, snakemake)
