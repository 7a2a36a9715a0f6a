"""Draw each building on a page of its own, to check on site. Writes `buildings.html`."""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.publish.building_pages import building_pages
from wrackline.step import step


def main(job):
    plan = {layer: vectors.read(p) for layer, p in zip(PLAN_LAYERS, job.input.plan, strict=True)}
    page = building_pages(plan, json.loads(job.params.about))
    Path(job.output.page).write_text(page, encoding="utf-8")


step(main, snakemake)
