"""Outline the trenches that had been dug by a season.

Writes `trenches.parquet`, fields of `wrackline.contract`, geometry polygons.
"""

from wrackline import contract, vectors
from wrackline.io import read_json
from wrackline.step import step
from wrackline.trenches.outlines import trench_table
from wrackline.walls.gather import gather_items


def main(job):
    items = gather_items(job.input.tables, job.params.crs)
    table = trench_table(items, [read_json(path) for path in job.input.errors], job.params.crs)
    vectors.write(table, contract.columns("trenches"), job.output.trenches)


step(main, snakemake)
