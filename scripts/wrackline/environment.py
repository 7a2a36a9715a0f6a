"""What every step finds in its environment, so that the same inputs give the same bytes."""

from __future__ import annotations

import os
import time

FIXED_DATE = "2000-01-01T00:00:00.000Z"
FIXED_EPOCH_S = "946684800"

LEADING_ELSEWHERE = (
    *("VRT", "OGR_VRT", "DERIVED", "GTI", "GDALG", "STACIT", "STACTA"),
    *("WMS", "WMTS", "WCS", "WFS", "OAPIF", "OGCAPI", "CSW", "HTTP", "EEDA", "EEDAI"),
    *("PLMOSAIC", "PLSCENES", "DAAS", "AmigoCloud", "Carto", "Elasticsearch", "NGW", "ADBC"),
    *("GPSBabel",),
)
"""Drivers of GDAL whose files lead to other files, programs or the network."""

FIXED_ENVIRONMENT = {
    "GDAL_SKIP": " ".join(LEADING_ELSEWHERE),
    "GDAL_CACHEMAX": "64",  # MB of blocks of rasters, beside what a step counts on
    "NUMBA_NUM_THREADS": "1",
    "OGR_CURRENT_DATE": FIXED_DATE,
    "SOURCE_DATE_EPOCH": FIXED_EPOCH_S,
    "TZ": "UTC",
    "LC_ALL": "C.UTF-8",
    "PYTHONHASHSEED": "0",
    "PYTHONUTF8": "1",
    "PROJ_NETWORK": "OFF",
    "MPLBACKEND": "Agg",
    "OMP_NUM_THREADS": "1",
    "OPENBLAS_NUM_THREADS": "1",
    "MKL_NUM_THREADS": "1",
    "NUMEXPR_NUM_THREADS": "1",
}


def fix_environment() -> None:
    """Set the fixed dates, time zone, text encoding and thread counts in this process.

    Children inherit all of them. In the process itself those that Python or a library reads
    once, while it starts, come too late; the run therefore calls this before it starts a step.
    """
    os.environ.update(FIXED_ENVIRONMENT)
    time.tzset()
