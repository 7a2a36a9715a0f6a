"""A name for the code behind a step, so that a change of code re-runs what it touches.

Snakemake doesn't follow imports. Every rule therefore carries ``params: code=fingerprint("step")``,
a digest over the step, every project module that it imports (found without running anything), the
data files that these declare in ``DATA_FILES``, Python's minor version, and the versions of the
packages that they import with all that those require. Comments, docstrings and layout don't count.
"""

from __future__ import annotations

import ast
import hashlib
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib import metadata
from pathlib import Path
from types import CodeType

SCRIPTS = Path(__file__).resolve().parents[1]

# Every step runs in this environment; how a step is run and logged changes no product.
_ALWAYS = "wrackline.environment"
_NEVER = "wrackline.step"

# Import names that differ from the name of the distribution that holds them.
_DISTRIBUTIONS = {"yaml": "PyYAML", "mpl_toolkits": "matplotlib", "osgeo": "GDAL"}

_COMPANIONS = (".dbf", ".shx", ".prj", ".cpg", ".tfw", ".wld")

_Block = list[ast.stmt]


@dataclass(frozen=True)
class _Module:
    """What one source file contributes: its code, the dotted names it imports, its data files."""

    digest: str
    imports: frozenset[str]
    data: tuple[Path, ...]


def fingerprint(step: str, *, scripts: Path = SCRIPTS) -> str:
    """Return a digest of all the code that a step runs.

    Parameters
    ----------
    step : str
        Name of the step, which is its file's name in `scripts` without ``.py``.
    scripts : Path, optional
        Folder of the steps; the library beside this module is always searched as well.

    Returns
    -------
    str
        32 hexadecimal digits; equal for equal code, whatever its comments, docstrings and layout.

    Raises
    ------
    FileNotFoundError
        When there is no such step.
    """
    files, packages = _closure(scripts / f"{step}.py", roots=(scripts, SCRIPTS))
    lines = [f"python {sys.version_info.major}.{sys.version_info.minor}"]
    for name, file in sorted(files.items()):
        module = _read(file)
        digests = [module.digest, *(_digest(data.read_bytes()) for data in module.data)]
        lines.append(" ".join([name, *digests]))
    lines += package_versions(packages)
    return _digest("\n".join(lines).encode())


def stamp(*paths: Path) -> str:
    """Return a digest of the size and date of survey files, to put in a rule's params.

    Snakemake re-runs a rule for an input that is newer than the output, but not when a file is
    replaced by another that is older, as when a corrected export is copied with its date.

    Parameters
    ----------
    *paths : Path
        Files, or folders that hold a data set; one that is missing counts as missing. Companions
        count with a file: what has the same name and a suffix such as ``.dbf`` or ``.prj``.

    Returns
    -------
    str
        32 hexadecimal digits.
    """
    lines = []
    for path in paths:
        inside = sorted(path.rglob("*")) if path.is_dir() else []
        for file in [path, *map(path.with_suffix, _COMPANIONS), *inside]:
            status = file.stat() if file.is_file() else None
            size_date = f"{status.st_size} {status.st_mtime_ns}" if status else "missing"
            lines.append(f"{file} {size_date}")
    return _digest("\n".join(lines).encode())


def package_versions(names: frozenset[str]) -> list[str]:
    """Return ``name version`` of distributions and of all that they require, sorted.

    Parameters
    ----------
    names : frozenset of str
        Top-level import names, e.g. ``yaml``.
    """
    found: dict[str, str] = {}
    queue = sorted({_distribution_name(name) for name in names})
    while queue:
        name = _canonical(queue.pop())
        if name in found:
            continue
        version, requires = distribution_facts(name)
        found[name] = version
        queue += requires
    return [f"{name} {found[name]}" for name in sorted(found)]


@cache
def distribution_facts(name: str) -> tuple[str, tuple[str, ...]]:
    """Return version and required distributions (extras left out) of an installed distribution.

    One that isn't installed, e.g. because it is for another platform, has version ``absent``.
    """
    try:
        text = metadata.distribution(name).read_text("METADATA") or ""
    except metadata.PackageNotFoundError:
        return "absent", ()
    head = text.partition("\n\n")[0]
    version = re.search(r"^Version: *(\S+)", head, re.MULTILINE)
    requires = re.findall(r"^Requires-Dist: *([\w.-]+)(?!.*\bextra *==)", head, re.MULTILINE)
    return version.group(1) if version else "unknown", tuple(requires)


def _canonical(name: str) -> str:
    return re.sub(r"[-_.]+", "-", name).lower()


@cache
def _distribution_name(module: str) -> str:
    """Return the distribution that provides a top-level module."""
    name = _DISTRIBUTIONS.get(module, module)
    if distribution_facts(_canonical(name))[0] != "absent":
        return name
    return metadata.packages_distributions().get(module, [name])[0]


