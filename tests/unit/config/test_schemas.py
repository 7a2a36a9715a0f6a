"""Schemas and key tables are generated, committed, and held to the model."""

import json
from pathlib import Path
from typing import get_args

import pytest

from wrackline import schemas
from wrackline.config import load_site
from wrackline.io import read_json
from wrackline.model import Columns, Season, Site, Strict, Survey, Vertical

ROOT = Path(__file__).parents[3]
README = (ROOT / "config" / "README.md").read_text(encoding="utf-8")


def test_committed_schemas_are_the_generated_ones(tmp_path):
    """workflow/schemas holds, byte for byte, what the model generates."""
    for path in schemas.write(tmp_path):
        committed = ROOT / "workflow" / "schemas" / path.name
        assert committed.read_bytes() == path.read_bytes(), "run `python -m wrackline.schemas`"


def test_readme_tables_are_the_generated_ones():
    """config/README.md holds the key tables that the model generates."""
    assert schemas.with_tables(README) == README, "run `python -m wrackline.schemas`"
    assert README.count("<!-- keys of ") == 3


def models_in(annotation) -> set[type[Strict]]:
    """Return the config parts named anywhere in a type annotation."""
    if isinstance(annotation, type) and issubclass(annotation, Strict):
        return {annotation}
    return {part for inner in get_args(annotation) for part in models_in(inner)}


def parts_of(part: type[Strict]) -> set[type[Strict]]:
    """Return a config part and all parts inside it."""
    inner = {m for field in part.model_fields.values() for m in models_in(field.annotation)}
    return {part}.union(*(parts_of(one) for one in inner))


@pytest.mark.parametrize("whole", [Site, Season])
def test_every_key_of_the_models_is_documented(whole):
    """No field of any part of the model is missing among the documented keys."""
    kind = whole.__name__.lower()
    named = {
        key.path.rpartition(".")[2] for key in schemas.documentation_keys() if key.file == kind
    }
    assert len(parts_of(whole)) > 5
    for part in parts_of(whole):
        assert set(part.model_fields) <= named, part


def test_every_documented_key_has_a_description_and_says_what_it_takes():
    """A key without meaning or type would be of no help."""
    keys = list(schemas.documentation_keys())
    assert len({(key.file, key.path) for key in keys}) == len(keys) > 80
    for key in keys:
        assert key.description, key
        assert key.type, key
        assert f"`{key.path.rpartition('.')[2]}`" in README


def test_no_stale_key_stands_in_the_readme():
    """Every key that the README's tables name is one of the model's."""
    named = {key.path.rpartition(".")[2] for key in schemas.documentation_keys()}
    for block in schemas.BLOCK.finditer(README):
        for line in block[0].splitlines():
            if line.startswith("| `"):
                assert line.split("`")[1] in named, line


def test_keys_carry_unit_bounds_and_default():
    """A length says its unit, its limits and what is taken when it is left out."""
    keys = {(key.file, key.path): key for key in schemas.documentation_keys()}
    cell = keys["site", "seabed.cell_m"]
    assert (cell.bounds, cell.default, cell.type) == (
        "at least 0.01, at most 100",
        "0.5",
        "a number",
    )
    assert cell.description.endswith("[m].")
    assert keys["season", "surveys[].file"].default == "required"
    assert keys["season", "surveys[].columns.header"].default == "true"
    assert keys["season", "surveys[].local_grid.points[].site"].type == "two numbers"
    assert keys["site", "error_sources.<name>.kind"].default == "required"
    assert keys["season", "surveys[].vertical"].group == "surveys[]"


def test_bare_numbers_bear_their_unit_in_the_name():
    """Every number in the config has a unit in its name, or has none to bear."""
    units = (
        "_m",
        "_m2",
        "_deg",
        "_ppm",
        "_mm_per_m",
        "_h",
        "_min",
        "_kg_m3",
        "_c",
        "_s",
        "_mb",
        "_year",
    )
    free = {
        "schema_version",
        "lane_min_elongation",
        "openness_directions",
        "scale",
        "salinity",
        "salinity_sd",
        "tilt_correlation",
        "review_change_share",
    }
    for key in schemas.documentation_keys():
        if key.type in ("a number", "a whole number"):
            name = key.path.rpartition(".")[2]
            assert name.endswith(units) or name in free, key.path


def test_schemas_are_json_schemas_that_refuse_unknown_keys():
    """Each block says that nothing else may stand in it."""
    for kind in schemas.MODELS:
        schema = read_json(ROOT / "workflow" / "schemas" / f"{kind}.schema.json")
        assert schema["$schema"] == schemas.DIALECT
        blocks = [
            schema,
            *(part for part in schema.get("$defs", {}).values() if "properties" in part),
        ]
        assert all(block["additionalProperties"] is False for block in blocks)
        json.dumps(schema, allow_nan=False)


def test_readme_names_every_choice_of_the_vertical_meaning_and_of_holds():
    """What a survey may hold, and how its heights may be meant, is explained in tables."""
    for part, field in (
        (Vertical, "meaning"),
        (Survey, "holds"),
        (Columns, "separator"),
        (Survey, "form"),
    ):
        for choice in part.model_fields[field].annotation.__args__:
            assert f"`{choice}`" in README


def test_the_demo_config_is_valid():
    """The repository's own config loads, and its truth file is there."""
    site = load_site(ROOT)
    assert (ROOT / site.site.demo).is_file()
    assert list(site.seasons) == ["1986", "2031", "2032", "2033"]
