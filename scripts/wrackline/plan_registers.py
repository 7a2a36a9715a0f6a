"""Registers about the joined plan: the order of walls, and what the team decides about the plan.

Reads only `config/phases.csv` and `config/decisions.csv`; writes nothing. Every slip of every row
is named. Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path

from wrackline.errors import Fault
from wrackline.model import Decision, Phasing, Point
from wrackline.registers import Cells, Slip, nearest, read_rows

PHASES = Path("config/phases.csv")
DECISIONS = Path("config/decisions.csv")

TWO_PLACES = ("draw", "split", "merge")
ONE_PLACE = ("confirm", "forbid", "open_ground")
SAME_POINT_M = 0.1
"""Places nearer than this can't tell two walls apart, nor two ends of a line (no source)."""
SAME_DECISION_M = 0.25
"""Decisions whose places lie no further apart than this are about one thing (no source)."""


def read_phases(
    folder: Path,
    faults: list[Fault],
    *,
    holds: Mapping[str, str] | None,
    order: Sequence[str] | None,
) -> tuple[Phasing, ...]:
    """Read what is known of the order of a site's walls; no file, nothing known.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    holds : mapping of str to str or None
        What each survey holds, by its identifier; None where the seasons can't be read, so that
        surveys go unchecked.
    order : sequence of str or None
        The site's phases, earliest first; None where site.yaml can't be read.
    """

    def check(slip: Slip, cells: Cells) -> Iterator[Fault]:
        yield from _phasing_cells(slip, cells)
        for column in ("line", "other_line"):
            yield from _line_faults(slip, cells.get(column, ""), holds)
        if order is not None:
            yield from _order_faults(slip, cells, order)

    rows = read_rows(folder, PHASES, Phasing, faults, check=check)
    for row, phasing in rows:
        if _same_wall(phasing):
            faults.append(_meets_itself(Slip(PHASES, row), phasing))
    for (first, one), (row, other) in _one_wall(rows):
        if _differ(one, other):
            faults.append(_phased_twice(Slip(PHASES, row), one, other, first))
    return tuple(phasing for _, phasing in rows)


def read_decisions(folder: Path, faults: list[Fault]) -> tuple[Decision, ...]:
    """Read what the team decided about the joined plan; no file, no decisions.

    Parameters
    ----------
    folder : Path
        The site's folder.
    faults : list of Fault
        Receives every fault of every row.
    """
    rows = read_rows(folder, DECISIONS, Decision, faults, check=_decision_cells)
    for row, decision in rows:
        far = decision.to_place
        if far is not None and _same_point(decision.place, far):
            faults.append(_too_near(Slip(DECISIONS, row), decision.decision, far, decision.place))
    ends = [(decision.place, k) for k, (_, decision) in enumerate(rows)]
    ends += [(far, k) for k, (_, decision) in enumerate(rows) if (far := decision.to_place)]
    for a, b in _pairs_within(ends, SAME_DECISION_M):
        (first, one), (row, other) = rows[a], rows[b]
        if one.decision == other.decision and _same_places(one, other):
            faults.append(_decided_twice(Slip(DECISIONS, row), other, first))
        elif {one.decision, other.decision} == {"confirm", "forbid"}:
            faults.append(_against(Slip(DECISIONS, row), one, other, first))
    return tuple(decision for _, decision in rows)


def _pairs_within(places: Sequence[tuple[Point, int]], reach_m: float) -> list[tuple[int, int]]:
    """Return the pairs of rows of which a place lies within reach of the other's, each once.

    >>> _pairs_within([((0.0, 0.0), 0), ((9.0, 0.0), 1), ((0.0, 0.2), 2)], 0.25)
    [(0, 2)]
    """
    ordered = sorted(places)
    pairs = set()
    for at, (place, row) in enumerate(ordered):
        for k in range(at + 1, len(ordered)):
            beside, other = ordered[k]
            if round(beside[0] - place[0], 6) > reach_m:
                break
            if row != other and _apart_m(place, beside) <= reach_m:
                pairs.add((min(row, other), max(row, other)))
    return sorted(pairs)


def _apart_m(one: Point, other: Point) -> float:
    """Return a distance to the micrometre [m]: finer, 0.1 m depends on where it is.

    >>> _apart_m((324400.1, 0.0), (324400.0, 0.0))
    0.1
    """
    return round(math.dist(one, other), 6)


def _phasing_cells(slip: Slip, cells: Cells) -> Iterator[Fault]:
    """Yield what is wrong with the cells of a row of phases that are filled or empty."""
    yield from _wall_cells(slip, cells, "", needed=True)
    other = [column for column in ("other_line", *_place("other_")) if column in cells]
    if "joint" in cells or other:
        yield from _wall_cells(slip, cells, "other_", needed="joint" in cells)
    if other and "joint" not in cells:
        yield slip.fault(
            "other_without_joint",
            f"{other[0]}: '{cells[other[0]]}', and no joint",
            "another wall together with a joint: bonded, abuts, overlies or blocks",
            "how the two walls meet would be left to a guess",
            "write the joint, or clear the cells of the other wall",
        )
    if not {"phase_from", "phase_to", "joint"} & set(cells) and not other:
        yield slip.fault(
            "phasing_says_nothing",
            "neither a phase nor a joint",
            "phase_from, phase_to, or a joint with another wall; or both",
            "the row would do nothing, unseen",
            "fill in what is known, or take the row out",
        )