def _closure(step: Path, *, roots: tuple[Path, ...]) -> tuple[dict[str, Path], frozenset[str]]:
    """Return project files by name, and outside import names, that a step reaches."""
    files = {"step": step}
    packages: set[str] = set()
    queue = [_ALWAYS, *_read(step).imports]
    while queue:
        name = queue.pop()
        if name in files or name == _NEVER:
            continue
        top, _, rest = name.partition(".")
        file = _find(name, roots=roots)
        if file is not None:
            files[name] = file
            queue += _read(file).imports
        elif rest and _find(top, roots=roots):
            queue.append(name.rpartition(".")[0])  # a name out of a module of ours
        elif top not in sys.stdlib_module_names:
            packages.add(top)
    return files, frozenset(packages)


@cache
def _find(name: str, *, roots: tuple[Path, ...]) -> Path | None:
    """Return the source file of a dotted module name, or None when it isn't the project's.

    Looked up once a process, as a change of names while a run is set up means nothing.
    """
    for root in roots:
        stem = root.joinpath(*name.split("."))
        for file in (stem.with_name(stem.name + ".py"), stem / "__init__.py"):
            if file.is_file():
                return file
    return None


def _read(file: Path) -> _Module:
    """Return the digest and imports of one file; read once a process unless it changes."""
    status = file.stat()
    return _read_version(file, status.st_mtime_ns, status.st_size)


@cache
def _read_version(file: Path, _mtime_ns: int, _size: int) -> _Module:
    tree = ast.parse(file.read_bytes())
    imports: set[str] = set()
    data: list[str] = []
    package = _package(file)
    for block in _blocks(tree):
        _drop_docstring(block)
        for node in block:
            imports.update(_imported(node, package=package))
            data += _data_files(node)
    code = repr(_plain(compile(tree, "", "exec", dont_inherit=True)))
    paths = tuple(file.parent / name for name in data)
    return _Module(_digest(code.encode()), frozenset(imports), paths)


def _package(file: Path) -> list[str]:
    """Return the dotted parts of the package that a file belongs to."""
    parts: list[str] = []
    folder = file.resolve().parent
    while (folder / "__init__.py").is_file():
        parts.insert(0, folder.name)
        folder = folder.parent
    return parts


def _blocks(tree: ast.Module) -> Iterator[_Block]:
    """Yield every list of statements; expressions hold no import and aren't visited."""
    queue: list[ast.AST] = [tree]
    while queue:
        node = queue.pop()
        if isinstance(node, ast.ClassDef):
            _forget_line(node)
        for name in ("body", "orelse", "finalbody", "handlers", "cases"):
            children = getattr(node, name, None)
            if isinstance(children, list):
                queue += children
                if children and isinstance(children[0], ast.stmt):
                    yield children


def _forget_line(node: ast.ClassDef) -> None:
    """Take the line number out of a class, where newer Pythons keep it among the constants."""
    node.lineno = 1
    for decorator in node.decorator_list:
        decorator.lineno = 1


def _drop_docstring(block: _Block) -> None:
    """Take out a string that stands alone as a block's first statement."""
    first = block[0]
    if (
        isinstance(first, ast.Expr)
        and isinstance(first.value, ast.Constant)
        and isinstance(first.value.value, str)
    ):
        block[:] = block[1:] or [ast.copy_location(ast.Pass(), first)]


def _imported(node: ast.stmt, *, package: list[str]) -> Iterator[str]:
    """Yield the dotted names that an import statement may load, packages on the way included."""
    if isinstance(node, ast.Import):
        for alias in node.names:
            yield from _with_parents(alias.name)
    elif isinstance(node, ast.ImportFrom):
        base = node.module.split(".") if node.module else []
        if node.level:
            base = package[: len(package) - node.level + 1] + base
        for alias in node.names:
            yield from _with_parents(".".join([*base, alias.name]))


def _with_parents(name: str) -> Iterator[str]:
    """Yield a dotted name and the packages that it lies in, but the outermost.

    The outermost package of the project holds its version, which touches a step only where the
    step asks for it.
    """
    parts = name.split(".")
    yield name
    for count in range(2, len(parts)):
        yield ".".join(parts[:count])


def _data_files(node: ast.stmt) -> list[str]:
    """Return the paths in a statement ``DATA_FILES = ("...", ...)``, relative to the module."""
    targets = node.targets if isinstance(node, ast.Assign) else [getattr(node, "target", None)]
    named = any(isinstance(target, ast.Name) and target.id == "DATA_FILES" for target in targets)
    value = getattr(node, "value", None)
    return list(ast.literal_eval(value)) if named and value is not None else []


def _plain(value: object) -> object:
    """Return a constant or a code object as nested tuples without file names and line numbers."""
    if isinstance(value, CodeType):
        counts = (value.co_argcount, value.co_posonlyargcount, value.co_kwonlyargcount)
        names = (value.co_names, value.co_varnames, value.co_freevars, value.co_cellvars)
        table = getattr(value, "co_exceptiontable", b"")
        constants = tuple(_plain(constant) for constant in value.co_consts)
        return (value.co_name, counts, value.co_flags, value.co_code, table, names, constants)
    if isinstance(value, tuple):
        return tuple(_plain(item) for item in value)
    if isinstance(value, frozenset):
        return ("frozenset", sorted(map(repr, value)))
    return value


def _digest(content: bytes) -> str:
    return hashlib.blake2b(content, digest_size=16).hexdigest()
