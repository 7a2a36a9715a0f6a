"""Draw a set of plan sheets, to scale.

Writes `sheets/<set>.pdf` with all sheets of the set, one SVG a sheet in `sheets/<set>/`, and the
set's rows of the sheet register.
"""

from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json, write_json
from wrackline.model import SheetSet, Site
from wrackline.publish.backdrop import picture_of
from wrackline.publish.language import Language
from wrackline.publish.phases import as_last_stood
from wrackline.publish.sheet import draw_set
from wrackline.publish.sheet_content import Content, marks_layer, with_round_depths
from wrackline.publish.sheet_register import register_rows
from wrackline.publish.shrinking import shrunk
from wrackline.step import step


def main(job):
    site = Site.model_validate_json(job.params.site)
    settings = SheetSet.model_validate_json(job.params.settings)
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    phases = read_json(job.input.team)["phases"]
    content = Content(
        plan=as_last_stood(plan, phases),
        surveys=pd.DataFrame(gpd.read_file(job.input.package, layer="surveys")),
        site=site,
        season=job.params.season,
        contours=vectors.read(job.input.contours[0]) if job.input.contours else None,
        waterlines=vectors.read(job.input.waterlines[0]) if job.input.waterlines else None,
        spots=vectors.read(job.input.spots),
        trenches=vectors.read(job.input.trenches),
        marks=marks_layer(job.params.marks, site.crs),
        relief=shrunk(job.input.relief[0], ["local_relief"], 2000) if job.input.relief else None,
        picture=picture_of(settings.picture, job.input.picture, job.params.survey, site.crs),
        phases=phases,
        settings=settings,
        words=Language.from_json(job.params.language),
    )
    if content.shows_depths and job.input.surface:
        content = with_round_depths(content, job.input.surface[0], job.params.contour_step_m)
    name = job.wildcards.sheets
    planned = draw_set(content, name, Path(job.output.pdf), Path(job.output.drawings))
    write_json(register_rows(planned, name), Path(job.output.register))


step(main, snakemake)
