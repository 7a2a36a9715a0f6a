"""Markup (HTML, SVG) in which every text from outside is escaped by construction."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable
from html import escape

HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn"})
"""Unicode categories that steer, hide or turn round text, or that no text may hold."""


class Markup(str):
    """Text that is markup already; `el` escapes every other text."""

    __slots__ = ()


def plain(value: object) -> str:
    r"""Return a value as text in which nothing steers a terminal or turns round its neighbours.

    Examples
    --------
    >>> plain("wall\x1b[31m 3\nnext")
    'wall�[31m 3\nnext'
    """
    text = str(value)
    if text.isascii() and text.isprintable():
        return text
    kept = (c if c == "\n" or unicodedata.category(c) not in HIDDEN else "�" for c in text)
    return "".join(kept)


def el(name: str, *inside: object, **attributes: object) -> Markup:
    """Return an element; what is inside is escaped unless it is `Markup`.

    An underscore in an attribute's name stands for a hyphen; one at its end is left out.

    Parameters
    ----------
    name : str
    *inside : object
        Texts, numbers or `Markup`.
    **attributes : object
        None leaves one out.

    Examples
    --------
    >>> el("td", "a <b>", class_="num")
    '<td class="num">a &lt;b&gt;</td>'
    """
    given = "".join(
        f' {key.rstrip("_").replace("_", "-")}="{escape(plain(value))}"'
        for key, value in attributes.items()
        if value is not None
    )
    return Markup(f"<{name}{given}>{join(inside)}</{name}>")


def void(name: str, **attributes: object) -> Markup:
    """Return an element that holds nothing and has no end, such as a picture.

    >>> void("img", alt="a wall")
    '<img alt="a wall">'
    """
    return Markup(el(name, **attributes).removesuffix(f"</{name}>"))


def join(parts: Iterable[object], between: str = "") -> Markup:
    """Return parts one after the other, escaped unless they are `Markup`."""
    texts = (part if isinstance(part, Markup) else escape(plain(part)) for part in parts)
    return Markup(between.join(texts))


def table(head: Iterable[object], rows: Iterable[Iterable[object]], *, caption: str = "") -> Markup:
    """Return a table that can be scrolled sideways; numbers stand to the right.

    Parameters
    ----------
    head : iterable
        Names of the columns.
    rows : iterable of iterable
        Cells: texts, numbers, `Markup`, or None for nothing known.
    caption : str
        What the table shows.
    """
    top = el("tr", *(el("th", name, scope="col") for name in head))
    body = [el("tr", *(_cell(value) for value in row)) for row in rows]
    above = [el("caption", caption)] if caption else []
    inside = el("table", *above, el("thead", top), el("tbody", *body))
    return el("div", inside, class_="wide")


def _cell(value: object) -> Markup:
    number = isinstance(value, int | float) and not isinstance(value, bool)
    return el("td", figure(value), class_="num" if number else None)


def figure(value: object) -> object:
    """Return a value as people read it: numbers rounded, nothing known as a dash.

    Examples
    --------
    >>> figure(324460.12345), figure(0.00012), figure(12), figure(None), figure(True)
    ('324460.123', '0.00012', '12', '–', 'yes')
    """
    if value is None:
        return "–"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.3g}" if 0 < abs(value) < 0.1 else f"{value:.3f}"
    return str(value) if isinstance(value, int) else value
