"""What a build would do, in words: surveys new and gone, steps with their reasons, products.

Reads of the site what its last build left: the table of surveys, the manifest, the logs' times, and
what the last check found. Writes nothing.
"""

from __future__ import annotations

import csv
import json
import re
import textwrap
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from wrackline.errors import Fault, fault_from_dict
from wrackline.planned import Causes, PlannedStep, why
from wrackline.step import last_record
from wrackline.survey_names import season_of

_PRODUCTS = "work/publish/"


@dataclass(frozen=True)
class Built:
    """What a site's last build, and its last check, left.

    Attributes
    ----------
    surveys : list of str
        Identifiers of the surveys in the record; none where nothing is built.
    products : list of str
        Files of the record, relative to `results/`.
    suspicions : list of Fault
        What the last check found doubtful.
    """

    surveys: list[str] = field(default_factory=list)
    products: list[str] = field(default_factory=list)
    suspicions: list[Fault] = field(default_factory=list)

    @property
    def seasons(self) -> list[str]:
        """Seasons of the record, in order."""
        return sorted({season_of(survey) for survey in self.surveys})


def read_built(site: Path) -> Built:
    """Return what a site's last build left; nothing where it was never built."""
    surveys = site / "results" / "tables" / "surveys.csv"
    names = []
    if surveys.is_file():
        with surveys.open(encoding="utf-8", newline="") as file:
            names = [row["survey"] for row in csv.DictReader(file)]
    manifest = _json(site / "results" / "manifest.json").get("files", {})
    found = _json(site / "work" / "check" / "report.json").get("suspicions", [])
    return Built(names, sorted(manifest), [fault_from_dict(fault) for fault in found])


def _json(file: Path) -> dict[str, Any]:
    if not file.is_file():
        return {}
    content: dict[str, Any] = json.loads(file.read_text(encoding="utf-8"))
    return content


@dataclass(frozen=True)
class Rehearsal:
    """A build that isn't carried out.

    Attributes
    ----------
    built : Built
    surveys : list of str
        Surveys of the config, in order.
    plan : list of PlannedStep
        What would run.
    total : int
        Steps of the whole record.
    causes : Causes
        What reasons are told by.
    """

    built: Built
    surveys: Sequence[str]
    plan: Sequence[PlannedStep]
    total: int
    causes: Causes

    @property
    def new(self) -> list[str]:
        """Surveys that were never built."""
        return [name for name in self.surveys if name not in self.built.surveys]

    @property
    def changed(self) -> dict[str, str]:
        """Why surveys that were built are read again, by survey."""
        read = [step for step in self.plan if step.stage == "intake" and step.wildcards]
        reasons = {step.wildcards[0]: why(step, self.causes) for step in read}
        return {name: reason for name, reason in reasons.items() if name not in self.new}


def new_names(surveys: Sequence[str], built: Built) -> set[str]:
    """Return the surveys that were never built, and the seasons of which no survey was."""
    new = {name for name in surveys if name not in built.surveys}
    return new | ({season_of(name) for name in new} - set(built.seasons))


def stage_order(root: Path) -> list[str]:
    """Return the stages in the order in which the Snakefile of a folder includes them."""
    text = (root / "Snakefile").read_text(encoding="utf-8")
    return re.findall(r'include: "workflow/rules/(\w+)\.smk"', text)


def text_of(rehearsal: Rehearsal, order: Sequence[str], site: Path) -> str:
    """Return a rehearsal in words, for a terminal.

    Parameters
    ----------
    rehearsal : Rehearsal
    order : sequence of str
        Stages in order.
    site : Path
        The site's folder, for the times that its steps took.
    """
    parts = ["\n".join(_survey_lines(rehearsal)), _older_words(rehearsal)]
    if rehearsal.plan:
        words = [_stay_words(rehearsal), _time_words(rehearsal.plan, site)]
        words += [_product_words(rehearsal)]
        parts += ["\n".join(_step_lines(rehearsal, order))]
        parts += [textwrap.fill(part, 80) for part in words]
    else:
        parts.append("A build would find nothing to do: results are up to date.")
    return "\n\n".join(part for part in parts if part)


def _survey_lines(rehearsal: Rehearsal) -> Iterator[str]:
    built = rehearsal.built
    if not built.surveys:
        yield "Nothing is built yet."
        return
    yield f"Last built: {_listed(built.seasons)}, {_count(len(built.surveys), 'survey')}."
    yield from (f"  new      {name}" for name in rehearsal.new)
    yield from (f"  changed  {name} ({reason})" for name, reason in rehearsal.changed.items())
    gone = [name for name in built.surveys if name not in rehearsal.surveys]
    yield from (f"  gone     {name}" for name in gone)


