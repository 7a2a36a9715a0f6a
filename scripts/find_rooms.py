"""Find the rooms and buildings of a view and measure them.

Writes one GeoParquet a layer of the plan, fields as in `wrackline.contract`, numbered by place;
and `team.json`: what became of each of the team's decisions.
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.contract import PLAN_LAYERS
from wrackline.io import read_json, write_json
from wrackline.model import Site
from wrackline.rooms.bed import bed_of
from wrackline.rooms.plan import Items, make_plan
from wrackline.rooms.view import prepare
from wrackline.step import step
from wrackline.walls import plausible
from wrackline.walls.gather import gather_floors, gather_items, read_models
from wrackline.walls.network import load
from wrackline.walls.team import as_record, from_record, read_team


def main(job):
    site = Site.model_validate_json(job.params.site)
    features = gather_items(job.input.features, site.crs)
    floors = gather_floors(job.input.floors, site.crs)
    items = Items(features, floors, read_models(job.input.item_errors))
    said = read_team(job.params.team)
    network = load(Path(job.input.edges).parent, said.order)
    outlines = plausible.load(job.input.outlines, len(network.phases))
    record, models = read_json(job.input.team), read_models(job.input.wall_errors)
    view = prepare(network, models, site, outlines, said.decisions, from_record(record))
    plan = make_plan(view, items, bed_of(job.input.surface, job.input.record))
    write_json(record | as_record(said.decisions, view.outcomes), job.output.team)
    for layer, path in zip(PLAN_LAYERS, job.output.plan, strict=True):
        vectors.write(plan[layer], contract.columns(layer), path)


step(main, snakemake)
