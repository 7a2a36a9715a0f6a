"""Join a view's wall lines into one network, each closing marked as inferred.

Writes `lines.parquet` (GeoParquet, `wrackline.walls.linework.LINE_COLUMNS`: the recorded lines,
repeats merged), `pieces.parquet` (straight stretches, recorded and inferred, with the vertices that
they are tied to) and `edges.parquet` (the planar network, with the piece that each edge lies on).
"""

import json
from pathlib import Path

from wrackline.model import WallSettings
from wrackline.step import step
from wrackline.walls.gather import gather_lines, read_models
from wrackline.walls.network import build_network, save


def main(job):
    traits = json.loads(job.params.traits)
    models = {model.survey: model for model in read_models(job.input.errors)}
    lines = gather_lines(traits, job.input.tables, job.params.crs)
    settings = WallSettings.model_validate_json(job.params.walls)
    save(build_network(lines, models, settings), Path(job.output.edges).parent, job.params.crs)


step(main, snakemake)
