"""Text files as instruments write them: their encoding, and times with their clock."""

from __future__ import annotations

import codecs

import numpy as np
import numpy.typing as npt
import pandas as pd

from wrackline.errors import Fault
from wrackline.verdict import Problems, Source

Array = npt.NDArray[np.float64]

BLOCK = 1 << 20
ZONE = r"(?:[Zz]|[+-]\d{2}:?\d{2})$"


def encoding_of(source: Source, problems: Problems) -> str | None:
    """Return the encoding of a survey's text file, or None, with a fault, when it is no text.

    UTF-8 with or without byte order mark; failing that Latin-1, which is then a suspicion.
    """
    decoder = codecs.getincrementaldecoder("utf-8")()
    utf8 = True
    with source.path.open("rb") as stream:
        while block := stream.read(BLOCK):
            if b"\x00" in block:
                problems.add(_no_text(source))
                return None
            utf8 = utf8 and _decodes(decoder, block)
    if utf8 and _decodes(decoder, b"", final=True):
        return "utf-8-sig"
    problems.add(_latin(source))
    return "latin-1"


def _decodes(decoder: codecs.IncrementalDecoder, block: bytes, *, final: bool = False) -> bool:
    try:
        decoder.decode(block, final)
    except UnicodeDecodeError:
        return False
    return True


def _no_text(source: Source) -> Fault:
    return source.fault(
        "not_text",
        "zero bytes, as in a spreadsheet, an archive or UTF-16",
        "a plain text table in UTF-8, or LAS, LAZ or a raster with its usual ending",
        "its numbers can't be read",
        "export it as CSV in UTF-8, or give the file its right ending",
    )


def _latin(source: Source) -> Fault:
    return source.suspicion(
        "not_utf8",
        "bytes that are not UTF-8",
        "UTF-8; the file was read as Latin-1",
        "names with accents may come out wrong; numbers are not touched",
        "save the file as UTF-8",
    )


def utc_seconds(texts: pd.Series, offset_h: float) -> Array:
    """Return times as UTC seconds since 1970; NaN where a text is no ISO 8601 time.

    Parameters
    ----------
    texts : Series of str, shape (n,)
        A time that names its own zone ('Z', '+02:00') is taken at its word.
    offset_h : float
        Hours that the clock is ahead of UTC, for times without a zone [h].

    Examples
    --------
    >>> utc_seconds(pd.Series(["1970-01-01T02:00", "1970-01-01T02:00Z", "noon"]), 2.0)
    array([   0., 7200.,   nan])
    """
    moments = pd.to_datetime(texts, format="ISO8601", errors="coerce", utc=True)
    seconds = (moments - pd.Timestamp(0, tz="UTC")).dt.total_seconds().to_numpy(dtype=float)
    own_zone = texts.str.contains(ZONE, regex=True).to_numpy(dtype=bool)
    # a date such as 2031-05-02 ends like a zone; a zone needs a clock time before it
    clock = texts.str.contains(":", regex=False).to_numpy(dtype=bool)
    return np.where(own_zone & clock, seconds, seconds - 3600.0 * offset_h)
