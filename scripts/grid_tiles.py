"""Grid a share of the tiles of a large survey.

Writes a plain GeoTIFF: `count`, `rejected` [1], `height` (mean), `spread`, `middle` (median),
`own_sd`, `upper_height`, `upper_spread` [m], `upper_count` and `amid` (2: two layers, 1: amid such)
of each cell; and the lone blunders (32-bit whole numbers in ticks, as the points have them).
"""

from wrackline.io import read_json
from wrackline.seabed.gridding import grid_share
from wrackline.seabed.tiles import work_of
from wrackline.step import step
from wrackline.uncertainty import model_from_dict


def main(job):
    work = work_of(
        model_from_dict(read_json(job.input.errors)["model"]),
        cell_m=job.params.cell_m,
        structure_max_m=job.params.structure_max_m,
        memory_mb=job.params.memory_mb,
    )
    share = int(job.wildcards.share), job.params.shares
    grid_share(job.input.spill, job.output.cells, work=work, share=share)


step(main, snakemake)
