"""Small surveys of the seabed as rasters in memory, and their merging."""

import numpy as np

from wrackline.rasters import Grid
from wrackline.seabed.carried import by_cause
from wrackline.seabed.merge import Merging, Source, ground, merge_piece
from wrackline.seabed.weights import Entry
from wrackline.uncertainty import ErrorModel

ORIGIN = (0.0, 0.0)


class Memory:
    """Reads like a `RasterReader`, from arrays."""

    def __init__(self, grid, bands):
        self.grid, self.bands, self.names = grid, bands, tuple(bands)

    def read(self, part, names=None):
        """Return bands of a piece, NaN outside."""
        out = {}
        inside = part.intersection(self.grid)
        for name in names or self.names:
            out[name] = np.full(part.shape, np.nan)
            if inside is not None:
                out[name][part.window(inside)] = self.bands[name][self.grid.window(inside)]
        return out


def survey(name, height, *, random=0.1, model=None, own=0.0, k=1, corner=(0, 0), day=0, **more):
    """Return a survey: heights from north to south, cells of k metres, bands as gridding makes.

    `random` is the cells' random sd; `own` an sd that the file states beyond the model; `more`
    are further bands, of which `filled` marks interpolated cells.
    """
    height = np.atleast_2d(np.asarray(height, dtype=float))
    rows, columns = height.shape
    west, south = corner
    grid = Grid(ORIGIN, float(k), west, south, west + columns, south + rows)
    model = model or ErrorModel(name, 0.0, random)
    known = np.isfinite(height)
    patchy, named = by_cause(height, grid, model)
    variance = random**2 + patchy + sum(effect**2 for effect in named.values()) + own**2
    filled = np.where(known, np.broadcast_to(more.pop("filled", 0.0), height.shape), np.nan)
    bands = {
        "height": height,
        "sd": np.where(known, np.sqrt(variance), np.nan),
        "sd_random": np.where(known, random, np.nan),
        "count": np.where(known, 3.0 * (filled == 0), np.nan),
        "filled": filled,
        **{band: np.where(known, values, np.nan) for band, values in more.items()},
    }
    return name, Memory(grid, bands), model, day


def sources(*surveys):
    """Return surveys in the form in which they are merged, numbered as given."""
    return [
        Source(Entry(name, number, name.split("-")[0], float(day)), reader, model)
        for number, (name, reader, model, day) in enumerate(surveys)
    ]


def merge(*surveys, tally=None, part=None, **how):
    """Return the bands of the merged surface of some surveys, of 1 m cells."""
    listed = sources(*surveys)
    whole = ground([source.reader for source in listed], 1.0)
    how = Merging(**{"fill_distance_m": 2.0, "cell_m": 1.0, **how})
    return merge_piece(listed, part or whole, how, {} if tally is None else tally)
