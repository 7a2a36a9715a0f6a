"""Draw the plan viewer. Writes `viewer.html`, one page with everything, which fetches nothing."""

import json
from pathlib import Path

import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.report_rooms import Houses
from wrackline.publish.shrinking import shrunk
from wrackline.publish.site import together
from wrackline.publish.viewer.facts import Told
from wrackline.publish.viewer.layers import layers_there, surveys_of
from wrackline.publish.viewer.page import RELIEF_PX, Viewer
from wrackline.rooms.bed import bed_of
from wrackline.step import step


def main(job):
    plan = vectors.read_layers(PLAN_LAYERS, job.input.plan)
    tables = map(pd.read_csv, (job.input.adjacency, job.input.interpretations, job.input.deposit))
    beds = bed_of(job.input.surface, job.input.record).inside(plan["rooms"].geometry)
    surveys = surveys_of(job.input.package)
    houses = Houses(plan, surveys, *tables, beds, pd.read_csv(job.input.access))
    events = [event for path in job.input.events for event in read_json(path)]
    changes = together("seabed_change_areas", job.input.changed, job.params.crs)
    viewer = Viewer(
        about=json.loads(job.params.about),
        told=Told(houses, events, vectors.read(job.input.condition)),
        more=layers_there(job.input.package) | {"changes": changes},
        phases=read_json(job.input.team)["phases"],
        shade=shrunk(job.input.shade[0], ["shade_around"], RELIEF_PX) if job.input.shade else None,
    )
    Path(job.output.page).write_text(viewer.html(), encoding="utf-8")


step(main, snakemake)
