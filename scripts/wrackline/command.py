"""The command ``wrackline``: build, check or rehearse a site, print its numbers, start one."""

from __future__ import annotations

import argparse
import importlib
import traceback
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from wrackline import failure
from wrackline.errors import EXIT_OK, WracklineError
from wrackline.run import ROOT, rehearse, run, say

if TYPE_CHECKING:
    from wrackline.config import SiteConfig

_EPILOG = """\
exit codes: 0 done; 2 the config, 3 a survey file can't be used as it stands; 4 another run is at
work on the site; 70 a mistake in wrackline itself; 130 stopped, or ended from outside
"""


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command; return its exit code."""
    options = _parser().parse_args(arguments)
    try:
        return _carry_out(options)
    except WracklineError as error:
        say(str(error))
        return error.exit_code
    except Exception as error:
        traceback.print_exc()
        what = traceback.format_exception_only(error)[-1].strip()
        found = failure.bug("", what, "the lines above")
        say(found.text)
        return found.exit_code


def _parser() -> argparse.ArgumentParser:
    parser = argparse.ArgumentParser("wrackline", description=__doc__, epilog=_EPILOG)
    commands = parser.add_subparsers(dest="command", required=True, metavar="COMMAND")
    for name, text in (
        ("build", "check the survey files, then build the record in results/"),
        ("check", "check the survey files alone"),
        ("rehearse", "tell what a build would run, and check what is new; change nothing"),
        ("freeze", "build, then put a season's numbers in print: config/numbers.csv"),
        ("new", "start a site: a folder with a commented config"),
        ("words", "write a language file to fill in, or tell what one lacks"),
    ):
        command = commands.add_parser(name, help=text, description=text)
        command.add_argument("--site", type=Path, required=True, help="folder of the site")
        if name not in ("new", "words"):
            command.add_argument(
                "--cores", type=_cores, help="steps at work at once (default: all)"
            )
        if name == "rehearse":
            command.add_argument(
                "--season", type=Path, help="season file to take as if it lay in config/seasons/"
            )
        if name == "freeze":
            command.add_argument(
                "--season", required=True, help="season whose numbers are in print"
            )
        if name == "words":
            command.add_argument("--language", required=True, help="its tag, e.g. uk or pt-BR")
        if name == "check":
            command.add_argument("--file", help="check this survey file alone, by itself")
    text = "write the schemas of the config files, for editors"
    command = commands.add_parser("schemas", help=text, description=text)
    command.add_argument("--folder", type=Path, default=ROOT / "workflow" / "schemas")
    return parser


def _cores(text: str) -> int:
    cores = int(text) if text.isdigit() else 0
    if cores < 1:
        raise argparse.ArgumentTypeError(f"{text!r} is not a whole number from 1")
    return cores


def _carry_out(options: argparse.Namespace) -> int:
    """Do what was asked; what only one command needs is loaded only for it."""
    if options.command == "new":
        say_written(importlib.import_module("wrackline.starter").create(options.site))
        return EXIT_OK
    if options.command == "schemas":
        say_written(importlib.import_module("wrackline.schemas").write(options.folder))
        return EXIT_OK
    read_config = importlib.import_module("wrackline.config").load_site
    if options.command == "words":
        return _tell_words(read_config(options.site, any_language=True), options.language)
    if options.command == "rehearse":
        return rehearse(
            options.site, read_config=read_config, season=options.season, cores=options.cores
        )
    code = run(
        options.site,
        read_config=read_config,
        cores=options.cores,
        check_only=options.command == "check",
        file=getattr(options, "file", None),
    )
    if options.command == "freeze" and code == EXIT_OK:
        added, known = importlib.import_module("wrackline.freeze").freeze(
            options.site, options.season
        )
        say(f"{added} numbers of {options.season} put in print, {known} were: config/numbers.csv")
        say("The next `make site` notes them in the concordance and the seasons' pages.")
    return code


def _tell_words(config: SiteConfig, language: str) -> int:
    """Write a language's file, or say what is missing in the one that is there."""
    path, lines = importlib.import_module("wrackline.word_list").word_list(config, language)
    if path is not None:
        say_written([path])
        return EXIT_OK
    for line in lines or ["Nothing is missing."]:
        say(line)
    return EXIT_OK


def say_written(files: Iterable[Path]) -> None:
    """Name the files that were written, a line each."""
    for file in files:
        say(f"wrote {file}")
