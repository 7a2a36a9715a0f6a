"""What the team said of walls and spaces, and what became of it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from wrackline.accuracy.markup import Markup, el, table
from wrackline.publish.phases import UNPHASED

HEAD = ["decision", "place", "who", "day", "on what grounds", "what became of it"]
NO_TEAM: Mapping[str, Any] = {
    "decisions": [],
    "notes": [],
    "phases": [""],
    "aside": [],
    "disagree": [],
}
DISAGREE = "Tracings that disagree about a wall, to be looked into, the surest first:"
ASIDE = (
    "Taken for joints of rock, since they run through other lines and end in the open, and so "
    "closing no room: {}. To have one as a wall, give it the origin built."
)
NONE = "The team has decided nothing about the plan yet: config/decisions.csv."


def team_words(team: Mapping[str, Any]) -> list[Markup]:
    """Return phases, decisions and what could not be followed.

    Parameters
    ----------
    team : mapping
        Content of a view's `team.json`.
    """
    phases = team["phases"]
    named = f"Walls are joined in each of the phases {', '.join(phases)} apart."
    said = [el("p", named if len(phases) > 1 else UNPHASED)]
    if team["notes"]:
        said.append(el("p", "To be settled in the register of phases:"))
        said.append(el("ul", *(el("li", note) for note in team["notes"])))
    if team["disagree"]:
        said += [el("p", DISAGREE), el("ul", *(el("li", note) for note in team["disagree"]))]
    if team["aside"]:
        said.append(el("p", ASIDE.format(", ".join(team["aside"]))))
    rows = [_row(decision) for decision in team["decisions"]]
    return [*said, table(HEAD, rows) if rows else el("p", NONE)]


def _row(decision: Mapping[str, Any]) -> list[str]:
    place = f"{decision['easting']:.2f} {decision['northing']:.2f}"
    if decision["to_easting"] is not None:
        place += f" to {decision['to_easting']:.2f} {decision['to_northing']:.2f}"
    became = f"{decision['outcome']}: {decision['because']}"
    kind = decision["decision"].replace("_", " ")
    return [kind, place, decision["who"], decision["date"], decision["why"], became]
