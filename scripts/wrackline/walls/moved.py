"""Vertices that were placed by several tracings, as sums over all that was measured.

Beside the vertices of a view's standing lines stand the further sources of their places: vertices
of other tracings of the same wall, and, as points of one coordinate each, half the thickness of a
survey's walls and half the width of its pole, where these brought two tracings together. So a
figure's gradient on placed vertices is carried to everything that it rests on by one matrix, and
causes that are common to several tracings cancel or add by themselves.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import geopandas as gpd
import numpy as np
import numpy.typing as npt
import pandas as pd
import shapely
from scipy import sparse

from wrackline import vectors
from wrackline.uncertainty import ErrorModel, NamedError

Array = npt.NDArray[np.float64]
Ints = npt.NDArray[np.int64]

THICKNESS, POLE = "thickness", "pole width"


@dataclass(frozen=True)
class Moved:
    """How placed vertices follow from what was measured.

    Attributes
    ----------
    xyz : array, shape (s, 3)
        Sources beyond the standing lines' own vertices: easting, northing, height [m]. Of a
        thickness or a pole's width, half of it stands as the first coordinate.
    survey : array of str, shape (s,)
        Survey of each.
    trait : array of str, shape (s,)
        Empty for a vertex; `THICKNESS` or `POLE`.
    sd_m : array, shape (s,)
        Sd of half a thickness or width, 0 for vertices [m].
    share : sparse matrix, shape (3 n, 3 (n + s))
        Motion of the n placed vertices per motion of their own places as surveyed, and of the
        further sources.
    """

    xyz: Array
    survey: npt.NDArray[np.str_]
    trait: npt.NDArray[np.str_]
    sd_m: Array
    share: sparse.csr_matrix

    @property
    def count(self) -> int:
        """How many further sources there are."""
        return len(self.sd_m)

    def models(self, known: Sequence[ErrorModel]) -> tuple[list[ErrorModel], Ints]:
        """Return the models of surveys and traits, and which of them each source has.

        Parameters
        ----------
        known : sequence of ErrorModel
            Errors of the surveys.
        """
        every = list(known)
        place = {(model.survey, "", 0.0): k for k, model in enumerate(every)}
        index = []
        for key in zip(self.survey.tolist(), self.trait.tolist(), self.sd_m.tolist(), strict=True):
            if key not in place:
                place[key] = len(every)
                every.append(trait_model(*key))
            index.append(place[key])
        return every, np.array(index, dtype=np.int64)


def trait_model(survey: str, trait: str, sd_m: float) -> ErrorModel:
    """Return the errors of half a thickness, or half a pole's width, of a survey's lines.

    The name of the cause is that by which `View.inward_of` moves outlines, so both are one error.
    """
    name = f"{survey}:{trait}"
    return ErrorModel(name, 0.0, 0.0, named=(NamedError(name, "easting", sd_m),))


@dataclass(frozen=True)
class Traits:
    """Thicknesses of walls and widths of poles as sources, each once.

    Attributes
    ----------
    xyz : array, shape (h, 3)
        Half the thickness or width as the first coordinate [m].
    survey, trait : array of str, shape (h,)
    sd_m : array, shape (h,)
        Sd of the half [m].
    thickness, pole : array of int, shape (lines,)
        Which of them is each line's.
    """

    xyz: Array
    survey: npt.NDArray[np.str_]
    trait: npt.NDArray[np.str_]
    sd_m: Array
    thickness: Ints
    pole: Ints


def traits_of(lines: gpd.GeoDataFrame) -> Traits:
    """Return the traits of lines.

    Parameters
    ----------
    lines : GeoDataFrame
        With `thickness_m` and `pole_width_m`, and their sd.
    """
    tables: list[pd.DataFrame] = []
    places: list[Ints] = []
    for trait, name in ((THICKNESS, "thickness"), (POLE, "pole_width")):
        half, sd = (
            np.nan_to_num(pd.to_numeric(lines[column]).to_numpy(float, na_value=0.0)) / 2
            for column in (f"{name}_m", f"{name}_sd_m")
        )
        one = pd.DataFrame({"survey": lines["survey"].to_numpy(str), "sd": sd})
        one["trait"], one["half"] = trait, half
        group = one.groupby(["survey", "sd"], sort=True)
        first = sum(len(table) for table in tables)
        places.append(np.asarray(group.ngroup(), dtype=np.int64) + first)
        tables.append(group.first().reset_index())
    table = pd.concat(tables, ignore_index=True)
    xyz = np.zeros((len(table), 3))
    xyz[:, 0] = table["half"]
    return Traits(
        xyz,
        table["survey"].to_numpy(str),
        table["trait"].to_numpy(str),
        table["sd"].to_numpy(float),
        *places,
    )


SOURCE_COLUMNS = {"survey": "text", "trait": "text", "sd_m": "real"}
SHARE_COLUMNS = ("placed", "source", "share")


def save(moved: Moved | None, folder: Path, crs: str) -> None:
    """Write what placed vertices rest on: `sources` and `shares` in a folder.

    Parameters
    ----------
    moved : Moved or None
        None where every vertex lies where it was surveyed; both files are then empty.
    folder : path
    crs : str
    """
    if moved is None:
        sources, share = vectors.empty(SOURCE_COLUMNS, crs), sparse.coo_matrix((0, 0))
    else:
        values = {"survey": moved.survey, "trait": moved.trait, "sd_m": moved.sd_m}
        points = gpd.GeoSeries(shapely.points(moved.xyz), crs=crs)
        sources, share = gpd.GeoDataFrame(values, geometry=points), moved.share.tocoo()
    vectors.write(sources, SOURCE_COLUMNS, folder / "sources.parquet")
    table = pd.DataFrame(dict(zip(SHARE_COLUMNS, (share.row, share.col, share.data), strict=True)))
    table = table.sort_values(["placed", "source"]).astype({"placed": "int64", "source": "int64"})
    table.to_parquet(folder / "shares.parquet", index=False)


def load(folder: Path, count: int) -> Moved | None:
    """Read what `save` wrote, for so many placed vertices."""
    sources = vectors.read(folder / "sources.parquet")
    table = pd.read_parquet(folder / "shares.parquet")
    if not len(table):
        return None
    entries = table["share"].to_numpy(), (table["placed"].to_numpy(), table["source"].to_numpy())
    return Moved(
        xyz=shapely.get_coordinates(sources.geometry.to_numpy(), include_z=True),
        survey=sources["survey"].to_numpy(str),
        trait=sources["trait"].to_numpy(str),
        sd_m=sources["sd_m"].to_numpy(float),
        share=sparse.csr_matrix(entries, shape=(3 * count, 3 * (count + len(sources)))),
    )
