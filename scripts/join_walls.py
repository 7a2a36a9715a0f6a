"""Join a view's wall lines into one network, each closing marked as inferred.

Writes `lines`, `pieces`, `edges.parquet` (recorded lines, straight stretches, the planar network:
`walls.network`), `sources`, `shares.parquet` (what places rest on: `walls.moved`),
`tracings.parquet` (every surveyed line: `walls.accounts`), `outlines.parquet` (`walls.plausible`),
`others.parquet` (lines that are no walls) and `team.json` (the team's word, and what needs it).
"""

import json
from pathlib import Path

from wrackline import vectors
from wrackline.io import write_json
from wrackline.model import WallSettings
from wrackline.step import step
from wrackline.walls import network, plausible
from wrackline.walls.accounts import TRACING_COLUMNS
from wrackline.walls.gather import gather_lines, read_models, told_apart
from wrackline.walls.joining import join_walls
from wrackline.walls.linework import ITEM_COLUMNS
from wrackline.walls.team import as_record, read_team


def main(job):
    models = {model.survey: model for model in read_models(job.input.errors)}
    settings = WallSettings.model_validate_json(job.params.walls)
    every = gather_lines(json.loads(job.params.traits), job.input.tables, job.params.crs)
    lines, others = told_apart(every, settings.no_walls)
    vectors.write(others[[*ITEM_COLUMNS, "geometry"]], ITEM_COLUMNS, job.output.others)
    joined = join_walls(lines, models, settings, team := read_team(job.params.team))
    network.save(joined.network, Path(job.output.edges).parent, job.params.crs)
    vectors.write(joined.tracings, TRACING_COLUMNS, job.output.tracings)
    plausible.save(joined.outlines, Path(job.output.outlines), job.params.crs)
    said = as_record(team.decisions, joined.outcomes)
    about = {"notes": joined.notes, "phases": joined.network.phases, "aside": joined.set_aside}
    about["disagree"] = joined.settled.notes
    write_json(said | about, job.output.team)


step(main, snakemake)
