"""How each layer of the GeoPackage is drawn: rules by what stands in its fields, as plain data.

Sizes are millimetres on paper, but for those that say that they are metres on the ground. Tones and
lines are those of the plan sheet; whatever differs in colour differs in tone or line too.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from wrackline.publish.tones import BED, BODY, GREY, INK, LIGHT, RED, SEA

INFERRED_BODY, STATED, WHITE = "#a8a8a8", "#d2d2d2", "#ffffff"
CAME, WENT, GREEN, SAND = "#e59f3d", "#74abd6", "#4f9a6b", "#b07d2b"


@dataclass(frozen=True)
class Line:
    """A line: colour, width, and its dashes and gaps in turn, all [mm]; or the width in metres."""

    colour: str
    width: float
    dashes: tuple[float, ...] = ()
    metres: bool = False


@dataclass(frozen=True)
class Area:
    """An area: its tone, how much of it covers what lies below; or a sign of the tone strewn."""

    tone: str
    opacity: float = 1.0
    strewn: str = ""


@dataclass(frozen=True)
class Mark:
    """A sign at a point: one of the standard's own names, its size [mm] and its tone."""

    name: str
    size: float
    tone: str = WHITE


@dataclass(frozen=True)
class Label:
    """A text from a field, its letters' size [mm], whether along a line."""

    field: str
    size: float
    colour: str = INK
    along: bool = False
    bold: bool = False


Sign = Line | Area | Mark | Label


@dataclass(frozen=True)
class Rule:
    """What is drawn how.

    Attributes
    ----------
    words : str
        For a legend.
    signs : tuple of Sign
        Drawn in this order.
    field : str
        The field that decides; empty: all rows.
    among : tuple of str
        Words that the field must hold one of; empty: it must hold anything at all.
    absent : bool
        Whether the field must be empty instead.
    else_ : bool
        Whether it is for the rows that no other rule of its group is for.
    """

    words: str
    signs: tuple[Sign, ...]
    field: str = ""
    among: tuple[str, ...] = ()
    absent: bool = False
    else_: bool = False


Group = tuple[Rule, ...]
"""Rules whose rows don't overlap; the groups of a layer are drawn one upon the other."""


def _one(words: str, *signs: Sign) -> tuple[Group, ...]:
    """Return a style of one rule for all rows."""
    return ((Rule(words, signs),),)


Drawn = tuple[str, *tuple[Sign, ...]]
"""Words for a legend, and signs."""


def _by(field: str, drawn: Mapping[str, Drawn]) -> Group:
    """Return rules by the word in a field."""
    return tuple(
        Rule(words, tuple(signs), field, (value,)) for value, (words, *signs) in drawn.items()
    )


SEEN_AS: dict[str, Drawn] = {
    "not looked for": ("not looked for", Line("#b9b9b9", 0.1)),
    "could not be seen": ("could not be seen", Line("#9a9a9a", 0.2, (0.4, 0.8))),
    "seen": ("seen", Line(INK, 0.3)),
    "overgrown": ("overgrown", Line(GREEN, 0.6, (1.0, 0.6))),
    "buried": ("buried", Line(SAND, 0.9, (0.5, 0.5))),
    "lost": ("lost", Line("#b3131b", 1.0)),
}
LAST_KNOWN: dict[str, Drawn] = {
    "nothing known": ("nothing known", Line("#b9b9b9", 0.2, (0.2, 0.4)))
} | {word: SEEN_AS[word] for word in ("seen", "overgrown", "buried", "lost")}
OUTLINED = ("hachure", "stone", "section line", "threshold", "bench", "drain", "paving", "quay")
"""Kinds of features that are lines and outlines alone, without a sign."""