def _older_words(rehearsal: Rehearsal) -> str:
    """Say what it means that a new season comes before some that are built."""
    built = rehearsal.built.seasons
    new = sorted({season_of(name) for name in rehearsal.new} - set(built))
    late = [name for name in new if built and name < built[-1]]
    if not late:
        return ""
    after = [name for name in built if name > late[0]]
    return textwrap.fill(
        f"{_listed(late)} comes before {_listed(after)}, already built: seasons are taken in the "
        "order of their names. The plans as known after those are made again, with the older "
        "season in them. Frozen numbers stay; of the others, those that change are named by the "
        "build.",
        80,
    )


def _step_lines(rehearsal: Rehearsal, order: Sequence[str]) -> Iterator[str]:
    plan = rehearsal.plan
    yield f"A build would run {len(plan)} of {rehearsal.total} steps:"
    places = {stage: place for place, stage in enumerate(order)}
    ordered = sorted(plan, key=lambda s: (places.get(s.stage, len(places)), s.rule, s.wildcards))
    width = max(len(step.name) for step in plan)
    before = None
    for step in ordered:
        shown = step.stage if step.stage != before else ""
        before = step.stage
        yield f"  {shown:<9} {step.name:<{width}}  {why(step, rehearsal.causes)}"


def _stay_words(rehearsal: Rehearsal) -> str:
    stay = rehearsal.total - len(rehearsal.plan)
    touched = {
        season_of(re.sub(r"^(upto|only)-", "", w)) for s in rehearsal.plan for w in s.wildcards
    }
    whole = [season for season in rehearsal.built.seasons if season not in touched]
    words = f"{_count(stay, 'step')} would stay as {'it is' if stay == 1 else 'they are'}"
    return words + (f", all that is of {_listed(whole)} alone among them." if whole else ".")


def _time_words(plan: Sequence[PlannedStep], site: Path) -> str:
    """Say how long the steps took when they last ran; of new ones nothing is known."""
    records = [last_record(site / step.log) for step in plan]
    took = [float(r["seconds"]) for r in records if r is not None and r.get("end") == "done"]
    if not took:
        return ""
    unknown = len(plan) - len(took)
    words = (
        f"Time: {_count(len(took), 'step')} of these took {sum(took):.0f} s in all when they last "
        "ran, one after the other"
    )
    return words + (
        f"; how long the other {unknown} take, no earlier run tells." if unknown else "."
    )


def _product_words(rehearsal: Rehearsal) -> str:
    made = {
        name.removeprefix(_PRODUCTS)
        for step in rehearsal.plan
        for name in step.outputs
        if name.startswith(_PRODUCTS) and name != f"{_PRODUCTS}manifest.json"
    }
    old = set(rehearsal.built.products)
    if not old or not made:
        return ""
    stay = sorted(old - made)
    tops = Counter(name.split("/")[0] for name in stay)
    whole = {top for top in tops if not any(name.split("/")[0] == top for name in made)}
    shown = [f"{t}/" if f"{t}/" in "".join(stay) else t for t in sorted(whole)]
    shown += [name for name in stay if name.split("/")[0] not in whole]
    words = f"results/: {_count(len(made), 'product')} would be made"
    if made - old:
        words += f", {len(made - old)} of them new"
    return words + (f"; {_listed(shown)} would stay." if shown else ".")


def check_text(found: Mapping[str, Any], rehearsal: Rehearsal) -> str:
    """Return what the checks say of a rehearsed build: faults, and doubts that are new.

    Parameters
    ----------
    found : mapping
        ``faults`` and ``suspicions``, lists of Fault.
    rehearsal : Rehearsal
    """
    known = {_said(fault) for fault in rehearsal.built.suspicions}
    touched = {*rehearsal.new, *rehearsal.changed}
    doubts = [d for d in found["suspicions"] if d.survey in touched or _said(d) not in known]
    shown = [*found["faults"], *doubts]
    parts = [f"[{k}] {fault.text()}" for k, fault in enumerate(shown, start=1)]
    older = len(found["suspicions"]) - len(doubts)
    last = (
        f"{_count(len(found['faults']), 'fault') if found['faults'] else 'No fault'}, and "
        f"{_count(len(doubts), 'suspicion')} about what is new or changed."
    )
    if older:
        last += f" {_count(older, 'suspicion')} from before stand{'s' if older == 1 else ''} too."
    if found["faults"]:
        last += "\nA build would stop here, before anything is made."
    return "\n\n".join([*parts, last])


def _said(fault: Fault) -> tuple[str, str, int | None, str, str]:
    return fault.kind, fault.file, fault.row, fault.survey, fault.found


def _count(number: int, thing: str) -> str:
    return f"{number} {thing}" if number == 1 else f"{number} {thing}s"


def _listed(names: Sequence[str]) -> str:
    """Return names as a list in a sentence.

    >>> _listed(["1986", "2031", "2032"])
    '1986, 2031 and 2032'
    """
    return " and ".join([", ".join(names[:-1]), names[-1]] if len(names) > 1 else names)
