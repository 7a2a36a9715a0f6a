"""Products reach `results/` whole, last, and only when every step has succeeded.

The last step leaves a complete tree in ``work/publish/`` with a ``manifest.json`` that names every
file. Promotion copies what the manifest names beside `results/` and exchanges the two in one call,
so that whoever looks at `results/` at any moment sees one complete record, the last or the new.
A file that a person put into `results/` is theirs and stays.
"""

from __future__ import annotations

import ctypes
import json
import os
import shutil
from collections.abc import Iterator
from pathlib import Path, PurePosixPath

from wrackline.errors import Fault, WracklineError

MANIFEST = "manifest.json"
_AT_FDCWD = -100
_RENAME_EXCHANGE = 2
_SIDE_FILES = ("-wal", "-shm", "-journal")


class PromotionError(WracklineError):
    """The products are complete, but they can't be put in place."""


def promote(site: Path) -> bool:
    """Put the products in place, unless `results/` already holds them.

    Parameters
    ----------
    site : Path
        Folder of the site; ``work/publish/manifest.json`` is ``{"files": {path: {"bytes": ...}}}``.

    Returns
    -------
    bool
        True when `results/` was replaced.

    Raises
    ------
    PromotionError
        When the products can't be copied, e.g. because the disk is full; `results/` is untouched.
    """
    source = site / "work" / "publish"
    final, new, _ = _places(site)
    if is_current(source, final):
        return False
    try:
        _copy_products(source, new)
        _keep_foreign_files(final, new)
        exchange(new, final)
        _remove(new)
    except OSError as error:
        raise _cannot_promote(error) from error
    return True


def in_place(site: Path) -> bool:
    """Return whether `results/` already holds the products as they are."""
    return is_current(site / "work" / "publish", _places(site)[0])


def recover(site: Path) -> None:
    """Tidy up after a promotion that was cut short; `results/` is complete afterwards."""
    final, new, old = _places(site)
    if old.exists() and not final.exists():
        old.rename(final)
    _remove(new)
    _remove(old)


def is_current(source: Path, final: Path) -> bool:
    """Return whether `final` holds all that the manifest in `source` names, by size and date."""
    try:
        if (source / MANIFEST).read_bytes() != (final / MANIFEST).read_bytes():
            return False
        return all(_stamp(source / name) == _stamp(final / name) for name in _named(source))
    except (FileNotFoundError, NotADirectoryError):
        return False


def exchange(new: Path, final: Path) -> None:
    """Give `new` the name of `final`, and `final`, where there is one, the name of `new`.

    In one call where the file system can; otherwise by two renames, which `recover` completes
    when they are cut short.
    """
    if not final.exists():
        new.rename(final)
    elif not _exchange_at_once(new, final):
        old = final.with_name(final.name + ".old~")
        final.rename(old)
        new.rename(final)
        old.rename(new)


def _places(site: Path) -> tuple[Path, Path, Path]:
    """Return `results/`, wherever a link leads, and the names beside it used on the way."""
    final = (site / "results").resolve()
    return final, final.with_name(final.name + ".new~"), final.with_name(final.name + ".old~")


def _named(tree: Path) -> list[str]:
    """Return the paths that a tree's manifest names, the manifest itself last."""
    files = json.loads((tree / MANIFEST).read_text(encoding="utf-8"))["files"]
    for name in files:
        path = PurePosixPath(name)
        if path.is_absolute() or ".." in path.parts:
            raise ValueError(f"the manifest names {name!r}, which lies outside of the products")
    return [*files, MANIFEST]


def _copy_products(source: Path, new: Path) -> None:
    """Copy what the manifest names, down to the disk."""
    _remove(new)
    for name in _named(source):
        target = new / name
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(source / name, target)
        handle = os.open(target, os.O_RDONLY)
        os.fsync(handle)
        os.close(handle)


def _keep_foreign_files(final: Path, new: Path) -> None:
    """Carry over what people put into `results/`: what its own manifest doesn't name."""
    if not final.is_dir():
        return
    try:
        ours = set(_named(final))
    except (OSError, ValueError, KeyError, TypeError):
        ours = set()
    side_files = {name + suffix for name in ours for suffix in _SIDE_FILES}
    for file in _files(final):
        name = file.relative_to(final).as_posix()
        target = new / name
        if name in ours or name in side_files or target.exists():
            continue
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copy2(file, target, follow_symlinks=False)


def _files(folder: Path) -> Iterator[Path]:
    for root, _, names in os.walk(folder):
        for name in names:
            yield Path(root, name)


def _stamp(file: Path) -> tuple[int, int]:
    status = file.stat()
    return status.st_size, status.st_mtime_ns


def _exchange_at_once(new: Path, final: Path) -> bool:
    """Exchange two names in one call; False where the system or the file system can't."""
    call = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
    if call is None:
        return False
    arguments = (_AT_FDCWD, os.fsencode(new), _AT_FDCWD, os.fsencode(final), _RENAME_EXCHANGE)
    return int(call(*arguments)) == 0


def _remove(tree: Path) -> None:
    if tree.exists():
        shutil.rmtree(tree)


def _cannot_promote(error: OSError) -> PromotionError:
    return PromotionError(
        Fault(
            kind="results_not_written",
            found=str(error),
            allowed="room for a second copy of the products beside results/, and leave to write",
            consequence="all steps are done, but results/ is still the earlier record",
            remedy="make room or give leave to write, then run the same command again",
            file="results/",
        )
    )
