"""Sort the points of a large survey into tiles.

Writes a folder: `points.bin` (32-bit whole numbers in ticks of 0.1 mm), `runs.npy` (tile, first
point, number of points) and `spill.json`; see `wrackline.seabed.spill`.
"""

from wrackline.seabed.gridding import spill_survey
from wrackline.step import step


def main(job):
    spill_survey(
        job.input.points,
        job.output.spill,
        tuple(job.params.origin),
        cell_m=job.params.cell_m,
        tile_m=job.params.tile_m,
    )


step(main, snakemake)
