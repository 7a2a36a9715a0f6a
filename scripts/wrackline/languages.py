"""Languages of the sheets: what is wrong with `config/languages/<code>.yaml`, and what to know.

Reads only fonts; writes nothing. Only light modules may be imported here: the Snakefile reads it.
"""

from __future__ import annotations

import difflib
import importlib.util
import io
import re
import string
import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import yaml

from wrackline.errors import Fault
from wrackline.model import Season, Site, Translation
from wrackline.publish.sheets.words import WORDS

if TYPE_CHECKING:
    from fontTools.ttLib import TTFont

FOLDER = Path("config/languages")
ENGLISH = "en"
CODE = re.compile(r"[a-z]{2,3}(-[A-Za-z0-9]{2,8})*")
"""Tags of languages by RFC 5646, as in ``uk`` and ``pt-BR``: their common form (from memory)."""

TRIED = ("LATIN", "GREEK", "CYRILLIC", "ARMENIAN", "GEORGIAN", "ARABIC")
"""Scripts that were looked at on sheets; names of letters in Unicode begin with them."""

FIGURES = string.ascii_letters + string.digits + string.punctuation + "±−°²³′–·"
"""What every sheet writes beside its phrases: figures, units, numbers of rooms."""

LAST_LATIN = "\u024f"
"""The built-in font holds all letters of Europe's Latin alphabets, which end here."""

BUILT_IN = ("DejaVuSans.ttf", "DejaVuSans-Bold.ttf")
NO_EMBEDDING = 2
"""Licence field of a font: it must not be embedded (OpenType specification, OS/2, fsType)."""

SHOWN = 8
"""So many characters, keys or letters are named in a message."""

NEAR = 0.85
"""How alike a text under `own` is to one of the site's that it seems to mean (0 to 1)."""


def language_faults(
    folder: Path, name: Path, file: Translation, texts: Sequence[str]
) -> list[Fault]:
    """Return everything that keeps a language file from being used.

    Parameters
    ----------
    folder : Path
        The site's folder.
    name : Path
        The file, relative to it.
    file : Translation
        Its content.
    texts : sequence of str
        The site's own texts, as `texts_of` gives them.
    """
    rows = _rows(folder / name)
    faults = [] if CODE.fullmatch(name.stem) and name.suffix == ".yaml" else [_misnamed(name)]
    for key, phrase in file.words.items():
        row = rows.get(("words", key))
        if key not in WORDS:
            faults.append(_unknown_key(key, name, row))
        elif (wrong := _other_names(WORDS[key], phrase)) is not None:
            faults.append(_names_differ(key, wrong, name, row))
    held, problem = _held_by(folder, file.font)
    if problem:
        faults.append(_bad_font(problem, file.font or "", name, rows.get(("font", ""))))
    lacking = {} if problem else _lacking(_drawn(file, texts), held)
    if lacking:
        faults.append(_no_glyphs(lacking, name, file.font, rows))
    return faults


def language_notes(name: Path, file: Translation, texts: Sequence[str]) -> list[str]:
    """Return what a run says once of a language file that can be used.

    Parameters
    ----------
    name, file, texts
        As for `language_faults`.
    """
    notes = []
    missing = [key for key in WORDS if key not in file.words]
    if missing:
        notes.append(
            f"{name}: {len(missing)} of {len(WORDS)} phrases stay English ({_some(missing)})."
        )
    for text in file.own:
        near = difflib.get_close_matches(text, texts, n=1, cutoff=NEAR)
        if text not in texts and near:
            notes.append(f"{name}: the site has no text '{text}'; did you mean '{near[0]}'?")
    phrases = [*file.words.values(), *file.own.values()]
    if any(unicodedata.bidirectional(letter) in ("R", "AL") for text in phrases for letter in text):
        notes.append(
            f"{name}: words that run from right to left are set so, but lines and columns of a "
            "sheet begin at the left."
        )
    untried = sorted(_scripts(phrases) - set(TRIED))
    if untried:
        notes.append(
            f"{name}: letters of {_some([script.capitalize() for script in untried])} were never "
            f"looked at on a sheet (tried: {_some([script.capitalize() for script in TRIED])}). "
            "Have a reader of the language look before it goes out."
        )
    return notes


def english_notes(texts: Sequence[str]) -> list[str]:
    """Return what a run says where English sheets, in the built-in font, can't print a text.

    Parameters
    ----------
    texts : sequence of str
        The site's own texts.
    """
    if max("".join(texts), default="") <= LAST_LATIN:
        return []
    lacking = _lacking({("", text): text for text in texts}, _built_in())
    if not lacking:
        return []
    return [
        f"DejaVu Sans, in which English sheets are drawn, has no {_some(list(lacking))}: empty "
        "boxes would stand there. Name another font in config/languages/en.yaml."
    ]


