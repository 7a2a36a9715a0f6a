"""Draw the condition of the site: what became of its walls. Writes `condition.png` and `.svg`."""

import json

import pandas as pd

from wrackline import vectors
from wrackline.publish.condition_picture import draw_condition
from wrackline.step import step


def main(job):
    draw_condition(
        vectors.read(job.input.walls),
        vectors.read(job.input.buildings),
        pd.read_csv(job.input.table, dtype={"building": str, "season": str, "last_seen": str}),
        json.loads(job.params.about),
        job.output.pictures,
    )


step(main, snakemake)
