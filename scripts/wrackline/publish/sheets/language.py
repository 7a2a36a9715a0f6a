"""What sheets say in the reader's language: phrases, numbers, dates, and the site's own texts.

Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import datetime as dt
import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from unicodedata import category

from wrackline.model import Translation
from wrackline.publish.sheets.words import WORDS
from wrackline.quantities import MISSING, fixed, rounded

MINUS = "−"
ISO_DATE = "YYYY-MM-DD"


@dataclass(frozen=True)
class Language:
    """One language of sheets.

    Attributes
    ----------
    code : str
        As its file is called, e.g. ``uk``.
    name : str
        As it calls itself.
    decimal_mark : str
    date_pattern : str
        With ``YYYY``, ``MM`` and ``DD``.
    font : str
        Path of a font file, relative to the site's folder; empty: the built-in one.
    words : mapping of str to str
        Phrases by key of `WORDS`; English stands in for those that are missing.
    own_texts : mapping of str to str
        The site's own texts, and what stands for them.
    """

    code: str = "en"
    name: str = "English"
    decimal_mark: str = "."
    date_pattern: str = ISO_DATE
    font: str = ""
    words: Mapping[str, str] = field(default_factory=dict)
    own_texts: Mapping[str, str] = field(default_factory=dict)

    @staticmethod
    def english() -> Language:
        """Return the language that sheets are written in."""
        return Language()

    @staticmethod
    def of(code: str, file: Translation) -> Language:
        """Return the language of a file that was read and checked.

        Parameters
        ----------
        code : str
            The file's name without its ending.
        file : Translation
        """
        return Language(
            code=code,
            name=file.language,
            decimal_mark=file.decimal_mark,
            date_pattern=file.date_pattern,
            font=f"config/{file.font}" if file.font else "",
            words=file.words,
            own_texts=file.own,
        )

    @staticmethod
    def from_json(text: str) -> Language:
        """Return the language that `to_json` wrote for a step."""
        return Language(**json.loads(text))

    def to_json(self) -> str:
        """Return the language as text, the form in which rules hand it to steps."""
        return json.dumps(asdict(self), ensure_ascii=False, sort_keys=True)

    def say(self, key: str, **values: str) -> str:
        """Return a phrase with its values put in.

        Parameters
        ----------
        key : str
            One of `WORDS`; another is a mistake of ours.
        **values : str
            Ready texts, by the names in the phrase's braces.

        Examples
        --------
        >>> Language.english().say("page_of", number="2", count="5")
        '2 of 5'
        """
        return self.words.get(key, WORDS[key]).format(**values)

    def own(self, text: str) -> str:
        """Return one of the site's own texts, translated where the file has it, on one line."""
        said = self.own_texts.get(text, text)
        if said.isprintable():
            return said
        return " ".join("".join(" " if category(c) == "Cc" else c for c in said).split())

    def number(self, value: float, digits: int) -> str:
        """Return a number with so many decimals, the language's mark and a true minus.

        Examples
        --------
        >>> Language("uk", decimal_mark=",").number(-1.26, 1)
        '−1,3'
        """
        return self._marked(fixed(value, digits))

    def figure(self, value: float | None, sd: float | None, unit: str = "") -> str:
        """Return a figure with its standard uncertainty, both to the place that it supports.

        Parameters
        ----------
        value, sd : float or None
            In one unit; a missing value gives a dash.
        unit : str
            ``m``, ``m2``, ``m3``, ``deg`` or nothing.

        Examples
        --------
        >>> Language("uk", decimal_mark=",", words={"unit_m": "м"}).figure(3.417, 0.052, "m")
        '3,42 ± 0,05 м'
        """
        if value is None or math.isnan(value):
            return MISSING
        sign = self.say(f"unit_{unit}") if unit else ""
        ending = sign if unit in ("", "deg") else f" {sign}"
        texts = rounded(value, float("nan") if sd is None else sd)
        return " ± ".join(self._marked(text) for text in texts if text) + ending

    def date(self, day: str | dt.date) -> str:
        """Return a day by the language's pattern; what is no whole day (a year) stays as it is.

        Examples
        --------
        >>> Language("uk", date_pattern="DD.MM.YYYY").date("2033-06-09")
        '09.06.2033'
        """
        try:
            when = dt.date.fromisoformat(str(day))
        except ValueError:
            return str(day)
        parts = {"YYYY": f"{when.year:04d}", "MM": f"{when.month:02d}", "DD": f"{when.day:02d}"}
        text = self.date_pattern
        for part, number in parts.items():
            text = text.replace(part, number)
        return text

    def _marked(self, text: str) -> str:
        return text.replace("-", MINUS).replace(".", self.decimal_mark)
