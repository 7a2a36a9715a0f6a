"""Run the small workflow on a site: ``python mini_run.py SITE [CORES]``."""

import json
import os
import signal
import sys
from pathlib import Path

from wrackline.errors import ConfigError, Fault
from wrackline.run import run


def read_config(site):
    """Read the config; one that isn't JSON can't be used."""
    file = site / "config" / "site.json"
    try:
        return json.loads(file.read_text())
    except json.JSONDecodeError as error:
        fault = Fault("no_json", str(error), "JSON", "no site", "mend it", "config/site.json")
        raise ConfigError(fault) from error


if __name__ == "__main__":
    for number in (signal.SIGINT, signal.SIGHUP):  # ignored in what a shell puts in the background
        signal.signal(number, signal.SIG_DFL)
    cores = int(sys.argv[2]) if len(sys.argv) > 2 else None
    root = Path(__file__).resolve().parent
    patience_s = float(os.environ.get("MINI_PATIENCE_S", "10"))
    code = run(
        Path(sys.argv[1]), read_config=read_config, root=root, cores=cores, patience_s=patience_s
    )
    sys.exit(code)