def _place(prefix: str) -> tuple[str, str]:
    return f"{prefix}easting", f"{prefix}northing"


def _wall_cells(slip: Slip, cells: Cells, prefix: str, *, needed: bool) -> Iterator[Fault]:
    """Yield a fault where cells don't name one wall, by its line or by a place on it."""
    line = f"{prefix}line"
    placed = [column for column in _place(prefix) if column in cells]
    if line in cells and placed:
        yield slip.fault(
            "wall_named_twice",
            f"{line}: '{cells[line]}', and {placed[0]}: '{cells[placed[0]]}'",
            "a line or a place, one of the two",
            "it would be left to chance which wall is meant, should they differ",
            f"keep {line}, or {' and '.join(_place(prefix))}; clear the rest",
        )
    elif len(placed) == 1:
        yield _half_a_place(slip, cells, _place(prefix))
    elif needed and not placed and line not in cells:
        yield slip.fault(
            "joint_without_other" if prefix else "no_wall",
            f"joint: '{cells['joint']}', and no other wall" if prefix else "no wall",
            f"{line} as survey:line, or {' and '.join(_place(prefix))}",
            "the row would be tied to nothing",
            "name the wall by its line, or by a place on it",
        )


def _half_a_place(slip: Slip, cells: Cells, columns: tuple[str, str]) -> Fault:
    given, missing = columns if columns[0] in cells else columns[::-1]
    return slip.fault(
        "half_a_place",
        f"{given}: '{cells[given]}', and no {missing}",
        f"{columns[0]} and {columns[1]}, both or neither [m]",
        "half a place is nowhere",
        f"write {missing} too, or clear {given}",
    )


def _line_faults(slip: Slip, line: str, holds: Mapping[str, str] | None) -> Iterator[Fault]:
    """Yield a fault where a line is not `survey:line`, or its survey holds no walls."""
    survey, own = _parts(line)
    if line and not (survey and own):
        yield slip.fault(
            "wall_line",
            f"the line '{line}'",
            "survey:line, the survey with its season, e.g. 2031-walls:17",
            "no wall would be found by it",
            "write the survey, a colon and the survey's own number of the line",
        )
    elif line and holds is not None and holds.get(survey) != "wall_lines":
        walls = [name for name, held in holds.items() if held == "wall_lines"]
        near = nearest(survey, walls)
        what = f"which holds {holds[survey]}" if survey in holds else "which no season has"
        yield slip.fault(
            "survey_without_walls" if survey in holds else "unknown_survey",
            f"the survey '{survey}', {what}",
            f"surveys of wall lines: {', '.join(walls) or 'none yet'}",
            "the row would be tied to nothing",
            f"did you mean '{near}'?" if near else "mend the survey's name, season first",
        )


def _parts(line: str) -> tuple[str, str]:
    """Return the survey of a line and its own number, each empty where it is missing.

    >>> _parts("2031-walls: 17")
    ('2031-walls', '17')
    """
    survey, _, own = line.partition(":")
    return survey.strip(), own.strip()


def _order_faults(slip: Slip, cells: Cells, order: Sequence[str]) -> Iterator[Fault]:
    """Yield what is wrong with a row's phases, as the site orders them."""
    span = {column: cells.get(column, "") for column in ("phase_from", "phase_to")}
    for column, phase in span.items():
        if phase and phase not in order:
            near = nearest(phase, order)
            yield slip.fault(
                "unknown_phase",
                f"{column}: '{phase}'",
                f"the phases of site.yaml: {', '.join(order) or 'none yet'}",
                "the wall could not be put in order with the others",
                (f"did you mean '{near}'? Else " if near else "") + "list it under phases there",
            )
    first, last = span.values()
    if first in order and last in order and order.index(first) > order.index(last):
        yield slip.fault(
            "phases_backwards",
            f"phase_from '{first}' and phase_to '{last}'",
            f"phases in the order of site.yaml: {', '.join(order)}",
            "the wall would have gone before it was built",
            "change the two, or mend the order of phases in site.yaml",
        )


def _same_wall(phasing: Phasing) -> bool:
    """Tell whether a row's other wall is the wall itself."""
    if phasing.line and phasing.other_line:
        return _parts(phasing.line) == _parts(phasing.other_line)
    return _same_point(phasing.place, phasing.other_place)


def _same_point(one: Point | None, other: Point | None) -> bool:
    return one is not None and other is not None and _apart_m(one, other) < SAME_POINT_M


