"""Find the rooms and buildings of a view and measure them.

Writes one GeoParquet a layer (`wall_lines`, `wall_bodies`, `openings`, `rooms`, `buildings`,
`features`) with the fields of `wrackline.contract`, numbered by place.
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.model import Site
from wrackline.rooms.bed import bed_of
from wrackline.rooms.plan import Items, make_plan
from wrackline.step import step
from wrackline.walls.gather import gather_floors, gather_items, read_models
from wrackline.walls.network import load


def main(job):
    site = Site.model_validate_json(job.params.site)
    items = Items(
        gather_items(job.input.features, site.crs),
        gather_floors(job.input.floors, site.crs),
        read_models(job.input.item_errors),
    )
    network = load(Path(job.input.edges).parent)
    bed = bed_of(job.input.surface, job.input.record)
    plan = make_plan(network, read_models(job.input.wall_errors), site, items, bed)
    for layer, path in zip(PLAN_LAYERS, job.output, strict=True):
        vectors.write(plan[layer], contract.columns(layer), path)


step(main, snakemake)
