"""Summarise the site: the sea level, rooms that share walls, ways through buildings, figures.

Writes tables of `wrackline.contract.TABLES` as CSV (`levels`, `sea_level`, `adjacency`, `access`,
`summary`), and `summary.json`: figures, techniques of surveys, rows of levels and of sea_level.
"""

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import write_json
from wrackline.model import Site
from wrackline.publish.access_table import access_table
from wrackline.publish.adjacency import adjacency_table
from wrackline.publish.levels import levels_table
from wrackline.publish.sea_level import sea_level_table
from wrackline.publish.summary import document, summarise, summary_table
from wrackline.publish.tables import write_csv
from wrackline.step import step
from wrackline.walls.gather import gather_floors, read_models


def main(job):
    site = Site.model_validate_json(job.params.site)
    plan = dict(zip(PLAN_LAYERS, map(vectors.read, job.input.plan), strict=True))
    for layer in ("surveys", "waterlines"):
        plan[layer] = gpd.read_file(job.input.package, layer=layer)
    floors, models = gather_floors(job.input.floors, site.crs), read_models(job.input.errors)
    sea_level, levels = sea_level_table(plan, floors, models, site), levels_table(site)
    figures = summarise(plan, pd.read_csv(job.input.deposit))
    write_csv(levels, job.output.levels)
    write_csv(sea_level, job.output.sea_level)
    write_csv(adjacency_table(plan, site.walls.wall_max_thickness_m), job.output.adjacency)
    write_csv(access_table(plan), job.output.access)
    write_csv(summary_table(figures), job.output.table, pairs={"value": "sd"})
    write_json(document(figures, sea_level, plan["surveys"], levels), job.output.summary)


step(main, snakemake)
