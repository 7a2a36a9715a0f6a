"""Damage done at random to good files, and a watch over what is opened while they are read."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from broken import CRS, GOOD, ORIGIN, survey_of
from hypothesis import strategies as st

from wrackline.intake.items import read_items
from wrackline.intake.points import read_bed
from wrackline.model import POINT_HOLDS
from wrackline.verdict import Source, Verdict

SPICE = [
    *(b",", b";", b"\n", b"\r", b'"', b"\x00", b"-9999", b"nan", b"1e400", b"=1+1", b"..", b"\xff"),
    *(b"' OR 1", b"<!ENTITY", b"99999999999999999999", b"", b"\xe2\x80\xae"),
]

_watched: list[tuple[str, list[str]]] = []


def damaged() -> Any:
    """Return a strategy for damage: where (share of the file), bytes that go, bytes that come."""
    one = st.tuples(
        st.floats(0, 1),
        st.integers(0, 40),
        st.one_of(st.sampled_from(SPICE), st.binary(max_size=12)),
    )
    return st.lists(one, min_size=1, max_size=4)


def verdict_of(name: str, damage: list[tuple[float, int, bytes]], folder: Path) -> Verdict:
    """Return the verdict on a good input after damage to its main file."""
    return read(damaged_source(name, damage, folder / "site"))


def damaged_source(name: str, damage: list[tuple[float, int, bytes]], site: Path) -> Source:
    """Write a good input into a new folder, damage its main file, and return its source."""
    shutil.rmtree(site, ignore_errors=True)
    site.mkdir(parents=True)
    case = GOOD[name]
    case.write(site)
    survey = survey_of(case)
    path = site / survey.file
    data = path.read_bytes()
    for share, gone, come in damage:
        at = round(share * len(data))
        data = data[:at] + come + data[at + gone :]
    path.write_bytes(data)
    return Source("2031-survey", survey, site, case.control, case.corrections)


def read(source: Source) -> Verdict:
    """Return what intake says of a source."""
    if source.survey.holds in POINT_HOLDS:
        return read_bed(source, source.folder / "out.parquet", crs=CRS, origin=ORIGIN)
    return read_items(source, crs=CRS, origin=ORIGIN)[1]


@contextmanager
def opened_elsewhere(folder: Path) -> Iterator[list[str]]:
    """Collect the paths of files that Python opens outside of a folder."""
    others: list[str] = []

    def see(event: str, arguments: tuple[Any, ...]) -> None:
        if event == "open" and _watched and isinstance(arguments[0], str):
            path = str(Path(arguments[0]).absolute())
            inside, seen = _watched[-1]
            if not path.startswith((inside, "/proc", "/dev", "/sys", "/usr/share/zoneinfo")):
                seen.append(path)

    if not getattr(opened_elsewhere, "installed", False):
        sys.addaudithook(see)  # can't be taken away again: it looks only while something watches
        opened_elsewhere.installed = True  # type: ignore[attr-defined]
    _watched.append((str(folder), others))
    try:
        yield others
    finally:
        _watched.pop()
