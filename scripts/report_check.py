"""Gather what intake and the cross-check found into one report, for the run and for people.

Writes `report.json`: see `wrackline.accuracy.check_report`, with ``remeasure``, tomorrow's list,
and ``summary``, text for a terminal; and `report.html`: the same as a page with pictures.
"""

from pathlib import Path

from wrackline.accuracy.check_page import Page
from wrackline.accuracy.check_report import check_report, numbered, summary_text
from wrackline.accuracy.remeasure import remeasure
from wrackline.accuracy.sketches import sketch_survey
from wrackline.io import read_json, write_json
from wrackline.model import ControlValue, Site, Survey
from wrackline.step import step
from wrackline.verdict import read_verdict


def main(job):
    site = Site.model_validate_json(job.params.site)
    surveys = dict(
        zip(job.params.names, map(Survey.model_validate_json, job.params.surveys), strict=True)
    )
    control = list(map(ControlValue.model_validate_json, job.params.control))
    found = check_report(
        [read_verdict(path) for path in job.input.verdicts], read_json(job.input.cross_check)
    )
    sketches = [
        sketch_survey(name, survey, table, site)
        for (name, survey), table in zip(surveys.items(), job.input.tables, strict=True)
    ]
    found["remeasure"] = remeasure(
        numbered(found), sketches, surveys=surveys, site=site, control=control
    )
    write_json({**found, "summary": summary_text(found)}, job.output.report)
    page = Page(found, sketches, surveys, site, control).html()
    Path(job.output.page).write_text(page, encoding="utf-8")


step(main, snakemake)
