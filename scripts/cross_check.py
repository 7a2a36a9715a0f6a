"""Hold every survey against the others, the marks and the site, to find blunders of scale.

Writes `cross_check.json`: `faults`, `suspicions` and `accepted` (as `report.json` has them), and
`pairs`: the figures of every comparison [m], with their sds.
"""

from pathlib import Path

from wrackline.accuracy.cross_check import CheckedSurvey, cross_check
from wrackline.io import read_json, write_json
from wrackline.model import Site, Survey
from wrackline.seabed.stable_ground import stable_faults
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
    found = cross_check(surveys, site)
    path = job.input.stable[0] if job.input.stable else None
    stable = stable_faults(site.seabed.stable_ground, path, site.crs, site.origin)
    found["faults"] += [fault.as_dict() for fault in stable]
    write_json(found, job.output.checked)


step(main, snakemake)
