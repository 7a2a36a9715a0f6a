"""Draw the composite surface in the views that show walls.

Writes rasters of one band: `slope.tif` [degrees], `hillshade.tif` and `shade_around.tif` (light
from one and from four sides, 1 to 255), `local_relief.tif` (height above the trend) [m] and
`openness.tif` [degrees].
"""

from wrackline.seabed.relief import VIEW_UNITS
from wrackline.seabed.views import Reach, draw_views
from wrackline.step import step


def main(job):
    draw_views(
        job.input.surface,
        {name: getattr(job.output, name) for name in VIEW_UNITS},
        crs=job.params.crs,
        vertical_datum=job.params.vertical_datum,
        reach=Reach(job.params.trend_m, job.params.openness_m, job.params.openness_directions),
    )


step(main, snakemake)