def texts_of(site: Site, seasons: Iterable[Season]) -> list[str]:
    """Return the site's own texts that sheets may print, as far as the config has them.

    Kinds of features and names of trenches stand in the surveys' files, and are not among them.
    """
    surveys = [survey for season in seasons for survey in season.surveys]
    texts = [
        site.name,
        site.public_name,
        site.vertical_datum,
        site.credit,
        *(level.name for level in site.sea_levels),
        *site.phases,
        *sorted({survey.technique for survey in surveys}),
        *(sheets.title for sheets in site.sheets.values()),
        *(getattr(site.title_block, key) for key in ("drawn", "checked", "permit")),
    ]
    return list(dict.fromkeys(text for text in texts if text))


def languages_written(folder: Path) -> set[str]:
    """Return the languages of a site that have a file, be it with faults.

    Parameters
    ----------
    folder : Path
        The site's folder.
    """
    return {path.stem for path in (folder / FOLDER).glob("*.yaml")}


def sheet_faults(site: Site, codes: Iterable[str]) -> list[Fault]:
    """Return a fault for every set of sheets in a language that has no file.

    Parameters
    ----------
    site : Site
    codes : iterable of str
        Languages that have one.
    """
    known = sorted({ENGLISH, *codes})
    return [
        _unknown_language(name, sheets.language, known)
        for name, sheets in site.sheets.items()
        if sheets.language not in known
    ]


def _rows(path: Path) -> dict[tuple[str, str], int]:
    """Return the line of every key of a file, by block and key; of a block, under no key."""
    node = yaml.compose(path.read_text(encoding="utf-8-sig"), Loader=yaml.SafeLoader)
    rows: dict[tuple[str, str], int] = {}
    for key, value in getattr(node, "value", []):
        rows[str(key.value), ""] = key.start_mark.line + 1
        inner: list[Any] = value.value if isinstance(value, yaml.MappingNode) else []
        rows |= {(str(key.value), str(k.value)): k.start_mark.line + 1 for k, _ in inner}
    return rows


def _other_names(english: str, phrase: str) -> str | None:
    """Return what a phrase has in braces, in words, where it isn't what the English one has."""
    try:
        given = sorted(
            {name for _, name, *_ in string.Formatter().parse(phrase) if name is not None}
        )
    except ValueError as slip:
        return str(slip)
    wanted = sorted({name for _, name, *_ in string.Formatter().parse(english) if name is not None})
    if given == wanted:
        return None
    return ", ".join(f"{{{name}}}" for name in given) or "nothing in braces"


def _drawn(file: Translation, texts: Sequence[str]) -> dict[tuple[str, str], str]:
    """Return every text that a sheet in this language may draw, by where it comes from."""
    drawn = {("", "figures"): FIGURES}
    drawn |= {("", "English"): " ".join(v for k, v in WORDS.items() if k not in file.words)}
    drawn |= {("", f"'{text}'"): text for text in texts if text not in file.own}
    drawn |= {("words", key): phrase for key, phrase in file.words.items()}
    drawn |= {("own", text): own for text, own in file.own.items()}
    return drawn


def _held_by(folder: Path, font: str | None) -> tuple[set[str], str]:
    """Return the characters that a font holds, or what keeps it from being used."""
    if font is None:
        return _built_in(), ""
    given = Path(font)
    path = folder / "config" / given
    if given.is_absolute() or ".." in given.parts:
        return set(), "a path that leads out of config/"
    if not path.is_file():
        return set(), "no such file under config/"
    from fontTools.ttLib import TTLibError  # noqa: PLC0415  # loaded only where a font is named

    try:
        return _usable(_opened(path))
    except (TTLibError, KeyError, AssertionError) as slip:
        return set(), f"no readable font ({type(slip).__name__}: {slip})"


def _built_in() -> set[str]:
    """Return the characters of the font that comes with matplotlib, which isn't loaded for it."""
    spec = importlib.util.find_spec("matplotlib")
    found = spec.submodule_search_locations if spec else None
    where = Path(next(iter(found or [])), "mpl-data", "fonts", "ttf")
    return set.intersection(*(_characters(_opened(where / face)) for face in BUILT_IN))


def _usable(font: TTFont) -> tuple[set[str], str]:
    """Return a font's characters, or why it can't be put into a PDF and passed on."""
    if "glyf" not in font:
        return set(), "a font without TrueType outlines"
    if font["OS/2"].fsType & 0x000F == NO_EMBEDDING:
        return set(), "a font whose makers forbid to embed it (OS/2 table, fsType 2)"
    return _characters(font), ""


