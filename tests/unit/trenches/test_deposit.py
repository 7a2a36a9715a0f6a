"""Deposit over floors met: measured where both seabed and floor were, and nowhere else."""

from dataclasses import dataclass

import numpy as np
import pandas as pd
import pytest
import shapely
from drawn import NO_BED, box, items, plan_of

from wrackline.trenches.deposit import COLUMNS, deposit_at
from wrackline.uncertainty import Budget, ErrorModel, NamedError

MODEL = ErrorModel("2031-items", 0.05, 0.03, named=(NamedError("gauge:height", "height", 0.1),))


@dataclass(frozen=True)
class FlatBed:
    """A seabed of one height with a stated budget, everywhere or nowhere."""

    height: float
    budget: Budget
    there: bool = True

    def at(self, polygons):
        """Return the same seabed in every polygon."""
        rows = [
            {"cells": 4, "bed_height_median": self.height, "budget": self.budget}
            if self.there
            else {"cells": 0}
            for _ in polygons
        ]
        return pd.DataFrame(rows)


def deposit(floors, bed, rooms=None):
    rooms = plan_of(box(0, 0, 4, 3))["rooms"] if rooms is None else rooms
    return deposit_at(items(floors), [MODEL], bed, 0.5, rooms)


FLOOR = {"geometry": shapely.Point(1, 1, -3.0), "evidence": "excavated", "line": "F1"}


def test_deposit_is_the_seabeds_height_less_the_floors():
    """A seabed at −2.2 m over a floor at −3 m: 0.8 m of deposit, in the room that holds it."""
    row = deposit([FLOOR], FlatBed(-2.2, Budget(0.04))).iloc[0]
    assert row["deposit_m"] == pytest.approx(0.8)
    assert row["floor_height_m"] == -3.0
    assert row["bed_height_m"] == -2.2
    assert (row["evidence"], row["line"], row["room"]) == ("excavated", "F1", "R002-001")
    assert row["null_because"] == ""


def test_what_seabed_and_floor_both_rest_on_cancels():
    """Random errors of 0.03 and 0.04 m make 0.05 m; a gauge zero under both adds nothing."""
    shared = Budget(0.04, 0.0, {"gauge:height": 0.1})
    assert deposit([FLOOR], FlatBed(-2.2, shared))["deposit_sd_m"].iloc[0] == pytest.approx(0.05)
    alone = deposit([FLOOR], FlatBed(-2.2, Budget(0.04)))["deposit_sd_m"].iloc[0]
    assert alone == pytest.approx(np.hypot(0.05, 0.1))


@pytest.mark.parametrize("bed", [FlatBed(0.0, Budget(), there=False), NO_BED])
def test_without_a_seabed_there_the_thickness_is_empty_with_the_reason(bed):
    """Where the seabed wasn't sounded, or nowhere was, thickness is null and says why."""
    row = deposit([FLOOR], bed).iloc[0]
    assert row[["bed_height_m", "deposit_m", "deposit_sd_m"]].isna().all()
    assert row["null_because"] == "no seabed height at this point"
    assert row["floor_height_m"] == -3.0


def test_no_floors_make_a_table_of_no_rows():
    """A site on which no floor was met has the columns and no row."""
    table = deposit([], FlatBed(-2.2, Budget()))
    assert (list(table.columns), len(table)) == (list(COLUMNS), 0)


def test_a_floor_outside_all_rooms_names_none():
    """A floor met in the open has a thickness and no room; so has one on a site without rooms."""
    outside = FLOOR | {"geometry": shapely.Point(9, 9, -3.0)}
    assert pd.isna(deposit([outside], FlatBed(-2.2, Budget()))["room"].iloc[0])
    none = plan_of([])["rooms"]
    assert pd.isna(deposit([FLOOR], FlatBed(-2.2, Budget()), none)["room"].iloc[0])
