"""Pictures of sketches as SVG: one survey dark, the others pale, and marks upon them.

All pictures of a page share one frame. Each sketch is written once, in `definitions`, and shown
dark or pale by reference.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wrackline.accuracy.markup import Markup, el
from wrackline.accuracy.sketches import Sketch

Array = npt.NDArray[np.float64]

FRAME_SAMPLE = 200
"""Places of each survey that decide on the frame."""
FENCE = 3.0
"""Places further than this many interquartile ranges out don't widen the frame (Tukey 1977,
Exploratory Data Analysis: outer fences)."""
WIDTH = 440.0
LEFT, RIGHT, TOP, BOTTOM = 20.0, 6.0, 6.0, 50.0
INK = "#1b1b1b"
LINE = {"fill": "none", "stroke": INK, "stroke_width": 0.8}
FULL = {"fill": INK, "stroke": INK, "stroke_width": 0.8}
CROSS = {"fill": "none", "stroke": INK, "stroke_width": 1.6}
ROUTE = {"fill": "none", "stroke": INK, "stroke_width": 1.2, "stroke_dasharray": "5 4"}
PALE = {"stroke": "#c8c8c8", "stroke_width": 1}
OWN = {"stroke": "#1f4a68", "stroke_width": 1.5}
LABELS: Mapping[str, Mapping[str, object]] = {
    "fault": {"fill": "#7d1414", "stroke": INK, "stroke_width": 1.4, "rx": 0},
    "suspicion": {"fill": "#fff", "stroke": INK, "stroke_width": 1.4, "rx": 7.5},
    "stop": {"fill": "#fff", "stroke": INK, "stroke_width": 2, "rx": 2.5},
    "control": {"fill": "#fff", "fill_opacity": 0.8, "stroke": "none", "rx": 0},
}
"""Own and pale differ by tone, faults and suspicions by shape and fill, so that they stand in
grey."""

FEW = 200
"""Dots fewer than this are drawn large, to be seen."""
LONGEST = 16
"""Letters of a mark's name that are shown."""
MOST_PLACED = 60
"""Labels beyond this many in a picture are left to the list beside it."""


@dataclass(frozen=True)
class Mark:
    """A place in a picture with its label.

    Attributes
    ----------
    label : str
        Number in the list beside the picture.
    place : tuple of float
        Easting and northing [m].
    kind : {"fault", "suspicion", "stop", "control"}
    """

    label: str
    place: tuple[float, float]
    kind: str = "suspicion"


@dataclass(frozen=True)
class Frame:
    """What ground all pictures show: bounds in the site's CRS [m]."""

    west: float
    south: float
    east: float
    north: float

    @property
    def scale(self) -> float:
        """Picture units a metre."""
        return (WIDTH - LEFT - RIGHT) / (self.east - self.west)

    @property
    def foot(self) -> float:
        """Lower edge of the ground in the picture."""
        return TOP + (self.north - self.south) * self.scale

    def to_picture(self, places: Array) -> Array:
        """Return places, shape (n, 2), in picture units, y down."""
        x = LEFT + (places[:, 0] - self.west) * self.scale
        return np.column_stack([x, TOP + (self.north - places[:, 1]) * self.scale])

    def shows(self, places: Array) -> npt.NDArray[np.bool_]:
        """Tell which places, shape (n, 2), lie inside."""
        low, high = (self.west, self.south), (self.east, self.north)
        return np.asarray(((places >= low) & (places <= high)).all(axis=1))


