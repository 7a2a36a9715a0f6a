"""Styles of layers, held to OGC Styled Layer Descriptor 1.1.0 and Symbology Encoding 1.1.0.

No schema of the two is within reach of the tests. So the order of elements stands here as it was
read in public copies of the schemas, and what is written is walked through with it: names, their
order and number, namespaces, attributes. Not checked: the types of values but for colours and
numbers, and what any program makes of it.
"""

import re

import pytest
from defusedxml import ElementTree

from wrackline import contract
from wrackline.publish.style_rules import STYLES, by_phase
from wrackline.publish.styles import OGC, SE, SLD, write_style

ORDER = {
    "sld:StyledLayerDescriptor": ["sld:NamedLayer+"],
    "sld:NamedLayer": ["se:Name", "sld:UserStyle*"],
    "sld:UserStyle": ["se:Name?", "se:Description?", "sld:IsDefault?", "se:FeatureTypeStyle+"],
    "se:FeatureTypeStyle": ["se:Name?", "se:Description?", "se:FeatureTypeName?", "se:Rule+"],
    "se:Rule": [
        *("se:Name?", "se:Description?", "ogc:Filter?", "se:ElseFilter?"),
        *("se:MinScaleDenominator?", "se:MaxScaleDenominator?", "se:Symbolizer+"),
    ],
    "se:Description": ["se:Title?", "se:Abstract?"],
    "se:LineSymbolizer": ["se:Geometry?", "se:Stroke?", "se:PerpendicularOffset?"],
    "se:PolygonSymbolizer": ["se:Geometry?", "se:Fill?", "se:Stroke?"],
    "se:PointSymbolizer": ["se:Geometry?", "se:Graphic?"],
    "se:TextSymbolizer": [
        *("se:Geometry?", "se:Label?", "se:Font?", "se:LabelPlacement?", "se:Halo?", "se:Fill?"),
    ],
    "se:Graphic": ["se:Mark*", "se:Opacity?", "se:Size?", "se:Rotation?"],
    "se:Mark": ["se:WellKnownName?", "se:Fill?", "se:Stroke?"],
    "se:Fill": ["se:GraphicFill?", "se:SvgParameter*"],
    "se:GraphicFill": ["se:Graphic"],
    "se:Stroke": ["se:GraphicFill?", "se:GraphicStroke?", "se:SvgParameter*"],
    "se:Label": ["ogc:PropertyName"],
    "se:Font": ["se:SvgParameter*"],
    "se:LabelPlacement": ["se:PointPlacement?", "se:LinePlacement?"],
    "se:PointPlacement": ["se:AnchorPoint?", "se:Displacement?", "se:Rotation?"],
    "se:AnchorPoint": ["se:AnchorPointX", "se:AnchorPointY"],
    "se:LinePlacement": ["se:PerpendicularOffset?", "se:IsRepeated?", "se:IsAligned?"],
    "se:Halo": ["se:Radius?", "se:Fill?"],
    "ogc:Filter": ["ogc:Test"],
    "ogc:Or": ["ogc:Test+"],
    "ogc:Not": ["ogc:Test"],
    "ogc:PropertyIsEqualTo": ["ogc:PropertyName", "ogc:Literal"],
    "ogc:PropertyIsNull": ["ogc:PropertyName"],
}
GROUPS = {
    "se:Symbolizer": r"se:\w+Symbolizer",
    "ogc:Test": r"ogc:(?:Or|Not|PropertyIs\w+)",
}
SVG = {
    "stroke": r"#[0-9a-f]{6}",
    "stroke-width": r"\d+(\.\d+)?",
    "stroke-linecap": "butt|round|square",
    "stroke-dasharray": r"\d+(\.\d+)?( \d+(\.\d+)?)+",
    "fill": r"#[0-9a-f]{6}",
    "fill-opacity": r"0?\.\d+|1",
    "font-family": r"[A-Za-z ]+",
    "font-size": r"\d+(\.\d+)?",
    "font-weight": "normal|bold",
}
MARKS = ("square", "circle", "triangle", "star", "cross", "x")
SHORT = {SLD: "sld", SE: "se", OGC: "ogc"}
LAYERS = list(contract.LAYERS)


def short(element):
    """Return an element's name with the prefix of its namespace."""
    space, name = element.tag.removeprefix("{").split("}")
    return f"{SHORT[space]}:{name}"


def pattern(part):
    """Return what the names of a part of an element's content must match."""
    name, count = re.fullmatch(r"([\w:]+)([?*+]?)", part).groups()
    return f"(?:{GROUPS.get(name, name)} ){count}"


@pytest.fixture
def tree(tmp_path):
    """Return what writes a style and reads it back."""

    def both(layer, groups):
        write_style(layer, groups, tmp_path / "style.sld")
        return ElementTree.parse(tmp_path / "style.sld").getroot()

    return both


