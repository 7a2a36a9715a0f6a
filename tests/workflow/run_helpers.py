"""Start runs of the small workflow on sites of their own, and end them by recorded process id."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

REPOSITORY = Path(__file__).resolve().parents[2]
SITE = {"title": "Old harbour", "scale": 2, "surveys": ["alpha", "beta"]}
CHANGED_SITE = {"title": "New harbour", "scale": 3, "surveys": ["alpha", "beta"]}
NUMBERS = {"alpha": "1\n2\n", "beta": "5\n7\n", "gamma": "11\n13\n"}


@dataclass(frozen=True)
class Ended:
    """How a run ended: its exit code, and all that it wrote to the terminal."""

    code: int
    text: str


@dataclass(frozen=True)
class Site:
    """A site of the small workflow, and the copy of the workflow that it is run with."""

    folder: Path
    workflow: Path

    def configure(self, config: dict[str, object]) -> None:
        """Write the config, and the survey files that it names and aren't there yet."""
        (self.folder / "config").mkdir(parents=True, exist_ok=True)
        (self.folder / "data").mkdir(exist_ok=True)
        (self.folder / "config" / "site.json").write_text(json.dumps(config))
        for name in config["surveys"]:
            file = self.folder / "data" / f"{name}.txt"
            if not file.exists():
                file.write_text(NUMBERS[name])

    def start(self, *, cores: int = 2, **environment: str) -> subprocess.Popen[str]:
        """Start a run in a process group of its own."""
        command = [sys.executable, self.workflow / "mini_run.py", self.folder, str(cores)]
        output = {"stdout": subprocess.PIPE, "stderr": subprocess.STDOUT, "text": True}
        variables = {**os.environ, "PYTHONPATH": str(REPOSITORY / "scripts"), **environment}
        return subprocess.Popen(command, env=variables, process_group=0, **output)

    def run(self, *, cores: int = 2, **environment: str) -> Ended:
        """Run to the end."""
        return finish(self.start(cores=cores, **environment))

    def steps(self) -> list[str]:
        """Return the steps that the last run finished, sorted."""
        lines = (self.folder / "logs" / "steps.jsonl").read_text().splitlines()
        records = [json.loads(line) for line in lines]
        return sorted(
            " ".join([record["step"], *record["wildcards"].values()])
            for record in records
            if record["event"] == "finished"
        )

    def results(self) -> dict[str, bytes]:
        """Return every file in `results/` by name."""
        return files_in(self.folder / "results")

    def copy(self, folder: Path) -> Site:
        """Return a copy of the site, hidden files and dates included."""
        return Site(shutil.copytree(self.folder, folder, symlinks=True), self.workflow)


def copy_workflow(folder: Path) -> Path:
    """Return a copy of the small workflow, with the project's own profile."""
    shutil.copytree(REPOSITORY / "tests" / "workflow" / "mini", folder)
    profiles = REPOSITORY / "workflow" / "profiles"
    shutil.copytree(profiles, folder / "workflow" / "profiles")
    return folder


def finish(process: subprocess.Popen[str], *, within_s: float = 60) -> Ended:
    """Wait for a run to end."""
    text, _ = process.communicate(timeout=within_s)
    return Ended(process.returncode, text)


def files_in(folder: Path) -> dict[str, bytes]:
    """Return every file under a folder by name."""
    paths = [path for path in sorted(folder.rglob("*")) if path.is_file()]
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in paths}


def wait_for(condition: Callable[[], object], *, within_s: float = 30) -> None:
    """Wait until a condition holds."""
    deadline = time.monotonic() + within_s
    while not condition():
        if time.monotonic() > deadline:
            raise TimeoutError("the awaited moment never came")
        time.sleep(0.005)


def children(pid: int) -> list[int]:
    """Return the processes that a process started."""
    found = []
    for task in Path(f"/proc/{pid}/task").iterdir():
        found += map(int, (task / "children").read_text().split())
    return found


def engine_of(run: subprocess.Popen[str]) -> int:
    """Return the process of a run that drives Snakemake."""
    return children(run.pid)[0]


def alive(pid: int) -> bool:
    """Return whether a process is there and not merely waiting to be fetched by its parent."""
    try:
        return Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0] != "Z"
    except (FileNotFoundError, ProcessLookupError):
        return False
