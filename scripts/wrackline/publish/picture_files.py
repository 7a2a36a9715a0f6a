"""Drawn figures as files whose bytes hang on their content alone: no date, no program's version."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from matplotlib.figure import Figure

UNSAID: Mapping[str, Mapping[str, None]] = {
    ".svg": dict.fromkeys(("Date", "Creator")),
    ".png": {"Software": None},
    ".pdf": dict.fromkeys(("CreationDate", "ModDate", "Producer", "Creator")),
}
"""What a file would say of its making, by its suffix."""


def write_figure(figure: Figure, path: Path | str, **more: Any) -> None:
    """Write a figure as SVG, PNG or PDF, equal bytes for equal figures.

    Parameters
    ----------
    figure : Figure
    path : Path or str
    **more
        As `Figure.savefig` takes it, e.g. ``dpi``; ``metadata`` is said beside what isn't.
    """
    path = Path(path)
    path.parent.mkdir(parents=True, exist_ok=True)
    told = {**UNSAID[path.suffix], **more.pop("metadata", {})}
    figure.savefig(path, metadata=told, **more)
