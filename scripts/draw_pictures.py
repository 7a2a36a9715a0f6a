"""Draw the site's plan and, where it was sounded, its seabed.

Writes `plan.png` and `plan.svg`, and `seabed.png` where there is a surface.
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.phases import as_last_stood
from wrackline.publish.pictures import draw_plan, draw_seabed
from wrackline.rasters import read_raster
from wrackline.step import step


def main(job):
    about = json.loads(job.params.about)
    plan = {layer: vectors.read(p) for layer, p in zip(PLAN_LAYERS, job.input.plan, strict=True)}
    contours = vectors.read(job.input.contours[0]) if job.input.contours else None
    phases = read_json(job.input.team)["phases"]
    paths = [Path(path) for path in job.output.plan]
    draw_plan(as_last_stood(plan, phases), contours, about, phases, paths)
    if job.input.surface:
        grid, bands = read_raster(job.input.surface[0])
        _, shade = read_raster(job.input.hillshade[0])
        draw_seabed(grid, bands, shade["hillshade"], about, Path(job.output.seabed[0]))


step(main, snakemake)
