"""Write the report that a person opens first. Writes `report.html`, one page with everything."""

import json
from pathlib import Path

import geopandas as gpd
import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.report import Report
from wrackline.publish.report_rooms import Houses
from wrackline.publish.seabed_words import seabed_words, small_picture
from wrackline.rooms.bed import bed_of
from wrackline.step import step


def main(job):
    plan = dict(zip(PLAN_LAYERS, map(vectors.read, job.input.plan), strict=True))
    tables = map(pd.read_csv, (job.input.adjacency, job.input.interpretations, job.input.deposit))
    surveys = gpd.read_file(job.input.package, layer="surveys").drop(columns="geometry")
    beds = bed_of(job.input.surface, job.input.record).inside(plan["rooms"].geometry)
    records = "summary", "checked", "overlaps", "audit", "team"
    report = Report(
        about=json.loads(job.params.about),
        houses=Houses(plan, surveys, *tables, beds, pd.read_csv(job.input.access)),
        sources=dict(job.params.sources),
        seabed=seabed_words(job.input.surface, job.input.record),
        orientation=pd.read_csv(job.input.orientation),
        set_aside=pd.read_csv(job.input.set_aside),
        picture=small_picture(job.input.picture),
        uncertainty=small_picture(job.input.uncertainty),
        rose=small_picture(job.input.rose),
        **{name: read_json(getattr(job.input, name)) for name in records},
    )
    Path(job.output.page).write_text(report.html(), encoding="utf-8")


step(main, snakemake)
