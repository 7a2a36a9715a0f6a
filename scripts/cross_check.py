"""Hold every survey against the others, the marks and the site, to find blunders of scale.

Writes `cross_check.json`: `faults`, `suspicions` and `accepted` (as `report.json` has them), and
`pairs`: the figures of every comparison [m], with their sds.
"""

from pathlib import Path

from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.io import read_json, write_json
from wrackline.model import Site, Survey
from wrackline.step import step


def main(job):
    files = zip(
        job.params.names, job.params.surveys, job.input.tables, job.input.verdicts, strict=True
    )
    surveys = [
        CheckedSurvey(
            name,
            Survey.model_validate_json(survey),
            Path(table),
            Path(),
            read_json(verdict)["adjustment"],
        )
        for name, survey, table, verdict in files
    ]
    site = Site.model_validate_json(job.params.site)
    write_json(cross_check(surveys, site), job.output.checked)


step(main, snakemake)
