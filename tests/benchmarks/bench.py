"""Measures what the project promises of its figures and of its pace: ``make bench``.

Prints a table and adds a row a figure to `history.csv`. A missed bar is shown, and fails nothing:
times depend on the machine.
"""

from __future__ import annotations

import csv
import datetime as dt
import os
import platform
import shutil
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import binning
import broken_walls
import corner_sites
import pandas as pd
import survey_scale
from clean_sites import accused, found_slips
from fuzz import fuzz
from large_day import large_day
from one_room_sites import rms, scores, share_within, simulate

ROOT = Path(__file__).resolve().parents[2]
HISTORY = Path(__file__).with_name("history.csv")
BIN = Path(sys.executable).parent
COLUMNS = ("date", "commit", "machine", "figure", "value", "bar")
SITES, SEED, PAIRS = 1000, 20311, 7
SAMPLE_S = 0.05
CLEAN_SITES, SLIP_SITES, FUZZ_S = 200, 20, 600.0
LARGE_MILLIONS = (20, 200)


@dataclass(frozen=True)
class Figure:
    """One measured figure, and between what it should lie where there is a bar."""

    name: str
    value: float
    least: float | None = None
    most: float | None = None

    @property
    def bar(self) -> str:
        """The bar in words, empty where there is none."""
        if self.most is None:
            return ""
        return f"{'up' if self.least is None else f'{self.least:g}'} to {self.most:g}"

    @property
    def kept(self) -> bool:
        """Whether the figure keeps its bar."""
        above = self.least is None or self.value >= self.least
        return above and (self.most is None or self.value <= self.most)


def calibration() -> Iterator[Figure]:
    """Hold figures of seeded one-room sites against the sd that they state."""
    for figure, z in scores(simulate(SITES, SEED)).items():
        barred = figure != "axis"
        within = (0.93, 0.97) if barred else (None, None)
        near_one = (0.9, 1.1) if barred else (None, None)
        yield Figure(f"{figure}: share within 1.96 sd of the truth", share_within(z), *within)
        yield Figure(f"{figure}: rms of error over sd", rms(z), *near_one)


def corners_covered() -> Iterator[Figure]:
    """Hold figures of seeded corners of the demo against the sd that they state, by regime."""
    for regime in corner_sites.REGIMES:
        corners = corner_sites.simulate(SITES, SEED, regime)
        for figure in corner_sites.FIGURES:
            z = corner_sites.scores_of(corners, figure)
            name = f"corners, {regime} errors, {figure}"
            yield Figure(f"{name}: share within 1.96 sd", share_within(z), 0.93, 0.97)
            yield Figure(f"{name}: rms of error over sd", rms(z))
            yield Figure(f"{name}: corners that have it", len(z))


def idle_run(site: Path) -> Iterator[Figure]:
    """Compare a run that has nothing to do with the start of Snakemake, taken in turns."""
    build = [BIN / "wrackline", "build", "--site", site]
    version = [BIN / "snakemake", "--version"]
    pairs = [(seconds(build), seconds(version)) for _ in range(PAIRS)]
    yield Figure("idle run, median [s]", statistics.median(ours for ours, _ in pairs))
    yield Figure("snakemake --version, median [s]", statistics.median(other for _, other in pairs))
    ratio = statistics.median(ours / other for ours, other in pairs)
    yield Figure("idle run over snakemake --version, median of ratios", ratio, most=2.5)


def seconds(command: list[str | Path]) -> float:
    """Return how long a command takes [s]."""
    start = time.perf_counter()
    subprocess.run(command, check=True, capture_output=True)
    return time.perf_counter() - start


def whole_demo(site: Path) -> Iterator[Figure]:
    """Build the demo from its config alone; leaves it built in a folder."""
    shutil.copytree(ROOT / "config", site / "config")
    taken, peak = watched([BIN / "wrackline", "build", "--site", site])
    yield Figure("demo from nothing [s]", taken, most=180)
    yield Figure("demo from nothing, peak memory of all processes [MB]", peak)


def watched(command: list[str | Path]) -> tuple[float, float]:
    """Return how long a command takes [s], and the most memory of all its processes [MB]."""
    start = time.perf_counter()
    with subprocess.Popen(command, stdout=subprocess.DEVNULL, process_group=0) as run:
        peak = Peak(run.pid)
        peak.start()
        code = run.wait()
    taken = time.perf_counter() - start
    peak.join()
    if code:
        raise RuntimeError(f"{command} ended with exit code {code}")
    return taken, peak.bytes / 1e6


def evening_check(folder: Path) -> Iterator[Figure]:
    """Check a large day from nothing, against merely reading its soundings with pandas."""
    file = large_day(folder / "large")
    start = time.perf_counter()
    pd.read_csv(file, parse_dates=["time"])
    reading = time.perf_counter() - start
    taken, peak = watched([BIN / "wrackline", "check", "--site", folder / "large"])
    yield Figure("check of 2e6 soundings and 5,000 wall points [s]", taken, most=60)
    yield Figure("the same, over pandas reading the soundings", taken / reading)
    yield Figure("the same, peak memory of all processes [MB]", peak, most=1000)


