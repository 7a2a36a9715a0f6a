"""Carry numbers from the seasons before to a season's plan.

Writes one GeoParquet a layer with lasting numbers (fields of `wrackline.contract`);
`things.parquet`: all that was ever numbered, each with its last outline (`THING_COLUMNS` of
`wrackline.seasons.carry`); and `events.json`, a list of what is new, split, merged, gone …
(`wrackline.seasons.events.EVENT_COLUMNS`).
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import write_json
from wrackline.registers import given_numbers
from wrackline.seasons.carry import THING_COLUMNS, carry
from wrackline.seasons.freezing import frozen_table
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    frozen = frozen_table(given_numbers(Path()), plan["rooms"].crs)
    things = vectors.read(job.input.before[0]) if job.input.before else None
    carried = carry(plan, things, frozen, job.wildcards.season, tuple(job.params.origin))
    for layer, path in zip(PLAN_LAYERS, job.output.plan, strict=True):
        vectors.write(carried.plan[layer], contract.columns(layer), path)
    vectors.write(carried.things, THING_COLUMNS, job.output.things)
    write_json(carried.records(), job.output.events)


step(main, snakemake)
