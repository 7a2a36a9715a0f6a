"""Summarise the site: the sea level, rooms that share walls, ways through buildings, figures.

Writes tables of `wrackline.contract.TABLES` as CSV (`sea_level`, `flooding`, `adjacency`,
`access`, `summary`), and `summary.json`: figures, rows of two of these, techniques.
"""

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import write_json
from wrackline.model import Site
from wrackline.publish.access_table import access_table
from wrackline.publish.adjacency import adjacency_table
from wrackline.publish.sea_level import sea_level_table
from wrackline.publish.summary import document, summarise, summary_table
from wrackline.publish.tables import write_csv
from wrackline.rooms.flooding import flooding_table
from wrackline.step import step
from wrackline.walls.gather import gather_floors, read_models


def main(job):
    site = Site.model_validate_json(job.params.site)
    plan = dict(zip(PLAN_LAYERS, map(vectors.read, job.input.plan), strict=True))
    for layer in ("surveys", "waterlines"):
        plan[layer] = gpd.read_file(job.input.package, layer=layer)
    floors, models = gather_floors(job.input.floors, site.crs), read_models(job.input.errors)
    sea_level, flooding = (f(plan, floors, models, site) for f in (sea_level_table, flooding_table))
    figures = summarise(plan, pd.read_csv(job.input.deposit))
    write_csv(sea_level, job.output.sea_level)
    write_csv(flooding, job.output.flooding)
    write_csv(adjacency_table(plan, site.walls.wall_max_thickness_m), job.output.adjacency)
    write_csv(access_table(plan), job.output.access)
    write_csv(summary_table(figures), job.output.table, pairs={"value": "sd"})
    write_json(document(figures, sea_level, flooding, plan["surveys"]), job.output.summary)


step(main, snakemake)
