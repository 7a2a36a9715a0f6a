"""What intake says of each survey's file, and what it says of all of them together.

Intake never fails: whatever is wrong with a file becomes a fault (the run stops, with all faults
shown) or a suspicion (the run goes on, with the doubt shown) in the survey's verdict.
"""

from __future__ import annotations

import difflib
from collections.abc import Callable, Iterable
from dataclasses import asdict, dataclass, field, replace
from pathlib import Path
from typing import Any

from wrackline.errors import Fault, fault_from_dict
from wrackline.io import read_json, sha256, write_json
from wrackline.model import ControlValue, Correction, Survey
from wrackline.survey_names import season_of

LEADING_ELSEWHERE = (b"<VRTDataset", b"<OGRVRTDataSource", b"<GDAL_WMS", b"<GDALTileIndexDataset")
"""Openings of files that hold no data, but lead to other files or to the network."""
HEAD_BYTES = 4096

LISTED = 20
"""Faults of one kind that are listed one by one; further ones are counted."""


TABLES = (".csv", ".xyz", ".txt", ".tsv", ".dat", ".pts")
"""Endings of text tables of bed points."""


@dataclass(frozen=True)
class Source:
    """One survey's file, as intake sees it.

    Attributes
    ----------
    name : str
        Identifier of the survey.
    survey : Survey
        Its config.
    folder : Path
        The site's folder, against which the file's name is read.
    control : tuple of ControlValue
        Values of `config/control.csv`, for a survey of observations.
    corrections : tuple of Correction
        Corrections of `config/corrections.csv` to this file.
    """

    name: str
    survey: Survey
    folder: Path = Path()
    control: tuple[ControlValue, ...] = ()
    corrections: tuple[Correction, ...] = ()

    @property
    def path(self) -> Path:
        """The survey's file."""
        return self.folder / self.survey.file

    @property
    def tabular(self) -> bool:
        """Whether the file is a text table, whose rows a person can look up."""
        return self.path.suffix.lower() in TABLES

    def fault(
        self,
        kind: str,
        *parts: str,
        row: int | None = None,
        file: str = "",
        at: tuple[float, float] | None = None,
    ) -> Fault:
        """Return a fault of this file from its four parts: found, allowed, effect, to do.

        `at` is where, in the file's own numbers.
        """
        found, allowed, consequence, remedy = parts
        where = file or self.survey.file
        return Fault(kind, found, allowed, consequence, remedy, where, row, self.name, "fault", at)

    def suspicion(
        self,
        kind: str,
        *parts: str,
        row: int | None = None,
        file: str = "",
        at: tuple[float, float] | None = None,
    ) -> Fault:
        """Return a suspicion about this file, like `fault`."""
        return replace(self.fault(kind, *parts, row=row, file=file, at=at), severity="suspicion")


class Problems:
    """Collects faults and suspicions: the first `LISTED` of each kind, and a count of the rest.

    Examples
    --------
    >>> problems = Problems()
    >>> slip = Fault("bad_cell", "'x'", "a number", "no position", "mend it", "a.csv", 2)
    >>> problems.add(slip, 40)
    >>> [fault.found for fault in problems.listed()]
    ["'x'", '40 more of this kind']
    """

    def __init__(self) -> None:
        self._kept: dict[str, list[Fault]] = {}
        self._more: dict[str, int] = {}

    def add(self, fault: Fault, more: int = 0) -> None:
        """Take in one fault, and `more` alike that need no message of their own."""
        kept = self._kept.setdefault(fault.kind, [])
        if len(kept) < LISTED:
            kept.append(fault)
        else:
            more += 1
        self._more[fault.kind] = self._more.get(fault.kind, 0) + more

    def extend(self, faults: Iterable[Fault]) -> None:
        """Take in several faults."""
        for fault in faults:
            self.add(fault)

    @property
    def fatal(self) -> bool:
        """Whether any of them is a fault and not a mere suspicion."""
        return any(f.severity == "fault" for kept in self._kept.values() for f in kept)

    def listed(self) -> list[Fault]:
        """Return all of them, by kind in order of first sight, each kind's rest as a count."""
        out: list[Fault] = []
        for kind, kept in self._kept.items():
            out += kept
            if self._more[kind]:
                out.append(_rest_of(kept[-1], self._more[kind]))
        return out

    def locate(self, place: Callable[[float, float], tuple[float, float] | None]) -> None:
        """Take the places of all of them from the file's own numbers to the site's CRS."""
        for kind, kept in self._kept.items():
            self._kept[kind] = [
                fault if fault.place is None else replace(fault, place=place(*fault.place))
                for fault in kept
            ]


def _rest_of(last: Fault, count: int) -> Fault:
    values = {**last.as_dict(), "found": f"{count} more of this kind", "row": None, "place": None}
    return Fault(**values)


@dataclass(frozen=True)
class Verdict:
    """What intake says of one survey's file.

    Attributes
    ----------
    survey, season, technique, holds, file : str
        As the config has them.
    sha256 : str or None
        Checksum of the file; None when it is missing or may not be read.
    bytes : int
        Size of the file.
    rows, used : int
        Rows (points, cells, features) seen, and those taken further.
    bounds : list of float or None
        Least and greatest x and y in the file's own numbers: xmin, ymin, xmax, ymax.
    vertical : list of float or None
        Least and greatest vertical number, in the file's own sense.
    faults, suspicions : list of Fault
        What stops the run, and what a person should look at.
    accepted : list of Fault
        Suspicions of kinds that the config accepts, with its reason as their remedy.
    adjustment : dict or None
        Of raw observations: what their adjustment found, with ``errors``, the named errors that
        the fit adds to the survey's own.
    """

    survey: str
    season: str
    technique: str
    holds: str
    file: str
    sha256: str | None = None
    bytes: int = 0
    rows: int = 0
    used: int = 0
    bounds: list[float] | None = None
    vertical: list[float] | None = None
    faults: list[Fault] = field(default_factory=list)
    suspicions: list[Fault] = field(default_factory=list)
    accepted: list[Fault] = field(default_factory=list)
    adjustment: dict[str, Any] | None = None

    def as_dict(self) -> dict[str, Any]:
        """Return JSON-ready values that `read_verdict` reads back."""
        return asdict(self)


