"""Draw the directions of the walls as a rose with their families.

Writes `orientation.svg`, `.png` and `.csv` of the pictures for the text, and the same table as
`tables/orientation.csv`, the table of `wrackline.contract.TABLES`.
"""

import json

from wrackline import vectors
from wrackline.publish.orientation import orientation_table
from wrackline.publish.tables import write_csv
from wrackline.publish.text_pictures.rose import draw_rose
from wrackline.publish.text_pictures.style import save
from wrackline.step import step


def main(job):
    table = orientation_table(vectors.read(job.input.walls))
    save(draw_rose(table, json.loads(job.params.about)), job.output.pictures)
    for path in (job.output.data, job.output.table):
        write_csv(table, path)


step(main, snakemake)
