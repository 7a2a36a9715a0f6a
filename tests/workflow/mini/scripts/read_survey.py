"""Read one survey: whole numbers, one a line; what isn't one is a fault."""

import ctypes
import json
from pathlib import Path

from mini_parts import write_slowly

from wrackline.errors import Fault
from wrackline.step import step


def main(snakemake):
    file = Path(f"data/{snakemake.wildcards.survey}.txt")
    ctypes.CDLL(None).puts(b"said by a C library")
    numbers, faults = [], []
    for row, word in enumerate(file.read_text().split(), start=1):
        if word.lstrip("-").isdigit():
            numbers.append(int(word))
        else:
            fault = Fault(
                "no_number", repr(word), "whole numbers", "no sum", "mend it", str(file), row
            )
            faults.append(fault.as_dict())
    write_slowly(snakemake.output[0], json.dumps({"numbers": numbers, "faults": faults}))


step(main, snakemake)
