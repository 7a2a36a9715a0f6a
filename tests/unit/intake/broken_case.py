"""One malformed input: what was broken, what the config says of it, and who makes its file."""

from __future__ import annotations

import datetime as dt
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from wrackline.model import ControlValue, Correction

CRS = "EPSG:32625"
ORIGIN = (324400.0, 4207600.0)
DAY = dt.date(2031, 6, 9)


@dataclass(frozen=True)
class Case:
    """One input: what the config says of it, and who makes its file.

    Attributes
    ----------
    kinds : tuple of str
        Kinds of which one at least must be named; empty for a good input.
    maker : callable
        Writes the file (or files) into a folder.
    survey : dict
        Keys of the survey.
    control, corrections : tuple
        As `Source` takes them.
    """

    kinds: tuple[str, ...]
    maker: Callable[[Path], None]
    survey: dict[str, Any]
    control: tuple[ControlValue, ...] = ()
    corrections: tuple[Correction, ...] = ()

    def write(self, folder: Path) -> None:
        """Write the file (or files); what libraries say of what is broken is not wanted."""
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            self.maker(folder)
