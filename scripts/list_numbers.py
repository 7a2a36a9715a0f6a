"""Publish the concordance of old numbers and new.

Writes the table `concordance` of `wrackline.contract.TABLES` as CSV.
"""

from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.tables import write_csv
from wrackline.registers import given_numbers
from wrackline.seasons.concordance import concordance
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    events = [event for path in job.input.events for event in read_json(path)]
    table = concordance(vectors.read(job.input.things), events, given_numbers(Path()), plan)
    write_csv(table, job.output.table)


step(main, snakemake)
