"""Summarise the site: the sea level, rooms that share walls, ways through buildings, figures.

Writes tables of `wrackline.contract.TABLES` as CSV (`levels`, `sea_level`, `flooding`, `adjacency`,
`access`, `summary`), and `summary.json`: figures, rows of three of these, techniques of surveys.
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
from wrackline.rooms.flooding import flooding_table
from wrackline.step import step
from wrackline.walls.gather import gather_floors, read_models


def main(job):
    site = Site.model_validate_json(job.params.site)
    plan = dict(zip(PLAN_LAYERS, map(vectors.read, job.input.plan), strict=True))
    for layer in ("surveys", "waterlines"):
        plan[layer] = gpd.read_file(job.input.package, layer=layer)
    floors, models = gather_floors(job.input.floors, site.crs), read_models(job.input.errors)
    tables = {
        "levels": levels_table(site),
        "sea_level": sea_level_table(plan, floors, models, site),
        "flooding": flooding_table(plan, floors, models, site),
        "adjacency": adjacency_table(plan, site.walls.wall_max_thickness_m),
        "access": access_table(plan),
    }
    for name, table in tables.items():
        write_csv(table, getattr(job.output, name))
    figures = summarise(plan, pd.read_csv(job.input.deposit))
    write_csv(summary_table(figures), job.output.table, pairs={"value": "sd"})
    write_json(document(figures, tables, plan["surveys"]), job.output.summary)


step(main, snakemake)