def _meets_itself(slip: Slip, phasing: Phasing) -> Fault:
    return slip.fault(
        "wall_meets_itself",
        f"{_wall(phasing)} as the wall, and as the other one",
        f"two walls; their places {SAME_POINT_M:g} m apart or more",
        "no wall is earlier or later than itself",
        "name the wall that the joint is with",
    )


def _wall(phasing: Phasing) -> str:
    """Return in words which wall a row is about."""
    if phasing.line or phasing.place is None:
        return f"the line '{phasing.line}'"
    return f"the wall at {_spot(phasing.place)}"


def _spot(place: Point) -> str:
    return f"{place[0]:.2f} {place[1]:.2f}"


def _one_wall(
    rows: Sequence[tuple[int, Phasing]],
) -> Iterator[tuple[tuple[int, Phasing], tuple[int, Phasing]]]:
    """Yield the pairs of rows that are plainly about one wall: one line, or one place.

    Of each line, every row is paired with the first that gives it a phase.
    """
    given = [(row, phasing) for row, phasing in rows if phasing.phase_from or phasing.phase_to]
    firsts: dict[tuple[str, str], tuple[int, Phasing]] = {}
    for row, phasing in given:
        if phasing.line:
            first = firsts.setdefault(_parts(phasing.line), (row, phasing))
            if first[0] != row:
                yield first, (row, phasing)
    places = [(place, k) for k, (_, phasing) in enumerate(given) if (place := phasing.place)]
    for a, b in _pairs_within(places, SAME_POINT_M):
        if _same_point(given[a][1].place, given[b][1].place):
            yield given[a], given[b]


def _differ(one: Phasing, other: Phasing) -> bool:
    return (one.phase_from, one.phase_to) != (other.phase_from, other.phase_to)


def _span(phasing: Phasing) -> str:
    return f"from {phasing.phase_from or 'unknown'} to {phasing.phase_to or 'unknown'}"


def _phased_twice(slip: Slip, one: Phasing, other: Phasing, first: int) -> Fault:
    return slip.fault(
        "phased_twice",
        f"{_wall(other)} {_span(other)}, and in row {first} {_span(one)}",
        "one span of phases a wall; joints may stand in further rows",
        "it would be left to chance which of the two counts",
        "agree on one, and say in note what the other rested on",
    )


def _decision_cells(slip: Slip, cells: Cells) -> Iterator[Fault]:
    """Yield what is wrong with the second place of a row of decisions, as filled or empty."""
    decision = cells.get("decision", "")
    columns = _place("to_")
    given = [column for column in columns if column in cells]
    if decision in ONE_PLACE and given:
        yield slip.fault(
            "surplus_place",
            f"a second place for {decision}: {given[0]} '{cells[given[0]]}'",
            f"a second place for {', '.join(TWO_PLACES)} alone",
            "it would be passed over, unseen",
            "clear the two cells, or mend the decision",
        )
    elif len(given) == 1:
        yield _half_a_place(slip, cells, columns)
    elif decision in TWO_PLACES and not given:
        which = "in the second room" if decision == "merge" else "at the line's other end"
        yield slip.fault(
            "no_second_place",
            f"{decision} with one place",
            f"to_easting and to_northing, {which} [m]",
            "the decision can't be carried out",
            "write the second place",
        )


def _too_near(slip: Slip, decision: str, far: Point, place: Point) -> Fault:
    return slip.fault(
        "places_too_near",
        f"two places of {decision} {_apart_m(place, far):.3f} m apart",
        f"{SAME_POINT_M:g} m or more",
        "a line between them divides nothing, and two rooms are not told apart",
        "mend one of the places",
    )


def _same_places(one: Decision, other: Decision) -> bool:
    """Tell whether two decisions have the same places, in either order."""
    mine, far = one.place, one.to_place
    place, to_place = other.place, other.to_place
    if far is None or to_place is None:
        return far is to_place and _beside(mine, place)
    straight = _beside(mine, place) and _beside(far, to_place)
    return straight or (_beside(mine, to_place) and _beside(far, place))


def _beside(one: Point, other: Point) -> bool:
    return _apart_m(one, other) <= SAME_DECISION_M


def _decided_twice(slip: Slip, decision: Decision, first: int) -> Fault:
    return slip.fault(
        "decided_twice",
        f"{decision.decision} at {_spot(decision.place)} a second time, as in row {first}",
        f"each decision once; one place is what lies within {SAME_DECISION_M:g} m",
        "who decided it, and why, would be said twice",
        "keep one of the two rows",
    )


def _against(slip: Slip, one: Decision, other: Decision, first: int) -> Fault:
    return slip.fault(
        "decided_against",
        f"{other.decision} at {_spot(other.place)}, and in row {first} {one.decision} at "
        f"{_spot(one.place)}, {_apart_m(one.place, other.place):.2f} m away",
        "confirm or forbid, one of the two, of a closing",
        "it would be left to chance which of the two counts",
        "agree on one and take the other row out",
    )
