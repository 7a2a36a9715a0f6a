"""Draw a set of plan sheets, to scale.

Writes `sheets/<set>.pdf` with all sheets of the set, one SVG a sheet in `sheets/<set>/`, and the
set's rows of the sheet register.
"""

from pathlib import Path

from wrackline.io import write_json
from wrackline.publish.sheets.register import register_rows
from wrackline.publish.sheets.sheet import draw_set
from wrackline.publish.sheets.source import read_content
from wrackline.step import step


def main(job):
    name = job.wildcards.sheets
    content = read_content(job.input, job.params)
    planned = draw_set(content, name, Path(job.output.pdf), Path(job.output.drawings))
    write_json(register_rows(planned, name), Path(job.output.register))


step(main, snakemake)
