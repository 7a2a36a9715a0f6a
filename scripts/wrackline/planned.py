"""The steps that a build would run, and why, in words: what Snakemake's dry run tells.

`PlanRecorder` stands in for `wrackline.progress.Progress` during a dry run and writes down each
step with Snakemake's reason; `why` puts that reason in plain words.
"""

from __future__ import annotations

import ast
import json
import re
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from wrackline.progress import Event, stage_of_rules
from wrackline.survey_names import season_of

_PARAMS = re.compile(r"Params have changed since last execution: .*? before: (.*)", re.DOTALL)
_DIGEST = re.compile(r"[0-9a-f]{32}")
_REGISTER = re.compile(r"[0-9a-f]{64}")
"""In place of a register's rows, where these are too many to stand in a rule's params."""
_FILES = r"{}: ((?:[^;]|;(?! [A-Z]))*)"
SHOWN = 3
"""Changed values of the config that are named one by one."""


@dataclass(frozen=True)
class PlannedStep:
    """A step that a build would run.

    Attributes
    ----------
    rule, stage : str
    wildcards : list of str
        What it is for: a survey, a season, a view.
    outputs : list of str
        What it makes, relative to the site.
    log : str
    reason : str
        Why, as Snakemake says it.
    """

    rule: str
    stage: str
    wildcards: list[str]
    outputs: list[str]
    log: str
    reason: str

    @property
    def name(self) -> str:
        """The rule, and what it is for."""
        return " ".join([self.rule, *self.wildcards])


class PlanRecorder:
    """Write each step of a dry run to a file, a JSON object a line.

    Parameters
    ----------
    file : Path
    """

    def __init__(self, file: Path) -> None:
        self._file = file
        self._stages: dict[str, str] = {}

    def handle(self, kind: str, event: Event) -> None:
        """Take one of Snakemake's events; steps without a product are targets, and no steps."""
        if kind == "workflow_started":
            self._stages = stage_of_rules(Path(str(event.get("snakefile_main", ""))).parent)
        if kind == "job_info" and event.get("output"):
            rule = str(event["rule_name"])
            step = PlannedStep(
                rule=rule,
                stage=self._stages.get(rule, ""),
                wildcards=[str(value) for value in dict(event.get("wildcards") or {}).values()],
                outputs=sorted(_bare(name) for name in event["output"]),
                log=next((_bare(name) for name in event.get("log") or []), ""),
                reason=str(event.get("reason") or ""),
            )
            with self._file.open("a", encoding="utf-8") as file:
                file.write(json.dumps(asdict(step)) + "\n")

    def close(self) -> None:
        """Nothing is kept open."""


def _bare(name: object) -> str:
    """Return a path without what Snakemake writes behind it.

    >>> _bare("work/a.tif (temp)")
    'work/a.tif'
    """
    return re.sub(r" \([a-z_, ]+\)$", "", str(name))


def read_plan(file: Path) -> list[PlannedStep]:
    """Return the steps that a `PlanRecorder` wrote down; none where it wrote nothing."""
    if not file.is_file():
        return []
    lines = file.read_text(encoding="utf-8").splitlines()
    return [PlannedStep(**json.loads(line)) for line in lines]


@dataclass(frozen=True)
class Causes:
    """What reasons are told by.

    Attributes
    ----------
    new : collection of str
        Surveys and seasons that were never built.
    makers : mapping of str to str
        Which step of the plan makes a file, by the file.
    code : callable
        Gives the present fingerprint of a rule's code.
    """

    new: Collection[str]
    makers: Mapping[str, str]
    code: Callable[[str], str]


def causes_of(
    plan: Sequence[PlannedStep], new: Collection[str], code: Callable[[str], str]
) -> Causes:
    """Return what the reasons of a plan are told by."""
    return Causes(new, {file: step.rule for step in plan for file in step.outputs}, code)


def why(step: PlannedStep, causes: Causes) -> str:
    """Return in plain words why a step would run.

    Parameters
    ----------
    step : PlannedStep
    causes : Causes
    """
    if any(_is_new(name, causes.new) for name in step.wildcards):
        return "new survey" if step.stage in ("intake", "fit") else "new"
    direct = list(dict.fromkeys(_direct(step, causes)))
    if direct:
        return "; ".join(direct)
    found = _listed(step.reason, "Input files updated by another job")
    after = sorted({causes.makers[name] for name in found if name in causes.makers})
    shown = ", ".join(after[:SHOWN]) + (" and others" if len(after) > SHOWN else "")
    return f"follows {shown}" if after else "its input is newer"


