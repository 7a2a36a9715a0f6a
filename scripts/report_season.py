"""Write down what a season brought, changed and leaves to decide.

Writes `report.html`, `changes.png` and `changes.svg` (plan before, now, what changed), and the
tables `figures_moved.csv` and `to_decide.csv` (`wrackline.contract.TABLES`).
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.season_report import SeasonRecord
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    tables = "things", "readings", "sightings", "tracings"
    record = SeasonRecord(
        season=job.wildcards.season,
        earlier=job.params.before,
        about=json.loads(job.params.about),
        surveys=json.loads(job.params.surveys),
        plan=vectors.read_layers(PLAN_LAYERS, job.input.plan),
        before=vectors.read_layers(PLAN_LAYERS, job.input.before) or None,
        changed=[read_json(path) for path in job.input.changed],
        maps=[Path(path).read_bytes() for path in job.input.maps],
        **{name: vectors.read(getattr(job.input, name)) for name in tables},
        **{name: read_json(getattr(job.input, name)) for name in ("events", "states", "team")},
    )
    pictures = [Path(path) for path in job.output.pictures]
    record.draw(pictures)
    Path(job.output.page).write_text(record.page(pictures[0].read_bytes()), encoding="utf-8")
    write_csv(record.figures(), job.output.moved)
    write_csv(record.questions(), job.output.decide)


step(main, snakemake)
