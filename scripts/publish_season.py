"""Publish the plan as known after one season.

Writes `plan.gpkg`: the layers of `wrackline.contract.PLAN_LAYERS` with their fields.
"""

import json

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.publish.packages import write_package
from wrackline.seasons.interpretations import with_readings
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    layers = with_readings(plan, vectors.read(job.input.readings))
    about = json.loads(job.params.about)
    write_package(layers, job.output.package, crs=job.params.crs, about=about)


step(main, snakemake)
