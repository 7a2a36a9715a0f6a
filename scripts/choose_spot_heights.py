"""Choose the spot heights of a season's plan: wall tops, wall bases, floors and the seabed.

Writes `spot_heights.parquet`, fields of `wrackline.contract`, geometry PointZ with the height above
the datum; those to be put on a sheet first stand in front.
"""

from pathlib import Path

from wrackline import contract, vectors
from wrackline.model import Site
from wrackline.rooms.met_floors import MetFloors
from wrackline.seabed.sample import read_surface
from wrackline.seasons.spot_heights import Walls, spot_heights
from wrackline.step import step
from wrackline.walls.gather import gather_floors, read_models
from wrackline.walls.network import load_lines


def main(job):
    site = Site.model_validate_json(job.params.site)
    plan = vectors.read_layers(("wall_lines", "wall_bodies", "rooms", "buildings"), job.input.plan)
    lines = plan["wall_lines"]
    recorded = lines[lines["evidence"] != "inferred"].reset_index(drop=True)
    work = load_lines(Path(job.input.lines).parent)
    walls = Walls(recorded, work, read_models(job.input.wall_errors))
    floors = gather_floors(job.input.floors, site.crs)
    met = MetFloors(floors, read_models(job.input.floor_errors))
    bed = [read_surface(*pair) for pair in zip(job.input.surface, job.input.record, strict=True)]
    spots = spot_heights(plan, walls, met, next(iter(bed), None), site)
    vectors.write(spots, contract.columns("spot_heights"), job.output.spots)


step(main, snakemake)
