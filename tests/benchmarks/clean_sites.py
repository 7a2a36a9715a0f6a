"""Seeded clean sites: how many are accused of anything, though every error is as stated.

The sites are those of `tests/unit/accuracy/cross_sites.py`; the bar is 2 % of them.
"""

from __future__ import annotations

import importlib
import sys
import tempfile
from pathlib import Path

SITES = Path(__file__).parents[1] / "unit" / "accuracy"
FIRST_SEED = 1000
"""Seeds from here on are not those that the checks were tried out on."""


def accused(count: int) -> list[list[str]]:
    """Return, for each of `count` clean sites, the suspicions raised, "survey kind" each."""
    sys.path.insert(0, str(SITES))
    sites = importlib.import_module("cross_sites")
    out: list[list[str]] = []
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(FIRST_SEED, FIRST_SEED + count):
            out.append(sites.accused(sites.check(sites.make(seed), Path(folder))))
    return out


def found_slips(count: int) -> dict[str, int]:
    """Return for each slip in how many of `count` sites it is found."""
    sys.path.insert(0, str(SITES))
    sites, slips = (importlib.import_module(name) for name in ("cross_sites", "cross_slips"))
    found = {}
    with tempfile.TemporaryDirectory() as folder:
        for name, slip in slips.SLIPS.items():
            found[name] = sum(
                slip.found in sites.accused(sites.check(slip.plant(sites.make(seed)), Path(folder)))
                for seed in range(count)
            )
    return found


if __name__ == "__main__":
    found = accused(200)
    for seed, kinds in enumerate(found, FIRST_SEED):
        if kinds:
            print(seed, kinds)
    print(f"{sum(map(bool, found))} of {len(found)} clean sites accused")
