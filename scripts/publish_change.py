"""Publish the seabed's change between two seasons.

Writes the raster of change with datum, dates and caution in its tags, and a map of it as PNG.
"""

import json

from wrackline import vectors
from wrackline.io import read_json
from wrackline.publish.change_map import draw_change
from wrackline.publish.rasters import publish_change
from wrackline.step import step


def main(job):
    about, figures = json.loads(job.params.about), read_json(job.input.figures)
    plan = {"areas": vectors.read(job.input.areas), "rooms": vectors.read(job.input.rooms)}
    publish_change(job.input.raster, figures, about, job.output.raster)
    draw_change(job.input.raster, figures, plan, about, job.output.picture)


step(main, snakemake)
