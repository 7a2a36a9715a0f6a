"""Draw the composite surface: slope, hillshade, contours and waterlines.

Writes `slope.tif` [degrees], `hillshade.tif` (1 to 255), `contours.parquet` (LineString; `height_m`
above the datum, `depth_m` below the named level) and `waterlines.parquet` (LineString; `sea_level`,
`height_m`), of today's seabed.
"""

from wrackline import vectors
from wrackline.model import SeaLevel
from wrackline.rasters import Band, read_raster, write_raster
from wrackline.seabed.contours import CONTOURS, WATERLINES, contours, waterlines
from wrackline.seabed.relief import hillshade, horn_gradient, slope_deg
from wrackline.step import step


def main(job):
    grid, bands = read_raster(job.input.surface)
    crs, datum = job.params.crs, job.params.vertical_datum
    gradient = horn_gradient(bands["height"], grid.cell_m)
    for band, path in (
        (Band("slope", "degree", slope_deg(*gradient)), job.output.slope),
        (Band("hillshade", "1", hillshade(*gradient)), job.output.hillshade),
    ):
        write_raster(path, [band], grid=grid, crs=crs, vertical_datum=datum, smooth=True)
    levels = [SeaLevel.model_validate_json(text) for text in job.params.sea_levels]
    below = next(level for level in levels if level.name == job.params.depths_below)
    step_m = job.params.contour_step_m
    drawn = contours(bands["height"], grid, step_m=step_m, level=below, crs=crs)
    vectors.write(drawn, CONTOURS, job.output.contours)
    drawn = waterlines(bands["height"], grid, levels=levels, crs=crs)
    vectors.write(drawn, WATERLINES, job.output.waterlines)


step(main, snakemake)
