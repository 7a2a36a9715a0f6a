"""Publish the plan as known after one season.

Writes `plan.gpkg`: the layers of `wrackline.contract.PLAN_LAYERS` with their fields.
"""

import json

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.publish.packages import write_package
from wrackline.step import step


def main(job):
    layers = {layer: vectors.read(path) for layer, path in zip(PLAN_LAYERS, job.input, strict=True)}
    about = json.loads(job.params.about)
    write_package(layers, job.output.package, crs=job.params.crs, about=about)


step(main, snakemake)
