"""List the soundings that were set aside.

Writes the table `set_aside` of `wrackline.contract.TABLES` as CSV.
"""

from pathlib import Path

from wrackline.publish.set_aside_table import Gridded, set_aside_table
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    given = zip(
        job.params.surveys,
        job.params.files,
        job.input.surfaces,
        job.input.rejected,
        job.input.accounts,
        strict=True,
    )
    surveys = [Gridded(name, file, *map(Path, paths)) for name, file, *paths in given]
    write_csv(set_aside_table(surveys, tuple(job.params.origin)), job.output.table)


step(main, snakemake)
