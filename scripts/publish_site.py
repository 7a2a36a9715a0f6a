"""Publish the site as now known.

Writes `site.gpkg` with every layer of `wrackline.contract.LAYERS`, one CSV a layer, the list of
fields, and the statement of units, datum, sea level, dates and caution as `READ_ME.txt`.
"""

import json
from pathlib import Path

from wrackline import contract, vectors
from wrackline.publish.packages import write_package
from wrackline.publish.site import bed_lines, survey_layer, together
from wrackline.publish.tables import field_list, write_csv
from wrackline.publish.tracings import tracing_layer
from wrackline.publish.words import as_text
from wrackline.seasons.interpretations import with_readings
from wrackline.step import step


def main(job):
    crs, about = job.params.crs, json.loads(job.params.about)
    plan = vectors.read_layers(contract.PLAN_LAYERS, job.input.plan)
    layers = with_readings(plan, vectors.read(job.input.readings))
    layers |= vectors.read_layers(contract.BESIDE_PLAN, job.input.beside)
    layers["contours"] = bed_lines("contours", job.input.contours, crs)
    layers["waterlines"] = bed_lines("waterlines", job.input.waterlines, crs)
    layers["sightings"] = together("sightings", job.input.sightings, crs)
    layers["wall_condition"] = vectors.read(job.input.condition)
    layers["seabed_change_areas"] = together("seabed_change_areas", job.input.changed, crs)
    layers["tracings"] = tracing_layer(vectors.read(job.input.tracings), layers["wall_lines"])
    found = (job.params.surveys, job.input.verdicts, job.input.grounds)
    layers["surveys"] = survey_layer(*found, crs=crs)
    write_package(layers, job.output.package, crs=crs, about=about)
    for layer, path in zip(contract.LAYERS, job.output.tables, strict=True):
        write_csv(vectors.conform(layers[layer], contract.columns(layer)), path)
    write_csv(field_list(), job.output.fields)
    Path(job.output.statement).write_text(as_text(about) + "\n", encoding="utf-8")


step(main, snakemake)
