"""List all plan sheets.

Writes `tables/sheets.csv`, the sheet register: number, title, file and page, scale, paper,
language, revision, and what its scale promises beyond what the data hold.
"""

from wrackline.io import read_json
from wrackline.publish.sheets.register import register
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    rows = [row for path in job.input.registers for row in read_json(path)]
    write_csv(register(rows), job.output.table)


step(main, snakemake)
