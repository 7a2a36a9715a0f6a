"""Small files between stages: JSON in canonical form, and nothing half written.

Only light modules may be imported here: the run's own code reads it too.
"""

from __future__ import annotations

import hashlib
import json
from pathlib import Path
from typing import Any


def read_json(path: Path | str) -> Any:
    """Return the content of a JSON file."""
    return json.loads(Path(path).read_text(encoding="utf-8"))


def write_json(content: Any, path: Path | str) -> None:
    """Write JSON with sorted keys and a final newline; NaN is refused (use None)."""
    text = json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False, allow_nan=False)
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    Path(path).write_text(text + "\n", encoding="utf-8")


def sha256(path: Path | str) -> str:
    """Return the SHA-256 of a file, read in blocks."""
    with Path(path).open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()
