"""Draw contours and waterlines of the composite surface.

Writes `contours.parquet` and `waterlines.parquet`, LineStrings with the fields of
`wrackline.contract`, of today's seabed.
"""

from wrackline import vectors
from wrackline.io import read_json
from wrackline.model import Site
from wrackline.seabed.contours import CONTOURS, contours
from wrackline.seabed.waterlines import WATERLINES, waterlines
from wrackline.step import step
from wrackline.uncertainty import level_budget, model_from_dict


def main(job):
    site = Site.model_validate_json(job.params.site)
    models = [model_from_dict(one) for one in read_json(job.input.record)["models"]]
    drawn = contours(
        job.input.surface, step_m=job.params.contour_step_m, level=site.depth_level, crs=site.crs
    )
    vectors.write(drawn, CONTOURS, job.output.contours)
    levels = [(level, level_budget(level, site)) for level in site.sea_levels]
    drawn = waterlines(job.input.surface, models, levels=levels, crs=site.crs)
    vectors.write(drawn, WATERLINES, job.output.waterlines)


step(main, snakemake)
