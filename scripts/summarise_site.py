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
from wrackline.publish.site_tables import site_tables
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
    tables = site_tables(plan, floors, models, site)
    for name, table in tables.items():
        write_csv(table, getattr(job.output, name))
    figures = summarise(plan, pd.read_csv(job.input.deposit))
    write_csv(summary_table(figures), job.output.table, pairs={"value": "sd"})
    write_json(document(figures, tables, plan["surveys"]), job.output.summary)


step(main, snakemake)
