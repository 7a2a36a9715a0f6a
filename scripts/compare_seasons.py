"""Draw the seasons side by side.

Writes `seasons.svg`, `.png` and, with what they show, `.csv` (`wrackline.contract.PICTURES`).
"""

import json

from wrackline import vectors
from wrackline.io import read_json
from wrackline.publish.tables import write_csv
from wrackline.publish.text_pictures.season_table import SeasonFacts, season_table
from wrackline.publish.text_pictures.seasons import draw_seasons
from wrackline.publish.text_pictures.style import save
from wrackline.step import step


def main(job):
    source, surfaces = job.input, dict(zip(job.params.sounded, job.input.surfaces, strict=True))
    plans = zip(source.grounds, source.rooms, source.buildings, strict=True)
    changes = zip(source.events, source.states, strict=True)
    seasons = [
        SeasonFacts(
            name,
            json.loads(surveys),
            vectors.read(ground),
            len(vectors.read(rooms)),
            len(vectors.read(buildings)),
            read_json(events) + read_json(states)["events"],
            surfaces.get(name),
        )
        for (name, surveys), (ground, rooms, buildings), (events, states) in zip(
            job.params.surveys, plans, changes, strict=True
        )
    ]
    table = season_table(seasons, vectors.read(source.tracings))
    write_csv(table, job.output.data)
    save(draw_seasons(table, json.loads(job.params.about)), job.output.pictures)


step(main, snakemake)
