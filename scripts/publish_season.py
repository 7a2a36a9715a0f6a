"""Publish the plan as known after one season.

Writes `plan.gpkg`: the layers of `wrackline.contract.PLAN_LAYERS`, then those of `BESIDE_PLAN`.
"""

import json

from wrackline import vectors
from wrackline.contract import BESIDE_PLAN, PLAN_LAYERS
from wrackline.publish.packages import write_package
from wrackline.seasons.interpretations import with_readings
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    layers = with_readings(plan, vectors.read(job.input.readings))
    layers |= vectors.read_layers(BESIDE_PLAN, job.input.beside)
    about = json.loads(job.params.about)
    write_package(layers, job.output.package, crs=job.params.crs, about=about)


step(main, snakemake)
