"""Draw the site's plan and, where it was sounded, its seabed.

Writes `plan.png` and `plan.svg`, and `seabed.png` where there is a surface.
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.phases import as_last_stood
from wrackline.publish.pictures import SEABED_PX, Seabed, draw_plan, draw_seabed
from wrackline.publish.shrinking import shrunk
from wrackline.step import step


def main(job):
    about = json.loads(job.params.about)
    plan = {layer: vectors.read(p) for layer, p in zip(PLAN_LAYERS, job.input.plan, strict=True)}
    contours = vectors.read(job.input.contours[0]) if job.input.contours else None
    phases = read_json(job.input.team)["phases"]
    paths = [Path(path) for path in job.output.plan]
    draw_plan(as_last_stood(plan, phases), contours, about, phases, paths)
    if job.input.surface:
        seabed = Seabed(
            height=shrunk(job.input.surface[0], ["height", "sd"], SEABED_PX),
            shade=shrunk(job.input.shade[0], ["shade_around"], SEABED_PX),
            relief=shrunk(job.input.relief[0], ["local_relief"], SEABED_PX),
            contours=contours,
        )
        draw_seabed(seabed, about, Path(job.output.seabed[0]))


step(main, snakemake)
