"""The manifest: every product with its checksum, so that a copy can be checked."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import Any

from wrackline.io import sha256


def every_file(paths: Iterable[Path]) -> list[Path]:
    """Return files, and all files in folders, sorted.

    Parameters
    ----------
    paths : iterable of Path
    """
    found = [path.rglob("*") if path.is_dir() else [path] for path in paths]
    return sorted({path for part in found for path in part if path.is_file()})


def manifest(files: Iterable[Path], folder: Path, about: dict[str, str]) -> dict[str, Any]:
    """Return names, sizes and checksums of products, and the statement that goes with them.

    Parameters
    ----------
    files : iterable of Path
        Products, all below `folder`.
    folder : Path
        Where `results/` is made ready.
    about : dict
        Datum, sea level, dates, caution.
    """
    listed = {
        path.relative_to(folder).as_posix(): {
            "sha256": sha256(path),
            "bytes": path.stat().st_size,
        }
        for path in sorted(files)
    }
    return {"about": about, "files": listed}
