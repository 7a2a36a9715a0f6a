"""Draw the plan as DXF, for draughtsmen.

Writes `plan.dxf`: walls, wall bodies, doorways, rooms, numbers, features, contours and waterlines
on layers in plain words, in metres, with what goes with the plan as notes beside it.
"""

import json

import geopandas as gpd

from wrackline import contract
from wrackline.io import read_json
from wrackline.publish.dxf import draw_dxf, write_dxf
from wrackline.step import step


def main(job):
    layers = [*contract.PLAN_LAYERS, "contours", "waterlines"]
    layers += [name for name in ("spot_heights", "trenches") if name in contract.LAYERS]
    plan = {name: gpd.read_file(job.input.package, layer=name) for name in layers}
    about = json.loads(job.params.about)
    drawn = draw_dxf(plan, read_json(job.input.team)["phases"], about)
    write_dxf(drawn, about, job.output.drawing)


step(main, snakemake)
