"""Publish the team's interpretations as they stand on the plan as now known.

Writes the table `interpretations` of `wrackline.contract.TABLES` as CSV. A number that nothing ever
had is a fault, with the nearest one named.
"""

from wrackline import vectors
from wrackline.contract import table_columns
from wrackline.errors import ConfigError
from wrackline.publish.tables import write_csv
from wrackline.seasons.interpretations import unknown_numbers
from wrackline.step import step


def main(job):
    readings = vectors.read(job.input.readings)
    faults = unknown_numbers(readings, vectors.read(job.input.things))
    if faults:
        raise ConfigError(faults)
    write_csv(readings[list(table_columns("interpretations"))], job.output.table)


step(main, snakemake)
