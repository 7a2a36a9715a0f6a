"""Draw the directions of the walls as a rose with their families.

Writes `orientation.png` and `orientation.svg`, and what they show as `orientation.csv`, the table
of `wrackline.contract.TABLES`.
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.publish.orientation import draw_orientation
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    walls = vectors.read(job.input.walls)
    pictures = [Path(path) for path in job.output.pictures]
    table = draw_orientation(walls, json.loads(job.params.about), pictures)
    write_csv(table, job.output.table)


step(main, snakemake)
