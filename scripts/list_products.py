"""List all products with their checksums.

Writes `manifest.json`: `about` (datum, sea level, dates, caution) and `files`, by path below
`results/` each with `sha256` and `bytes`.
"""

import json
from pathlib import Path

from wrackline.io import write_json
from wrackline.publish.manifest import every_file, manifest
from wrackline.step import step


def main(job):
    out = Path(job.output.manifest)
    listed = manifest(every_file(map(Path, job.input)), out.parent, json.loads(job.params.about))
    write_json(listed, out)


step(main, snakemake)
