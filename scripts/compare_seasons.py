"""Draw the seasons side by side.

Writes `seasons.svg`, `.png` and, with what they show, `.csv` (`wrackline.contract.PICTURES`).
"""

import json
from pathlib import Path

import geopandas as gpd

from wrackline import vectors
from wrackline.io import read_json
from wrackline.publish.picture_style import save
from wrackline.publish.season_table import season_table
from wrackline.publish.seasons_picture import draw_seasons
from wrackline.publish.tables import write_csv
from wrackline.step import step


def main(job):
    seasons, source = job.params.seasons, job.input
    layers = {name: gpd.read_file(source.package, layer=name) for name in ("surveys", "tracings")}
    plans = {
        season: {"rooms": len(vectors.read(rooms)), "buildings": len(vectors.read(buildings))}
        for season, rooms, buildings in zip(seasons, source.rooms, source.buildings, strict=True)
    }
    events = {
        season: read_json(events) + read_json(states)["events"]
        for season, events, states in zip(seasons, source.events, source.states, strict=True)
    }
    surfaces = dict(zip(job.params.sounded, source.surfaces, strict=True))
    table = season_table(seasons, layers, plans, events, surfaces)
    write_csv(table, job.output.data)
    save(draw_seasons(table, json.loads(job.params.about)), [Path(p) for p in job.output.pictures])


step(main, snakemake)