@pytest.mark.parametrize("layer", LAYERS)
def test_elements_stand_in_the_order_of_the_schemas(tree, layer):
    """Each element holds what its type may hold, in its order; leaves hold texts alone."""
    root = tree(layer, STYLES[layer])
    assert short(root) == "sld:StyledLayerDescriptor"
    assert root.attrib == {"version": "1.1.0"}
    for element in root.iter():
        inside = "".join(f"{short(child)} " for child in element)
        allowed = "".join(map(pattern, ORDER.get(short(element), [])))
        assert re.fullmatch(allowed, inside), f"{short(element)}: {inside}"
        if not inside and short(element) != "se:ElseFilter":
            assert element.text.strip()


@pytest.mark.parametrize("layer", LAYERS)
def test_fields_and_words_are_those_of_the_contract(tree, layer):
    """What a style asks of is a field of its layer; where the words are listed, one of them."""
    fields = {field.name: field for field in contract.LAYERS[layer]}
    root = tree(layer, STYLES[layer])
    for name in root.iter(f"{{{OGC}}}PropertyName"):
        assert name.text in fields
    for test in root.iter(f"{{{OGC}}}PropertyIsEqualTo"):
        field, word = fields[test[0].text], test[1].text
        assert field.kind == "text"
        assert word in (field.words or word), f"{layer}.{field.name}"
    for asked in root.iter(f"{{{SE}}}FeatureTypeName"):
        assert asked.text == layer


@pytest.mark.parametrize("layer", LAYERS)
def test_every_word_of_a_closed_list_is_drawn(layer):
    """A style that goes by a field with listed words has a rule for each of them, or for others."""
    for group in STYLES[layer]:
        for field in contract.LAYERS[layer]:
            rules = [rule for rule in group if rule.field == field.name and rule.among]
            if rules and field.words and not any(rule.else_ for rule in group):
                drawn = {word for rule in rules for word in rule.among}
                assert drawn == set(field.words), f"{layer}.{field.name}"


@pytest.mark.parametrize("layer", LAYERS)
def test_parameters_are_those_of_the_standard(tree, layer):
    """Colours, widths, dashes, fonts and marks have names and forms that any program knows."""
    root = tree(layer, STYLES[layer])
    for parameter in root.iter(f"{{{SE}}}SvgParameter"):
        assert re.fullmatch(SVG[parameter.get("name")], parameter.text)
    for mark in root.iter(f"{{{SE}}}WellKnownName"):
        assert mark.text in MARKS
    for element in root.iter():
        for key, value in element.attrib.items():
            assert key in ("version", "name") or value.endswith("/se/units/metre")


def grey(colour):
    """Return a colour's lightness, 0-1, by the weights of ITU-R BT.601 (from memory)."""
    red, green, blue = (int(colour[k : k + 2], 16) for k in (1, 3, 5))
    return (0.299 * red + 0.587 * green + 0.114 * blue) / 255


@pytest.mark.parametrize("layer", LAYERS)
def test_in_grey_no_two_rules_look_alike(layer):
    """Rules of a group differ in tone by a twelfth at least, or in line, width or mark."""
    for group in STYLES[layer]:
        looks = [[looked_at(sign) for sign in rule.signs] for rule in group]
        for k, one in enumerate(looks):
            for other in looks[:k]:
                assert len(one) != len(other) or any(map(differ, one, other)), group[k].words


def looked_at(sign):
    """Return a sign's tone, and all else of it."""
    kept = {key: value for key, value in vars(sign).items() if key not in ("tone", "colour")}
    return grey(vars(sign).get("tone") or vars(sign)["colour"]), type(sign).__name__, kept


def differ(one, other):
    """Tell whether two looks can be told apart in grey."""
    return abs(one[0] - other[0]) > 1 / 12 or one[1:] != other[1:]


def test_widths_are_in_pixels_of_the_standard(tree):
    """A wall line of 0.2 mm is 0.71 pixels of 0.28 mm; a doorway's width is metres."""
    walls = tree("wall_lines", STYLES["wall_lines"])
    (width,) = {
        one.text
        for rule in walls.iter(f"{{{SE}}}Rule")
        if rule.find(f"{{{SE}}}Name").text == "wall line, recorded"
        for one in rule.iter(f"{{{SE}}}SvgParameter")
        if one.get("name") == "stroke-width"
    }
    assert float(width) == pytest.approx(0.2 / 0.28, abs=0.005)
    doors = tree("openings", STYLES["openings"])
    assert {one.get("uom", "")[-5:] for one in doors.iter(f"{{{SE}}}LineSymbolizer")} == {
        "metre",
        "",
    }


def test_phases_are_told_by_tone(tree):
    """The last phase is the darkest and widest; a phase's hostile name stays a text."""
    names = ["early", "<b>&late", "last"]
    root = tree("wall_lines", by_phase(names))
    assert [one.text for one in root.iter(f"{{{OGC}}}Literal")] == names
    tones = [grey(rule.signs[0].colour) for rule in by_phase(names)[0][:3]]
    assert tones == sorted(tones, reverse=True)
    assert len(set(tones)) == 3
    assert by_phase(["only"])[0][0].signs[0].colour == "#000000"


def test_written_twice_a_style_has_the_same_bytes(tmp_path):
    """Equal rules give an equal file."""
    for name in ("a.sld", "b.sld"):
        write_style("rooms", STYLES["rooms"], tmp_path / name)
    assert (tmp_path / "a.sld").read_bytes() == (tmp_path / "b.sld").read_bytes()
