"""Ten minutes of damage to good files of every kind: `python tests/benchmarks/fuzz.py [seconds]`.

Prints how many damaged files were read, and how they ended; ends with 1 at the first that did not
end in a verdict.
"""

from __future__ import annotations

import faulthandler
import sys
import tempfile
import time
import warnings
from collections import Counter
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "unit" / "intake"))

from broken import GOOD
from fuzzing import SPICE, verdict_of
from numpy.random import default_rng

HANGS_S = 120.0
"""A file that takes longer ends the run, with the place where it hangs."""


def damage(seed: int) -> list[tuple[float, int, bytes]]:
    """Return damage for one file: where, bytes that go, bytes that come."""
    rng = default_rng(seed)
    out = []
    for _ in range(rng.integers(1, 5)):
        spiced = rng.random() < 0.6
        come = SPICE[rng.integers(len(SPICE))] if spiced else rng.bytes(int(rng.integers(0, 13)))
        out.append((float(rng.random()), int(rng.integers(0, 41)), come))
    return out


def fuzz(seconds: float) -> Counter[str]:
    """Damage files for a while; return how they ended, by kind of input."""
    ends: Counter[str] = Counter()
    until, seed = time.monotonic() + seconds, 0
    with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
        warnings.simplefilter("error")
        while time.monotonic() < until:
            for name in GOOD:
                faulthandler.dump_traceback_later(HANGS_S, exit=True)
                try:
                    verdict = verdict_of(name, damage(seed), Path(folder))
                except BaseException:
                    print(f"no verdict: {name!r}, seed {seed}, damage {damage(seed)!r}")
                    raise
                ends[f"{name}: {'fault' if verdict.faults else 'read'}"] += 1
                seed += 1
    faulthandler.cancel_dump_traceback_later()
    return ends


if __name__ == "__main__":
    counted = fuzz(float(sys.argv[1]) if len(sys.argv) > 1 else 600.0)
    for end, count in sorted(counted.items()):
        print(f"{count:7d}  {end}")
    print(f"{sum(counted.values()):7d}  damaged files, all with a verdict")
