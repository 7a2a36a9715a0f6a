"""Control marks as raw observations name them: which value holds on the day, and which is none."""

from __future__ import annotations

import datetime as dt
import difflib
import re

from wrackline.errors import Fault
from wrackline.intake.slips import plain_name
from wrackline.model import ControlValue
from wrackline.verdict import Problems, Source

NO_PLACE = "nothing sighted by way of it could be placed"


class Marks:
    """The marks of a survey's control, by name; capitals don't count.

    Parameters
    ----------
    source : Source
    problems : Problems
        Receives a fault, once a mark, where one is unknown or holds no value on the day.
    """

    def __init__(self, source: Source, problems: Problems) -> None:
        self.source, self.problems = source, problems
        self._values: dict[str, list[ControlValue]] = {}
        for value in source.control:
            self._values.setdefault(value.point.casefold(), []).append(value)
        self._plain = {_bare(value.point): value.point for value in source.control}
        self._failed: set[str] = set()

    def peek(self, name: str, day: dt.date | None = None) -> ControlValue | None:
        """Return the one value of a mark that holds on a day, None without a word if none does.

        Without a day, one value alone must hold during the survey.
        """
        values = self._values.get(name.casefold(), [])
        held = [v for v in values if day is None or v.holds_on(day, day)]
        return held[0] if len(held) == 1 else None

    def find(
        self, name: str, day: dt.date | None, row: int, *, needed: bool = True
    ) -> ControlValue | None:
        """Return the value of a mark that holds on a day, or None, with a fault if it is needed.

        A name that is a known mark's but for blanks, marks and leading noughts is a fault even
        where a new name may stand.
        """
        value = self.peek(name, day)
        key = name.casefold()
        if value is not None or key in self._failed:
            return value
        if key in self._values:
            held = self._values[key]
            several = day is None and len(held) > 1
            fault = self._ambiguous(name, row, held) if several else self._out(name, day, row)
        elif needed or _bare(name) in self._plain:
            fault = self._unknown(name, row)
        else:
            return None
        self._failed.add(key)
        self.problems.add(fault)
        return None

    def failed(self, name: str) -> bool:
        """Tell whether a fault was found with a mark's name."""
        return name.casefold() in self._failed

    def _unknown(self, name: str, row: int) -> Fault:
        names = sorted(values[0].point for values in self._values.values())
        near = [self._plain[_bare(name)]] if _bare(name) in self._plain else []
        near += difflib.get_close_matches(name, names, n=1, cutoff=0.5)
        hint = f"if it is '{near[0]}', correct the name; if not, " if near else ""
        return self.source.fault(
            "unknown_mark",
            f"mark '{name}', which has no value for the days of the survey"
            + (f"; there is a '{near[0]}'" if near else ""),
            f"one of the {len(names)} marks of config/control.csv that hold on these days",
            NO_PLACE,
            f"{hint}write the mark, with the days on which it holds, into config/control.csv",
            row=row,
        )

    def _out(self, name: str, day: dt.date | None, row: int) -> Fault:
        values = self._values[name.casefold()]
        held = "; ".join(
            f"{v.from_date or 'the start'} to {v.to_date or 'now'} ({v.fate})" for v in values
        )
        return self.source.fault(
            "mark_not_valid",
            f"mark '{name}' used on {day}; its values hold from {held}",
            "one value of a mark on any day of its use",
            NO_PLACE,
            "look whether another mark was meant; if it still stood, mend its dates in "
            "config/control.csv",
            row=row,
            at=(values[0].easting, values[0].northing),
        )

    def _ambiguous(self, name: str, row: int, values: list[ControlValue]) -> Fault:
        return self.source.fault(
            "mark_ambiguous",
            f"mark '{name}', of which {len(values)} values hold during the survey, and no day",
            "one value, told by the day of the observation",
            "the place before a move could be taken for the one after it",
            "give the days in a column 'time', or split the survey by days",
            row=row,
            at=(values[0].easting, values[0].northing),
        )


def _bare(name: str) -> str:
    """Return a name without case, marks and leading noughts of its numbers."""
    return re.sub(r"(?<!\d)0+(?=\d)", "", plain_name(name))


def heights_meant(source: Source, problems: Problems) -> bool:
    """Tell whether a survey's heights are counted from the site's datum; say so if they aren't."""
    vertical = source.survey.vertical
    if (vertical.meaning, vertical.zero, vertical.datum_height_m) == ("height", "site", 0.0):
        return True
    problems.add(
        source.fault(
            "heights_from_control",
            f"vertical.meaning '{vertical.meaning}', zero '{vertical.zero}', "
            f"datum_height_m {vertical.datum_height_m:g}",
            "meaning 'height', zero 'site' and no datum_height_m: heights come from control marks, "
            "which count from the site's datum",
            "every height would be turned or shifted",
            "mend `vertical` in the season's config; tie the marks to the site's datum",
        )
    )
    return False
