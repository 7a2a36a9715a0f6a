"""Measure how the seabed changed between two seasons.

Writes a raster with the bands of `wrackline.seasons.seabed_change.BANDS`; the layer
`seabed_change_areas` of this pair; and figures as JSON: `earlier`, `later`, `dates`, `surveys`,
`site`, `dug`, `stable` (with `registration`), `trenches`, `rooms`, `buildings`: `cells`, `area_m2`,
`filled_share`, `mean_m`, `volume_m3`, their sds, `causes_m3`; `gross`, `detection`, `grounds_m2`.
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.io import write_json
from wrackline.seabed.sample import read_surface
from wrackline.seabed.stable_ground import read_stable
from wrackline.seasons.seabed_change import Change, measure_change, outlines_of, seasons_of
from wrackline.step import step


def main(job):
    told = job.params
    earlier, later = (read_surface(*files) for files in (job.input.earlier, job.input.later))
    stable = [read_stable(path, told.crs, told.origin) for path in job.input.stable]
    plan = {Path(path).stem: vectors.read(path) for path in job.input.plan}
    trenches = [vectors.read(path) for path in job.input.trenches]
    outlines = outlines_of(plan, trenches, stable[0] if stable else None)
    change = Change(earlier, later, outlines, told.crs, told.window_m)
    about = seasons_of(job.wildcards.earlier, earlier, job.wildcards.later, later)
    found = measure_change(
        change, job.output.raster, {**about, "vertical_datum": told.vertical_datum}
    )
    areas = found.pop("areas").assign(earlier=about["earlier"], later=about["later"])
    vectors.write(areas, contract.columns("seabed_change_areas"), job.output.areas)
    write_json({**about, **found, "area_count": len(areas)}, job.output.figures)


step(main, snakemake)
