"""Carry numbers from the season before to a season's plan.

Writes one GeoParquet a layer with lasting numbers (fields of `wrackline.contract`), and
`changes.json`: by layer the numbers that are new, lost and kept, and all that were ever used.
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json, write_json
from wrackline.seasons.carry import carry
from wrackline.step import step


def main(job):
    plan = {
        layer: vectors.read(path) for layer, path in zip(PLAN_LAYERS, job.input.plan, strict=True)
    }
    before, used = None, {}
    if job.input.before:
        folder = Path(job.input.before[0]).parent
        before = {layer: vectors.read(folder / f"{layer}.parquet") for layer in PLAN_LAYERS}
        changed = read_json(folder / "changes.json")
        used = {layer: change["used"] for layer, change in changed.items()}
    numbered, changes = carry(plan, before, used, tuple(job.params.origin))
    for layer, path in zip(PLAN_LAYERS, job.output.plan, strict=True):
        vectors.write(numbered[layer], contract.columns(layer), path)
    write_json(changes, job.output.changes)


step(main, snakemake)
