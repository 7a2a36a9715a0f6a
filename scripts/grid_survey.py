"""Make the surface of one survey of bed points.

Writes a GeoTIFF with bands `height` (mean of the cell's points), `sd` (total), `sd_random`,
`count` [1], `spread` (sample sd within the cell) [m] and `filled` (1: interpolated).
"""

from wrackline.io import read_json
from wrackline.seabed.gridding import grid_survey
from wrackline.step import step
from wrackline.uncertainty import model_from_dict


def main(job):
    grid_survey(
        job.input.points,
        job.output.surface,
        model=model_from_dict(read_json(job.input.errors)["model"]),
        frame={
            "crs": job.params.crs,
            "vertical_datum": job.params.vertical_datum,
            "origin": tuple(job.params.origin),
        },
        cell_m=job.params.cell_m,
        fill_distance_m=job.params.fill_distance_m,
    )


step(main, snakemake)
