"""Tie the team's interpretations to the plan as now known.

Writes the table `interpretations` of `wrackline.contract.TABLES` as CSV.
"""

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.model import Interpretation
from wrackline.publish.tables import write_csv
from wrackline.seasons.interpretations import tie
from wrackline.step import step


def main(job):
    rows = [Interpretation.model_validate_json(text) for text in job.params.interpretations]
    plan = {layer: vectors.read(p) for layer, p in zip(PLAN_LAYERS, job.input.plan, strict=True)}
    write_csv(tie(rows, plan), job.output.table)


step(main, snakemake)
