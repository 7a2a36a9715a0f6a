"""The house rules that a machine can hold: rules, steps, library and tests keep in step."""

import ast
import re
import statistics
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
SCRIPTS, TESTS, RULES = ROOT / "scripts", ROOT / "tests", ROOT / "workflow" / "rules"
LIBRARY = SCRIPTS / "wrackline"
STAGES = ("intake", "fit", "seabed", "walls", "rooms", "seasons", "trenches", "accuracy", "publish")
STEPS = sorted(path.stem for path in SCRIPTS.glob("*.py"))
HEAVY = ("numpy", "pandas", "geopandas", "pyproj", "rasterio", "scipy", "shapely", "matplotlib")
# The outermost frames of a run, of a step and of the command turn what nobody foresaw into words.
OUTERMOST = {LIBRARY / name for name in ("command.py", "engine.py", "step.py")}


def trees(*folders):
    """Return the syntax tree of every Python file under some folders, by path."""
    files = sorted(path for folder in folders for path in folder.rglob("*.py"))
    return {path: ast.parse(path.read_text(encoding="utf-8")) for path in files}


def functions(*folders):
    """Return (path, function) for every function under some folders, methods included."""
    return [
        (path, node)
        for path, tree in trees(*folders).items()
        for node in ast.walk(tree)
        if isinstance(node, ast.FunctionDef)
    ]


def rules():
    """Return the text of every rule that runs a step, by its name."""
    found = {}
    for path in sorted(RULES.glob("*.smk")):
        parts = re.split(r"^ *rule (\w+):\n", path.read_text(encoding="utf-8"), flags=re.MULTILINE)
        found |= dict(zip(parts[1::2], parts[2::2], strict=True))
    return found


def where(path, node):
    """Return a place that a person can click on."""
    return f"{path.relative_to(ROOT)}:{node.lineno} {getattr(node, 'name', '')}".strip()


def test_every_rule_has_a_step_of_its_name():
    """Rules and scripts pair off by name, none is left over on either side."""
    assert sorted(rules()) == STEPS
    for name, text in rules().items():
        assert f'"../../scripts/{name}.py"' in text


@pytest.mark.parametrize("name", STEPS)
def test_rules_name_their_code_and_speak(name):
    """A rule's first parameter is the fingerprint of its own step; it has a log and a message."""
    text = rules()[name]
    assert re.search(rf'params:\s+code=fingerprint\("{name}"\),', text)
    assert re.search(rf'log:\s+"logs/{name}/[^"]+\.log",', text)
    assert re.search(r'message:\s+"[A-Z]\w+: ', text)


@pytest.mark.parametrize("name", STEPS)
def test_steps_are_thin(name):
    """A step has at most 40 lines, says what it writes, and defines only `main`."""
    text = (SCRIPTS / f"{name}.py").read_text(encoding="utf-8")
    tree = ast.parse(text)
    assert len(text.splitlines()) <= 40
    assert "Writes" in ast.get_docstring(tree)
    body = [node for node in tree.body[1:] if not isinstance(node, ast.Import | ast.ImportFrom)]
    assert [getattr(node, "name", ast.unparse(node)) for node in body] == [
        "main",
        "step(main, snakemake)",
    ]


def test_stages_are_the_same_everywhere():
    """Every stage has its rules, its library and its unit tests; rules come in the data's order."""
    text = (ROOT / "Snakefile").read_text(encoding="utf-8")
    included = re.findall(r'^include: "workflow/rules/(\w+)\.smk"$', text, flags=re.MULTILINE)
    assert included == ["demo", *STAGES]
    assert sorted(included) == sorted(path.stem for path in RULES.glob("*.smk"))
    for stage in included:
        assert (LIBRARY / stage / "__init__.py").is_file(), stage
        assert list((TESTS / "unit" / stage).glob("test_*.py")), stage


def test_library_has_no_other_folders():
    """A folder of the library is a stage, and its unit tests are under the stage's name."""
    folders = {path.parent.name for path in LIBRARY.glob("*/__init__.py")}
    assert folders == {"demo", *STAGES}


