"""Point clouds: LAS and LAZ, ground points where they are classified, else all but noise."""

from __future__ import annotations

import struct
from collections.abc import Iterator
from pathlib import Path

import laspy
import numpy as np
from pyproj import CRS
from pyproj.exceptions import CRSError

from wrackline.intake.readings import Reading
from wrackline.verdict import Problems, Source

GROUND = (2, 40)
"""Classes of the LAS specification (1.4 R15): ground, and bathymetric point."""
NOISE = (7, 18)
CHUNK = 1_000_000


def read_cloud(source: Source, problems: Problems, *, chunk: int = CHUNK) -> Iterator[Reading]:
    """Yield a survey's point cloud in chunks.

    Parameters
    ----------
    source : Source
    problems : Problems
        Told of other classes that were left out.
    chunk : int
        Points a chunk.
    """
    check_header(source.path)
    ground = _has_ground(source, chunk)
    left_out = first = 0
    with laspy.open(source.path) as stream:
        for record in stream.chunk_iterator(chunk):
            classes = np.asarray(record.classification)
            keep = np.isin(classes, GROUND) if ground else ~np.isin(classes, NOISE)
            left_out += int((~keep).sum())
            row = np.arange(first + 1, first + 1 + len(classes), dtype=np.int64)
            x, y, z = (np.asarray(a, dtype=float)[keep] for a in (record.x, record.y, record.z))
            yield Reading(x, y, z, row[keep], len(classes))
            first += len(classes)
    if left_out:
        problems.add(
            source.suspicion(
                "classes_left_out",
                f"{left_out} points of other classes than "
                + ("ground" if ground else "noise-free"),
                "ground points (classes 2 and 40) where there are any, else all but noise",
                "what they stand for is not in the seabed",
                "classify them as ground if they are seabed",
            )
        )


def check_header(path: Path) -> None:
    """Refuse a header whose parts can't lie in the file, before a reader follows it.

    Parameters
    ----------
    path : Path
        LAS or LAZ file.

    Raises
    ------
    ValueError
        When it is none, or broken: its variable records (54 bytes at least each) and its points
        must begin inside the file (LAS 1.4 R15, 2.4).
    """
    with path.open("rb") as stream:
        head = stream.read(375)
    size = path.stat().st_size
    if head[:4] != b"LASF" or len(head) < 227:
        raise ValueError("the file does not begin with a LAS header")
    header_size, offset, records = struct.unpack_from("<HII", head, 94)
    extended = (
        struct.unpack_from("<QI", head, 235) if head[25] >= 4 and len(head) == 375 else (0, 0)
    )
    if header_size + 54 * records > offset or max(offset, extended[0] + 60 * extended[1]) > size:
        raise ValueError("the LAS header points beyond the end of the file: broken or cut short")


def _has_ground(source: Source, chunk: int) -> bool:
    """Tell whether any point is classified as ground; reads classes alone where it can."""
    only = laspy.DecompressionSelection.CLASSIFICATION
    with laspy.open(source.path, decompression_selection=only) as stream:
        return any(
            bool(np.isin(np.asarray(record.classification), GROUND).any())
            for record in stream.chunk_iterator(chunk)
        )


def cloud_crs(source: Source) -> CRS | None:
    """Return the CRS that the file's header declares, None where it declares none."""
    check_header(source.path)
    with laspy.open(source.path) as stream:
        try:
            declared: CRS | None = stream.header.parse_crs()
        except CRSError:
            return None
    return declared
