"""Scale the numbers of one survey; MINI_TROUBLE makes it fail in one of several ways."""

import ctypes
import json
import os
import signal
from pathlib import Path

from mini_parts import sum_of, write_slowly

from wrackline.errors import Fault, InputError
from wrackline.step import step


def main(snakemake):
    numbers = json.loads(Path(snakemake.input[0]).read_text())["numbers"]
    trouble = os.environ.get("MINI_TROUBLE", "")
    if trouble == "input":
        raise InputError(Fault("too_few", "1 number", "2 or more", "no mean", "survey more"))
    if trouble == "bug":
        raise ZeroDivisionError("nothing to divide by")
    if trouble == "killed":
        os.kill(os.getpid(), signal.SIGKILL)
    if trouble == "crash":
        os.kill(os.getpid(), signal.SIGSEGV)
    if trouble == "linger":
        ctypes.CDLL(None).prctl(1, 0)  # as an outside program does, live on when the run is killed
        os.environ["MINI_DELAY_S"] = "30"
    if trouble != "no output":
        total = snakemake.params.scale * sum_of(numbers)
        write_slowly(snakemake.output[0], f"{total}\n" * 1000)


step(main, snakemake)
