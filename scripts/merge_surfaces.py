"""Merge the surfaces of surveys into that of a season, or of the whole site (composite).

Writes a GeoTIFF with bands `height`, `sd`, `sd_random` [m], `count`, `source` (index into the
JSON's list) and `filled`, and a JSON: `sources`, `models`, `dates` in the order of that index,
`cell_m`, `origin`, `crs`, `vertical_datum`, `own_sd`, `fill_distance_m`.
"""

from pathlib import Path

from wrackline.seabed.merge import SurveySurface, merge_surfaces
from wrackline.step import step


def main(job):
    files = zip(job.params.surveys, job.input.surfaces, job.input.errors, strict=True)
    merge_surfaces(
        [SurveySurface(name, Path(raster), Path(errors)) for name, raster, errors in files],
        job.output.surface,
        name=job.wildcards.surface,
        frame={
            "crs": job.params.crs,
            "vertical_datum": job.params.vertical_datum,
            "origin": tuple(job.params.origin),
        },
        fill_distance_m=job.params.fill_distance_m,
    )


step(main, snakemake)
