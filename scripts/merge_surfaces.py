"""Merge the surfaces of surveys into that of a season, or of the whole site (composite).

Writes a GeoTIFF with the bands of `wrackline.seabed.merge.BANDS` and a share of each survey; and a
JSON: `sources`, `models`, `dates`, `own_sd` in the order of the band `source`, `pairs` (cells that
two surveys measured, and where they are apart), `cell_m`, `origin`, `crs`, `vertical_datum`, and
how surveys were joined.
"""

from pathlib import Path

from wrackline.seabed.merge import Merging, SurveySurface, merge_surfaces
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
        how=Merging(
            job.params.fill_distance_m,
            job.params.feather_m,
            job.params.change_sd_m_per_year,
            job.params.cell_m,
        ),
    )


step(main, snakemake)
