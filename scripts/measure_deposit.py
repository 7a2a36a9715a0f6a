"""Measure the deposit between seabed and floor wherever a floor was met.

Writes `deposit.csv`: easting, northing, floor_height_m, bed_height_m, deposit_m, deposit_sd_m,
evidence, survey, line, room, null_because.
"""

from wrackline import vectors
from wrackline.publish.tables import write_csv
from wrackline.rooms.bed import bed_of
from wrackline.step import step
from wrackline.trenches.deposit import deposit_at
from wrackline.walls.gather import gather_floors, read_models


def main(job):
    table = deposit_at(
        gather_floors(job.input.floors, job.params.crs),
        read_models(job.input.errors),
        bed_of(job.input.surface, job.input.record),
        job.params.cell_m,
        vectors.read(job.input.rooms),
    )
    write_csv(table, job.output.table)


step(main, snakemake)
