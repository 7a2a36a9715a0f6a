"""What the team says of walls, as rules hand it to steps, and what became of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from wrackline.model import Decision, Phasing
from wrackline.walls.decided import Outcome
from wrackline.walls.joining import Team

NOT_YET = {"outcome": None, "because": None}


def read_team(text: str) -> Team:
    """Return what `sources.team_words` wrote: the registers of phases and decisions, as JSON."""
    said = json.loads(text)
    return Team(
        phases=tuple(Phasing.model_validate(row) for row in said["phases"]),
        order=tuple(said["order"]),
        decisions=tuple(Decision.model_validate(row) for row in said["decisions"]),
    )


def as_record(
    decisions: Sequence[Decision], outcomes: Sequence[Outcome | None]
) -> dict[str, list[dict[str, Any]]]:
    """Return decisions and what became of each, ready to be written as JSON.

    Parameters
    ----------
    decisions : sequence of Decision
    outcomes : sequence of Outcome or None
        What became of each; None where that is still to be seen.
    """
    became = [asdict(outcome) if outcome else NOT_YET for outcome in outcomes]
    rows = [
        decision.model_dump(mode="json") | told
        for decision, told in zip(decisions, became, strict=True)
    ]
    return {"decisions": rows}


def from_record(record: dict[str, Any]) -> list[Outcome | None]:
    """Return the outcomes that `as_record` wrote."""
    rows = record["decisions"]
    return [Outcome(r["outcome"], r["because"]) if r["outcome"] else None for r in rows]
