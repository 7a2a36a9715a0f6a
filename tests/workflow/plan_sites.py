"""Tell what builds of sites would run: ``python plan_sites.py ROOT < cases > plans``, as JSON.

A case is a site's folder, and perhaps a module under ROOT that is changed meanwhile.
Snakemake is loaded once, and every case planned in a process forked from that.
"""

import json
import os
import sys
from pathlib import Path

from wrackline.engine import Engine
from wrackline.environment import fix_environment
from wrackline.job import Job


def plan(site, root):
    """Return the steps that a build of a site would run, each once, sorted."""
    os.chdir(site)
    fix_environment()
    (site / "logs").mkdir(exist_ok=True)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    return sorted(
        step.name for step in Engine(Job(site, root), terminal=quiet).plan("check", "all")
    )


def plan_apart(site, root, answer):
    """Plan in a forked process, which writes to the file `answer`."""
    child = os.fork()
    if child == 0:
        try:
            answer.write_text(json.dumps(plan(site, root)))
        finally:
            os._exit(0)
    os.waitpid(child, 0)
    return json.loads(answer.read_text())


def main():
    """Answer all cases."""
    root, answer = Path(sys.argv[1]).resolve(), Path(sys.argv[1]).resolve() / "answer.json"
    plans = {}
    for name, case in json.load(sys.stdin).items():
        module = root / case["module"] if case.get("module") else None
        before = module.read_text() if module else ""
        if module:
            module.write_text(before + "\nCHANGED_FOR_A_TEST = 1\n")
        plans[name] = plan_apart(Path(case["site"]), root, answer)
        if module:
            module.write_text(before)
    print(json.dumps(plans))


if __name__ == "__main__":
    main()
