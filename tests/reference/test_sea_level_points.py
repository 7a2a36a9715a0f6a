"""The arithmetic of sea-level index points, and what limiting points may not say.

Rovere et al. 2016, Earth-Science Reviews 159:404-427: RWL = (Ul + Ll) / 2, IR = Ul - Ll,
RSL = E - RWL, sd = sqrt(sd_E^2 + (IR / 2)^2). The convention was read in the documentation and
programs of the WALIS database, which leave these fields empty for marine and terrestrial limiting
points. No published example with numbers was found: those here are worked by hand.
"""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from wrackline import contract, vectors
from wrackline.model import Site
from wrackline.publish.sea_level import limits, sea_level_table
from wrackline.uncertainty import ErrorModel
from wrackline.walls.linework import ITEM_COLUMNS

CRS = "EPSG:32625"
SITE = Site.model_validate(
    {
        "schema_version": 1,
        "name": "Drawn (invented)",
        "crs": CRS,
        "vertical_datum": "invented",
        "origin": (324400, 4207600),
        "sea_levels": [{"name": "mean sea level", "height_m": 0.0}],
        "depths_below": "mean sea level",
        "sea_level_marks": [
            {"kind": "quay", "indication": "index", "lower_limit_m": 0.4, "upper_limit_m": 1.0},
            {"kind": "fish tank", "indication": "marine"},
        ],
    }
)


@pytest.mark.parametrize(
    ("elevation", "sd", "lower", "upper", "expected"),
    [
        (3.0, 0.2, -0.5, 0.5, (0.0, 1.0, 3.0, 0.538516)),
        (5.0, 0.5, -3.0, -1.0, (-2.0, 2.0, 7.0, 1.118034)),
        (-1.2, 0.0, 0.2, 0.6, (0.4, 0.4, -1.6, 0.2)),
        (-2.5, 0.12, 0.25, 0.35, (0.3, 0.1, -2.8, 0.13)),
    ],
)
def test_the_arithmetic_of_an_index_point(elevation, sd, lower, upper, expected):
    """Reference water level, indicative range, level and sd as Rovere et al. 2016 have them."""
    assert limits(elevation, sd, lower, upper) == pytest.approx(expected, abs=1e-6)


def test_an_index_point_holds_every_level_that_its_limits_allow():
    """A sure height and a level anywhere between the limits lie within one sd of the result."""
    _, _, level, sd = limits(-1.3, 0.0, 0.4, 1.0)
    possible = -1.3 - np.linspace(0.4, 1.0, 13)
    assert (abs(possible - level) <= sd + 1e-12).all()


def layer(name, rows):
    """Return a layer of the plan."""
    data = {
        field: pd.Series([row.get(field) for row in rows], dtype=vectors.DTYPES[kind])
        for field, kind in contract.columns(name).items()
    }
    shapes = [shapely.Point(324410, 4207610, -2.0) for _ in rows]
    return gpd.GeoDataFrame(data, geometry=gpd.GeoSeries(shapes, crs=CRS), crs=CRS)


@pytest.mark.parametrize(
    ("kind", "indication", "words"),
    [
        ("grave", "terrestrial limiting", "at or below"),
        ("hearth", "terrestrial limiting", "at or below"),
        ("fish tank", "marine limiting", "at or above"),
        ("quay", "index point", "at -2.70"),
    ],
)
def test_only_an_index_point_gives_a_level(kind, indication, words):
    """Terrestrial limiting: the sea at or below; marine limiting: at or above; neither a level.

    Vacchi et al. 2016, Earth-Science Reviews 155:172-197, section 3.3.
    """
    features = layer("features", [{"feature": "F1", "kind": kind, "origin": "built"}])
    features["survey"] = "2031-features"
    plan = {"rooms": layer("rooms", []), "buildings": layer("buildings", []), "features": features}
    floors = vectors.empty(ITEM_COLUMNS, CRS)
    models = [ErrorModel("2031-features", 0.03, 0.02)]
    (row,) = sea_level_table(plan, floors, models, SITE).to_dict("records")
    assert row["indication"] == indication
    assert words in row["statement"]
    assert (row["sea_level_m"] is None) == (kind != "quay")
    assert (row["reference_water_level_m"] is None) == (kind != "quay")
