"""Identifiers of surveys, `<season>-<name>`; apart from the config, which few steps read."""

from __future__ import annotations


def season_of(survey: str) -> str:
    """Return the season part of a survey identifier.

    >>> season_of("2031-walls_pole")
    '2031'
    """
    return survey.split("-", 1)[0]
