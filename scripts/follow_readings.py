"""Follow the team's interpretations on to a season's plan, none of them ever dropped.

Writes `readings.parquet`: all readings made up to the season, each with the thing that it is about
now and why it should be looked at again (`wrackline.seasons.interpretations.reading_columns`).
"""

from wrackline import vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json
from wrackline.model import Interpretation
from wrackline.seasons.interpretations import Record, follow, reading_columns
from wrackline.step import step


def main(job):
    record = Record(
        season=job.wildcards.season,
        plan=vectors.read_layers(PLAN_LAYERS, job.input.plan),
        things=vectors.read(job.input.things),
        events=read_json(job.input.events),
    )
    rows = [
        (place, Interpretation.model_validate_json(text)) for place, text in job.params.readings
    ]
    before = vectors.read(job.input.before[0]) if job.input.before else None
    table = follow(before, rows, record, job.params.review_change_share)
    vectors.write(table, reading_columns(), job.output.readings)


step(main, snakemake)