def test_snakefile_loads_light_modules_only():
    """What the Snakefile and its rules import brings in no array, table or map package."""
    lines = []
    for path in (ROOT / "Snakefile", *sorted(RULES.glob("*.smk"))):
        lines += re.findall(r"^from [\w.]+ import (?:\([^)]+\)|.+)", path.read_text(), re.MULTILINE)
    code = "\n".join([*lines, "import sys", f"print([m for m in {HEAVY} if m in sys.modules])"])
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True, cwd=SCRIPTS
    )
    assert done.stdout.strip() == "[]"


def test_functions_are_short():
    """No function is longer than 60 lines, docstring included; the median is under 12."""
    sizes = {
        where(path, node): node.end_lineno - node.lineno + 1 for path, node in functions(SCRIPTS)
    }
    assert {place: size for place, size in sizes.items() if size > 60} == {}
    assert statistics.median(sizes.values()) < 12


def test_functions_take_few_parameters():
    """No function takes more than seven parameters, itself and stars included."""
    many = []
    for path, node in functions(SCRIPTS):
        taken = node.args
        count = len(taken.posonlyargs) + len(taken.args) + len(taken.kwonlyargs)
        if count + bool(taken.vararg) + bool(taken.kwarg) > 7:
            many.append(where(path, node))
    assert many == []


def test_public_things_are_explained():
    """Every module, class, function and method of the library without a leading underscore is."""
    silent = []
    for path, tree in trees(LIBRARY).items():
        classes = [node for node in tree.body if isinstance(node, ast.ClassDef)]
        scopes = [tree, *classes]
        things = [node for scope in scopes for node in scope.body if _is_public(node)]
        silent += [where(path, node) for node in things if not ast.get_docstring(node)]
        if not ast.get_docstring(tree):
            silent.append(str(path))
    assert silent == []


def _is_public(node):
    return isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_")


def test_exceptions_are_caught_by_name():
    """Only the outermost frames catch everything; nobody catches without a name."""
    broad = []
    for path, tree in trees(SCRIPTS).items():
        for node in ast.walk(tree):
            if isinstance(node, ast.ExceptHandler) and path not in OUTERMOST:
                caught = "" if node.type is None else ast.unparse(node.type)
                if caught in ("", "Exception"):
                    broad.append(where(path, node))
    assert broad == []


def test_data_is_not_asserted():
    """The code that ships has no `assert`: python -O would leave the check out."""
    found = [
        where(path, node)
        for path, tree in trees(SCRIPTS).items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Assert)
    ]
    assert found == []


def test_nothing_is_left_to_be_done():
    """No placeholder stands in code, rules or tests."""
    words = re.compile(r"\b(TO" + r"DO|FIX" + r"ME)\b")
    files = [path for folder in (SCRIPTS, TESTS) for path in folder.rglob("*.py")]
    files += [ROOT / "Snakefile", *RULES.glob("*.smk")]
    assert [str(path) for path in files if words.search(path.read_text(encoding="utf-8"))] == []


def test_tests_say_what_they_hold():
    """Every test has a docstring of one sentence or more that ends in a full stop."""
    tests = [(path, n) for path, n in functions(TESTS) if n.name.startswith("test_")]
    assert len(tests) > 100
    silent = [
        where(path, node)
        for path, node in tests
        if not (ast.get_docstring(node) or "").rstrip().endswith((".", ".)"))
    ]
    assert silent == []


def test_expected_errors_are_told_by_their_message():
    """Every `pytest.raises` says by `match` which message it expects."""
    vague = [
        f"{path.relative_to(ROOT)}:{node.lineno}"
        for path, tree in trees(TESTS).items()
        for node in ast.walk(tree)
        if isinstance(node, ast.Call)
        and ast.unparse(node.func) == "pytest.raises"
        and "match" not in {keyword.arg for keyword in node.keywords}
    ]
    assert vague == []
