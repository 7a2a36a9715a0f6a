"""Tell which rooms are lost, buried, overgrown or uncovered after a season.

Writes `states.json`: the state of each room by the last word of all seasons so far on its walls,
and the changes of state as events (`wrackline.seasons.room_states.RoomStates`).
"""

from wrackline import vectors
from wrackline.io import read_json, write_json
from wrackline.seasons.condition import last_known
from wrackline.seasons.outlines import outline_states
from wrackline.seasons.room_states import from_record, room_states
from wrackline.step import step


def main(job):
    rooms, buildings = vectors.read(job.input.rooms), vectors.read(job.input.buildings)
    tables = map(vectors.read, job.input.sightings)
    sightings = dict(zip(job.params.seasons, tables, strict=True))
    before = from_record(read_json(job.input.before[0]) if job.input.before else None)
    outlines = outline_states(rooms, last_known(sightings, buildings))
    told = room_states(rooms, outlines, before, job.wildcards.season)
    write_json(told.as_record(), job.output.states)


step(main, snakemake)
