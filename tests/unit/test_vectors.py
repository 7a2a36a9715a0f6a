"""GeoParquet between stages: exactly the declared columns, of their types."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from wrackline import vectors

COLUMNS = {"name": "text", "size_m": "real", "count": "whole", "kept": "flag"}


def table(**more):
    data = {"name": ["a", None], "size_m": [1.5, None], "count": [2, None], "kept": [True, None]}
    points = gpd.points_from_xy([1.0, 2.0], [3.0, 4.0])
    return gpd.GeoDataFrame(data | more, geometry=points, crs="EPSG:32625")


def test_missing_values_stay_missing(tmp_path):
    """Null comes back as null from a file, in every type, and never as 0 or an empty text."""
    vectors.write(table(), COLUMNS, tmp_path / "deep" / "table.parquet")
    again = vectors.read(tmp_path / "deep" / "table.parquet")
    assert again.drop(columns="geometry").iloc[1].isna().all()
    assert again["count"].iloc[0] == 2
    assert again.crs.to_epsg() == 32625


def test_columns_come_in_their_declared_order():
    """The declared order holds, whatever the table's own."""
    turned = table()[["kept", "geometry", "count", "name", "size_m"]]
    assert list(vectors.conform(turned, COLUMNS).columns) == [*COLUMNS, "geometry"]


def test_an_undeclared_or_missing_column_is_a_mistake_of_ours():
    """A table with other columns than declared is refused with their names."""
    with pytest.raises(KeyError, match=r"columns missing: \['kept'\]; not declared: \['extra'\]"):
        vectors.conform(table(extra=1).drop(columns="kept"), COLUMNS)


def test_an_empty_table_has_its_columns_and_types(tmp_path):
    """A table of no rows keeps types, geometry and CRS through its file."""
    vectors.write(vectors.empty(COLUMNS, "EPSG:32625"), COLUMNS, tmp_path / "empty.parquet")
    again = vectors.read(tmp_path / "empty.parquet")
    assert len(again) == 0
    assert again.crs.to_epsg() == 32625
    assert isinstance(again["count"].dtype, pd.Int64Dtype)


def test_heights_that_are_missing_survive():
    """NaN heights of a line come back from bytes as NaN."""
    line = shapely.linestrings([[0, 0, np.nan], [1, 0, -2.0]])
    again = shapely.from_wkb(shapely.to_wkb(line))
    assert np.isnan(shapely.get_coordinates(again, include_z=True)[:, 2]).tolist() == [True, False]


def test_the_same_table_is_the_same_bytes(tmp_path):
    """Written twice, a table has the same bytes."""
    for name in ("a", "b"):
        vectors.write(table(), COLUMNS, tmp_path / name)
    assert (tmp_path / "a").read_bytes() == (tmp_path / "b").read_bytes()
