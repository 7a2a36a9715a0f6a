"""The config model as JSON schemas, and as the key tables of config/README.md.

Both are generated, so that neither can say other than what is checked. After a change of
`wrackline.model`, `python -m wrackline.schemas` in the project's folder writes them anew; tests
hold the committed ones to it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from wrackline.io import write_json
from wrackline.model import Season, Site, Translation

MODELS: dict[str, type[BaseModel]] = {"site": Site, "season": Season, "language": Translation}
DIALECT = "https://json-schema.org/draft/2020-12/schema"
BLOCK = re.compile(r"(<!-- keys of (\w+) -->\n).*?(<!-- end of keys -->)", re.DOTALL)
WORDS = {
    "number": "a number",
    "integer": "a whole number",
    "boolean": "true or false",
    "string": "text",
    "name": "a name",
}
BOUNDS = {
    "minimum": "at least {}",
    "exclusiveMinimum": "above {}",
    "maximum": "at most {}",
    "exclusiveMaximum": "below {}",
    "minItems": "{} or more",
    "maxLength": "at most {} characters",
}


@dataclass(frozen=True)
class Key:
    """One key of a config file.

    Attributes
    ----------
    file : {"site", "season", "language"}
        Kind of file that it stands in.
    path : str
        Where, e.g. ``seabed.cell_m``, ``surveys[].name``, ``error_sources.<name>.kind``.
    description : str
        Meaning, with the unit in brackets.
    type : str
        What it takes, in words.
    bounds : str
        Limits, in words; empty without.
    default : str
        What is taken when it is left out; ``required`` when it can't be.
    """

    file: str
    path: str
    description: str
    type: str
    bounds: str
    default: str

    @property
    def group(self) -> str:
        """Path of the block that the key stands in; empty at the top."""
        return self.path.rpartition(".")[0]


def schema(kind: str) -> dict[str, Any]:
    """Return the JSON schema of one kind of config file.

    Parameters
    ----------
    kind : {"site", "season", "language"}
    """
    return {"$schema": DIALECT, **MODELS[kind].model_json_schema()}


def write(folder: Path) -> list[Path]:
    """Write the JSON schemas.

    Parameters
    ----------
    folder : Path
        Where to, in this project `workflow/schemas`.

    Returns
    -------
    list of Path
        `site.schema.json`, `season.schema.json` and `language.schema.json`.
    """
    paths = []
    for kind in MODELS:
        paths.append(folder / f"{kind}.schema.json")
        write_json(schema(kind), paths[-1])
    return paths


def documentation_keys() -> Iterator[Key]:
    """Yield every key that a site team may write, file by file, block by block."""
    for kind in MODELS:
        whole = schema(kind)
        yield from _keys(kind, whole, "", whole.get("$defs", {}))


def _keys(kind: str, block: dict[str, Any], path: str, parts: dict[str, Any]) -> Iterator[Key]:
    """Yield a block's own keys, then those of the blocks inside it."""
    inner = []
    for name, entry in block["properties"].items():
        where = f"{path}.{name}" if path else name
        yield Key(
            file=kind,
            path=where,
            description=entry.get("description", ""),
            type=_type(entry, parts),
            bounds=_bounds(entry, parts),
            default=_default(name, entry, block),
        )
        inner += [(where + ending, part) for ending, part in _blocks(entry, parts)]
    for where, part in inner:
        yield from _keys(kind, part, where, parts)


def _resolved(entry: dict[str, Any], parts: dict[str, Any]) -> dict[str, Any]:
    """Return an entry with a reference to a part replaced by the part."""
    if "$ref" in entry:
        part: dict[str, Any] = parts[entry["$ref"].rpartition("/")[2]]
        return part
    return entry


def _choices(entry: dict[str, Any], parts: dict[str, Any]) -> list[dict[str, Any]]:
    """Return what an entry may be, null left out."""
    several = [_resolved(choice, parts) for choice in entry.get("anyOf", [entry])]
    return [choice for choice in several if choice.get("type") != "null"]


def _blocks(entry: dict[str, Any], parts: dict[str, Any]) -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield the blocks that an entry holds, with the ending of their path."""
    for choice in _choices(entry, parts):
        if "properties" in choice:
            yield "", choice
        if isinstance(choice.get("items"), dict):
            yield from ((f"[]{end}", part) for end, part in _blocks(choice["items"], parts))
        if choice.get("type") == "object" and "properties" not in choice:
            yield from ((f".<name>{end}", part) for end, part in _blocks(_named(choice), parts))


def _type(entry: dict[str, Any], parts: dict[str, Any]) -> str:
    """Return in words what an entry takes."""
    return " or ".join(dict.fromkeys(_one_type(choice, parts) for choice in _choices(entry, parts)))


def _one_type(entry: dict[str, Any], parts: dict[str, Any]) -> str:
    kind = str(entry.get("type"))
    if "enum" in entry:
        return ", ".join(f"`{choice}`" for choice in entry["enum"])
    if "prefixItems" in entry:
        return "two numbers"
    if kind == "array":
        return f"a list: {_type(entry['items'], parts)}"
    if kind == "object":
        return "a block" if "properties" in entry else f"by name: {_type(_named(entry), parts)}"
    if entry.get("format") == "date":
        return "a date, YYYY-MM-DD"
    return WORDS["name" if "pattern" in entry else kind]


def _named(entry: dict[str, Any]) -> dict[str, Any]:
    """Return what a block of free names holds under each."""
    held: dict[str, Any] = entry.get("additionalProperties") or next(
        iter(entry["patternProperties"].values())
    )
    return held


def _bounds(entry: dict[str, Any], parts: dict[str, Any]) -> str:
    """Return an entry's limits in words."""
    said = [
        text.format(f"{choice[limit]:g}")
        for choice in _choices(entry, parts)
        for limit, text in BOUNDS.items()
        if limit in choice and "prefixItems" not in choice
    ]
    return ", ".join(said)


def _default(name: str, entry: dict[str, Any], block: dict[str, Any]) -> str:
    """Return what is taken when a key is left out."""
    if name in block.get("required", []):
        return "required"
    value = entry.get("default")
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, int | float):
        return f"{value:g}"
    if "$ref" in entry:
        return "each key's own"
    return str(value) if value else "none"


def tables(kind: str) -> str:
    """Return the keys of one kind of config file as Markdown tables, one a block.

    Parameters
    ----------
    kind : {"site", "season", "language"}
    """
    keys = [key for key in documentation_keys() if key.file == kind]
    lines = []
    for group, members in groupby(keys, key=lambda key: key.group):
        lines += [f"\n#### `{group}`\n" if group else ""]
        lines += ["| key | what it says | takes | left out |", "|---|---|---|---|"]
        lines += [_row(key) for key in members]
    return "\n".join(lines) + "\n\n"


def _row(key: Key) -> str:
    takes = f"{key.type}, {key.bounds}" if key.bounds else key.type
    name = key.path.rpartition(".")[2]
    return f"| `{name}` | {key.description} | {takes} | {key.default} |"


def with_tables(text: str) -> str:
    """Return the text of config/README.md with its key tables as the model has them."""
    return BLOCK.sub(lambda found: f"{found[1]}{tables(found[2])}{found[3]}", text)


def main() -> None:
    """Write schemas and key tables anew, in the project's folder."""
    write(Path("workflow/schemas"))
    readme = Path("config/README.md")
    readme.write_text(with_tables(readme.read_text(encoding="utf-8")), encoding="utf-8")


if __name__ == "__main__":
    main()
