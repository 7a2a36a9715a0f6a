"""Follow the condition of walls and buildings over all seasons.

Writes `wall_condition.parquet` (GeoParquet, the contract's layer): the walls as now known, cut
where what is last known of them changes. Writes `condition.csv`: one row a building and season.
"""

from wrackline import contract, vectors
from wrackline.publish.tables import write_csv
from wrackline.seasons.condition import condition_table, places_of, wall_condition
from wrackline.step import step


def main(job):
    seasons = list(job.params.seasons)
    tables = map(vectors.read, job.input.sightings)
    sightings = dict(zip(seasons, tables, strict=True))
    places = places_of(sightings, vectors.read(job.input.buildings))
    walls = wall_condition(places, sightings[seasons[-1]], seasons)
    vectors.write(walls, contract.columns("wall_condition"), job.output.walls)
    write_csv(condition_table(places, seasons), job.output.table)


step(main, snakemake)
