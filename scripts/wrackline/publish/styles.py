"""Styles of layers as OGC Styled Layer Descriptor 1.1.0 with Symbology Encoding 1.1.0.

What is written needs nothing beyond the two standards: their own marks, units and filters. Widths
are pixels of 0.28 mm, which Symbology Encoding takes a pixel for where nothing else is known.
"""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from xml.etree import ElementTree

from wrackline.publish.style_rules import Area, Group, Label, Line, Mark, Rule, Sign

SLD, SE, OGC = (f"http://www.opengis.net/{name}" for name in ("sld", "se", "ogc"))
METRE = "http://www.opengeospatial.org/se/units/metre"
PIXEL_MM = 0.28
STREWN_MM = 0.7
FONT = "DejaVu Sans"

Element = ElementTree.Element


def write_style(layer: str, groups: Sequence[Group], path: Path | str) -> None:
    """Write the style of a layer.

    Parameters
    ----------
    layer : str
        Name of the layer in the GeoPackage.
    groups : sequence of Group
        Its rules.
    path : Path or str
    """
    for prefix, uri in (("sld", SLD), ("se", SE), ("ogc", OGC)):
        ElementTree.register_namespace(prefix, uri)
    tree = style(layer, groups)
    ElementTree.indent(tree)
    Path(path).parent.mkdir(parents=True, exist_ok=True)
    text = ElementTree.tostring(tree, encoding="unicode")
    Path(path).write_text(f'<?xml version="1.0" encoding="UTF-8"?>\n{text}\n', encoding="utf-8")


def style(layer: str, groups: Sequence[Group]) -> Element:
    """Return the style of a layer as a tree, see `write_style`."""
    own = [
        _el(SE, "FeatureTypeStyle", _text(SE, "FeatureTypeName", layer), *map(_rule, group))
        for group in groups
    ]
    user = _el(SLD, "UserStyle", _text(SE, "Name", layer), *own)
    named = _el(SLD, "NamedLayer", _text(SE, "Name", layer), user)
    root = _el(SLD, "StyledLayerDescriptor", named)
    root.set("version", "1.1.0")
    return root


def _el(space: str, name: str, *inside: Element) -> Element:
    element = Element(f"{{{space}}}{name}")
    element.extend(inside)
    return element


def _text(space: str, name: str, text: str) -> Element:
    element = _el(space, name)
    element.text = text
    return element


def _rule(rule: Rule) -> Element:
    told = _el(SE, "Description", _text(SE, "Title", rule.words))
    which = [_el(SE, "ElseFilter")] if rule.else_ else _filter(rule)
    return _el(SE, "Rule", _text(SE, "Name", rule.words), told, *which, *map(_symbol, rule.signs))


def _filter(rule: Rule) -> list[Element]:
    """Return what picks the rows of a rule, nothing where it is for all."""
    if not rule.field:
        return []
    tests = [_equal(rule.field, word) for word in rule.among]
    if not tests:
        empty = _el(OGC, "PropertyIsNull", _text(OGC, "PropertyName", rule.field))
        tests = [empty if rule.absent else _el(OGC, "Not", empty)]
    return [_el(OGC, "Filter", *(tests if len(tests) == 1 else [_el(OGC, "Or", *tests)]))]


def _equal(field: str, word: str) -> Element:
    names = (_text(OGC, "PropertyName", field), _text(OGC, "Literal", word))
    return _el(OGC, "PropertyIsEqualTo", *names)


def _symbol(sign: Sign) -> Element:
    if isinstance(sign, Line):
        line = _el(SE, "LineSymbolizer", _stroke(sign))
        if sign.metres:
            line.set("uom", METRE)
        return line
    if isinstance(sign, Area):
        return _area(sign)
    if isinstance(sign, Mark):
        outline = _stroke(Line("#111111", 0.13))
        return _el(SE, "PointSymbolizer", _graphic(sign.name, sign.size, _fill(sign.tone), outline))
    return _label(sign)


def _area(area: Area) -> Element:
    if not area.strewn:
        return _el(SE, "PolygonSymbolizer", _fill(area.tone, area.opacity))
    graphic = _graphic(area.strewn, STREWN_MM, _fill(area.tone))
    return _el(SE, "PolygonSymbolizer", _el(SE, "Fill", _el(SE, "GraphicFill", graphic)))


def _graphic(name: str, size_mm: float, *paint: Element) -> Element:
    mark = _el(SE, "Mark", _text(SE, "WellKnownName", name), *paint)
    return _el(SE, "Graphic", mark, _text(SE, "Size", _pixels(size_mm)))


def _fill(tone: str, opacity: float = 1.0) -> Element:
    told = [_parameter("fill", tone)]
    if opacity < 1:
        told.append(_parameter("fill-opacity", f"{opacity:g}"))
    return _el(SE, "Fill", *told)


def _stroke(line: Line) -> Element:
    width = f"{line.width:g}" if line.metres else _pixels(line.width)
    told = [_parameter("stroke", line.colour), _parameter("stroke-width", width)]
    told.append(_parameter("stroke-linecap", "butt"))
    if line.dashes:
        told.append(_parameter("stroke-dasharray", " ".join(map(_pixels, line.dashes))))
    return _el(SE, "Stroke", *told)


def _label(label: Label) -> Element:
    place = [_el(SE, "LinePlacement", _text(SE, "IsAligned", "true"))]
    if not label.along:
        middle = [_text(SE, name, "0.5") for name in ("AnchorPointX", "AnchorPointY")]
        place = [_el(SE, "PointPlacement", _el(SE, "AnchorPoint", *middle))]
    font = {"font-family": FONT, "font-size": _pixels(label.size)}
    if label.bold:
        font["font-weight"] = "bold"
    return _el(
        SE,
        "TextSymbolizer",
        _el(SE, "Label", _text(OGC, "PropertyName", label.field)),
        _el(SE, "Font", *(_parameter(*item) for item in font.items())),
        _el(SE, "LabelPlacement", *place),
        _el(SE, "Halo", _text(SE, "Radius", "1"), _fill("#ffffff", 0.8)),
        _fill(label.colour),
    )


def _parameter(name: str, value: str) -> Element:
    element = _text(SE, "SvgParameter", value)
    element.set("name", name)
    return element


def _pixels(size_mm: float) -> str:
    """Return a size in pixels of the standard.

    >>> _pixels(0.28), _pixels(0.2)
    ('1', '0.71')
    """
    return f"{round(size_mm / PIXEL_MM, 2):g}"
