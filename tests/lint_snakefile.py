"""Runs Snakemake's own linter and lets everything count but its wish for conda environments.

The project pins its packages in requirements.lock, so that advice alone is turned down. Exits with
1 and prints what is left when anything else is found.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parent.parent
TURNED_DOWN = "Specify a conda environment or container for each rule.:"


def findings() -> list[str]:
    """Return the titles of the linter's findings that count, each after its rule or file."""
    command = [sys.executable, "-m", "snakemake", "--lint", "--snakefile", "Snakefile"]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    said = done.stdout + done.stderr
    if done.returncode and "Lints for" not in said:
        return [f"the linter could not read the Snakefile: {said.strip()[-500:]}"]
    found, where = [], ""
    for line in said.splitlines():
        if line.startswith("Lints for"):
            where = line
        elif line.startswith("    * ") and line.removeprefix("    * ") != TURNED_DOWN:
            found.append(f"{where} {line.strip()}")
    return found


if __name__ == "__main__":
    left = findings()
    print("\n".join(left) or "snakemake --lint: nothing left but its wish for conda environments")
    sys.exit(bool(left))
