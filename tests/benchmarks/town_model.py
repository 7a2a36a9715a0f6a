"""Towns with known truth, and what a survey made of them: what the makers and the score share."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt


@dataclass(frozen=True)
class Town:
    """A town as it stood.

    Attributes
    ----------
    walls : array of LineString, shape (w,)
        Centre lines, from junction to junction [m]; a curved wall has many vertices.
    thickness : array, shape (w,)
        Of each wall [m].
    spaces : array of Polygon, shape (s,)
        Every enclosed space to the centres of its walls (rooms and courts; open ground between
        houses, and lanes, are no spaces).
    floors : array of Polygon, shape (s,)
        The same between the faces of its walls.
    kind : array of str, shape (s,)
        ``room`` or ``court``; ``round`` a round building or a room with a curved wall (apse).
    house : array of int, shape (s,)
        The house that each space belongs to.
    """

    walls: npt.NDArray[np.object_]
    thickness: npt.NDArray[np.float64]
    spaces: npt.NDArray[np.object_]
    floors: npt.NDArray[np.object_]
    kind: npt.NDArray[np.str_]
    house: npt.NDArray[np.int64]


@dataclass(frozen=True)
class Surveyed:
    """The lines that a survey of a town drew, and what it left undrawn.

    Attributes
    ----------
    lines : array of LineString, shape (n,)
        Lines as drawn, in no order, either way [m].
    follows : array of str, shape (n,)
        ``centre`` or ``face``.
    code : array of str, shape (n,)
        ``wall``; or what the surveyor called it (grave, kerb, cistern, rock, modern, rubble);
        an uncoded survey says ``wall`` of everything.
    truth : array of str, shape (n,)
        What each line really is, in the same words.
    missing : array of LineString
        Stretches of wall that were not drawn: doorways, lost stretches, lost walls (centre lines,
        or both faces where faces are drawn).
    doors : array of LineString
        Those of `missing` that are doorways.
    sd_m : float
        Standard deviation of a drawn point, each axis [m].
    """

    lines: npt.NDArray[np.object_]
    follows: npt.NDArray[np.str_]
    code: npt.NDArray[np.str_]
    truth: npt.NDArray[np.str_]
    missing: npt.NDArray[np.object_]
    doors: npt.NDArray[np.object_]
    sd_m: float


@dataclass(frozen=True)
class Damage:
    """How badly a town is surveyed.

    Attributes
    ----------
    noise_m : float
        Sd of a drawn point, each axis [m].
    ends_m : float
        Ends overshoot or fall short by up to this, evenly [m].
    doors : float
        Share of walls with a doorway of 0.6 to 1.4 m.
    lost : float
        Share of walls that lost a stretch of 20 to 60 % of their length.
    gone : float
        Share of walls lost whole.
    doubled : float
        Share of lines drawn a second time, with their own noise, ends and stretches.
    rubble : float
        Lines that are no walls (tumble, modern), as a share of the walls' number.
    others : float
        Lines of graves, kerbs, cisterns, jointed bedrock and beach rock, as such a share.
    faces : str
        ``centre``, ``face`` (both faces of every wall) or ``mix``.
    step_m : float
        Distance of points along a line [m]; 0 draws straight walls with two points.
    coded : bool
        Whether the surveyor said what each line is.
    """

    noise_m: float = 0.05
    ends_m: float = 0.15
    doors: float = 0.5
    lost: float = 0.0
    gone: float = 0.0
    doubled: float = 0.1
    rubble: float = 0.0
    others: float = 0.0
    faces: str = "centre"
    step_m: float = 0.0
    coded: bool = False
