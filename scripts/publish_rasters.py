"""Publish the composite seabed as single-band rasters.

Writes cloud-optimised GeoTIFFs, float32: `height` and `sd` [m], `count` (soundings a cell, 0 where
filled), `source` (index into `sources` of the raster's tags), and the views `slope` and `openness`
[degrees], `hillshade` and `shade_around` (1 to 255), `local_relief` [m]; all with datum, sea level,
dates and a caution in their tags.
"""

import json

from wrackline.publish.rasters import publish_rasters
from wrackline.step import step


def main(job):
    publish_rasters(
        job.input.surface[0],
        job.input.record[0],
        pictures=dict(zip(job.params.views, job.input.views, strict=True)),
        outputs=dict(zip(job.params.names, job.output, strict=True)),
        about=json.loads(job.params.about),
    )


step(main, snakemake)
