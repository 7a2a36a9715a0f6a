"""What goes with a dive: the tide staff that the boat's crew reads while a depth gauge is down."""

from __future__ import annotations

import zlib

import numpy as np
import pandas as pd

from wrackline.demo.fieldwork import Fieldwork, soundings, water_height
from wrackline.demo.hamlet import Hamlet

BEFORE = pd.Timedelta(minutes=30)
"""The staff is read from so long before the first depth until so long after the last."""


def staff_record(hamlet: Hamlet, name: str) -> pd.DataFrame:
    """Return a tide staff's record beside a survey of depths: time (UTC) and level_m.

    Parameters
    ----------
    hamlet : Hamlet
    name : str
        Name of the survey in the truth; its key `staff` describes the staff.

    Returns
    -------
    DataFrame
        Readings to the centimetre above the staff's zero, each off by waves and the eye.

    Raises
    ------
    ValueError
        When the truth has no water, or the survey no staff.
    """
    work = Fieldwork(hamlet, name)
    water, staff = hamlet.truth.water, work.made.staff
    if water is None or staff is None:
        raise ValueError("a staff's record needs the water, and the staff")
    taken = pd.to_datetime(soundings(work)["time"])
    ahead = pd.Timedelta(hours=work.made.clock_ahead_of_utc_h)
    first, last = taken.min() - ahead - BEFORE, taken.max() - ahead + BEFORE
    every = pd.Timedelta(minutes=staff.every_min)
    clock = pd.date_range(first.floor(every), last.ceil(every), freq=every)
    hours = ((clock - pd.Timestamp(water.high_water)) / pd.Timedelta(hours=1)).to_numpy(float)
    rng = np.random.default_rng([hamlet.truth.seed, zlib.crc32(f"{name} staff".encode())])
    read = (
        water_height(water, hours) - staff.zero_m + rng.standard_normal(len(clock)) * staff.random_m
    )
    level = [f"{value:.2f}" for value in read]
    return pd.DataFrame({"time": clock.strftime("%Y-%m-%dT%H:%M:%S"), "level_m": level})
