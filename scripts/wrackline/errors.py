"""One small error tree, and the four-part message that every fault carries.

A fault says what was found (with file and row), what is allowed, what it would do to the
result, and what to do about it. Faults of a run are collected and shown together; the kind
of error decides the exit code, so that a script can tell a slip in the config from a blunder
in the data and both from a mistake of ours.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from typing import Any, Literal

EXIT_OK = 0
EXIT_CONFIG = 2
EXIT_INPUT = 3
EXIT_BUSY = 4
EXIT_BUG = 70
EXIT_STOPPED = 130

Severity = Literal["fault", "suspicion"]


@dataclass(frozen=True)
class Fault:
    """One thing wrong (`fault`: stop) or doubtful (`suspicion`: go on, shown).

    Attributes
    ----------
    kind : str
        Short lasting name, e.g. ``unknown_key`` or ``no_rows``.
    found, allowed, consequence, remedy : str
        The four parts of the message, each a plain clause.
    file : str
        File as named in the config, or the config file itself; empty when none applies.
    row : int or None
        Row of a table (header is row 1), line of a text, or feature number from 1.
    survey : str
        Survey identifier, empty when none applies.
    severity : {"fault", "suspicion"}
    place : tuple of float or None
        Easting and northing to look at or to measure again: in the file's own numbers while its
        reader is at work, in the site's CRS in every verdict and report [m].
    depth_m : float or None
        Depth of that place below the site's sea level, where it is known [m].
    """

    kind: str
    found: str
    allowed: str
    consequence: str
    remedy: str
    file: str = ""
    row: int | None = None
    survey: str = ""
    severity: Severity = "fault"
    place: tuple[float, float] | None = None
    depth_m: float | None = None

    def text(self) -> str:
        """Return the message as a block of five short lines for a terminal."""
        where = self.file or "the site"
        if self.row is not None:
            where += f", row {self.row}"
        if self.survey:
            where += f" (survey {self.survey})"
        return (
            f"{self.severity.upper()} {self.kind} in {where}\n"
            f"  found:   {self.found}\n"
            f"  allowed: {self.allowed}\n"
            f"  effect:  {self.consequence}\n"
            f"  to do:   {self.remedy}"
        )

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-ready mapping, the inverse of `Fault(**mapping)`."""
        return asdict(self)


def fault_from_dict(record: Mapping[str, Any]) -> Fault:
    """Rebuild the fault that `Fault.as_dict` wrote, from JSON too."""
    place = record.get("place")
    return Fault(**{**record, "place": None if place is None else (place[0], place[1])})


class WracklineError(Exception):
    """A failure that a person can mend; carries all its faults and an exit code."""

    exit_code = EXIT_BUG

    def __init__(self, faults: Fault | Iterable[Fault]) -> None:
        self.faults = [faults] if isinstance(faults, Fault) else list(faults)
        super().__init__("\n\n".join(f.text() for f in self.faults))

    def as_dict(self) -> dict[str, Any]:
        """Return a JSON-ready mapping that `error_from_dict` reads back."""
        return {"error": type(self).__name__, "faults": [f.as_dict() for f in self.faults]}


class ConfigError(WracklineError):
    """What the site team wrote in `config/` can't be used as it stands."""

    exit_code = EXIT_CONFIG


class InputError(WracklineError):
    """A survey file, or what is in it, can't be used as it stands."""

    exit_code = EXIT_INPUT


class BusyError(WracklineError):
    """Another run, or a step that an interrupted run left behind, is at work on this site."""

    exit_code = EXIT_BUSY


def error_from_dict(record: Mapping[str, Any]) -> WracklineError:
    """Rebuild the error that `WracklineError.as_dict` wrote, e.g. in another process."""
    kinds = {kind.__name__: kind for kind in (ConfigError, InputError, BusyError)}
    kind = kinds.get(str(record["error"]), WracklineError)
    return kind(fault_from_dict(fault) for fault in record["faults"])
