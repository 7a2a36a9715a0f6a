"""Say what a season saw of every wall of its plan: seen, buried, overgrown, lost, or not.

Writes `sightings.parquet` (GeoParquet, the contract's layer `sightings`): one row a stretch of
wall of one status, with its evidence.
"""

import json

from wrackline import contract, vectors
from wrackline.model import WallSettings
from wrackline.seasons.gathered import gather_plan, gather_season
from wrackline.seasons.sightings import sight_walls
from wrackline.step import step


def main(job):
    settings = WallSettings.model_validate_json(job.params.walls)
    plan = gather_plan(
        job.input.plan, job.input.lines, job.input.wall_errors, settings.wall_max_thickness_m
    )
    season = gather_season(
        json.loads(job.params.traits),
        job.input.ground,
        job.input.tables,
        (job.input.surfaces, job.input.bed_errors),
        (settings, job.params.crs),
    )
    sightings = sight_walls(plan, season, job.wildcards.season)
    vectors.write(sightings, contract.columns("sightings"), job.output.sightings)


step(main, snakemake)