def frame_of(sketches: Sequence[Sketch], others: Sequence[tuple[float, float]]) -> Frame:
    """Return the ground that holds all surveys; what lies far from the rest is left outside.

    Parameters
    ----------
    sketches : sequence of Sketch
    others : sequence of tuple of float
        Places to show when there is no survey: of faults, marks, or the site's origin.
    """
    parts = [s.places[:: max(1, len(s.places) // FRAME_SAMPLE)] for s in sketches if len(s.places)]
    every = np.vstack([s.places for s in sketches] or [np.empty((0, 2))])
    if parts:
        low, high = np.quantile(np.vstack(parts), [0.25, 0.75], axis=0)
        reach = FENCE * np.maximum(high - low, 5.0)
        inside = every[((every >= low - reach) & (every <= high + reach)).all(axis=1)]
        every = inside if len(inside) else every
    else:
        every = np.array(others or [(0.0, 0.0)], dtype=float)
    return _padded(every.min(axis=0), every.max(axis=0))


def _padded(low: Array, high: Array) -> Frame:
    """Return a frame a little larger, neither very wide nor very tall."""
    middle, size = (low + high) / 2, np.maximum((high - low) * 1.08, 10.0)
    wide, tall = max(size[0], size[1] / 1.2), max(size[1], size[0] * 0.55)
    return Frame(
        float(middle[0] - wide / 2),
        float(middle[1] - tall / 2),
        float(middle[0] + wide / 2),
        float(middle[1] + tall / 2),
    )


def definitions(sketches: Sequence[Sketch], frame: Frame) -> Markup:
    """Return the SVG that holds every sketch once, to be referred to by `picture`.

    Parameters
    ----------
    sketches : sequence of Sketch
    frame : Frame
    """
    groups = [_group(f"sketch-{k}", sketch, frame) for k, sketch in enumerate(sketches)]
    ground = el("rect", x=LEFT, y=TOP, width=WIDTH - LEFT - RIGHT, height=_short(frame.foot - TOP))
    defs = el("defs", el("clipPath", ground, id="ground"), *groups)
    return el(
        "svg", defs, xmlns="http://www.w3.org/2000/svg", width=0, height=0, class_="defs",
        aria_hidden="true",
    )  # fmt: skip


def _group(name: str, sketch: Sketch, frame: Frame) -> Markup:
    dots = frame.to_picture(sketch.dots[frame.shows(sketch.dots)])
    lines = [frame.to_picture(p) for p in sketch.paths if _near(p, frame)]
    inside = []
    if len(dots):
        words = "".join(f"M{_short(x)} {_short(y)}h0" for x, y in dots)
        bold = 3.5 if len(dots) < FEW else None
        look = {"fill": "none", "stroke_linecap": "round", "stroke_width": bold}
        inside.append(el("path", d=words, **look))
    if lines:
        inside.append(
            el("path", d="".join(map(_path, lines)), fill="none", stroke_linejoin="round")
        )
    return el("g", *inside, id=name)


def _near(path: Array, frame: Frame) -> bool:
    """Tell whether a path may cross the frame and is no longer than a few frames."""
    wide, tall = frame.east - frame.west, frame.north - frame.south
    low, high = path.min(axis=0), path.max(axis=0)
    apart = low[0] > frame.east or high[0] < frame.west
    apart |= low[1] > frame.north or high[1] < frame.south
    return not apart and bool(np.ptp(path, axis=0).max() < 20 * max(wide, tall))


def _path(xy: Array) -> str:
    return "M" + "L".join(f"{_short(x)} {_short(y)}" for x, y in xy)


def _short(value: float) -> str:
    """Return a number with one decimal, without a needless one.

    >>> _short(3.0), _short(3.14159), _short(-0.04)
    ('3', '3.1', '0')
    """
    text = f"{float(value):.1f}".removesuffix(".0")
    return "0" if text == "-0" else text


def picture(
    frame: Frame,
    *,
    count: int,
    own: int | None,
    marks: Sequence[Mark] = (),
    route: Sequence[tuple[float, float]] = (),
    title: str = "",
) -> Markup:
    """Return one picture as SVG: all surveys pale, one of them dark, and marks upon them.

    Parameters
    ----------
    frame : Frame
    count : int
        How many sketches `definitions` holds.
    own : int or None
        The one that is shown dark.
    marks : sequence of Mark
    route : sequence of tuple of float
        Places to join by a dashed line [m].
    title : str
        What the picture shows, for those who can't see it.
    """
    pale = [el("use", href=f"#sketch-{k}", **PALE) for k in range(count) if k != own]
    dark = [] if own is None else [el("use", href=f"#sketch-{own}", **OWN)]
    way = []
    if len(route) > 1:
        way = [el("path", d=_path(frame.to_picture(np.array(route))), **ROUTE)]
    ground = el("g", *pale, *dark, *way, clip_path="url(#ground)")
    size = f"0 0 {WIDTH:g} {_short(frame.foot + BOTTOM)}"
    return el(
        "svg", el("title", title), _grid(frame), ground, *_marks(frame, marks), _scale_bar(frame),
        _north(frame), xmlns="http://www.w3.org/2000/svg", viewBox=size, role="img", class_="pic",
    )  # fmt: skip


def nice_step(length: float) -> float:
    """Return the largest of 1, 2 or 5 times a power of ten that is no more than a length.

    >>> nice_step(37.0), nice_step(0.7)
    (20.0, 0.5)
    """
    power = 10.0 ** np.floor(np.log10(length))
    return float(max(k for k in (1, 2, 5) if k * power <= length * (1 + 1e-9)) * power)


def _grid(frame: Frame) -> Markup:
    """Return the edge of the ground, with ticks and their coordinates."""
    edge = el(
        "rect", x=LEFT, y=TOP, width=WIDTH - LEFT - RIGHT, height=_short(frame.foot - TOP),
        **LINE,
    )  # fmt: skip
    step = 2 * nice_step((frame.east - frame.west) / 5)
    parts = [edge]
    for easting in _multiples(frame.west, frame.east, step):
        x = _short(LEFT + (easting - frame.west) * frame.scale)
        parts.append(el("path", d=f"M{x} {_short(frame.foot)}v4", **LINE))
        parts.append(_text(f"{easting:.{_places(step)}f}", x, frame.foot + 15, "middle"))
    for northing in _multiples(frame.south, frame.north, step):
        y = _short(TOP + (frame.north - northing) * frame.scale)
        parts.append(el("path", d=f"M{LEFT:g} {y}h-4", **LINE))
        turned = f"rotate(-90 13 {y})"
        parts.append(_text(f"{northing:.{_places(step)}f}", 13, float(y), "middle", turned))
    return el("g", *parts)


def _multiples(low: float, high: float, step: float) -> list[float]:
    """Return multiples of a step well inside an interval, so that their labels fit."""
    first, last = np.ceil((low + step * 0.12) / step), np.floor((high - step * 0.12) / step)
    return [float(k * step) + 0.0 for k in np.arange(first, last + 1)]


def _places(step: float) -> int:
    return 0 if step >= 1 else 1


def _text(
    words: str, x: object, y: float, anchor: str = "start", transform: str | None = None
) -> Markup:
    return el("text", words, x=x, y=_short(y), text_anchor=anchor, transform=transform, font_size=9)


def _scale_bar(frame: Frame) -> Markup:
    """Return a bar of two halves, dark and light, with its length."""
    length = nice_step((frame.east - frame.west) / 3)
    half, y = length * frame.scale / 2, frame.foot + 28
    bars = [
        el("rect", x=LEFT, y=_short(y), width=_short(half), height=5, **FULL),
        el("rect", x=_short(LEFT + half), y=_short(y), width=_short(half), height=5, **LINE),
    ]
    words = _text(f"{length:g} m", _short(LEFT + 2 * half + 6), y + 6)
    return el("g", *bars, words)


def _north(frame: Frame) -> Markup:
    """Return an arrow towards grid north, which is up."""
    x, y = WIDTH - RIGHT - 8, frame.foot + 22
    arrow = f"M{_short(x)} {_short(y)}l5 20l-5 -5l-5 5z"
    return el("g", el("path", d=arrow, **FULL), _text("grid north", x - 10, y + 14, "end"))


Box = tuple[float, float, float, float]


def _marks(frame: Frame, marks: Sequence[Mark]) -> list[Markup]:
    """Return crosses at the places, and labels beside them that don't cover each other."""
    if not marks:
        return []
    inside = frame.shows(np.array([mark.place for mark in marks], dtype=float))
    xy = frame.to_picture(np.array([mark.place for mark in marks], dtype=float))
    low, high = (LEFT + 2, TOP + 2), (WIDTH - RIGHT - 2, frame.foot - 2)
    at = np.clip(xy, low, high)
    pieces: list[Markup] = []
    taken: list[Box] = []
    for k, group in enumerate(_bunches(at, marks)):
        first = group[0]
        anchor = (float(at[first, 0]), float(at[first, 1]))
        pieces += [_cross(at[g], xy[g], marks[g].kind, inside=bool(inside[g])) for g in group]
        if k < MOST_PLACED:
            words = _numbers([marks[g].label for g in group])
            box = _free(anchor, 6.6 * len(words) + 8, taken, frame)
            taken.append(box)
            pieces.append(_label(words, marks[first].kind, box, anchor))
    return pieces


def _bunches(at: Array, marks: Sequence[Mark], reach: float = 9.0) -> list[list[int]]:
    """Return marks of one kind that would cover each other, as lists of their numbers."""
    bunches: list[list[int]] = []
    for k, mark in enumerate(marks):
        for bunch in bunches:
            near = float(np.hypot(*(at[k] - at[bunch[0]]))) <= reach
            if near and marks[bunch[0]].kind == mark.kind:
                bunch.append(k)
                break
        else:
            bunches.append([k])
    return bunches


def _numbers(labels: Sequence[str], most: int = 3) -> str:
    """Return labels in short: neighbouring numbers as a span.

    >>> _numbers(["3", "4", "5", "9"]), _numbers(["S2"])
    ('3–5, 9', 'S2')
    """
    if not all(label.isdecimal() for label in labels):
        short = [n if len(n) <= LONGEST else n[: LONGEST - 1] + "…" for n in labels]
        return ", ".join(short[:most]) + (" …" if len(labels) > most else "")
    numbers = np.unique([int(label) for label in labels])
    spans = np.split(numbers, np.flatnonzero(np.diff(numbers) > 1) + 1)
    words = [f"{s[0]}" if len(s) == 1 else f"{s[0]}–{s[-1]}" for s in spans]
    return ", ".join(words[:most]) + (" …" if len(words) > most else "")


def _cross(at: Array, xy: Array, kind: str, *, inside: bool) -> Markup:
    """Return the sign of a place, or an arrow at the edge towards one outside the picture."""
    x, y = _short(at[0]), _short(at[1])
    if not inside:
        turn = _short(np.degrees(np.arctan2(xy[1] - at[1], xy[0] - at[0])))
        return el("path", d="M0 0l-9 -5v10z", transform=f"translate({x} {y}) rotate({turn})")
    if kind == "control":
        return el("path", d=f"M{x} {y}m0 -5l5 8h-10z", **FULL)
    return el("path", d=f"M{x} {y}m-4 -4l8 8m0 -8l-8 8", **CROSS)


def _free(anchor: tuple[float, float], wide: float, taken: list[Box], frame: Frame) -> Box:
    """Return where a label fits beside its place: x, y, width, height."""
    boxes = []
    for away in (1.0, 2.4, 4.0):
        for dx, dy in ((1, -1), (-1, -1), (1, 1), (-1, 1), (0, -1.4), (0, 1.4), (1.4, 0)):
            x = anchor[0] + dx * (6 * away + wide / 2) - wide / 2
            y = anchor[1] + dy * 12 * away - 7.5
            boxes.append((x, y, wide, 15.0))
    for box in boxes:
        within = box[0] > LEFT and box[0] + wide < WIDTH - RIGHT
        within &= box[1] > TOP and box[1] + 15 < frame.foot
        if within and not any(_overlap(box, other) for other in taken):
            return box
    x = float(np.clip(boxes[0][0], LEFT + 1, max(LEFT + 1, WIDTH - RIGHT - wide - 1)))
    return x, float(np.clip(boxes[0][1], TOP + 1, frame.foot - 16)), wide, 15.0


def _overlap(one: Box, other: Box) -> bool:
    return (
        one[0] < other[0] + other[2]
        and other[0] < one[0] + one[2]
        and one[1] < other[1] + other[3]
        and other[1] < one[1] + one[3]
    )


def _label(words: str, kind: str, box: Box, anchor: tuple[float, float]) -> Markup:
    """Return a label and its lead: a dark square for a fault, a light round one for a doubt."""
    x, y, wide, tall = box
    middle = x + wide / 2
    lead = f"M{_short(anchor[0])} {_short(anchor[1])}L{_short(middle)} {_short(y + tall / 2)}"
    frame = el(
        "rect", x=_short(x), y=_short(y), width=_short(wide), height=_short(tall),
        **LABELS[kind],
    )  # fmt: skip
    ink = "#fff" if kind == "fault" else INK
    text = el(
        "text", words, x=_short(middle), y=_short(y + 11.5), text_anchor="middle", fill=ink,
        font_size=11,
    )  # fmt: skip
    return el("g", el("path", d=lead, **LINE), frame, text, class_="mark")


STYLE = """
.defs { position: absolute; }
.pic { display: block; width: 100%; max-width: 44rem; height: auto; background: #fff; }
.pic text { font-family: sans-serif; font-size: 12px; }
.pic .mark text { font-size: 11px; font-weight: bold; }
@media (min-width: 640px), print { .pic text { font-size: 9px; } }
"""
"""Sizes in a page: letters of a picture grow where the picture is small."""
