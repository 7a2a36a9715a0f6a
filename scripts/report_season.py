"""Write down what a season brought, changed and leaves to decide.

Writes `report.html`, the pictures `changes.png` and `changes.svg` (plan before, now, what changed),
and the tables `figures_moved.csv` and `to_decide.csv` (`wrackline.contract.TABLES`).
"""

import json
from pathlib import Path

import pandas as pd

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.publish.season_page import SeasonPage
from wrackline.publish.season_pictures import draw_changes
from wrackline.publish.tables import write_csv
from wrackline.seasons.events import EVENT_COLUMNS
from wrackline.seasons.moved import compared, moved
from wrackline.seasons.to_decide import questions
from wrackline.step import step


def main(job):
    plan, before = _plan(job.input.plan), _plan(job.input.before)
    events = read_json(job.input.events)
    notes = read_json(job.input.team)["notes"]
    decide = questions(plan, events, vectors.read(job.input.readings), notes)
    about = json.loads(job.params.about)
    season, earlier = job.wildcards.season, job.params.before
    pictures = [Path(path) for path in job.output.pictures]
    draw_changes(
        before, plan, events, {**about, "season": season, "season_before": earlier}, pictures
    )
    figures = moved(before, plan)
    things = vectors.read(job.input.things)
    page = SeasonPage(
        season=season,
        before=earlier,
        about=about,
        plan=plan,
        surveys=json.loads(job.params.surveys),
        events=pd.DataFrame(events, columns=list(EVENT_COLUMNS)),
        moved=figures,
        decide=decide,
        compared=compared(before, plan),
        unprinted=int((things["on_plan"] & (things["printed"].fillna("") == "")).sum()),
        picture=pictures[0].read_bytes(),
    )
    Path(job.output.page).write_text(page.html(), encoding="utf-8")
    write_csv(figures, job.output.moved)
    write_csv(decide, job.output.decide)


def _plan(files):
    layers = zip(PLAN_LAYERS, map(vectors.read, files), strict=True) if files else ()
    return dict(layers) or None


step(main, snakemake)