STYLES: dict[str, tuple[Group, ...]] = {
    "surveys": _one("ground that a survey looked at", Line(GREY, 0.18, (1.0, 0.6))),
    "seabed_change_areas": (
        (
            Rule(
                "ground has come",
                (Area(CAME, 0.5), Line(INK, 0.18)),
                "change",
                ("ground has come",),
            ),
            Rule(
                "ground has gone",
                (Area(WENT, 0.5), Line(INK, 0.25, (0.8, 0.5))),
                "change",
                ("ground has gone",),
            ),
        ),
    ),
    "contours": (
        (
            Rule(
                "index contour, height above the datum [m]",
                (Line(BED, 0.18), Label("height_m", 1.6, SEA, along=True)),
                "label_easting_m",
            ),
            Rule("contour", (Line(BED, 0.1),), "label_easting_m", absent=True),
        ),
    ),
    "waterlines": _one(
        "named sea level on today's seabed",
        Line(SEA, 0.25, (2.0, 0.4)),
        Label("sea_level", 1.6, SEA, along=True),
    ),
    "trenches": _one("trench", Line(RED, 0.35), Label("trench", 1.8, RED)),
    "buildings": _one(
        "wall by its centre and stated thickness",
        Area(STATED),
        Label("building", 2.5, bold=True),
    ),
    "wall_bodies": (
        _by(
            "evidence",
            {
                "recorded": ("wall between two recorded faces", Area(BODY)),
                "inferred": ("wall, its outline inferred in part", Area(INFERRED_BODY)),
                "old plan": ("wall, from an old plan alone", Area(LIGHT)),
            },
        ),
    ),
    "rooms": (
        _by(
            "kind",
            {
                "room": ("room (suggested)", Area(WHITE)),
                "court": ("court (suggested)", Area(WHITE), Area(GREY, strewn="circle")),
                "lane": ("lane (suggested)", Area(WHITE), Area(GREY, strewn="x")),
                "unknown": ("small enclosed space", Area(LIGHT)),
            },
        ),
        (Rule("number of a room", (Label("room", 1.6),)),),
    ),
    "openings": (
        (
            Rule("doorway, seen", (Line(WHITE, 0.9, metres=True),), "evidence", ("seen",)),
            Rule(
                "doorway, possible",
                (Line(WHITE, 0.9, metres=True), Line(GREY, 0.18, (0.2, 0.4))),
                "evidence",
                ("possible",),
            ),
        ),
    ),
    "wall_lines": (
        _by(
            "evidence",
            {
                "old plan": ("wall line, from an old plan alone", Line(SEA, 0.2, (0.2, 0.3))),
                "recorded": ("wall line, recorded", Line(INK, 0.2)),
                "inferred": ("closing, inferred", Line(RED, 0.25, (0.75, 0.5))),
            },
        ),
    ),
    "features": (
        (
            Rule("feature, built", (Line(INK, 0.13),), "origin", ("built",)),
            Rule(
                "feature, natural", (Line(GREY, 0.3, (1.2, 0.3, 0.3, 0.3)),), "origin", ("natural",)
            ),
            Rule("feature, modern", (Line(GREY, 0.3, (0.3, 0.3)),), "origin", ("modern",)),
            Rule(
                "feature of doubtful or unstated origin", (Line(GREY, 0.2, (0.4, 0.4)),), else_=True
            ),
        ),
        (
            Rule("hearth", (Mark("triangle", 1.6),), "kind", ("hearth",)),
            Rule("jar", (Mark("circle", 1.6),), "kind", ("jar",)),
            Rule("cistern", (Mark("square", 1.6),), "kind", ("cistern",)),
            Rule("grave", (Mark("cross", 1.6, INK),), "kind", ("grave",)),
            Rule("well", (Mark("star", 1.8),), "kind", ("well",)),
            Rule("drawn as it lies", (Line(INK, 0.13),), "kind", OUTLINED),
            Rule("feature of another kind", (Mark("circle", 0.6, INK),), else_=True),
        ),
    ),
    "spot_heights": _one(
        "spot height above the datum [m]", Mark("triangle", 1.2), Label("height_m", 1.6)
    ),
    "tracings": (
        (
            Rule("survey line, part of the wall", (Line(GREY, 0.1),), "why", absent=True),
            Rule("survey line without a share in its wall", (Line(RED, 0.3, (0.6, 0.3)),), "why"),
        ),
    ),
    "sightings": (_by("status", SEEN_AS),),
    "wall_condition": (_by("last_known", LAST_KNOWN),),
}
"""By layer, in the order in which they lie one upon the other, the lowest first."""


def by_phase(phases: Sequence[str]) -> tuple[Group, ...]:
    """Return the style of wall lines by the phase in which they were first built.

    Later phases are darker and wider.

    Parameters
    ----------
    phases : sequence of str
        Names of the phases, the earliest first.
    """
    shares = [k / (len(phases) - 1) for k in range(len(phases) - 1)] + [1.0]
    rules = [
        Rule(
            f"wall line, first of the phase {name}",
            (Line(_grey(0.65 * (1 - share)), 0.2 + 0.3 * share),),
            "phase_from",
            (name,),
        )
        for name, share in zip(phases, shares, strict=True)
    ]
    unknown = Rule("wall line of unknown phase", (Line(GREY, 0.13, (0.4, 0.3)),), else_=True)
    return ((*rules, unknown),)


def _grey(lightness: float) -> str:
    """Return a grey.

    >>> _grey(0.0), _grey(1.0)
    ('#000000', '#ffffff')
    """
    return f"#{round(255 * lightness):02x}" + f"{round(255 * lightness):02x}" * 2
