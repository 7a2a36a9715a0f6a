"""What the team says of walls, as rules hand it to steps, and what became of it."""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import asdict
from typing import Any

from wrackline.model import Decision, Phasing
from wrackline.walls.decided import Outcome
from wrackline.walls.network import Team


def read_team(text: str) -> Team:
    """Return what `sources.team_words` wrote: the registers of phases and decisions, as JSON."""
    said = json.loads(text)
    return Team(
        phases=tuple(Phasing.model_validate(row) for row in said["phases"]),
        order=tuple(said["order"]),
        decisions=tuple(Decision.model_validate(row) for row in said["decisions"]),
    )


def as_record(outcomes: Sequence[Outcome | None], notes: Sequence[str]) -> dict[str, Any]:
    """Return what became of the team's words, ready to be written as JSON."""
    return {
        "outcomes": [None if outcome is None else asdict(outcome) for outcome in outcomes],
        "notes": list(notes),
    }


def from_record(record: dict[str, Any]) -> list[Outcome | None]:
    """Return the outcomes that `as_record` wrote."""
    return [None if outcome is None else Outcome(**outcome) for outcome in record["outcomes"]]
