"""What a run is asked to do, as its two processes pass it on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Job:
    """One run.

    Attributes
    ----------
    site : Path
        Folder of the site, absolute.
    root : Path
        Folder of the Snakefile, absolute.
    cores : int or None
        Steps at work at once; as many as the machine has cores when None.
    check_only : bool
        Stop after the checks.
    surveys : tuple of str
        Surveys whose files alone are checked, by themselves; all, and together, when empty.
    built : Path or None
        The site itself, where this is its stand-in: nothing is built, and what would be is told.
    memory_mb : int
        What the steps that say how much memory they need may use together [MB].
    """

    site: Path
    root: Path
    cores: int | None = None
    check_only: bool = False
    surveys: tuple[str, ...] = ()
    memory_mb: int = 1500
    built: Path | None = None

    @property
    def log(self) -> Path:
        """What no step's own log holds: Snakemake's words, and those of a step that can't start."""
        return self.site / "logs" / "run.log"

    @property
    def records(self) -> Path:
        """One JSON object a line for each step of the last run."""
        return self.site / "logs" / "steps.jsonl"
