"""Raw survey files of every season in, one checkable record of a drowned settlement out."""

import gc

gc.set_threshold(100_000, 20, 20)
"""Shapes and tables by the thousand refer to nothing in circles; looking them through is dear."""

__version__ = "0.1.0"
