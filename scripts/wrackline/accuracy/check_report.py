"""What one check of all files found: intake's verdicts and the cross-check in one report."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from wrackline.accuracy.markup import plain
from wrackline.accuracy.remeasure import as_text
from wrackline.errors import Fault, fault_from_dict
from wrackline.verdict import Verdict, report

PAGE = "work/check/report.html"

COLUMNS = (
    ("survey", "survey", 22),
    ("holds", "holds", 15),
    ("rows", "rows", 8),
    ("used", "used", 8),
    ("faults", "faults", 6),
    ("suspicions", "doubts", 6),
)
"""Key, heading and width of the terminal's table; with the verdict's word 79 columns."""


def merged(verdicts: Iterable[Verdict], cross_check: Mapping[str, Any]) -> list[Verdict]:
    """Return verdicts with what the cross-check found of each survey added.

    Parameters
    ----------
    verdicts : iterable of Verdict
    cross_check : mapping
        ``faults``, ``suspicions`` and ``accepted``, as
        `wrackline.accuracy.cross_check.cross_check` gives them.
    """
    stand, accepted = found_by(cross_check, "suspicions"), found_by(cross_check, "accepted")
    faults = found_by(cross_check, "faults")
    return [
        replace(
            verdict,
            faults=verdict.faults + [f for f in faults if f.survey == verdict.survey],
            suspicions=verdict.suspicions + [f for f in stand if f.survey == verdict.survey],
            accepted=verdict.accepted + [f for f in accepted if f.survey == verdict.survey],
        )
        for verdict in verdicts
    ]


def found_by(record: Mapping[str, Any], key: str) -> list[Fault]:
    """Return the faults that a JSON record lists under a key."""
    return [fault_from_dict(fault) for fault in record.get(key, ())]


def check_report(
    verdicts: Sequence[Verdict], cross_check: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """Return the report over all surveys, JSON-ready; tomorrow's list is still empty.

    Parameters
    ----------
    verdicts : sequence of Verdict
        Of all surveys, in the order of the report.
    cross_check : mapping, optional
        See `merged`; its ``pairs`` are passed on.

    Returns
    -------
    dict
        What `wrackline.verdict.report` gives, with the cross-check's suspicions listed and
        counted; ``accepted``, ``pairs``, and ``remeasure``, an empty list.
    """
    cross_check = cross_check or {}
    both = merged(verdicts, cross_check)
    names = {verdict.survey for verdict in both}
    found = report(both)
    for key in ("faults", "suspicions", "accepted"):
        left = [f.as_dict() for f in found_by(cross_check, key) if f.survey not in names]
        found[key] = found.get(key, [f.as_dict() for v in both for f in v.accepted]) + left
    return {**found, "pairs": list(cross_check.get("pairs", ())), "remeasure": []}


def numbered(found: Mapping[str, Any]) -> list[Fault]:
    """Return faults, then suspicions of a report; their numbers are their order, from 1.

    Parameters
    ----------
    found : mapping
        What `check_report` returned.
    """
    return found_by(found, "faults") + found_by(found, "suspicions")


def word(survey: Mapping[str, Any]) -> str:
    """Return the verdict on a survey of a report in one word.

    >>> word({"faults": 0, "suspicions": 2})
    'doubt'
    """
    if survey["faults"]:
        return "faulty"
    return "doubt" if survey["suspicions"] else "sound"


def sentence(found: Mapping[str, Any]) -> str:
    """Return the verdict on all surveys in one sentence.

    Parameters
    ----------
    found : mapping
        What `check_report` returned.
    """
    surveys = found["surveys"]
    total = _count(len(surveys), "survey")
    doubts = _count(len(found["suspicions"]), "suspicion")
    if found["faults"]:
        bad = sum(1 for survey in surveys if survey["faults"])
        faults = _count(len(found["faults"]), "fault")
        more = f", and {doubts} besides" if found["suspicions"] else ""
        return f"{faults} in {bad} of {total}{more}: nothing is built before they are mended."
    if found["suspicions"]:
        return f"No fault in {total}, but {doubts} that a person should look at."
    return f"No fault and nothing doubtful in {total}."


def _count(number: int, thing: str) -> str:
    """Return a number with its noun.

    >>> _count(1, "fault"), _count(0, "fault")
    ('1 fault', '0 faults')
    """
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def summary_text(found: Mapping[str, Any], page: str = PAGE) -> str:
    """Return the report for a terminal of 80 columns.

    Parameters
    ----------
    found : mapping
        The content of `report.json`.
    page : str
        Where the page with pictures lies.
    """
    parts = [_table(found["surveys"])]
    parts += [f"[{k}] {fault.text()}" for k, fault in enumerate(numbered(found), start=1)]
    if found["accepted"]:
        parts.append(f"Accepted in the config: {_count(len(found['accepted']), 'suspicion')}.")
    if found["remeasure"]:
        parts.append("To measure again, on a short way:\n" + as_text(found["remeasure"]))
    parts.append(f"{sentence(found)}\nPictures and all figures: {page}")
    return plain("\n\n".join(parts))


def _table(surveys: Sequence[Mapping[str, Any]]) -> str:
    lines = [_line([head for _, head, _ in COLUMNS], "verdict")]
    lines += [_line([survey[key] for key, _, _ in COLUMNS], word(survey)) for survey in surveys]
    return "\n".join(lines)


def _line(cells: Sequence[Any], last: str) -> str:
    """Return a line of the table, texts to the left and numbers to the right."""
    parts = []
    for k, (cell, (_, _, width)) in enumerate(zip(cells, COLUMNS, strict=True)):
        text = str(cell)
        short = text if len(text) <= width else text[: width - 1] + "…"
        parts.append(f"{short:<{width}}" if k < 2 else f"{short:>{width}}")
    return " ".join([*parts, last])
