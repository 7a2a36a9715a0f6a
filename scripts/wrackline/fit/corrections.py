"""What to write into the config to bring a survey on to the baseline, as a person may decide."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wrackline.uncertainty import VERTICAL, ErrorModel


def config_lines(
    newer: ErrorModel, older: ErrorModel, plane: Mapping[str, Any], baseline: str | None
) -> str | None:
    """Return the lines for the survey of a pair that isn't the baseline; None without one.

    The tilt is left out where it is within its 95 % interval of 0.

    Parameters
    ----------
    newer, older : ErrorModel
        Of the two surveys.
    plane : mapping
        What `wrackline.fit.overlaps.plane_figures` found, newer minus older.
    baseline : str or None
        The survey that others are held against.

    Examples
    --------
    >>> base, photo = ErrorModel("2031-level", 0.0, 0.01), ErrorModel("2031-photo", 0.0, 0.02)
    >>> plane = {"offset_m": 0.0803, "offset_fit_sd_m": 0.004, "tilt_null_because": "one line"}
    >>> print(config_lines(photo, base, plane, "2031-level"))
    applied_offset:
      against: 2031-level
      height_m: -0.0803
      sd_m: 0.0040
      replaces: []
      why: fill in who decided, and on what grounds
    """
    if baseline not in (newer.survey, older.survey):
        return None
    moved, sign = (older, 1) if newer.survey == baseline else (newer, -1)
    base = newer if moved is older else older
    lines = [
        "applied_offset:",
        f"  against: {base.survey}",
        f"  height_m: {sign * plane['offset_m']:.4f}",
        f"  sd_m: {plane['offset_fit_sd_m']:.4f}",
        *(_tilt_lines(plane, sign) if _tilted(plane) else []),
        f"  replaces: [{', '.join(_replaced(moved, base))}]",
        "  why: fill in who decided, and on what grounds",
    ]
    return "\n".join(lines)


def _tilted(plane: Mapping[str, Any]) -> bool:
    if plane["tilt_null_because"]:
        return False
    return any(
        abs(plane[f"tilt_{towards}_mm_per_m"]) > 1.96 * plane[f"tilt_{towards}_fit_sd_mm_per_m"]
        for towards in ("east", "north")
    )


def _tilt_lines(plane: Mapping[str, Any], sign: int) -> list[str]:
    lines = []
    for towards in ("east", "north"):
        tilt = sign * plane[f"tilt_{towards}_mm_per_m"]
        lines.append(f"  tilt_{towards}_mm_per_m: {tilt:.4f}")
        sd = plane[f"tilt_{towards}_fit_sd_mm_per_m"]
        lines.append(f"  tilt_{towards}_sd_mm_per_m: {sd:.4f}")
    east, north = plane["pivot"]
    return [
        *lines,
        f"  tilt_correlation: {plane['tilt_correlation']:.3f}",
        f"  pivot: [{east:.1f}, {north:.1f}]",
    ]


def _replaced(moved: ErrorModel, base: ErrorModel) -> list[str]:
    """Return the sources of height shifts and tilts that the corrected survey no longer rests on.

    What the baseline rests on too stays: its error is then the baseline's.
    """
    kept = {part.name for part in base.named}
    names = [part.name for part in moved.named if part.kind in VERTICAL and part.name not in kept]
    sources = dict.fromkeys(name.split(":")[0] for name in names)
    return [source for source in sources if source != moved.survey]
