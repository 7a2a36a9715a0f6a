"""Publish the seabed's change between all pairs of seasons as a table.

Writes `seabed_change.csv`, fields as in `wrackline.contract`: site, stable and dug ground, areas of
change, trenches, buildings and rooms.
"""

from wrackline.io import read_json
from wrackline.publish.change_table import change_areas, change_table
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    areas = change_areas(job.input.areas, job.params.crs)
    write_csv(
        change_table([read_json(path) for path in job.input.figures], areas), job.output.table
    )


step(main, snakemake)
