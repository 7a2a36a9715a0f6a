"""Find where each survey of a season looked, and where plants grew.

Writes `ground.parquet` (GeoParquet, `wrackline.seasons.looked.COLUMNS`).
"""

import json

from wrackline import vectors
from wrackline.seasons.looked import COLUMNS, season_grounds
from wrackline.step import step


def main(job):
    grounds = season_grounds(json.loads(job.params.traits), job.params.crs)
    vectors.write(grounds, COLUMNS, job.output.ground)


step(main, snakemake)