def _is_new(name: str, new: Collection[str]) -> bool:
    """Tell whether what a step is for is new, or of a season that is.

    >>> _is_new("upto-2032", ["2032"]), _is_new("2031-walls", ["2032", "2032-bed"])
    (True, False)
    """
    bare = re.sub(r"^(upto|only|season)-", "", name)
    return bare in new or season_of(bare) in new


def _direct(step: PlannedStep, causes: Causes) -> Iterator[str]:
    """Yield what touches a step itself, not by way of another."""
    if "Forced execution" in step.reason:
        yield "its product isn't as the last run left it"
    if "Missing output files" in step.reason:
        yield "not made yet"
    if "Incomplete output files" in step.reason:
        yield "an earlier run ended in it"
    inputs = _listed(step.reason, "Updated input files")
    touched = sorted(name for name in inputs if name not in causes.makers)
    if touched:
        yield f"changed file: {', '.join(touched)}"
    others = "Set of input files has changed" in step.reason
    if others:
        yield "other surveys or seasons take part"
    changed = _changed(step.reason)
    if changed is not None:
        yield from _param_words(changed, causes.code(step.rule), others=others)


def _listed(reason: str, head: str) -> list[str]:
    found = re.search(_FILES.format(re.escape(head)), reason)
    return [] if found is None else [_bare(name) for name in found[1].split(", ")]


def _changed(reason: str) -> tuple[list[Any], list[Any]] | None:
    """Return a step's values before and now that differ, if any do; empty where unreadable.

    >>> _changed("Params have changed since last execution: Union: before: 0.25,'a' now: 0.5 ")
    ([0.25, 'a'], [0.5])
    """
    found = _PARAMS.search(reason)
    if found is None:
        return None
    parts = found[1].split(" now: ")
    for k in range(1, len(parts)):
        before, now = " now: ".join(parts[:k]), " now: ".join(parts[k:])
        try:
            return _literals(before), _literals(now.partition(" ; ")[0])
        except (ValueError, SyntaxError):
            continue
    return [], []


def _literals(text: str) -> list[Any]:
    bare = text.strip()
    if bare.startswith("<nothing"):
        return []
    return list(ast.literal_eval(f"[{bare}]"))


def _param_words(changed: tuple[list[Any], list[Any]], code: str, *, others: bool) -> Iterator[str]:
    """Yield what changed among a step's values: its code, its raw files, the config."""
    before, now = changed
    digests = [value for value in now if isinstance(value, str) and _DIGEST.fullmatch(value)]
    if code in digests:
        yield "changed code"
    if set(digests) - {code}:
        yield "changed file"
    told = _config_words(_plain(before), _plain(now))
    if told and not others:
        yield f"changed config: {', '.join(told[:SHOWN])}" + (" …" if len(told) > SHOWN else "")
    elif not digests and not others:
        yield "changed config"


def _plain(values: Sequence[Any]) -> list[Any]:
    return [v for v in values if not (isinstance(v, str) and _DIGEST.fullmatch(v))]


def _config_words(before: Sequence[Any], now: Sequence[Any]) -> list[str]:
    """Return changed values of the config in words, by key where they have one.

    >>> _config_words([0.25, '{"a": {"b": 1, "c": 2}}'], [0.5, '{"a": {"b": 1, "c": 3}}'])
    ['a.c 2, now 3', '0.25, now 0.5']
    """
    blocks = [[block for v in side if (block := _block(v)) is not None] for side in (before, now)]
    told = [words for was, is_ in zip(*blocks, strict=False) for words in _key_words(was, is_)]
    single = [[v for v in side if _block(v) is None] for side in (before, now)]
    for was, is_ in zip(*single, strict=False):
        short = len(str(was)) + len(str(is_)) < 60
        many = "a register" if _REGISTER.fullmatch(str(is_)) else "a list"
        told.append(f"{was}, now {is_}" if short else many)
    return list(dict.fromkeys(told))


def _block(value: Any) -> dict[str, Any] | None:
    """Return a config part that was handed on as JSON; None for anything else."""
    if not isinstance(value, str) or not value.startswith("{"):
        return None
    try:
        block: dict[str, Any] = json.loads(value)
    except json.JSONDecodeError:
        return None
    return block


def _key_words(was: Any, is_: Any, above: str = "") -> Iterator[str]:
    """Yield the keys at which two blocks differ, with both values where they are short."""
    if isinstance(was, dict) and isinstance(is_, dict):
        for key in dict.fromkeys([*was, *is_]):
            yield from _key_words(was.get(key), is_.get(key), f"{above}.{key}" if above else key)
    elif was != is_:
        short = len(str(was)) + len(str(is_)) < 60
        yield f"{above} {was}, now {is_}" if short else above
