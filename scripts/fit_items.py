"""Bring a survey's lines, features or floor points into the site's CRS and height datum.

Writes `items.parquet` (GeoParquet): the same columns, geometry with heights above the datum [m],
NaN where none was taken. Writes `errors.json`: `model` (errors by cause), `from_date`, `to_date`,
`notes`.
"""

from wrackline import vectors
from wrackline.fit.items import errors_of, fit_items
from wrackline.io import read_json, write_json
from wrackline.model import Site, Survey
from wrackline.step import step
from wrackline.walls.linework import ITEM_COLUMNS


def main(job):
    name = job.wildcards.survey
    survey = Survey.model_validate_json(job.params.survey)
    site = Site.model_validate_json(job.params.site)
    items = fit_items(vectors.read(job.input.table), name, survey, site)
    vectors.write(items, ITEM_COLUMNS, job.output.table)
    adjustment = read_json(job.input.verdict)["adjustment"]
    model, notes = errors_of(name, survey, site, adjustment)
    dates = {"from_date": str(survey.from_date), "to_date": str(survey.to_date)}
    write_json({"model": model.as_dict(), "notes": notes, **dates}, job.output.errors)


step(main, snakemake)