def make_verdict(
    source: Source,
    problems: Problems,
    *,
    rows: int = 0,
    used: int = 0,
    bounds: list[float] | None = None,
    vertical: list[float] | None = None,
    adjustment: dict[str, Any] | None = None,
) -> Verdict:
    """Return the verdict on a survey's file, with its checksum and its faults sorted out.

    Parameters
    ----------
    source : Source
    problems : Problems
        All that was found wrong or doubtful.
    rows, used, bounds, vertical, adjustment
        See `Verdict`.
    """
    found = problems.listed()
    doubts, accepted = sort_accepted(
        source.survey, [fault for fault in found if fault.severity == "suspicion"]
    )
    there = source.path.is_file()
    return Verdict(
        survey=source.name,
        season=season_of(source.name),
        technique=source.survey.technique,
        holds=source.survey.holds,
        file=source.survey.file,
        sha256=_checksum(source.path) if there else None,
        bytes=source.path.stat().st_size if there else 0,
        rows=rows,
        used=used,
        bounds=bounds,
        vertical=vertical,
        faults=[fault for fault in found if fault.severity == "fault"],
        suspicions=doubts,
        accepted=accepted,
        adjustment=adjustment,
    )


def sort_accepted(survey: Survey, doubts: Iterable[Fault]) -> tuple[list[Fault], list[Fault]]:
    """Return suspicions that stand, and those of a kind that the survey's config accepts."""
    stand: list[Fault] = []
    accepted: list[Fault] = []
    for doubt in doubts:
        why = survey.accepted.get(doubt.kind)
        if why is None:
            stand.append(doubt)
        else:
            accepted.append(replace(doubt, remedy=f"accepted: {why}"))
    return stand, accepted


def file_there(source: Source, problems: Problems) -> bool:
    """Tell whether the survey's file is there and not empty; if not, say so in `problems`."""
    if source.path.is_dir():
        problems.add(_folder(source))
        return False
    if not source.path.is_file():
        names = sorted(path.name for path in source.path.parent.glob("*"))
        near = difflib.get_close_matches(source.path.name, names, n=1, cutoff=0.5)
        problems.add(
            source.fault(
                "file_missing",
                "no such file" + (f"; there is a '{near[0]}' in that folder" if near else ""),
                "the survey's file, where the season's config says",
                "the survey would be missing from the record",
                "put the file there, mend `file`, or take the survey out of the season",
            )
        )
        return False
    if source.path.stat().st_size == 0:
        problems.add(
            source.fault(
                "file_empty",
                "a file of 0 bytes",
                "a file with at least one row",
                "the survey would be missing from the record",
                "copy the file anew from the instrument or the archive",
            )
        )
        return False
    return not _leads_elsewhere(source, problems)


def _leads_elsewhere(source: Source, problems: Problems) -> bool:
    """Tell whether a file only leads to others, and say so; one that can't be read doesn't."""
    try:
        with source.path.open("rb") as stream:
            head = stream.read(HEAD_BYTES)
    except OSError:
        return False
    if not any(opening in head for opening in LEADING_ELSEWHERE):
        return False
    problems.add(
        source.fault(
            "leads_elsewhere",
            "a file that holds no data and leads to other files or to the network",
            "a file that holds its own data, inside the site's folder",
            "the record could not be rebuilt from the site's folder alone",
            "export the data themselves, as GeoPackage or GeoTIFF",
        )
    )
    return True


def _folder(source: Source) -> Fault:
    return source.fault(
        "not_a_file",
        "a folder",
        "one file",
        "the survey would be missing from the record",
        "name the file in it; export a database that is a folder as GeoPackage",
    )


def _checksum(path: Path) -> str | None:
    """Return a file's checksum, None where it may not be read: reading it says so in a fault."""
    try:
        return sha256(path)
    except OSError:
        return None


def write_verdict(verdict: Verdict, path: Path | str) -> None:
    """Write a verdict as JSON."""
    write_json(verdict.as_dict(), path)


def read_verdict(path: Path | str) -> Verdict:
    """Read a verdict that `write_verdict` wrote."""
    record = read_json(path)
    for key in ("faults", "suspicions", "accepted"):
        record[key] = [fault_from_dict(fault) for fault in record[key]]
    return Verdict(**record)


def report(verdicts: Iterable[Verdict]) -> dict[str, Any]:
    """Return the report over all surveys, in the order given.

    Parameters
    ----------
    verdicts : iterable of Verdict

    Returns
    -------
    dict
        ``surveys``: the verdicts with counts in place of their faults; ``faults`` and
        ``suspicions``: those of all surveys. A run stops when ``faults`` is not empty.
    """
    verdicts = list(verdicts)
    surveys = [
        {**v.as_dict(), "faults": len(v.faults), "suspicions": len(v.suspicions)} for v in verdicts
    ]
    return {
        "surveys": surveys,
        "faults": [fault.as_dict() for v in verdicts for fault in v.faults],
        "suspicions": [fault.as_dict() for v in verdicts for fault in v.suspicions],
    }
