"""Gather the verdicts on all surveys into one report.

Writes `report.json`: `surveys` (each verdict, with counts in place of its faults), `faults` and
`suspicions` of all surveys, each in four parts. A run stops when `faults` is not empty.
"""

from wrackline.io import write_json
from wrackline.step import step
from wrackline.verdict import read_verdict, report


def main(job):
    write_json(report(read_verdict(path) for path in job.input), job.output.report)


step(main, snakemake)