def _opened(path: Path) -> TTFont:
    from fontTools.ttLib import TTFont  # noqa: PLC0415  # loaded only where there is a language

    return TTFont(io.BytesIO(path.read_bytes()), lazy=True)


def _characters(font: TTFont) -> set[str]:
    return {chr(code) for code in font.getBestCmap()}


def _lacking(
    drawn: Mapping[tuple[str, str], str], held: set[str]
) -> dict[str, list[tuple[str, str]]]:
    """Return the characters that a font lacks, each with where they are wanted."""
    lacking: dict[str, list[tuple[str, str]]] = {}
    for where, text in drawn.items():
        for letter in sorted(set(text) - held):
            if not letter.isspace() and unicodedata.category(letter) != "Cf":
                lacking.setdefault(letter, []).append(where)
    return dict(sorted(lacking.items()))


def _scripts(texts: Iterable[str]) -> set[str]:
    """Return the scripts of some texts' letters, by the first word of the letters' names."""
    letters = {letter for text in texts for letter in text if letter.isalpha()}
    return {unicodedata.name(letter, "UNNAMED").partition(" ")[0] for letter in letters} - {
        "FEMININE",
        "MASCULINE",
        "MICRO",
        "MODIFIER",
    }


def _some(names: Sequence[str]) -> str:
    """Return some names, and how many more there are."""
    more = len(names) - SHOWN
    return ", ".join(names[:SHOWN]) + (f" and {more} more" if more > 0 else "")


def _misnamed(name: Path) -> Fault:
    return Fault(
        kind="language_misnamed",
        found=f"the file name {name.name}",
        allowed="a language's tag as in uk.yaml or pt-BR.yaml",
        consequence="no sheet could ask for it",
        remedy="rename the file",
        file=str(name),
    )


def _unknown_language(sheets: str, code: str, known: Sequence[str]) -> Fault:
    return Fault(
        kind="unknown_language",
        found=f"sheets.{sheets}.language: {code}",
        allowed=f"{ENGLISH}, or the name of a file in config/languages/: {', '.join(known)}",
        consequence="the sheets would be drawn in a language that nobody asked for",
        remedy=f"mend it, or write config/languages/{code}.yaml (`make words LANGUAGE={code}`)",
        file="config/site.yaml",
    )


def _unknown_key(key: str, name: Path, row: int | None) -> Fault:
    near = difflib.get_close_matches(key, WORDS, n=1, cutoff=0.5)
    return Fault(
        kind="unknown_phrase",
        found=f"the key '{key}' under words",
        allowed=f"one of the sheets' {len(WORDS)} phrases; texts of your own stand under own",
        consequence="the phrase that was meant would stay English",
        remedy=f"did you mean '{near[0]}'?" if near else "remove it, or see `make words`",
        file=str(name),
        row=row,
    )


def _names_differ(key: str, given: str, name: Path, row: int | None) -> Fault:
    wanted = sorted({n for _, n, *_ in string.Formatter().parse(WORDS[key]) if n is not None})
    names = ", ".join(f"{{{name}}}" for name in wanted)
    return Fault(
        kind="names_in_braces",
        found=f"words.{key}: {given}",
        allowed=f"{names or 'nothing in braces'}, as in '{WORDS[key]}'",
        consequence="a figure or name would be missing from the sheet, or could not be put in",
        remedy="write the names in braces as the English phrase has them, in any order",
        file=str(name),
        row=row,
    )


def _bad_font(problem: str, font: str, name: Path, row: int | None) -> Fault:
    return Fault(
        kind="font_unusable",
        found=f"font '{font}': {problem}",
        allowed="a TrueType font (.ttf) below config/ that may be embedded",
        consequence="sheets in this language could not be drawn, or not be passed on",
        remedy="put such a font into config/fonts/, or leave the key out for DejaVu Sans",
        file=str(name),
        row=row,
    )


def _no_glyphs(
    lacking: Mapping[str, Sequence[tuple[str, str]]],
    name: Path,
    font: str | None,
    rows: Mapping[tuple[str, str], int],
) -> Fault:
    wanted = list(dict.fromkeys(where for places in lacking.values() for where in places))
    letters = [f"{c} (U+{ord(c):04X} {unicodedata.name(c, 'unnamed')})" for c in lacking]
    first = min((rows[where] for where in wanted if where in rows), default=None)
    return Fault(
        kind="font_lacks_characters",
        found=f"{_some(letters)}, in {_some(['.'.join(filter(None, w)) for w in wanted])}",
        allowed=f"characters that {font or 'DejaVu Sans, the built-in font,'} holds",
        consequence="empty boxes would stand in their place",
        remedy="name a font that holds them under `font`, or write the phrase without them",
        file=str(name),
        row=first,
    )
