"""Publish the composite seabed as single-band rasters.

Writes cloud-optimised GeoTIFFs, float32: `height` and `sd` [m], `count` (soundings a cell, 0 where
filled), `source` (index into `sources` of the raster's tags), `slope` [degrees], `hillshade`.
"""

from wrackline.publish.rasters import publish_rasters
from wrackline.step import step


def main(job):
    publish_rasters(
        job.input.surface[0],
        job.input.record[0],
        pictures={"slope": job.input.slope, "hillshade": job.input.hillshade},
        outputs=dict(zip(job.params.names, job.output, strict=True)),
        crs=job.params.crs,
        vertical_datum=job.params.vertical_datum,
    )


step(main, snakemake)
