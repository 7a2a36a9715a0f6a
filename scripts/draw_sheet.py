"""Draw the plan sheet of the whole site, to scale.

Writes `sheets/plan.pdf` and `sheets/plan.svg`.
"""

import json
from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.model import SheetSettings
from wrackline.publish.phases import as_last_stood
from wrackline.publish.sheet import Content, draw_sheet
from wrackline.publish.shrinking import shrunk
from wrackline.step import step


def main(job):
    sheet = SheetSettings.model_validate_json(job.params.sheet)
    plan = {layer: vectors.read(p) for layer, p in zip(PLAN_LAYERS, job.input.plan, strict=True)}
    phases = read_json(job.input.team)["phases"]
    content = Content(
        plan=as_last_stood(plan, phases),
        contours=vectors.read(job.input.contours[0]) if job.input.contours else None,
        waterlines=vectors.read(job.input.waterlines[0]) if job.input.waterlines else None,
        surveys=pd.DataFrame(gpd.read_file(job.input.package, layer="surveys")),
        about=json.loads(job.params.about),
        crs=job.params.crs,
        season=job.params.season,
        phases=phases,
        relief=shrunk(job.input.relief[0], ["local_relief"], 2000) if job.input.relief else None,
    )
    draw_sheet(content, sheet.paper, sheet.scale, [Path(path) for path in job.output])


step(main, snakemake)
