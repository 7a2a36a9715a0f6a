"""What may be trusted under `work/` before a run, and what must not stay there after it.

Before: a product is trusted only when Snakemake's own record of it is there, and describes the file
that is there. After: what no rule of the present site makes goes.
"""

from __future__ import annotations

import os
import secrets
import shutil
from collections.abc import Callable, Collection, Iterator
from pathlib import Path, PurePosixPath

BOND = "belongs-to.txt"
KEPT_LOGS = ("run.log", "steps.jsonl")
_SNAKEMAKE_LOGS_KEPT = 10

RecordedDate = Callable[[str], float | None]


def distrust_foreign_work(site: Path) -> bool:
    """Remove `work/` unless it belongs with the hidden records beside it.

    The same random mark lies in both. A site copied without hidden files, or over another,
    fails the comparison, and is rebuilt.

    Returns
    -------
    bool
        True when `work/` was removed.
    """
    hidden, open_ = site / ".snakemake" / BOND, site / "work" / BOND
    if hidden.is_file() and open_.is_file() and hidden.read_bytes() == open_.read_bytes():
        return False
    removed = open_.parent.exists()
    if removed:
        shutil.rmtree(open_.parent)
    mark = secrets.token_hex(16)
    for file in (hidden, open_):
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(mark + "\n", encoding="ascii")
    return removed


def untrusted(site: Path, *, products: Collection[str], recorded_date: RecordedDate) -> list[str]:
    """Return the products that are not there, or not as Snakemake's record describes them.

    Snakemake itself makes such a product again only when something else asks for it.

    Parameters
    ----------
    site : Path
        Folder of the site.
    products : collection of str
        What the present rules make, relative to the site.
    recorded_date : callable
        Gives, for a product, the date that its record states, in seconds, or None when there is
        no record.

    Returns
    -------
    list of str
        Sorted; empty when all can be trusted.
    """
    return sorted(
        name
        for name in products
        if (stated := recorded_date(name)) is None or stated != _date(site / name)
    )


def _date(product: Path) -> float | None:
    """Return the date that Snakemake goes by: of a folder, that of the stamp it leaves in it."""
    file = product / ".snakemake_timestamp" if product.is_dir() else product
    try:
        return file.lstat().st_mtime
    except FileNotFoundError:
        return None


def sweep(site: Path, *, products: Collection[str], logs: Collection[str]) -> list[str]:
    """Remove files under `work/` and `logs/` that no present rule makes, and empty folders.

    Parameters
    ----------
    site : Path
        Folder of the site.
    products, logs : collection of str
        What the present rules make, relative to the site; a folder stands for all in it.

    Returns
    -------
    list of str
        The files removed, relative to the site.
    """
    keep = {f"work/{BOND}", *(f"logs/{name}" for name in KEPT_LOGS), *products, *logs}
    stale = [
        name
        for top in ("work", "logs")
        for name in _walk(site, top)
        if keep.isdisjoint([name, *_folders(name)])
    ]
    for name in stale:
        (site / name).unlink()
    for top in ("work", "logs"):
        _remove_empty_folders(site / top)
    return sorted(stale)


def _folders(name: str) -> list[str]:
    """Return the folders that a path lies in, the innermost first."""
    return [parent.as_posix() for parent in PurePosixPath(name).parents][:-1]


def prune_snakemake(site: Path) -> None:
    """Remove what Snakemake lets pile up: logs but the newest, and scripts of killed steps."""
    hidden = site / ".snakemake"
    logs = sorted((hidden / "log").glob("*.snakemake.log"))
    scripts = list((hidden / "scripts").glob("tmp*"))
    for file in [*logs[:-_SNAKEMAKE_LOGS_KEPT], *scripts]:
        file.unlink()


def _walk(site: Path, top: str) -> Iterator[str]:
    """Yield every file under a folder of the site, by its path relative to the site."""
    for root, _, names in os.walk(site / top):
        folder = Path(root).relative_to(site).as_posix()
        yield from (f"{folder}/{name}" for name in names)


def _remove_empty_folders(top: Path) -> None:
    for root, _, _ in os.walk(top, topdown=False):
        folder = Path(root)
        if folder != top and not any(folder.iterdir()):
            folder.rmdir()
