"""What the surveyor says is no wall closes no room."""

import pytest
from drawn import box, line_table

from wrackline.model import WallSettings
from wrackline.walls.gather import told_apart


@pytest.mark.parametrize(
    ("said", "walls"),
    [
        ({"kind": ["wall", "Grave"]}, 1),
        ({"kind": [None, " beach rock "]}, 1),
        ({"kind": ["wall", "gravel wall"]}, 2),
        ({"origin": ["built", "natural"]}, 1),
        ({"origin": [None, "modern"]}, 1),
        ({"origin": ["doubtful", "built"]}, 2),
    ],
)
def test_lines_are_told_apart_by_kind_and_origin(said, walls):
    """A listed kind, or an origin natural or modern, makes a line no wall; doubtful ones stay."""
    table = line_table(box(0, 0, 4, 4)[:2], **said)
    kept, others = told_apart(table, WallSettings().no_walls)
    assert (len(kept), len(others)) == (walls, 2 - walls)
    assert set(kept["row"]) | set(others["row"]) == {1, 2}
