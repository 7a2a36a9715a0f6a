"""Collect the faults of all surveys."""

import json
from pathlib import Path

from mini_parts import write_slowly

from wrackline.step import step


def main(snakemake):
    faults = [
        fault for file in snakemake.input for fault in json.loads(Path(file).read_text())["faults"]
    ]
    write_slowly(snakemake.output[0], json.dumps({"faults": faults, "suspicions": []}))


step(main, snakemake)
