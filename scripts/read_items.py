"""Read a survey of wall lines, features or floor points and say what was found in it.

Writes `items.parquet` (GeoParquet): columns of `wrackline.walls.linework.ITEM_COLUMNS`, geometry in
the file's own numbers; empty when there is a fault. Writes `verdict.json`: see
`wrackline.verdict.Verdict`.
"""

from wrackline import vectors
from wrackline.intake.items import read_items
from wrackline.model import ControlValue, Correction, Survey
from wrackline.step import step
from wrackline.verdict import Source, write_verdict
from wrackline.walls.linework import ITEM_COLUMNS


def main(job):
    source = Source(
        job.wildcards.survey,
        Survey.model_validate_json(job.params.survey),
        control=tuple(map(ControlValue.model_validate_json, job.params.control)),
        corrections=tuple(map(Correction.model_validate_json, job.params.corrections)),
    )
    items, verdict = read_items(source, crs=job.params.crs, origin=tuple(job.params.origin))
    vectors.write(items, ITEM_COLUMNS, job.output.table)
    write_verdict(verdict, job.output.verdict)


step(main, snakemake)
