"""What a run says of sheets that leave the place out: texts of the team's own that may tell it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from wrackline.model import Season, SheetSet, Site, Translation
from wrackline.publish.sheets.language import Language
from wrackline.publish.sheets.place import gives_away, secrets_of


def place_notes(
    site: Site, seasons: Mapping[str, Season], languages: Mapping[str, Translation]
) -> Iterator[str]:
    """Yield a sentence for each text that a sheet without its place prints and that may tell it.

    Names of people are theirs to print, and names of trenches and features stand in no config:
    both are left to whoever looks at the sheet.

    Parameters
    ----------
    site : Site
    seasons : mapping of str to Season
    languages : mapping of str to Translation
        By code.
    """
    without = {name: one for name, one in site.sheets.items() if one.place == "left_out"}
    said: dict[tuple[str, str], list[str]] = {}
    for name, sheets in without.items():
        file = languages.get(sheets.language)
        language = Language.english() if file is None else Language.of(sheets.language, file)
        secrets = secrets_of(site, seasons.values(), [language])
        for where, text in _printed(name, sheets, site, seasons):
            told = dict.fromkeys(
                secret
                for shown in (text, language.own(text))
                for secret in gives_away(shown, secrets, site.origin)
            )
            if told:
                said.setdefault((where, ", ".join(told)), []).append(name)
    for (where, words), names in said.items():
        yield (
            f"sheets.{', '.join(names)}: the place is left out, but {where} is printed and has "
            f"'{words}' in it. Word it otherwise if that tells the place."
        )


def _printed(
    name: str, sheets: SheetSet, site: Site, seasons: Mapping[str, Season]
) -> Iterator[tuple[str, str]]:
    """Yield texts of the team's own that a set of sheets prints, each with where it stands."""
    yield f"the set's name {name}", name.replace("_", " ")
    yield f"sheets.{name}.title", sheets.title or ""
    yield "title_block.revision", site.title_block.revision or ""
    for phase in site.phases:
        yield f"the phase '{phase}'", phase
    for season, found in seasons.items():
        for survey in found.surveys:
            if survey.holds == "wall_lines":
                yield f"the technique of {season}-{survey.name}", survey.technique
            if sheets.picture == f"{season}-{survey.name}":
                yield f"the picture's name {sheets.picture}", survey.name.replace("_", " ")
