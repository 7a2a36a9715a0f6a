"""Make the surface of one survey of bed points.

Writes a GeoTIFF with bands `height`, `sd` (total), `sd_random`, `spread` (sample sd in the cell),
`middle` (median), `distance_m` (to a measured cell), `canopy` (what lay above the bed) [m],
`count`, `rejected` [1], `filled` (1: interpolated), `surface` (1 bed, 2 canopy, 3 structure); what
was set aside (Parquet: `easting`, `northing`, `height` [m], `row`); and `points`, `lone`, `blocks`.
"""

from wrackline.io import read_json
from wrackline.seabed.gridding import Settings, grid_survey
from wrackline.seabed.set_aside import write_set_aside
from wrackline.step import step
from wrackline.uncertainty import model_from_dict


def main(job):
    told = job.params
    found = grid_survey(
        job.input.points,
        job.output.surface,
        model=model_from_dict(read_json(job.input.errors)["model"]),
        frame={
            "crs": told.crs,
            "vertical_datum": told.vertical_datum,
            "origin": tuple(told.origin),
        },
        settings=Settings(
            cell_m=told.cell_m,
            fill_distance_m=told.fill_distance_m,
            structure_max_m=told.structure_max_m,
            tile_m=told.tile_m,
            memory_mb=told.memory_mb,
        ),
        shares=list(job.input.shares),
    )
    write_set_aside(found, job.output.rejected, job.output.account)


step(main, snakemake)
