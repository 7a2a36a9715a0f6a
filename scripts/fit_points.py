"""Bring a survey's bed points into the site's CRS and height datum.

Writes `points.laz`: eastings, northings, heights in steps of 0.1 mm [m], with `sd_m` where the file
states its own uncertainty; and `errors.json`: `model` (errors by cause), `rows`, `dropped`,
`from_date`, `to_date`, `notes`, `own_sd`.
"""

from wrackline.fit.points import Frame, fit_points
from wrackline.io import write_json
from wrackline.model import ErrorSource, HeightLink, Survey
from wrackline.step import step
from wrackline.verdict import Source


def main(job):
    survey = Survey.model_validate_json(job.params.survey)
    sources = map(ErrorSource.model_validate_json, job.params.error_sources)
    links = tuple(map(HeightLink.model_validate_json, job.params.height_links))
    names = dict.fromkeys([*survey.resting_on, *(link.error_source for link in links)])
    frame = Frame(
        crs=job.params.crs,
        vertical_datum=job.params.vertical_datum,
        origin=tuple(job.params.origin),
        error_sources=dict(zip(names, sources, strict=True)),
        height_links=links,
    )
    account = fit_points(
        job.input.points,
        job.output.points,
        source=Source(job.wildcards.survey, survey),
        frame=frame,
    )
    write_json(account, job.output.errors)


step(main, snakemake)
