"""Draw the pictures for the text that follow from the plan as now known.

Writes `areas`, `depths`, `profile` and `access`, each as SVG and PNG, with what it shows as CSV
(`wrackline.contract.PICTURES`).
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.model import Site
from wrackline.publish.tables import write_csv
from wrackline.publish.text_pictures.drawn import DRAWN, picture_tables
from wrackline.publish.text_pictures.style import save
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    site, about = Site.model_validate_json(job.params.site), json.loads(job.params.about)
    tables = picture_tables(plan, site, job.input.surface)
    for path in map(Path, job.output.data):
        table = tables[path.stem]
        write_csv(table, path)
        made = DRAWN[path.stem](table, about)
        save(made, [p for p in map(Path, job.output.pictures) if p.stem == path.stem])


step(main, snakemake)