def slips_found() -> Iterator[Figure]:
    """Count clean sites that are accused, and planted slips that are found, 20 sites each."""
    clean = accused(CLEAN_SITES)
    share = sum(map(bool, clean)) / len(clean)
    yield Figure("clean sites with any suspicion, share", share, most=0.02)
    for name, found in found_slips(SLIP_SITES).items():
        yield Figure(f"found: {name}, share of sites", found / SLIP_SITES, 0.95, 1.0)


def damaged_files() -> Iterator[Figure]:
    """Damage good files at random for ten minutes; each ends in a verdict, or this in an error."""
    yield Figure("damaged files, all with a verdict", sum(fuzz(FUZZ_S).values()))


LEAST_F1 = {
    "centre": (0.999, 0.99, 0.97, 0.93, None),
    "face": (0.999, 0.98, 0.95, 0.90, None),
}
"""By how lines were drawn: what F1 should be, regime by regime."""


def rooms_from_walls() -> Iterator[Figure]:
    """Recover rooms from broken walls on simulated towns, beside the common way and the oracle."""
    bars = {
        (d, r): least
        for d in LEAST_F1
        for r, least in zip(broken_walls.REGIMES, LEAST_F1[d], strict=True)
    }
    for trial in broken_walls.table():
        name = f"rooms, {trial.maker}, {trial.drawn}, {trial.regime}"
        least = bars[trial.drawn, trial.regime]
        yield Figure(f"{name}: F1", trial.found.f1, least, None if least is None else 1.0)
        yield Figure(f"{name}: precision", trial.found.precision)
        yield Figure(f"{name}: F1 of the common way", trial.common)
        yield Figure(f"{name}: F1 of the oracle", trial.oracle.f1)
    lines, common, own = broken_walls.pace(1000)
    yield Figure(f"joining of {lines} lines, over GEOS noding", own / common, most=6)


def large_surveys() -> Iterator[Figure]:
    """Grid surveys of 20 and 200 million points, beside decoding; bin points beside libraries."""
    with tempfile.TemporaryDirectory() as folder:
        survey_scale.warm_up(Path(folder))
        told = {size: survey_scale.figures(size, Path(folder)) for size in LARGE_MILLIONS}
    small, large = (told[size] for size in LARGE_MILLIONS)
    bars = dict(zip(survey_scale.OVER_DECODING, (1.6, 3.0), strict=True))
    for name, value in large.items():
        most = 1500.0 if name == survey_scale.PEAK else bars.get(name)
        yield Figure(f"200 million points: {name}", value, most=most)
    for name in survey_scale.PER_MILLION:
        few, many = LARGE_MILLIONS
        marginal = (large[name] * many - small[name] * few) / (many - few)
        yield Figure(f"{name}: marginal over mean", marginal / large[name], 0.9, 1.1)
    for name, value in binning.figures().items():
        least = 8.0 if name == binning.OVER_SCIPY else None
        yield Figure(f"in memory: {name}", value, least, None if least is None else 1000.0)


class Peak(threading.Thread):
    """Watches the resident memory of all processes of a group until they have gone."""

    def __init__(self, group: int) -> None:
        super().__init__()
        self.group, self.bytes = group, 0

    def run(self) -> None:
        """Take samples until no process of the group is left."""
        while used := self._resident():
            self.bytes = max(self.bytes, used)
            time.sleep(SAMPLE_S)

    def _resident(self) -> int:
        pages = 0
        for stat in Path("/proc").glob("[0-9]*/stat"):
            try:
                fields = stat.read_text().rpartition(")")[2].split()
            except (FileNotFoundError, ProcessLookupError):
                continue
            if int(fields[2]) == self.group:
                pages += int(fields[21])
        return pages * os.sysconf("SC_PAGE_SIZE")


def measure() -> Iterator[Figure]:
    """Measure everything, the demo in a folder of its own."""
    yield from calibration()
    yield from corners_covered()
    with tempfile.TemporaryDirectory() as folder:
        site = Path(folder) / "demo"
        yield from whole_demo(site)
        yield from idle_run(site)
        yield from evening_check(Path(folder))
    yield from slips_found()
    yield from damaged_files()
    yield from rooms_from_walls()
    yield from large_surveys()


def commit() -> str:
    """Return the commit, with a plus where files have changed since; empty outside of git."""
    command = ["git", "-C", str(ROOT), "describe", "--always", "--dirty=+"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    return done.stdout.strip()


def note(figures: list[Figure]) -> None:
    """Add the figures to the history."""
    machine = f"{os.cpu_count()} cores {platform.machine()} Python {platform.python_version()}"
    about = (dt.datetime.now(dt.UTC).date().isoformat(), commit(), machine)
    new = not HISTORY.exists()
    with HISTORY.open("a", encoding="utf-8", newline="") as stream:
        rows = csv.writer(stream, lineterminator="\n")
        rows.writerows([COLUMNS] if new else [])
        rows.writerows((*about, f.name, f"{f.value:.4g}", f.bar) for f in figures)


def main() -> None:
    """Measure, print and note."""
    figures = []
    for figure in measure():
        figures.append(figure)
        verdict = "" if not figure.bar else "kept" if figure.kept else "MISSED"
        print(f"{figure.name:<58} {figure.value:>8.4g}  {figure.bar:<12} {verdict}", flush=True)
    note(figures)


if __name__ == "__main__":
    main()
