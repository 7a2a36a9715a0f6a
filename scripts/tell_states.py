"""Tell which rooms a season found lost, buried, overgrown or uncovered.

Writes `states.json`: the state of each room as last told, and the season's changes of state as
events (`wrackline.seasons.room_states.RoomStates`).
"""

from wrackline import vectors
from wrackline.io import read_json, write_json
from wrackline.seasons.outlines import outline_states
from wrackline.seasons.room_states import from_record, room_states
from wrackline.step import step


def main(job):
    rooms, sightings = vectors.read(job.input.rooms), vectors.read(job.input.sightings)
    before = from_record(read_json(job.input.before[0]) if job.input.before else None)
    outlines = outline_states(rooms, sightings)
    told = room_states(rooms, outlines, before, job.wildcards.season)
    write_json(told.as_record(), job.output.states)


step(main, snakemake)
