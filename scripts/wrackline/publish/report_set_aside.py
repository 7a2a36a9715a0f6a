"""The report's part on soundings that were set aside."""

from __future__ import annotations

import pandas as pd

from wrackline.accuracy.markup import Markup, el, table
from wrackline.quantities import MISSING

SHOWN = 20
"""Blocks that the page shows; the table has all."""
WORDS = (
    "Soundings that nothing around them bears out, and the false one of two layers (a shoal, "
    "plants, late echoes), are not in the seabed. Walls are borne out by their own soundings. What "
    "one pass alone shows, no higher than structure_max_m, can't be told from a ruin, and stays."
)


def set_aside(rows: pd.DataFrame) -> list[Markup]:
    """Return what was set aside, survey by survey, and the largest blocks.

    Parameters
    ----------
    rows : DataFrame
        The table `set_aside`.
    """
    if rows.empty:
        return [el("p", "No sounding was set aside.")]
    blocks = rows[rows["number"].notna()]
    counts = [
        [survey, int(mine["points"].sum()), int(mine["number"].notna().sum())]
        for survey, mine in rows.groupby("survey", sort=True)
    ]
    head = ["survey", "soundings set aside", "blocks among them"]
    parts = [el("p", WORDS), table(head, counts, caption="Soundings set aside")]
    if len(blocks):
        largest = blocks.sort_values(["points", "number"], ascending=[False, True]).head(SHOWN)
        words = f"Blocks, the largest {len(largest)} of {len(blocks)}"
        head = ["block", "survey", "what", "metres off", "area m²", "soundings", "in the surface"]
        parts.append(table(head, [_block(row) for _, row in largest.iterrows()], caption=words))
    return parts


def _block(row: pd.Series) -> list[object]:
    off = MISSING if pd.isna(row["off_m"]) else f"{row['off_m']:+.2f}"
    stands = "yes: too little around it is known" if row["in_surface"] else "no"
    area, points = f"{row['area_m2']:.1f}", int(row["points"])
    return [row["number"], row["survey"], row["what"], off, area, points, stands]
