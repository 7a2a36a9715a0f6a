"""Draw the total vertical uncertainty of the composite seabed. Writes `uncertainty.png`."""

import json

from wrackline.publish.uncertainty_map import draw_uncertainty
from wrackline.step import step


def main(job):
    draw_uncertainty(job.input.surface, json.loads(job.params.about), job.output.picture)


step(main, snakemake)
